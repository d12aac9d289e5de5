//! The plant's record, judged: calibrations, changes of settings, and what is too good to be true.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{EXPLAINS, Plant};
use crate::analysis::Findings;
use crate::analysis::units::calibration::Covered;
use crate::analysis::units::doubt::Doubt;
use crate::analysis::units::settings::SettingChange;
use crate::analysis::units::strays::Lies;
use crate::analysis::units::too_good::{Collapsed, FewFailures, Frozen};
use crate::config::Config;
use crate::day::{Day, day_of};
use crate::series::{Event, Pass, Register};
use crate::words::time::{day_of_time, day_text, month_text, time_text};
use crate::words::{Wording, count, three_digits};

/// A calibration against the tests made after it was due.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CalibrationVerdict {
    /// The calibration.
    #[serde(flatten)]
    pub covered: Covered,
    /// Whether the error found lies beyond the stated accuracy.
    pub beyond_accuracy: bool,
}

/// The register, judged; `None` without one.
pub(super) fn calibrations(
    findings: &Findings,
    config: &Config,
) -> Option<Vec<CalibrationVerdict>> {
    let beyond = |c: &Covered| c.error_pct.is_some_and(|e| e.abs() > config.tester.accuracy_pct);
    let judged =
        |c: &Covered| CalibrationVerdict { beyond_accuracy: beyond(c), covered: c.clone() };
    Some(findings.calibrations.as_ref()?.iter().map(judged).collect())
}

/// A change of a setting, and the event that explains it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingVerdict {
    /// The change.
    #[serde(flatten)]
    pub change: SettingChange,
    /// The event recorded about that day; `None`: nothing explains the change.
    pub event: Option<String>,
}

/// Every change of a setting, judged.
pub(super) fn settings(
    pass: &Pass,
    findings: &Findings,
    register: &Register,
) -> Vec<SettingVerdict> {
    let explains = |c: &SettingChange| {
        let near = |e: &&Event| (e.day - c.day).abs() <= EXPLAINS;
        let about = |station: &String| {
            let events =
                register.events_about(Some(station), &pass.series[c.series.index].key.names());
            let nearest = events.filter(near).min_by_key(|e| (e.day - c.day).abs());
            nearest.map(|e| e.what.clone())
        };
        c.stations.iter().find_map(about)
    };
    let judged = |c: &SettingChange| SettingVerdict { event: explains(c), change: c.clone() };
    findings.settings.changes.iter().map(judged).collect()
}

/// What kind of thing is too good to be true; in the order of their names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TooGoodKind {
    /// A station that finds far fewer failures than the others predict.
    FewFailures,
    /// A display that stood still.
    Frozen,
    /// Passes at the reading of an unconnected lead.
    OpenLead,
    /// A spread that collapsed.
    SpreadCollapsed,
}

/// Something too good to be true.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TooGoodVerdict {
    /// Station.
    pub station: String,
    /// Id of the series; `None` where it is all of the station.
    pub series: Option<String>,
    /// First day, or time of the first unit.
    pub from: String,
    /// Last one.
    pub to: String,
    /// What it is, in a sentence.
    #[serde(rename = "what")]
    pub sentence: String,
    /// Its kind.
    pub kind: TooGoodKind,
    /// Units concerned, where they are named.
    pub units: Option<u64>,
    /// What explains it, where something found does.
    pub explained_by: Option<String>,
    /// First and last production day.
    #[serde(skip)]
    pub days: (Day, Day),
}

impl TooGoodVerdict {
    /// Whether somebody must act on it: passes with an open lead have an action of their own, worse than this one.
    #[must_use]
    pub fn needs_action(&self) -> bool {
        self.kind != TooGoodKind::OpenLead && self.explained_by.is_none()
    }
}

/// All that is too good, in order of station, kind and time.
pub(super) fn too_good(plant: &Plant<'_>) -> Vec<TooGoodVerdict> {
    let found = &plant.findings.too_good;
    let mut all: Vec<TooGoodVerdict> = Vec::new();
    all.extend(found.frozen.iter().filter_map(|f| frozen(plant, f)));
    all.extend(found.few_failures.iter().map(|f| few_failures(plant, f)));
    all.extend(found.collapsed.iter().map(|f| collapsed(plant, f)));
    all.extend(open_leads(plant));
    all.sort_by(|a, b| {
        (&a.station, a.kind, &a.from, &a.series).cmp(&(&b.station, b.kind, &b.from, &b.series))
    });
    all
}

fn frozen(plant: &Plant<'_>, f: &Frozen) -> Option<TooGoodVerdict> {
    let (first, last) = (f.units.first()?.time, f.units.last()?.time);
    let station = plant.station(f.station);
    let units = f.units.len() as u64;
    Some(TooGoodVerdict {
        sentence: format!(
            "{} of {} in a row read {} at {station} on {}: the display may have stood still.",
            count(units, "unit"),
            plant.names[f.series].model,
            plant.wording(f.series).current(f.reading_ma),
            day_of_time(first)
        ),
        station,
        series: Some(plant.names[f.series].id.clone()),
        from: time_text(first),
        to: time_text(last),
        days: (f.units.first()?.day, f.units.last()?.day),
        kind: TooGoodKind::Frozen,
        units: Some(units),
        explained_by: None,
    })
}

fn few_failures(plant: &Plant<'_>, f: &FewFailures) -> TooGoodVerdict {
    let station = plant.station(f.station);
    let (from, to) = (day_text(f.days.0), day_text(f.days.1));
    let reads_low = |d: &&Doubt| d.station == f.station && d.from <= f.days.1 && f.days.0 <= d.to;
    let doubt = plant.findings.doubts.iter().find(reads_low);
    TooGoodVerdict {
        sentence: format!(
            "{station} failed {} of {} from {from} to {to}, where the other stations predict {}.",
            count(f.failed, "unit"),
            f.series.map_or("all models", |n| &plant.names[n].model),
            three_digits(f.predicted)
        ),
        station,
        series: f.series.map(|n| plant.names[n].id.clone()),
        from,
        to,
        days: f.days,
        kind: TooGoodKind::FewFailures,
        units: None,
        explained_by: doubt
            .map(|d| format!("it read {} % too low then", three_digits(d.raised_pct.value))),
    }
}

fn collapsed(plant: &Plant<'_>, f: &Collapsed) -> TooGoodVerdict {
    let station = plant.station(f.station);
    let say = plant.wording(f.series);
    TooGoodVerdict {
        sentence: format!(
            "The middle half of {} at {station} spans {} in {}, and {} in the three months before, while other stations show no such change.",
            plant.names[f.series].model,
            say.estimate(f.width_ma),
            month_text(f.month),
            say.estimate(f.before_ma)
        ),
        station,
        series: Some(plant.names[f.series].id.clone()),
        from: day_text(f.days.0),
        to: day_text(f.days.1),
        days: f.days,
        kind: TooGoodKind::SpreadCollapsed,
        units: None,
        explained_by: None,
    }
}

/// Passes at the open-lead reading, by series and station.
fn open_leads(plant: &Plant<'_>) -> Vec<TooGoodVerdict> {
    let mut all = Vec::new();
    for (name, finding) in plant.names.iter().zip(&plant.findings.series) {
        let mut by_station: BTreeMap<u16, Vec<i64>> = BTreeMap::new();
        for unit in finding.strays.units.iter().filter(|u| u.lies == Lies::OpenLead) {
            by_station.entry(unit.test.station).or_default().push(unit.test.time);
        }
        for (station, times) in by_station {
            let (Some(first), Some(last)) = (times.iter().min(), times.iter().max()) else {
                continue;
            };
            let station = plant.station(station);
            let units = times.len() as u64;
            all.push(TooGoodVerdict {
                sentence: format!(
                    "{} of {} passed at {station} at the reading of an unconnected lead.",
                    count(units, "unit"),
                    name.model
                ),
                station,
                series: Some(name.id.clone()),
                from: time_text(*first),
                to: time_text(*last),
                days: (day_of(*first, 0), day_of(*last, 0)),
                kind: TooGoodKind::OpenLead,
                units: Some(units),
                explained_by: None,
            });
        }
    }
    all
}

impl Plant<'_> {
    fn station(&self, station: u16) -> String {
        self.pass.plant.stations[usize::from(station)].clone()
    }

    /// How currents of a series are printed.
    fn wording(&self, series: usize) -> &Wording {
        &self.series[series].wording
    }
}
