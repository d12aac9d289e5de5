//! What the command `jump` tells: the shape of its `results.json` (schema `leakdrift.jump/1`).

use chrono::NaiveDate;
use serde::Serialize;

use super::{First, JumpChart, Ledger, Made};
use crate::verdict::cautions;
use crate::verdict::jump::JudgedJump;

/// The schema named in every result file of the command `jump`.
pub const SCHEMA: &str = "leakdrift.jump/1";

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
    /// What is said before anything else.
    #[serde(flatten)]
    pub first: First,
    /// First production day.
    pub from: NaiveDate,
    /// Last production day.
    pub to: NaiveDate,
    /// Where rows went.
    pub rows: Ledger,
    /// Series looked at.
    pub series: Vec<String>,
    /// What was found.
    pub jumps: Vec<JudgedJump>,
    /// Charts of it.
    #[serde(skip)]
    pub jump_charts: Vec<JumpChart>,
    /// Who tests again until it passes: no jump, but it hides failures.
    pub habits: Vec<String>,
    /// Settings in force, as `name = value`.
    pub settings: Vec<String>,
    /// What a reader must know.
    pub notes: Vec<String>,
    /// Versions and inputs.
    pub made: Made,
    /// The cautions, as the pages print them.
    pub cautions: [&'static str; cautions::ALL.len()],
}
