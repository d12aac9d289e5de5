//! The month under review against the time before it, as pages and `results.json` show it.

use chrono::NaiveDate;
use serde::Serialize;

use super::E;

/// The month under review against the time before it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MonthReport {
    /// The month.
    pub month: String,
    /// First day it is held against; `null` where nothing was tested before.
    pub baseline_from: Option<NaiveDate>,
    /// Last day it is held against.
    pub baseline_to: Option<NaiveDate>,
    /// First tests of the month.
    pub units: u64,
    /// First tests of the baseline.
    pub units_before: u64,
    /// Typical reading, mA.
    pub x50_ma: Option<f64>,
    /// Typical reading of the baseline, mA.
    pub x50_before_ma: Option<f64>,
    /// Change of the level, per cent.
    pub level_pct: Option<E>,
    /// Whether the room's air was allowed for in it.
    pub room_allowed_for: bool,
    /// Share of the room to the limit that the change of level used.
    pub room_used: Option<f64>,
    /// Spread over that before.
    pub spread_ratio: Option<E>,
    /// Healthy units expected over the limit, parts per million.
    pub expected_reject_ppm: Option<E>,
    /// The same before.
    pub expected_reject_ppm_before: Option<E>,
    /// Units that failed.
    pub failed: u64,
    /// Share of judged units that failed.
    pub failure_share: Option<E>,
    /// Units that failed before.
    pub failed_before: u64,
    /// The same share before.
    pub failure_share_before: Option<E>,
    /// Change of the share, a fraction of 1.
    pub failure_change: Option<E>,
    /// What matters most of it.
    pub matters: &'static str,
    /// Its place among all series, 1 first.
    pub rank: usize,
    /// What matters, in words.
    #[serde(skip)]
    pub matters_words: &'static str,
    /// One sentence.
    pub sentence: String,
}
