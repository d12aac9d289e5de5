//! Everything a limit study may show, in the shape of its `results.json` (schema `leakdrift.limits/1`).
//!
//! Each entry of `series` holds the keys of `leakdrift.results/1` for that series, and those of the study.

use chrono::NaiveDate;
use serde::Serialize;

use super::model::{E, GroupReport, Made, SettingLine};
use crate::review::ReviewedSeries;
use crate::series::Ledger;

/// The schema named in every result file of a study.
pub const SCHEMA: &str = "leakdrift.limits/1";

/// The whole study.
#[derive(Debug, Clone, Serialize)]
pub struct LimitsReport {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Name of the report.
    pub name: String,
    /// Model studied.
    pub model: String,
    /// First and last production day of the files; `null` without files.
    pub from: Option<NaiveDate>,
    /// Last production day.
    pub to: Option<NaiveDate>,
    /// Where rows went, over all models; `null` without files.
    pub rows: Option<Ledger>,
    /// One entry per series of the model; empty where it has no history.
    pub series: Vec<StudyReport>,
    /// The band calculated from the circuit, for a model without history.
    pub calculated: Option<CalculatedReport>,
    /// Shared limits that the model belongs to.
    pub limit_groups: Vec<GroupReport>,
    /// What a reader must know.
    pub notes: Vec<String>,
    /// Settings in force.
    pub settings: Vec<SettingLine>,
    /// Versions and inputs.
    pub made: Made,
}

/// The study of one series.
#[derive(Debug, Clone, Serialize)]
pub struct StudyReport {
    /// The series as a review shows it.
    #[serde(flatten)]
    pub series: ReviewedSeries,
    /// What to do.
    pub recommendation: RecommendationReport,
    /// Limits looked at, ascending.
    pub candidates: Vec<CandidateReport>,
    /// What a rejected unit costs; `null` where none was rejected.
    pub rejected_unit: Option<RejectedUnitReport>,
    /// The reading that the circuit should give; `null` where the circuit is not known.
    pub expected: Option<ExpectedReport>,
    /// Ceiling for this kind of test.
    pub ceiling_ma: Option<f64>,
    /// End of the tester's range.
    pub tester_range_ma: Option<f64>,
    /// Smallest harmful leak path.
    pub leak_path_mohm: Option<f64>,
    /// Step in which limits are set.
    pub limit_step_ma: f64,
    /// Strays above the healthy body that passed, over the whole history.
    pub strays_passed: u64,
    /// File of the change note; `null` where no change is recommended.
    pub change_note: Option<String>,
}

/// What to do.
#[derive(Debug, Clone, Serialize)]
pub struct RecommendationReport {
    /// `change`, `set`, `keep`, `keep_until`, `find_out`, `none_works`.
    pub advice: &'static str,
    /// The limit to set.
    pub to_ma: Option<f64>,
    /// A tighter limit that is possible.
    pub tighter_ma: Option<f64>,
    /// In one sentence.
    pub sentence: String,
    /// Why, and what would help.
    pub because: Vec<String>,
    /// Blind spot of the limit to set.
    pub blind_spot_mohm: Option<f64>,
    /// Loads that prove the limit to set, else the limit in force.
    pub loads: Option<LoadsReport>,
}

/// Loads that prove a limit at the station.
#[derive(Debug, Clone, Serialize)]
pub struct LoadsReport {
    /// The limit that they prove.
    pub limit_ma: f64,
    /// Voltage that they take.
    pub applied_v: f64,
    /// The load that must trip.
    pub must_trip: LoadReport,
    /// The load that must pass.
    pub must_pass: LoadReport,
}

/// One resistor.
#[derive(Debug, Clone, Serialize)]
pub struct LoadReport {
    /// Its resistance.
    pub resistance_mohm: f64,
    /// The current it draws.
    pub current_ma: f64,
    /// The power it takes.
    pub power_w: f64,
}

/// One limit looked at.
#[derive(Debug, Clone, Serialize)]
pub struct CandidateReport {
    /// The limit.
    pub limit_ma: f64,
    /// Why: `in_force`, `band_low`, `band_high`, `suggested`, `tried`, `round`.
    pub origins: Vec<&'static str>,
    /// The verdict it would get.
    pub verdict: Option<&'static str>,
    /// Healthy units rejected, per million.
    pub expected_reject_ppm: Option<E>,
    /// The same at the end of the planning horizon, where a slope is established.
    pub expected_reject_ppm_at_horizon: Option<f64>,
    /// Healthy units rejected a month.
    pub rejects_per_month: Option<E>,
    /// Lowest resistance of a steady leak that passes, typical unit.
    pub blind_spot_mohm: Option<f64>,
    /// The same in a unit that reads low.
    pub blind_spot_low_reader_mohm: Option<f64>,
    /// The blind spot in words.
    pub blind_spot: String,
    /// Room below the ceiling; below zero where the limit lies above it.
    pub to_ceiling_ma: Option<f64>,
    /// Room below the end of the tester's range.
    pub to_range_ma: Option<f64>,
    /// Passes of the history that it would have rejected.
    pub would_reject: u64,
    /// Trips of the history at a lower limit, which it might have passed.
    pub might_pass: u64,
    /// Strays that passed and that it would have rejected.
    pub strays_caught: u64,
    /// Further tests a month against the limit in force; below zero where it saves.
    pub retests_per_month: Option<f64>,
    /// Minutes a month spent on rejected units, against the limit in force.
    pub minutes_per_month: Option<f64>,
    /// Loads that prove it.
    pub loads: Option<LoadsReport>,
    /// Month by month.
    pub months: Vec<RecountMonth>,
    /// Units concerned; in `units-affected.csv`.
    #[serde(skip)]
    pub units: Vec<AffectedUnit>,
    /// Why it is looked at, in words.
    #[serde(skip)]
    pub origin_words: String,
    /// The verdict in words.
    #[serde(skip)]
    pub verdict_words: &'static str,
}

/// What a limit would have done to one month.
#[derive(Debug, Clone, Serialize)]
pub struct RecountMonth {
    /// `2026-10`.
    pub month: String,
    /// First attempts that say something about the leakage.
    pub units: u64,
    /// Over-limit results seen.
    pub tripped: u64,
    /// Passes that it would have rejected.
    pub would_reject: u64,
    /// Trips at a lower limit, which it might have passed.
    pub might_pass: u64,
}

/// One unit that a limit concerns.
#[derive(Debug, Clone, PartialEq)]
pub struct AffectedUnit {
    /// `would be rejected` or `might pass`.
    pub would: &'static str,
    /// Serial as first written.
    pub serial: String,
    /// When.
    pub tested_at: String,
    /// Where.
    pub station: String,
    /// Its reading, or the limit it tripped on.
    pub ma: f64,
}

/// What a rejected unit costs.
#[derive(Debug, Clone, Serialize)]
pub struct RejectedUnitReport {
    /// Over-limit units it is taken from.
    pub units: u64,
    /// Further tests of such a unit, mean.
    pub tests_each: f64,
    /// Minutes from its first test to its last of the same shift, median.
    pub minutes_each: Option<f64>,
}

/// The reading that the circuit should give.
#[derive(Debug, Clone, Serialize)]
pub struct ExpectedReport {
    /// Capacitance between the tested parts.
    pub capacitance_nf: f64,
    /// Its tolerance in per cent.
    pub tolerance_pct: f64,
    /// Expected reading, with leads and fixture where they are known.
    pub value_ma: f64,
    /// Lower end over the tolerance.
    pub low_ma: f64,
    /// Upper end.
    pub high_ma: f64,
    /// `as_expected`, `lower`, `higher`; `null` without a measured reading.
    pub compared: Option<&'static str>,
    /// Measured over expected, less 1, in per cent.
    pub difference_pct: Option<E>,
    /// The capacitance that makes the difference.
    pub difference_nf: Option<f64>,
    /// In one sentence.
    pub sentence: String,
}

/// The band calculated from the circuit.
#[derive(Debug, Clone, Serialize)]
pub struct CalculatedReport {
    /// `ac_withstand` or `leakage`.
    pub test: String,
    /// Set voltage.
    pub applied_v: f64,
    /// Frequency.
    pub frequency_hz: f64,
    /// The expected reading.
    pub expected: ExpectedReport,
    /// Lower end, calculated and not measured.
    pub band_low_ma: Option<f64>,
    /// Upper end.
    pub band_high_ma: Option<f64>,
    /// A first limit.
    pub suggested_ma: Option<f64>,
    /// Blind spot of that limit.
    pub blind_spot_mohm: Option<f64>,
    /// Units until a provisional verdict.
    pub units_for_provisional: u64,
    /// Units until a verdict.
    pub units_for_verdict: u64,
    /// Units without a reject that show the accepted share whatever the distribution.
    pub units_without_reject: Option<u64>,
    /// Loads that prove the first limit.
    pub loads: Option<LoadsReport>,
    /// Where every number comes from.
    pub sentences: Vec<String>,
    /// Step in which limits are set.
    pub limit_step_ma: f64,
    /// Its chart.
    #[serde(skip)]
    pub chart: Option<String>,
}
