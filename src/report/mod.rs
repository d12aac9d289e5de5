//! Verdict → pages: no statistics, no thresholds.
pub mod chart;
pub mod model;
pub mod peek;
