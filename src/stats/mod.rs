//! The ground floor: pure mathematics. No frames, no files, no settings; uses nothing else of ours, which its being a
//! crate of its own holds.

pub mod autocorrelation;
pub mod average;
pub mod blocks;
pub mod contingency;
pub mod distribution;
pub mod empirical;
pub mod estimate;
pub mod ewma;
pub mod expected_share;
pub mod goodness;
mod grid;
pub mod later;
pub mod likelihood;
pub mod log_ratio;
pub mod mixture;
pub mod moments;
pub mod multiple;
pub mod numeric;
pub mod offsets;
pub mod optimize;
pub mod pareto;
pub mod proportion;
pub mod rate_change;
pub mod rate_ratio;
pub mod sample;
pub mod shape;
pub mod special;
pub mod tail;
pub mod tolerance;
pub mod trend;
