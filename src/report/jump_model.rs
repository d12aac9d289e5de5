//! A change of the share of failures, in the shape of `jumps` in `results.json`, and the page of the command
//! `jump` (schema `leakdrift.jump/1`).

use chrono::NaiveDate;
use serde::Serialize;

use super::model::{E, Made};
use crate::series::Ledger;

/// The schema named in every result file of the command `jump`.
pub const SCHEMA: &str = "leakdrift.jump/1";

/// The parts of a change; they add up to it.
#[derive(Debug, Clone, Serialize)]
pub struct PartsReport {
    /// More units of what failed more often before already.
    pub mix: E,
    /// Another limit.
    pub limit: E,
    /// Readings moved as a whole.
    pub shift: E,
    /// A separate group over the limit.
    pub strays: E,
    /// Breakdowns.
    pub breakdown: E,
    /// The rest.
    pub other: E,
    /// The change itself.
    pub rise: E,
    /// The factor whose mix changed.
    pub mix_of: Option<String>,
}

/// What explains a part of a change.
#[derive(Debug, Clone, Serialize)]
pub struct CauseReport {
    /// Its factor; both joined by ` + ` where it is a pair.
    pub factor: String,
    /// Its level, joined in the same way.
    pub level: String,
    /// Its failures.
    pub failures: u64,
    /// Its units.
    pub units: u64,
    /// Failures expected of them by the share before.
    pub expected: f64,
    /// How many times the share before.
    pub ratio: Option<E>,
    /// Share of all failures beyond those expected.
    pub share_of_excess: f64,
    /// Odds against units of the same series and day; `null` where none stood beside it.
    pub odds_within_days: Option<E>,
    /// Failures of units of the same series and day; `null` where none stood beside it.
    pub others_failed: Option<u64>,
    /// p-value, adjusted for all levels asked.
    pub p_value: f64,
    /// Its units before.
    pub units_before: u64,
    /// Levels that were used together with it.
    pub same_units: Vec<String>,
    /// Levels with the same failures that fit nearly as well.
    pub rivals: Vec<String>,
}

/// How failures lie in time, and their retests.
#[derive(Debug, Clone, Serialize)]
pub struct TracesReport {
    /// Failures looked at.
    pub failures: u64,
    /// In runs of three or more within ten minutes at one station.
    pub in_runs: u64,
    /// Days with a failure.
    pub days_with_failures: u64,
    /// Production days.
    pub days: u64,
    /// Tested again.
    pub retested: u64,
    /// Passed in the end.
    pub then_passed: u64,
    /// Of these, at another station.
    pub passed_elsewhere: u64,
}

/// One change of the share of failures.
#[derive(Debug, Clone, Serialize)]
pub struct JumpReport {
    /// Where, for people.
    pub scope: String,
    /// `series`, `station` or `overall`.
    pub scope_kind: &'static str,
    /// Identity of the series, where it is one.
    pub series: Option<String>,
    /// Which failures: `failed` (over limit, under limit and breakdown together) or one of them.
    pub outcome: &'static str,
    /// First day of the new share.
    pub date: NaiveDate,
    /// First day that the data allow.
    pub date_low: NaiveDate,
    /// Last day that the data allow.
    pub date_high: NaiveDate,
    /// First day of the earlier share again.
    pub ended: Option<NaiveDate>,
    /// Share before.
    pub before: E,
    /// Share since.
    pub after: E,
    /// Units and failures before.
    pub counts_before: [u64; 2],
    /// Units and failures since.
    pub counts_after: [u64; 2],
    /// p-value.
    pub p_value: f64,
    /// Dispersion of daily counts.
    pub dispersion: f64,
    /// Whether more fail, clearly, by enough, and until lately.
    pub flagged: bool,
    /// Whether the change is large enough to matter.
    pub material: bool,
    /// Whether an even change describes it better.
    pub gradual: bool,
    /// Whether the date was given.
    pub date_given: bool,
    /// Outcomes that changed with it.
    pub outcomes: Vec<&'static str>,
    /// The change in parts.
    pub parts: Option<PartsReport>,
    /// What explains it, the strongest first.
    pub causes: Vec<CauseReport>,
    /// Levels that came with the date and that every unit since had: not to be told from the date.
    pub coincides: Vec<CauseReport>,
    /// Failures beyond those expected.
    pub excess: f64,
    /// Share of them that no cause explains.
    pub unexplained_share: f64,
    /// Factors of which no level stands out.
    pub not_causes: Vec<String>,
    /// Failures in time, and their retests.
    pub traces: TracesReport,
    /// The paragraph, as sentences.
    pub sentences: Vec<String>,
    /// What to check next.
    pub next_step: String,
    /// Charts: path and question.
    #[serde(skip)]
    pub charts: Vec<(String, String)>,
}

/// The page of the command `jump`.
#[derive(Debug, Clone, Serialize)]
pub struct JumpPage {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Name of the report.
    pub name: String,
    /// Model looked at; all where `null`.
    pub model: Option<String>,
    /// Date asked about; found where `null`.
    pub since: Option<NaiveDate>,
    /// First production day.
    pub from: NaiveDate,
    /// Last production day.
    pub to: NaiveDate,
    /// Where rows went.
    pub rows: Ledger,
    /// Series looked at.
    pub series: Vec<String>,
    /// What was found.
    pub jumps: Vec<JumpReport>,
    /// Who tests again until it passes: no jump, but it hides failures.
    pub habits: Vec<String>,
    /// Settings in force, as `name = value`.
    pub settings: Vec<String>,
    /// What a reader must know.
    pub notes: Vec<String>,
    /// Versions and inputs.
    pub made: Made,
}
