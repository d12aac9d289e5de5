//! Everything a page may show, in the shape of `results.json` (schema `leakdrift.results/1`).
//!
//! Renderers take this and nothing else: no statistics and no thresholds live beyond it. Fields marked
//! `skip` are for people's pages only.

mod month;
mod since;

use chrono::NaiveDate;
use serde::Serialize;

pub use crate::config::SettingLine;
pub use crate::stats::estimate::Estimate as E;

pub use crate::review::{InputLine, Made, Review as Report, ReviewedSeries, SCHEMA};
pub use month::MonthReport;
pub use since::{Earlier, OpenAction, SinceReport, VerdictChange};

/// The verdict.
#[derive(Debug, Clone, Serialize)]
pub struct VerdictReport {
    /// `too_tight`, `fits`, `too_loose`, `no_workable_band`, `not_enough_data`; `null` without a limit.
    pub verdict: Option<String>,
    /// Few units.
    pub provisional: bool,
    /// Lower end of the workable band.
    pub band_low_ma: Option<f64>,
    /// Upper end.
    pub band_high_ma: Option<f64>,
    /// Every rule about an end of the band.
    pub band_ends: Vec<BandEndReport>,
    /// Largest steady leak path that would pass.
    pub blind_spot_mohm: Option<f64>,
    /// Why, in sentences.
    pub reasons: Vec<String>,
    /// Period judged.
    pub judged: Option<JudgedReport>,
    /// Suggested limit.
    pub suggested_ma: Option<f64>,
    /// When drift ends it.
    pub fits_until: Option<NaiveDate>,
    /// Units that would decide it.
    pub units_needed: Option<u64>,
    /// Good units rejected a month.
    pub rejects_per_month: Option<E>,
    /// Workable low limit, lower end.
    pub low_limit_from_ma: Option<f64>,
    /// Workable low limit, upper end.
    pub low_limit_to_ma: Option<f64>,
    /// Whether an unconnected lead would pass.
    pub open_lead_passes: Option<bool>,
    /// One sentence for the top of the section.
    #[serde(skip)]
    pub sentence: String,
    /// The verdict in words for people, or `no limit known`.
    #[serde(skip)]
    pub words: String,
    /// Loads that prove the suggested limit, in a sentence.
    #[serde(skip)]
    pub proving: Option<String>,
}

/// One rule about an end of the band.
#[derive(Debug, Clone, Serialize)]
pub struct BandEndReport {
    /// `low` or `high`.
    pub end: &'static str,
    /// `healthy`, `leak_path`, `twice_as_far`, `twice_typical`, `ceiling`, `tester_range`.
    pub rule: &'static str,
    /// The limit it asks for.
    pub ma: Option<f64>,
    /// Whether it sets the end.
    pub sets: bool,
    /// In a sentence.
    pub sentence: String,
}

/// Period judged.
#[derive(Debug, Clone, Serialize)]
pub struct JudgedReport {
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// Units.
    pub units: u64,
}

/// Models that share one limit.
#[derive(Debug, Clone, Serialize)]
pub struct GroupReport {
    /// Name.
    pub group: String,
    /// Intersection.
    pub band_low_ma: Option<f64>,
    /// Intersection.
    pub band_high_ma: Option<f64>,
    /// Which model.
    pub low_set_by: Option<String>,
    /// Which model.
    pub high_set_by: Option<String>,
    /// Whether one limit can serve all models.
    pub one_limit_serves: bool,
    /// In words.
    #[serde(skip)]
    pub sentence: String,
}
