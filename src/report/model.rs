//! Everything a page may show, in the shape of `results.json` (schema `leakdrift.results/1`).
//!
//! Renderers take this and nothing else: no statistics and no thresholds live beyond it. Fields marked
//! `skip` are for people's pages only.

mod month;
mod since;

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

pub use crate::config::SettingLine;
pub use crate::stats::estimate::Estimate as E;

pub use crate::review::{
    InputLine, Made, NotUsedLine, Review as Report, RowCounts, SCHEMA, UnitLine,
};
pub use month::MonthReport;
pub use since::{Earlier, OpenAction, SinceReport, VerdictChange};

/// One series.
#[derive(Debug, Clone, Serialize)]
pub struct SeriesReport {
    /// Safe, unique name; also of its charts.
    pub id: String,
    /// Title for people, for example `KB120, AC withstand 1250 V 50 Hz`.
    pub title: String,
    /// Model.
    pub model: String,
    /// `ac_withstand`, `dc_withstand`, `leakage`.
    pub test: String,
    /// Set voltage.
    pub applied_v: Option<f64>,
    /// Set frequency.
    pub frequency_hz: Option<f64>,
    /// Where the voltage was applied.
    pub test_point: Option<String>,
    /// Place in a sequence.
    pub step: Option<String>,
    /// `total` or `in_phase`.
    pub current: &'static str,
    /// Dwell, for DC.
    pub dwell_s: Option<f64>,
    /// Units on one tester at once.
    pub units_together: u16,
    /// First attempts.
    pub units: u64,
    /// First attempts in the month under review.
    pub units_this_month: u64,
    /// Outcomes of first attempts.
    pub outcomes: Outcomes,
    /// Limits in force.
    pub limit: LimitReport,
    /// The healthy body; `null` with a note where it could not be described.
    pub distribution: Option<DistributionReport>,
    /// Capability against the limit.
    pub capability: Option<CapabilityReport>,
    /// Healthy units expected beyond the limit, per million.
    pub expected_reject_ppm: Option<E>,
    /// Units seen beyond the limit in the period judged, per million.
    pub observed_reject_ppm: Option<E>,
    /// The low limit in force against healthy units and results; `null` where there is none.
    pub low_side: Option<LowSideReport>,
    /// The verdict.
    pub verdict: VerdictReport,
    /// Readings that do not belong with the healthy body.
    pub strays: StrayReport,
    /// Retests.
    pub retests: RetestReport,
    /// How the series moved.
    pub drift: DriftReport,
    /// Month by month.
    pub months: Vec<MonthLine>,
    /// Smallest step of the instruments used, in mA: decides how numbers are printed.
    #[serde(skip)]
    pub reading_step_ma: f64,
    /// Days of the month under review on which a limit changed.
    #[serde(skip)]
    pub limit_changed: Vec<NaiveDate>,
    /// The month under review against the time before it; `null` where it has no unit.
    pub month: Option<MonthReport>,
    /// Which of two groups came later, and since when, in words.
    #[serde(skip)]
    pub groups_since: Option<String>,
    /// File names of its charts with what each answers, relative to the report.
    #[serde(skip)]
    pub charts: Vec<(String, String)>,
}

/// Outcomes of first attempts.
#[derive(Debug, Clone, Default, Serialize)]
#[expect(missing_docs, reason = "the words of design section 4")]
pub struct Outcomes {
    pub pass: u64,
    pub over_limit: u64,
    pub under_limit: u64,
    pub breakdown: u64,
    pub arc: u64,
    pub not_completed: u64,
    pub not_reached: u64,
}

/// Limits in force.
#[derive(Debug, Clone, Serialize)]
pub struct LimitReport {
    /// High limit on the last day.
    pub high_ma: Option<f64>,
    /// Low limit on the last day.
    pub low_ma: Option<f64>,
    /// Since when.
    pub since: Option<NaiveDate>,
    /// Every change.
    pub history: Vec<LimitChange>,
    /// What a station shows with no unit connected.
    pub open_lead_ma: Option<f64>,
}

/// One change of limit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitChange {
    /// First day.
    pub from: NaiveDate,
    /// High limit.
    pub high_ma: Option<f64>,
    /// Low limit.
    pub low_ma: Option<f64>,
    /// The station, where not all changed together.
    pub station: Option<String>,
}

/// The healthy body.
#[derive(Debug, Clone, Serialize)]
pub struct DistributionReport {
    /// Family with the largest weight.
    pub family: String,
    /// All families.
    pub families: Vec<FamilyReport>,
    /// Goodness of fit.
    pub goodness: GoodnessReport,
    /// 5 % quantile.
    pub x05_ma: Option<E>,
    /// Median.
    pub x50_ma: Option<E>,
    /// 95 % quantile.
    pub x95_ma: Option<E>,
    /// 99 % quantile.
    pub x99_ma: Option<E>,
    /// 99.865 % quantile.
    pub x99_865_ma: Option<E>,
    /// 1 or 2.
    pub groups: u8,
    /// What separates two groups.
    pub split_by: Option<String>,
    /// First day of the group that came later; `null` where both are there from the first day.
    pub second_group_since: Option<NaiveDate>,
    /// The two answers about the tail.
    pub tail: TailReport,
    /// Why this answer is in use, in words.
    pub in_use_because: String,
}

/// One family of the average.
#[derive(Debug, Clone, Serialize)]
pub struct FamilyReport {
    /// Name.
    pub name: String,
    /// Corrected Akaike criterion; `null` where the fit failed.
    pub aicc: Option<f64>,
    /// Its weight in the average.
    pub weight: f64,
    /// Parameters by name.
    pub params: BTreeMap<String, f64>,
    /// How the search ended.
    pub stopped: String,
}

/// Goodness of fit.
#[derive(Debug, Clone, Serialize)]
pub struct GoodnessReport {
    /// Anderson–Darling with bootstrap.
    pub p_value: Option<f64>,
    /// Largest gap between fitted and observed distribution, a fraction of 1.
    pub largest_gap: Option<f64>,
}

/// The two answers about the tail.
#[derive(Debug, Clone, Serialize)]
pub struct TailReport {
    /// `apart` or `together`.
    pub in_use: String,
    /// 1 − a quantile with strays kept out.
    pub apart_ma: Option<E>,
    /// 1 − a quantile with every reading taken as healthy.
    pub together_ma: Option<E>,
    /// Share beyond what the body explains.
    pub excess_share: Option<E>,
    /// Why the numbers hold less often than their level says, where simulation shows it; else empty.
    pub approximate: Vec<ApproximateReport>,
}

/// A reason why numbers are only approximate.
#[derive(Debug, Clone, Serialize)]
pub struct ApproximateReport {
    /// Machine name.
    pub reason: &'static str,
    /// The reason in a sentence.
    pub sentence: &'static str,
}

/// Capability.
#[derive(Debug, Clone, Serialize)]
pub struct CapabilityReport {
    /// `P_pkU` or `C_pkU`.
    pub index: String,
    /// Its value.
    pub value: E,
}

/// The low limit in force. What has no answer is `null`, with the reason in the notes.
#[derive(Debug, Clone, Serialize)]
pub struct LowSideReport {
    /// `P_pkL` or `C_pkL`.
    pub index: String,
    /// Its value.
    pub value: Option<E>,
    /// Healthy units expected below the low limit, per million.
    pub expected_reject_ppm: Option<E>,
    /// The same at the end of the horizon, where a slope is established.
    pub expected_reject_ppm_at_horizon: Option<f64>,
    /// Healthy units expected below it a month.
    pub rejects_per_month: Option<E>,
    /// Units seen below it in the period judged, per million: as a rule open connections.
    pub observed_reject_ppm: Option<E>,
    /// How many they are.
    pub observed_rejects: Option<u64>,
    /// Units judged at this limit.
    pub observed_units: Option<u64>,
}

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

/// Strays.
#[derive(Debug, Clone, Serialize)]
pub struct StrayReport {
    /// Above the healthy body, trips included.
    pub above: u64,
    /// Below it.
    pub below: u64,
    /// Those that passed, listed; at most `strays_listed`.
    pub units: Vec<StrayLine>,
}

/// One stray that passed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StrayLine {
    /// Serial as first written.
    pub serial: String,
    /// When.
    pub tested_at: String,
    /// Where.
    pub station: String,
    /// Reading.
    pub reading_ma: f64,
    /// `above` or `below`.
    pub side: &'static str,
}

/// Retests.
#[derive(Debug, Clone, Serialize)]
pub struct RetestReport {
    /// Units that failed first.
    pub failed: u64,
    /// Of these, passed in the end.
    pub then_passed: u64,
    /// Standard deviation between two tests of one unit.
    pub repeatability_ma: Option<E>,
    /// Sentences about who is retested until it passes.
    #[serde(skip)]
    pub practice: Vec<String>,
}

/// Drift.
#[derive(Debug, Clone, Serialize)]
pub struct DriftReport {
    /// `steady`, `slope`, `step`, `slope_and_step`, `season`; `null` with a note.
    pub shape: Option<String>,
    /// Since when it moves.
    pub since: Option<NaiveDate>,
    /// Certain and material.
    pub flagged: bool,
    /// Slope per 30.44 days.
    pub per_month_ma: Option<E>,
    /// Of the shape, adjusted over all series.
    pub p_value: Option<f64>,
    /// Lag-1 correlation of the points.
    pub rho: Option<f64>,
    /// Smallest step that would have been found.
    pub smallest_step_ma: Option<f64>,
    /// Steps.
    pub steps: Vec<StepLine>,
    /// What air explains.
    pub explained: Vec<ExplainedLine>,
    /// When expected rejects pass the accepted share.
    pub limit_reached_on: Option<ReachedReport>,
    /// One sentence.
    #[serde(skip)]
    pub sentence: String,
}

/// A step.
#[derive(Debug, Clone, Serialize)]
pub struct StepLine {
    /// First day of the new level.
    pub date: NaiveDate,
    /// Interval.
    pub date_low: NaiveDate,
    /// Interval.
    pub date_high: NaiveDate,
    /// Size.
    pub size_ma: E,
    /// Event in the interval.
    pub event: Option<String>,
}

/// What air explains.
#[derive(Debug, Clone, Serialize)]
pub struct ExplainedLine {
    /// `humidity` or `temperature`.
    pub what: String,
    /// Share of the movement.
    pub share: E,
}

/// A forecast date.
#[derive(Debug, Clone, Serialize)]
pub struct ReachedReport {
    /// Best date.
    pub date: NaiveDate,
    /// Early end.
    pub low: NaiveDate,
    /// Late end; `null` where it may never come.
    pub high: Option<NaiveDate>,
}

/// One month.
#[derive(Debug, Clone, Serialize)]
pub struct MonthLine {
    /// `2026-10`.
    pub month: String,
    /// First attempts.
    pub units: u64,
    /// Median.
    pub x50_ma: Option<f64>,
    /// 95 % quantile.
    pub x95_ma: Option<f64>,
    /// Over-limit share of the judged units.
    pub reject_share: Option<f64>,
    /// Index against the limit of the month.
    pub p_pku: Option<f64>,
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
