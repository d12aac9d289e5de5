//! The review under the name that charts still know it by.

pub use crate::review::Review as Report;
