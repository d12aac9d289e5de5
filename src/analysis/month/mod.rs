//! Month by month: the table of a series, and the month under review against the time before it.

pub mod change;
pub mod table;
pub mod yields;
