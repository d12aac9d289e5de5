//! What happened when: recorded events, calibrations, changes of settings, new lots; named at steps.
//!
//! A step or a jump is named by what is recorded inside its dates, likeliest first: events, settings,
//! calibrations; lots last and for steps of products only, since there is a new one in most intervals.

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::units::calibration::Covered;
use crate::analysis::units::settings::{Setting, SettingChange, SettingsRecord};
use crate::day::{Day, date_of};
use crate::movement::SeriesMovement;
use crate::movement::drift::{DriftStep, Event, name_events};
use crate::series::{Pass, Register};

/// What happened around one series or station, by how likely it is to be the cause of a step: somebody wrote it
/// down; a setting; a calibration; a new lot, of which there is one in most intervals.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Happenings {
    tiers: [Vec<Event>; 4],
}

/// What was recorded about the whole plant.
#[derive(Debug, Clone, Copy)]
pub struct Recorded<'a> {
    /// Events.
    pub register: &'a Register,
    /// Settings and their changes.
    pub settings: &'a SettingsRecord,
    /// Calibrations; `None` without a register of them.
    pub calibrations: Option<&'a [Covered]>,
}

/// What happened around a series.
#[must_use]
pub fn of_series(
    pass: &Pass,
    n: usize,
    moved: &SeriesMovement,
    recorded: &Recorded<'_>,
) -> Happenings {
    let name = |s: &u16| pass.plant.stations[usize::from(*s)].as_str();
    let used: BTreeSet<&str> = moved.used_at.iter().map(name).collect();
    let key = &pass.series[n].key;
    let settings = recorded.settings.changes.iter().filter(|c| {
        // A change of limit moves no reading, and the share of failures is counted at one limit.
        let of = &pass.series[c.series.index].key;
        (&of.model, of.test) == (&key.model, key.test) && !c.what.is_limit()
    });
    Happenings {
        tiers: [
            recorded
                .register
                .events_about(None, &key.names())
                .map(|e| event(e.day, e.what.clone()))
                .collect(),
            settings.map(|c| event(c.day, setting_words(c))).collect(),
            calibrated(recorded.calibrations, |s| used.contains(&s)),
            new_lots(pass, n),
        ],
    }
}

/// What happened around a station.
#[must_use]
pub fn of_station(pass: &Pass, station: u16, recorded: &Recorded<'_>) -> Happenings {
    let name = &pass.plant.stations[usize::from(station)];
    let settings = recorded
        .settings
        .changes
        .iter()
        .filter(|c| c.stations.contains(name))
        .filter(|c| matches!(c.what, Setting::Voltage | Setting::Frequency));
    Happenings {
        tiers: [
            recorded
                .register
                .events_about(Some(name), &[])
                .filter(|e| e.model.is_empty())
                .map(|e| event(e.day, e.what.clone()))
                .collect(),
            settings.map(|c| event(c.day, setting_words(c))).collect(),
            calibrated(recorded.calibrations, |s| s == name),
            Vec::new(),
        ],
    }
}

impl Happenings {
    /// For each step what happened inside its date interval: the likeliest kind, the nearest of these.
    #[must_use]
    pub fn name(&self, steps: &[DriftStep]) -> Vec<Option<String>> {
        let mut named = vec![None; steps.len()];
        for tier in &self.tiers {
            for (slot, found) in named.iter_mut().zip(name_events(steps, tier)) {
                *slot = slot.take().or(found);
            }
        }
        named
    }

    /// Whether something recorded explains that a product moved between two days: an event or a changed setting, and
    /// `calibrated` a calibration too.
    #[must_use]
    pub fn explain(&self, low: Day, high: Day, calibrated: bool) -> bool {
        let [events, settings, calibrations, _lots] = &self.tiers;
        let calibrations = calibrations.iter().filter(|_| calibrated);
        events.iter().chain(settings).chain(calibrations).any(|e| (low..=high).contains(&e.day))
    }

    /// What somebody recorded or set from one day to another, and on which day: the likeliest kind, the nearest to
    /// `day`. New lots are left out: there is one in most intervals.
    #[must_use]
    pub fn recorded_between(&self, low: Day, day: Day, high: Day) -> Option<String> {
        let [recorded @ .., _lots] = &self.tiers;
        recorded.iter().find_map(|tier| {
            tier.iter()
                .filter(|e| (low..=high).contains(&e.day))
                .min_by_key(|e| (e.day - day).abs())
                .map(|e| format!("{}, on {}", e.what, date_of(e.day)))
        })
    }
}

fn event(day: Day, what: String) -> Event {
    Event { day, what }
}

fn setting_words(c: &SettingChange) -> String {
    let value =
        |v: Option<f64>| v.map_or_else(|| "none".to_owned(), |v| format!("{v} {}", c.what.unit()));
    let (from, to) = (value(c.from), value(c.to));
    format!("{} {from} → {to} at {}", c.what.words(), c.stations.join(", "))
}

fn calibrated(covered: Option<&[Covered]>, at: impl Fn(&str) -> bool) -> Vec<Event> {
    let of_station = covered.unwrap_or_default().iter().filter(|c| at(&c.station));
    of_station
        .map(|c| {
            let found = c.error_pct.map_or_else(String::new, |e| format!(", error found {e:+} %"));
            event(c.done_on, format!("calibration of {} at {}{found}", c.instrument, c.station))
        })
        .collect()
}

/// First day of every lot but those of the first day.
fn new_lots(pass: &Pass, n: usize) -> Vec<Event> {
    let outcomes = &pass.series[n].outcomes;
    let mut first: BTreeMap<&str, Day> = BTreeMap::new();
    for o in outcomes {
        if let Some(lot) = pass.plant.factor_sets[o.factors as usize].first()
            && !lot.is_empty()
        {
            first.entry(lot).or_insert(o.day);
        }
    }
    let begins = outcomes.first().map_or(Day::MIN, |o| o.day);
    let mut events: Vec<Event> = first
        .into_iter()
        .filter(|(_, day)| *day > begins)
        .map(|(lot, day)| event(day, format!("first unit of lot {lot}")))
        .collect();
    events.sort_by(|a, b| (a.day, &a.what).cmp(&(b.day, &b.what)));
    events
}
