//! Tally → finding: one question per file.

pub mod answer;
pub mod body;
pub mod capability;
pub mod carry;
pub mod drift;
pub mod groups;
pub mod stations;
pub mod strays;
