//! Buffers that were emptied and are filled again: new ones of some megabytes each would be fresh memory for every piece
//! of a file, which the system must clear first.

use std::sync::{Mutex, PoisonError};

/// Buffers to be filled again.
#[derive(Debug, Default)]
pub struct Spare<T>(Mutex<Vec<T>>);

impl<T: Default> Spare<T> {
    /// One of them, or a new one; it is empty.
    pub fn take(&self) -> T {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).pop().unwrap_or_default()
    }

    /// Gives an emptied one back. As many are in use at a time as pieces are on their way.
    pub fn give(&self, emptied: T) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).push(emptied);
    }
}
