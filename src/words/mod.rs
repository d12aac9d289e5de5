//! How facts are worded: currents, numbers, days. One way for sentences, pages and charts.
//!
//! Takes finished values and gives what a reader sees. A number that is not finite is written in words, so
//! that no page ever shows one.

use std::borrow::Cow;

pub mod currents;
pub mod numbers;
mod object;
pub mod time;

pub use currents::{Wording, resistance};
pub use numbers::{count, percent, signed_percent, three_digits};
pub(crate) use object::object;

/// A path as pages and lists write it, with `/` on every machine and nothing in it that a terminal obeys.
#[must_use]
pub fn path_text(path: &std::path::Path) -> String {
    one_line(&path.to_string_lossy().replace('\\', "/")).into_owned()
}

/// The text on one line and without a sign that a terminal obeys: a line break is written `\u{a}`.
#[must_use]
pub fn one_line(text: &str) -> Cow<'_, str> {
    shown(text, is_unseen)
}

/// The text with some of its signs not as they are but as they are written: `\u{1b}`.
pub fn shown(text: &str, hidden: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.contains(&hidden) {
        return Cow::Borrowed(text);
    }
    let sign = |c: char| match hidden(c) {
        true => c.escape_unicode().collect::<String>(),
        false => c.to_string(),
    };
    Cow::Owned(text.chars().map(sign).collect())
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
