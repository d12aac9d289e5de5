//! Tally → finding: one question per file.
//!
//! Takes a [`crate::series::Pass`] and settings, gives findings with intervals. [`movement()`] comes
//! first, since it decides which period is judged; then [`findings()`] asks everything else of every
//! series, in parallel. Nothing here compares with a threshold of design section 16: that is the verdict's.

pub mod answer;
pub mod approximate;
mod below;
pub mod body;
pub mod calibration;
pub mod capability;
pub mod carry;
pub mod causes;
pub mod check_record;
pub mod checks;
pub mod doubt;
pub mod drift;
pub mod excess;
mod finding;
pub mod gaps;
pub mod groups;
pub mod happenings;
pub mod healthy;
pub mod jump;
pub mod leads;
pub mod limits;
pub mod low_side;
pub mod month_change;
pub mod months;
mod movement;
pub mod practice;
pub mod readings;
pub mod settings;
pub mod share_ladder;
pub mod stations;
pub mod strays;
pub mod too_good;
pub mod unit_lists;
pub mod what_if;

pub use finding::{Asked, Finding, Findings, Judge, Known, asked, findings};
pub use movement::{GroupSplit, Movement, SeriesMovement, facts, group_rules, movement};
