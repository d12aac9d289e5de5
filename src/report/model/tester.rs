//! Testers and their record: stations, check loads, calibrations, settings, gaps, what is too good.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::E;

/// A station against the others.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StationReport {
    /// Station.
    pub station: String,
    /// Offset against the reference, per cent.
    pub offset_pct: Option<E>,
    /// Whether it is certain and large enough.
    pub flagged: bool,
    /// Steps.
    pub moved: Vec<StationMove>,
    /// How the offset acts over models.
    pub acts_as: Option<&'static str>,
    /// Offset at 1000 V (AC: 50 Hz), mA.
    pub offset_ma: Option<E>,
    /// Passes that would have failed at the corrected reading.
    pub passes_in_doubt: Option<u64>,
    /// How they came about.
    pub doubts: Vec<DoubtReport>,
    /// Offset month by month.
    pub months: Vec<StationMonth>,
    /// What its offset points to beyond meter, voltage, leads and fixture.
    pub hint: Option<&'static str>,
}

/// A step of a station.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StationMove {
    /// First day at the new level.
    pub date: NaiveDate,
    /// Earliest day.
    pub date_low: NaiveDate,
    /// Latest day.
    pub date_high: NaiveDate,
    /// Size, per cent.
    pub size_pct: E,
    /// What is recorded of that time.
    pub event: Option<String>,
    /// Step of its check load at the same time, per cent.
    pub check_load_pct: Option<E>,
    /// In words, for pages.
    #[serde(skip)]
    pub sentence: String,
}

/// A station's offset in one month.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StationMonth {
    /// The month.
    pub month: String,
    /// Offset against the reference, per cent.
    pub offset_pct: E,
}

/// Passes of a station that read too low, counted again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoubtReport {
    /// First day counted again.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// What readings were raised by, per cent.
    pub raised_pct: E,
    /// Passes counted again.
    pub passes: u64,
    /// Those that would have failed.
    pub would_have_failed: u64,
    /// The same at the lower end of the interval.
    pub low: u64,
    /// The same at its upper end.
    pub high: u64,
    /// Those that would have failed, by series.
    pub by_series: Vec<DoubtSeries>,
    /// In words.
    pub sentence: String,
}

/// Passes in doubt of one series.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoubtSeries {
    /// Its id.
    pub series: String,
    /// Passes that would have failed.
    pub would_have_failed: u64,
}

/// One calibration against the tests made after it was due.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CalibrationReport {
    /// Instrument.
    pub instrument: String,
    /// Station.
    pub station: String,
    /// Due on.
    pub due_on: Option<NaiveDate>,
    /// Done on.
    pub done_on: NaiveDate,
    /// Tests made after it was due and before the next one.
    pub tests_overdue: u64,
    /// Error found, per cent.
    pub error_pct: Option<f64>,
    /// Day of the next one.
    pub next_done_on: Option<NaiveDate>,
    /// First day of tests made overdue.
    pub overdue_from: Option<NaiveDate>,
    /// Last day.
    pub overdue_to: Option<NaiveDate>,
    /// Production days among them.
    pub production_days_overdue: u64,
    /// Whether the error lies beyond the stated accuracy.
    pub beyond_accuracy: bool,
}

/// A change of one setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingChangeReport {
    /// Production day.
    pub date: NaiveDate,
    /// First test at the new value.
    pub tested_at: String,
    /// Station, or stations joined by ", ".
    pub station: String,
    /// Model.
    pub model: String,
    /// Id of the series.
    pub series: String,
    /// What changed.
    pub what: &'static str,
    /// Unit of the values.
    pub unit: &'static str,
    /// Before; `null`: none was set.
    pub from: Option<f64>,
    /// Since; `null`: none is set.
    pub to: Option<f64>,
    /// First tests at the new value.
    pub tests: u64,
    /// Last of them, where the value before came back the same day.
    pub back_after: Option<String>,
    /// The event that explains it.
    pub event: Option<String>,
    /// In words, for pages: before, since, and whether it was taken back.
    #[serde(skip)]
    pub words: [String; 3],
}

/// A setting that differs between stations.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingDiffersReport {
    /// Model.
    pub model: String,
    /// Id of a series of that test.
    pub series: String,
    /// What differs.
    pub what: &'static str,
    /// Value by station, in words.
    pub values: BTreeMap<String, String>,
}

/// Tests made at less than required.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingShortReport {
    /// Model.
    pub model: String,
    /// Id of the series.
    pub series: String,
    /// Station.
    pub station: String,
    /// What falls short.
    pub what: &'static str,
    /// Unit of the values.
    pub unit: &'static str,
    /// Required value.
    pub required: f64,
    /// Lowest value set.
    pub lowest: f64,
    /// First tests so made.
    pub tests: u64,
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
}

/// Something too good to be true.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TooGoodReport {
    /// Station.
    pub station: String,
    /// Id of the series; `null` where it is all of the station.
    pub series: Option<String>,
    /// First day, or time of the first unit.
    pub from: String,
    /// Last one.
    pub to: String,
    /// What it is, in a sentence.
    pub what: String,
    /// Machine name: `frozen`, `few_failures`, `spread_collapsed`, `open_lead`.
    pub kind: &'static str,
    /// Units concerned, where they are named.
    pub units: Option<u64>,
    /// What explains it, where something found does.
    pub explained_by: Option<String>,
}

/// A run of production days without a row of one station.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GapReport {
    /// Station.
    pub station: String,
    /// First day without rows.
    pub from: NaiveDate,
    /// Last one.
    pub to: NaiveDate,
    /// Production days of the plant among them.
    pub days: u64,
}

/// Check loads of one station.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckReport {
    /// Station.
    pub station: String,
    /// Production days without a check.
    pub days_without: u64,
    /// Checks with the wrong answer.
    pub wrong: Vec<WrongCheck>,
    /// What each load that must pass read over time.
    pub loads: Vec<LoadReport>,
}

/// A check with the wrong answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrongCheck {
    /// When.
    pub tested_at: String,
    /// The load.
    pub load: String,
    /// What it must give.
    pub expected: String,
    /// What it gave.
    pub found: String,
    /// Product tests since the last right answer.
    pub units_since_last_good: u64,
}

/// What one check load read over time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadReport {
    /// The load.
    pub load: String,
    /// What it should draw by its resistance and voltage, mA.
    pub expected_ma: Option<f64>,
    /// Days with a reading.
    pub days: u64,
    /// Median of its last 25 days, mA.
    pub x50_ma: Option<f64>,
    /// How its reading moved.
    pub shape: Option<&'static str>,
    /// p-value of the shape, adjusted over all loads.
    pub p_value: Option<f64>,
    /// Steps.
    pub steps: Vec<LoadStep>,
    /// Smallest step that would have been found, mA.
    pub smallest_step_ma: Option<f64>,
    /// Passes at a reading that does not belong to the load.
    pub odd: Vec<OddCheck>,
}

/// A step of a check load's reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadStep {
    /// First day at the new level.
    pub date: NaiveDate,
    /// Earliest day.
    pub date_low: NaiveDate,
    /// Latest day.
    pub date_high: NaiveDate,
    /// Size, per cent of the level before.
    pub size_pct: E,
}

/// A pass of a check load at an odd reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OddCheck {
    /// When.
    pub tested_at: String,
    /// Reading, mA.
    pub reading_ma: f64,
    /// What it usually reads, mA.
    pub usual_ma: f64,
}
