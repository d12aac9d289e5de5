//! How facts are worded: currents, numbers, days. One way for sentences, pages and charts.
//!
//! Takes finished values and gives what a reader sees. A number that is not finite is written in words, so
//! that no page ever shows one.

pub mod currents;
pub mod numbers;
mod object;
pub mod time;

pub use currents::{Wording, resistance};
pub use numbers::{count, percent, signed_percent, three_digits};
pub(crate) use object::object;

/// A path as pages and lists write it, with `/` on every machine.
#[must_use]
pub fn path_text(path: &std::path::Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

/// A sign that is not seen but obeyed: a control sign, a line break, one that turns the direction of writing.
#[must_use]
pub fn is_unseen(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}' | '\u{2029}')
        || ('\u{202a}'..='\u{202e}').contains(&c)
        || ('\u{2066}'..='\u{2069}').contains(&c)
}

/// The text with its first letter large.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut signs = text.chars();
    signs
        .next()
        .map_or_else(String::new, |first| format!("{}{}", first.to_uppercase(), signs.as_str()))
}
