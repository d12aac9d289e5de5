//! Everything a page may show, in the shape of `results.json` (schema `leakdrift.results/1`).
//!
//! Renderers take this and nothing else: no statistics and no thresholds live beyond it. Fields marked
//! `skip` are for people's pages only.

mod month;
mod since;

pub use crate::config::SettingLine;
pub use crate::stats::estimate::Estimate as E;

pub use crate::review::{InputLine, Made, Review as Report, ReviewedSeries, SCHEMA};
pub use month::MonthReport;
pub use since::{Earlier, OpenAction, SinceReport, VerdictChange};
