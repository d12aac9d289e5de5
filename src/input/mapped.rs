//! Words of the settings: what each stands for, and whether a file has it. One that no file has is misspelt, or about
//! another plant, and is told.

use std::sync::atomic::{AtomicBool, Ordering};

/// What a word of the settings stands for, and whether a file has it.
#[derive(Debug)]
pub(super) struct Mapped<T> {
    to: T,
    met: AtomicBool,
}

impl<T> Mapped<T> {
    pub(super) fn new(to: T) -> Self {
        Self { to, met: AtomicBool::new(false) }
    }

    /// What it stands for, where a file has it.
    pub(super) fn met(&self) -> &T {
        // Written once: all parsers read it, and memory that is written goes from one to the next.
        if !self.is_met() {
            self.met.store(true, Ordering::Relaxed);
        }
        &self.to
    }

    pub(super) fn is_met(&self) -> bool {
        self.met.load(Ordering::Relaxed)
    }
}

/// A word of the settings that no file has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unmet {
    /// Its section, as it is headed.
    pub section: String,
    /// As the settings write it.
    pub word: String,
}
