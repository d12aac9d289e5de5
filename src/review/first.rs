//! What pages say before anything else, the same on each: the review, a limit study, an investigation of jumps.
//!
//! Takes the notes that are marked so ([`Note::first`]); a page that began with numbers would be believed before
//! its reader came to what they rest on.

use serde::Serialize;

use crate::note::Note;

/// What stands first on a page; its keys are keys of every result file.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct First {
    /// What numbers rest on that the files did not say in so many words.
    pub said_first: Vec<String>,
}

impl First {
    /// Of all notes, those that are said first.
    pub fn new<'a>(notes: impl Iterator<Item = &'a Note>) -> Self {
        let mut said_first: Vec<String> =
            notes.filter(|n| n.first).map(ToString::to_string).collect();
        said_first.sort();
        said_first.dedup();
        Self { said_first }
    }
}
