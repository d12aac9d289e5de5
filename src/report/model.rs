//! Everything a page may show, in the shape of `results.json` (schema `leakdrift.results/1`).
//!
//! Renderers take this and nothing else: no statistics and no thresholds live beyond it. Fields marked
//! `skip` are for people's pages only.

pub use crate::config::SettingLine;
pub use crate::stats::estimate::Estimate as E;

pub use crate::analysis::month::table::Month;
pub use crate::review::{InputLine, JumpChart, Made, Review as Report, ReviewedSeries, SCHEMA};
pub use crate::verdict::jump::JudgedJump;
pub use crate::verdict::month::MonthJudged;
pub use crate::verdict::since::{Earlier, OpenAction, Since, VerdictChange};
