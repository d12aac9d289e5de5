//! What stands above a chart: the answer, in one line wherever it can be, and what it is about.

use super::style::{self, Weight};
use crate::words::capital;

/// Title and subtitle.
#[derive(Debug, Clone, PartialEq)]
pub struct Heading {
    /// The answer.
    pub title: String,
    /// What it is about: which units, which period.
    pub subtitle: String,
}

impl Heading {
    /// A title that names what it is about.
    pub fn new(title: String, subtitle: String) -> Self {
        Self { title: kept_together(&title), subtitle: kept_together(&subtitle) }
    }

    /// The answer about a series or a place: its name stands before the answer where one line holds both, else
    /// before the subtitle, so that the answer is read first.
    pub fn about(name: &str, answer: &str, subtitle: &str) -> Self {
        let both = kept_together(&format!("{name}: {answer}"));
        if Self::holds(&both) {
            return Self { title: both, subtitle: kept_together(subtitle) };
        }
        let subtitle = kept_together(&format!("{name}; {subtitle}"));
        Self { title: kept_together(&capital(answer)), subtitle }
    }

    /// Whether one line holds a title.
    pub fn holds(title: &str) -> bool {
        let room = f64::from(style::WIDTH) - 2.0 * style::EDGE;
        style::text_width(&capital(title), style::TITLE, Weight::Bold) <= room
    }
}

/// Words in which no line break parts a number from its unit: the space before a unit or a per cent
/// sign is one that does not break.
fn kept_together(title: &str) -> String {
    let mut text = title.to_owned();
    for unit in ["mA", "µA", "V", "Hz", "s", "%", "MΩ"] {
        for end in [" ", ",", ";", ")", ""] {
            let (from, to) = (format!(" {unit}{end}"), format!("\u{a0}{unit}{end}"));
            if end.is_empty() {
                if let Some(start) = text.strip_suffix(&from) {
                    text = format!("{start}{to}");
                }
            } else {
                text = text.replace(&from, &to);
            }
        }
    }
    text
}
