//! The limit study of one model as it is told: the shape of its `results.json` (schema `leakdrift.limits/1`).
//!
//! Each entry of `series` holds the keys of `leakdrift.results/1` for that series, and those of the study.

use chrono::NaiveDate;
use serde::Serialize;

use super::{First, Ledger, Made, ReviewedSeries, SettingLine};
use crate::config::Ceiling;
use crate::verdict::calculated::CalculatedBand;
use crate::verdict::candidate::Origin;
use crate::verdict::cautions;
use crate::verdict::group::GroupBand;
use crate::verdict::limit_study::LimitStudy;

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
    /// What is said before anything else.
    #[serde(flatten)]
    pub first: First,
    /// First and last production day of the files; `null` without files.
    pub from: Option<NaiveDate>,
    /// Last production day.
    pub to: Option<NaiveDate>,
    /// Where rows went, over all models; `null` without files.
    pub rows: Option<Ledger>,
    /// One entry per series of the model; empty where it has no history.
    pub series: Vec<StudyReport>,
    /// The band calculated from the circuit, for a model without history.
    pub calculated: Option<CalculatedBand>,
    /// Shared limits that the model belongs to.
    pub limit_groups: Vec<GroupBand>,
    /// What a reader must know.
    pub notes: Vec<String>,
    /// Settings in force.
    pub settings: Vec<SettingLine>,
    /// Ceilings of the user's own standard, by test.
    pub ceilings: Vec<Ceiling>,
    /// Versions and inputs.
    pub made: Made,
    /// The cautions, as the pages print them.
    pub cautions: [&'static str; cautions::ALL.len()],
}

/// The study of one series.
#[derive(Debug, Clone, Serialize)]
pub struct StudyReport {
    /// The series as a review shows it.
    #[serde(flatten)]
    pub series: ReviewedSeries,
    /// Its study.
    #[serde(flatten)]
    pub study: LimitStudy,
    /// File of the change note; `null` where no change is recommended.
    pub change_note: Option<String>,
}

impl StudyReport {
    /// The limit that its change note is for: the one asked for, else the one recommended.
    #[must_use]
    pub fn note_to(&self, note_for: Option<f64>) -> Option<f64> {
        let Some(to) = note_for else { return self.study.recommendation.to_ma };
        self.study.at(to).filter(|c| c.origins.contains(&Origin::Tried)).map(|_| to)
    }
}
