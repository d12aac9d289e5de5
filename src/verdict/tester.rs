//! What was found about testers and their record, judged: what is flagged, explained, and needs action.
//!
//! Takes findings, gives [`Testers`]: stations, calibrations, settings and what is too good in the shape of
//! `results.json`, and the concerns that follow, also from findings that need no verdict of their own (check
//! loads, gaps, settings that differ). One file for each: a station, the record, what somebody must do.
//!
//! A tester's step that something recorded explains needs action only in its month; the passes that it puts
//! in doubt stay until somebody decides.

pub mod concern;
pub mod record;
pub mod station;

pub use concern::{ConcernAt, TesterConcern};
pub use record::{CalibrationVerdict, SettingVerdict, TooGoodKind, TooGoodVerdict};
pub use station::{StationMove, StationVerdict};

use crate::analysis::units::happenings::{Happenings, of_station};
use crate::analysis::{Findings, Known};
use crate::config::Config;
use crate::day::{Day, month_of};
use crate::movement::stations::{CannotTell, TesterStep};
use crate::series::{Pass, SeriesName};
use crate::stats::estimate::Estimate;
use crate::verdict::moved::{Moved, moved};
use crate::verdict::plant::SeriesVerdict;

/// Days before or after a step of a tester, or a change of settings, in which what is recorded explains it.
const EXPLAINS: Day = 3;

/// All that was decided about testers.
#[derive(Debug, Clone, Default)]
pub struct Testers {
    /// Every station, by number.
    pub stations: Vec<StationVerdict>,
    /// Why product and tester cannot be told apart; `None` where they can.
    pub cannot_tell: Option<CannotTell>,
    /// The register against the tests; `None` without a register.
    pub calibrations: Option<Vec<CalibrationVerdict>>,
    /// Changes of settings, with the event that explains each.
    pub settings_changes: Vec<SettingVerdict>,
    /// What is too good to be true, in order of station, kind and time.
    pub too_good: Vec<TooGoodVerdict>,
    /// Testers and products that moved, each once.
    pub moved: Vec<Moved>,
    /// What of all this needs action.
    pub concerns: Vec<ConcernAt>,
}

/// What testers are judged from.
#[derive(Debug, Clone, Copy)]
struct Plant<'a> {
    pass: &'a Pass,
    names: &'a [SeriesName],
    known: &'a Known<'a>,
    findings: &'a Findings,
    series: &'a [SeriesVerdict],
    config: &'a Config,
}

/// Judges testers and their record; `series` are the verdicts of all series.
#[must_use]
pub fn judge(
    pass: &Pass,
    known: &Known<'_>,
    findings: &Findings,
    series: &[SeriesVerdict],
    config: &Config,
) -> Testers {
    let names = &pass.names();
    let plant = Plant { pass, names, known, findings, series, config };
    let mut testers = Testers {
        stations: station::judge(&plant),
        cannot_tell: known.movement.stations.as_ref().err().copied(),
        calibrations: record::calibrations(findings, config),
        settings_changes: record::settings(pass, findings, known.register),
        too_good: record::too_good(&plant),
        moved: moved(pass, known.movement, series),
        concerns: Vec::new(),
    };
    testers.concerns = concern::concerns(&plant, &testers);
    testers
}

/// Whether a change or an offset of a tester is certain and large enough to be flagged: the larger of 1 % and
/// half the stated accuracy.
fn large(size_pct: &Estimate, config: &Config) -> bool {
    let least = 1.0_f64.max(config.tester.accuracy_pct / 2.0);
    size_pct.value.abs() >= least && !size_pct.contains(0.0)
}

/// What is recorded of the time of a step.
fn recorded(happened: &Happenings, step: &TesterStep) -> Option<String> {
    happened.recorded_between(step.day_low - EXPLAINS, step.day, step.day_high + EXPLAINS)
}

/// Whether a step needs action: one with nothing recorded does, and so does any of the month under review.
fn needs_action(step: &TesterStep, explained: bool, month: Option<(i32, u32)>) -> bool {
    !explained || Some(month_of(step.day)) == month
}

impl Plant<'_> {
    /// What happened around a station.
    fn happened_at(&self, station: u16) -> Happenings {
        of_station(self.pass, station, &self.findings.recorded(self.known.register))
    }
}
