//! What moved, product or tester, and so which period of each series is judged.
//!
//! Takes a [`crate::series::Pass`] and the register, gives [`Movement`]: the daily points of every series,
//! their shape, what stations add, and the [`Period`] judged with its reason. A room of its own before
//! `analysis`, since every other question needs the period: so data never run backwards.

pub mod check_record;
pub mod drift;
pub mod edges;
mod find;
pub mod groups;
pub mod limits;
pub mod material;
pub mod period;
pub mod readings;
pub mod room_share;
pub mod scale;
pub mod stations;

pub use find::{GroupSplit, Movement, SeriesMovement, Untold, facts, find, group_rules};
pub use period::Period;
