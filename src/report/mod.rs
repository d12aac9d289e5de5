//! Verdict → pages: no statistics, no thresholds.
pub mod peek;
