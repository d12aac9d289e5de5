//! What the healthy body of one series is, which readings do not belong to it, and what it says of limits.

pub mod answer;
pub mod approximate;
pub(super) mod below;
pub mod by_size;
pub mod capability;
pub mod carry;
pub mod curves;
pub mod describe;
pub mod distribution;
pub mod excess;
pub mod forecast;
pub mod healthy;
mod lines;
pub mod low_side;
pub mod observed;
pub mod offsets;
pub mod rise;
pub mod seen;
pub mod share_ladder;
pub mod stations;
pub mod strays;
pub mod tally;
mod wide_steps;
