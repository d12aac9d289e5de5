//! What a reader must know but does not stop us.

use std::fmt;

/// Something that went on, but must be known; ends with what to do next where there is something.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Note(pub String);

impl Note {
    /// A note from its text.
    #[must_use]
    pub fn new(text: impl Into<String>) -> Self {
        Self(text.into())
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
