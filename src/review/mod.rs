//! Everything read, found out and decided: the one serialisable value, and so the contract of `results.json`
//! (schema `leakdrift.results/1`).
//!
//! Takes what the rooms before it gave and asks nothing more. A room of its own so that pages, charts, lists
//! and machines read the same values. Fields marked `skip` are for people's pages only.

mod first;
pub mod jump_study;
pub mod limit_study;
mod new;
pub mod notes;
mod series;

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use crate::analysis::Findings;
use crate::analysis::month::yields::{Cost, Yield};
use crate::analysis::units::checks::StationChecks;
use crate::analysis::units::gaps::Gap;
use crate::analysis::units::settings::{SettingDiffers, SettingShort};
use crate::config::{Ceiling, SettingLine};
pub use crate::input::earlier::SCHEMA;
use crate::movement::Movement;
use crate::movement::stations::CannotTell;
pub use crate::series::Ledger;
use crate::series::{NotUsed, Register};
use crate::verdict::action::Action;
use crate::verdict::cautions;
use crate::verdict::group::GroupBand;
use crate::verdict::incident::{Incident, ToTrace};
use crate::verdict::jump::JudgedJump;
use crate::verdict::moved::Moved;
use crate::verdict::plant::{SeriesVerdict, SharedLimit};
use crate::verdict::plants::SideBySide;
use crate::verdict::since::Since;
use crate::verdict::tester::{CalibrationVerdict, SettingVerdict, StationVerdict, TooGoodVerdict};
use crate::verdict::units::{UnitToCheck, WhyCheck};

pub use first::First;
pub use new::Subject;
pub use series::{
    JudgedDrift, LimitsInForce, MovingAverage, NamedStep, ReviewedSeries, StrayLine, Strays,
};

/// The shape of `results.json`, as JSON Schema.
pub const RESULTS_SCHEMA: &str = include_str!("results.schema.json");

/// The whole review.
#[derive(Debug, Serialize)]
pub struct Review {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Name of the report.
    pub name: String,
    /// Month under review, `2026-10`.
    pub month: String,
    /// What is said before anything else.
    #[serde(flatten)]
    pub first: First,
    /// First and last production day.
    pub from: NaiveDate,
    /// Last production day.
    pub to: NaiveDate,
    /// Where rows went.
    pub rows: Ledger,
    /// One entry per series.
    pub series: Vec<ReviewedSeries>,
    /// One entry per station.
    pub stations: Vec<StationVerdict>,
    /// Models that share one limit.
    pub limit_groups: Vec<GroupBand>,
    /// Models that several plants make, side by side.
    pub plants: Vec<SideBySide>,
    /// The calibration register against the tests; `null` without a register.
    pub calibration: Option<Vec<CalibrationVerdict>>,
    /// Check loads, by station; `null` where none are named.
    pub checks: Option<Vec<StationChecks>>,
    /// Units somebody must look at, by reason.
    pub units_to_check: BTreeMap<WhyCheck, u64>,
    /// Units that open incidents ask to hold or trace, each once.
    pub units_to_trace: ToTrace,
    /// Changes of settings, with the event that explains each.
    pub settings_changes: Vec<SettingVerdict>,
    /// Settings that differ between stations at the end of the record.
    pub settings_differ: Vec<SettingDiffers>,
    /// Tests made at less than the settings require of the model.
    pub settings_short: Vec<SettingShort>,
    /// Production days without rows where a station's habit predicts some.
    pub gaps: Option<Vec<Gap>>,
    /// What is too good to be true.
    pub too_good: Vec<TooGoodVerdict>,
    /// Product and tester movements found once over all series.
    pub movement: Vec<Moved>,
    /// Changes of the share of failures.
    pub jumps: Option<Vec<JudgedJump>>,
    /// Their charts.
    #[serde(skip)]
    pub jump_charts: Vec<JumpChart>,
    /// Charts of the whole plant: paths below the report's folder, and what each answers.
    #[serde(skip)]
    pub charts: Vec<(String, String)>,
    /// Series that need attention, by index, worst first.
    #[serde(skip)]
    pub attention: Vec<usize>,
    /// First-pass yield by month, and of families and stations in the month under review.
    pub yields: Vec<Yield>,
    /// What good units that were rejected cost, by model and month.
    pub costs: Vec<Cost>,
    /// Who made the report; `null` where the settings do not say.
    pub made_by: Option<String>,
    /// When, in local time; `null` where nobody is named, or the report must be the same each time.
    pub made_at: Option<String>,
    /// Against an earlier report; `null` without one.
    pub since_report: Option<Since>,
    /// Why product and tester cannot be told apart; among the notes too.
    #[serde(skip)]
    pub cannot_tell: Option<CannotTell>,
    /// What a reader must know.
    pub notes: Vec<String>,
    /// Settings in force: name, value, unit.
    pub settings: Vec<SettingLine>,
    /// Ceilings of the user's own standard, by test.
    pub ceilings: Vec<Ceiling>,
    /// Versions and inputs.
    pub made: Made,
    /// What needs action, worst first.
    pub actions: Vec<Action>,
    /// The same by what did it, in groups, worst first.
    pub incidents: Vec<Incident>,
    /// The cautions, as the pages print them.
    pub cautions: [&'static str; cautions::ALL.len()],
    /// What moved, and the period of each series that is judged.
    #[serde(skip)]
    pub moved: Movement,
    /// What was found out.
    #[serde(skip)]
    pub findings: Findings,
    /// What was decided of each series.
    #[serde(skip)]
    pub decided: Vec<SeriesVerdict>,
    /// Models that share one limit, with their series.
    #[serde(skip)]
    pub shared_limits: Vec<SharedLimit>,
    /// Units somebody must look at.
    #[serde(skip)]
    pub units: Vec<UnitToCheck>,
    /// Whether something needs action before the next unit is tested.
    #[serde(skip)]
    pub stop: bool,
    /// Events and calibrations.
    #[serde(skip)]
    pub register: Register,
    /// Every row in `rows-not-used.csv`.
    #[serde(skip)]
    pub not_used: Vec<NotUsed>,
}

impl Review {
    /// All series by index, those that need most attention first.
    pub fn by_attention(&self) -> impl Iterator<Item = usize> {
        let others = (0..self.series.len()).filter(|n| !self.attention.contains(n));
        self.attention.iter().copied().chain(others)
    }

    /// The charts of the whole plant that could be drawn, of these names.
    pub fn plant_charts<'a>(
        &'a self,
        names: &'a [&str],
    ) -> impl Iterator<Item = (&'a str, &'a str)> {
        let path = |name: &&str| format!("charts/{name}.png");
        let found = move |name| self.charts.iter().find(|(p, _)| *p == path(name));
        names.iter().filter_map(found).map(|(path, question)| (path.as_str(), question.as_str()))
    }
}

/// A chart of a jump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JumpChart {
    /// Place of the jump in the list.
    pub jump: usize,
    /// Path below the report's folder.
    pub path: String,
    /// The question it answers.
    pub question: String,
}

/// How the report was made.
#[derive(Debug, Clone, Serialize)]
pub struct Made {
    /// Version of this program.
    pub version: String,
    /// Seed of every random draw.
    pub seed: u64,
    /// Files read.
    pub inputs: Vec<InputLine>,
    /// Settings, events, register and decisions.
    pub side_files: Vec<InputLine>,
    /// Files that could not be read, or not to their end.
    pub failures: Vec<String>,
}

/// One input file.
#[derive(Debug, Clone, Serialize)]
pub struct InputLine {
    /// Path as given, with `/`.
    pub path: String,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256.
    pub sha256: String,
}
