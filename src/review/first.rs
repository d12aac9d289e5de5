//! What pages say before anything else, the same on each: the review, a limit study, an investigation of jumps.
//!
//! Takes files that are probably misread and the notes that are marked so ([`Note::first`]); a page that began
//! with numbers would be believed before its reader came to what they rest on.

use serde::Serialize;

use crate::note::Note;
use crate::verdict::misread::{Misread, said};

/// What stands first on a page; its keys are keys of every result file.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct First {
    /// Files that are probably misread, with what says so.
    pub misread: Vec<Misread>,
    /// What numbers rest on that the files did not say in so many words.
    pub said_first: Vec<String>,
}

impl First {
    /// Misread files, and of all notes those that are said first.
    pub fn new<'a>(misread: Vec<Misread>, notes: impl Iterator<Item = &'a Note>) -> Self {
        let mut said_first: Vec<String> =
            notes.filter(|n| n.first).map(ToString::to_string).collect();
        said_first.sort();
        said_first.dedup();
        Self { misread, said_first }
    }

    /// What is said of misread files, one line for those that show the same signs.
    #[must_use]
    pub fn misread_lines(&self) -> Vec<String> {
        said(&self.misread).iter().map(ToString::to_string).collect()
    }
}
