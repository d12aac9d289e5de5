//! leakdrift judges leakage-current limits from exported high-voltage test results.
#![forbid(unsafe_code)]
pub mod config;
pub mod error;
pub mod input;
pub mod note;
pub mod records;
pub mod series;
