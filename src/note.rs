//! What a reader must know but does not stop us.

use std::fmt;

/// Something that went on, but must be known; ends with what to do next where there is something.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Note {
    /// What it says.
    pub text: String,
    /// Whether pages say it before anything else: numbers on them rest on it.
    pub first: bool,
}

impl Note {
    /// A note from its text, told at the end of a page.
    #[must_use]
    pub fn new(text: impl Into<String>) -> Self {
        Self { text: text.into(), first: false }
    }

    /// A note that the numbers of a page rest on: said below its title and on the terminal.
    #[must_use]
    pub fn first(text: impl Into<String>) -> Self {
        Self { text: text.into(), first: true }
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}
