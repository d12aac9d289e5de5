//! Findings in, verdicts out: the only room that compares with thresholds.
//!
//! Takes plain numbers that each file defines (no frames, no files) and gives verdicts, flags and actions,
//! each with its reasons as sentences. A room of its own so that pages, charts and `results.json` all read
//! the same decision, and none holds a threshold. Dates are `NaiveDate` in and out; currents mA; resistance
//! MΩ, in formulas kΩ; shares fractions of 1.

pub mod action;
pub mod action_kind;
pub mod band;
mod band_words;
pub mod calculated;
pub mod candidate;
pub mod cautions;
pub mod concern;
pub mod evidence;
pub mod expected;
mod explain;
pub mod gate;
pub mod group;
pub mod incident;
pub mod jump;
mod kind;
pub mod limit;
pub mod limit_study;
mod limit_words;
pub mod limits;
pub mod low_limit;
pub mod misread;
pub mod month;
pub mod moved;
pub mod physics;
pub mod plant;
pub mod plants;
pub mod reason;
pub mod recommend;
pub mod rising;
pub mod seen;
pub mod since;
pub mod suggest;
pub mod tester;
pub mod units;

pub use evidence::Evidence;
pub use limit::{Verdict, VerdictKind};

use crate::analysis::{Findings, Known};
use crate::config::Config;
use crate::series::Pass;

/// Everything decided.
#[derive(Debug)]
pub struct Verdicts {
    /// Tables that are probably misread: their series have no verdict.
    pub misread: Vec<misread::Misread>,
    /// The same, taken as they stand by the settings.
    pub believed: Vec<misread::Misread>,
    /// One entry per series of the pass.
    pub series: Vec<plant::SeriesVerdict>,
    /// Testers and their record.
    pub testers: tester::Testers,
    /// Models that share one limit, by the settings.
    pub limit_groups: Vec<plant::SharedLimit>,
    /// Models that several plants make, side by side.
    pub plants: Vec<plants::SideBySide>,
    /// Changes of the share of failures, in the order of the findings.
    pub jumps: Vec<jump::JudgedJump>,
    /// Units that somebody must look at.
    pub units: Vec<units::UnitToCheck>,
    /// What needs action, worst first.
    pub actions: Vec<action::Action>,
    /// The same by what did it: each action is part of one incident.
    pub incidents: Vec<incident::Incident>,
}

/// Judges the whole plant: every series, testers, jumps in failures; then which units are looked at, and what
/// needs action.
#[must_use]
pub fn judge(pass: &Pass, known: &Known<'_>, findings: &Findings, config: &Config) -> Verdicts {
    let (believed, misread): (Vec<_>, Vec<_>) =
        misread::misread(pass, config).into_iter().partition(|m| m.believed);
    let withheld = misread::series_of(&misread);
    let series = plant::judge_all(pass, known.movement, findings, &withheld, config);
    let testers = tester::judge(pass, known, findings, &series, config);
    let limit_groups = plant::limit_groups(pass, findings, &series, config);
    let plants = plants::side_by_side(pass, findings, &withheld);
    let mut jumps = jump::judge_all(pass, known, findings, config);
    jumps.retain(|j| !j.found.scope.holds_any_of(&withheld));
    let mut units = units::units_to_check(pass, findings, &withheld, config);
    let mut concerns = misread::concerns(&misread);
    concerns.extend(concern::concerns_of_series(pass, known.movement, findings, &series, config));
    concerns.extend(jump::concerns(&jumps));
    concerns.extend(units::concerns_of_units(&units));
    concerns.extend(testers.concerns.iter().cloned().map(concern::About::from));
    let concerns = action::worst_first(concerns);
    let actions = action::actions(&concerns);
    let (of_series, of_jumps) = (&series[..], &jumps[..]);
    let ground = incident::Ground {
        pass,
        known,
        findings,
        series: of_series,
        testers: &testers,
        jumps: of_jumps,
        config,
    };
    let incidents = ground.incidents(&concerns, &mut units);
    Verdicts {
        misread,
        believed,
        series,
        testers,
        limit_groups,
        plants,
        jumps,
        units,
        actions,
        incidents,
    }
}
