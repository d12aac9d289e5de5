//! Check loads: the tester's own record.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Serialize, Serializer};

use crate::analysis::units::leads::OpenLeads;
use crate::config::Config;
use crate::day::Day;
use crate::movement::check_record::{LoadRecord, right};
use crate::series::{CheckReading, Outcome, Pass};
use crate::words::time::as_time;

/// Check loads of one station.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StationChecks {
    /// Station.
    pub station: String,
    /// Production days without any check; in JSON how many.
    #[serde(serialize_with = "how_many")]
    pub days_without: Vec<Day>,
    /// Checks with the wrong answer.
    pub wrong: Vec<WrongCheck>,
    /// What each load that must pass read over time.
    pub loads: Vec<LoadRecord>,
}

/// A check with the wrong answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrongCheck {
    /// Seconds since 1970-01-01.
    #[serde(rename = "tested_at", serialize_with = "as_time")]
    pub time: i64,
    /// The load.
    pub load: String,
    /// What it must give, as in the config.
    pub expected: String,
    /// What it gave.
    pub found: Outcome,
    /// Units tested at the station from this answer to the next right one of this load: what it should have
    /// stopped.
    pub units_until_next_good: u64,
    /// Units tested there from the last right answer of this load to this one, of which it tells as little.
    pub units_since_last_good: u64,
    /// Time of that last right answer; `None` where there is none.
    #[serde(skip)]
    pub last_good: Option<i64>,
    /// Time of the next right answer.
    #[serde(skip)]
    pub next_good: Option<i64>,
}

fn how_many<S: Serializer>(days: &[Day], to: S) -> Result<S::Ok, S::Error> {
    days.len().serialize(to)
}

/// The record of every station's check loads, with what they read; `None` where the config names none.
#[must_use]
pub fn checks(
    pass: &Pass,
    records: Vec<LoadRecord>,
    leads: &OpenLeads,
    config: &Config,
) -> Option<Vec<StationChecks>> {
    if config.check_loads.is_empty() {
        return None;
    }
    // A station may have tested loads and no product; of one that is known from tallies alone nothing is told.
    let plant = &pass.plant;
    let told = |station: u16, days: &BTreeSet<Day>| {
        days.iter().any(|d| !plant.tallied_days.contains(&(station, *d)))
    };
    let stations: BTreeSet<u16> = plant
        .station_days
        .iter()
        .filter(|(station, days)| told(**station, days))
        .map(|(station, _)| *station)
        .chain(pass.plant.checks.iter().map(|c| c.station))
        .collect();
    let mut loads: BTreeMap<u16, Vec<LoadRecord>> = BTreeMap::new();
    for mut record in records {
        let leads_ma = match record.drive {
            Some(drive) if drive.hertz == 0.0 => Some(0.0),
            drive => drive.and_then(|drive| leads.at(record.station, drive)),
        };
        record.with_leads_ma = record.expected_ma.zip(leads_ma).map(|(load, own)| load.hypot(own));
        loads.entry(record.station).or_default().push(record);
    }
    let mut of_station = |station: u16| {
        let own: Vec<&CheckReading> =
            pass.plant.checks.iter().filter(|c| c.station == station).collect();
        let checked: BTreeSet<Day> = own.iter().map(|c| c.day).collect();
        let days = pass.plant.station_days.get(&station).into_iter().flatten();
        StationChecks {
            station: pass.plant.stations[usize::from(station)].clone(),
            days_without: days
                .filter(|d| {
                    !checked.contains(d) && !pass.plant.tallied_days.contains(&(station, **d))
                })
                .copied()
                .collect(),
            wrong: own.iter().filter_map(|check| wrong(pass, check, &own, config)).collect(),
            loads: loads.remove(&station).unwrap_or_default(),
        }
    };
    Some(stations.into_iter().map(&mut of_station).collect())
}

/// The check, where its answer is wrong.
fn wrong(
    pass: &Pass,
    check: &CheckReading,
    own: &[&CheckReading],
    config: &Config,
) -> Option<WrongCheck> {
    let expected = &config.check_loads.get(&check.load)?.expect;
    if right(check.outcome, expected) {
        return None;
    }
    let good = || {
        let same = own.iter().filter(|c| c.load == check.load && right(c.outcome, expected));
        same.map(|c| c.time)
    };
    let last_good = good().filter(|t| *t < check.time).max();
    let next_good = good().filter(|t| *t > check.time).min();
    let units = |from, to| units_between(pass, check.station, from, to);
    Some(WrongCheck {
        time: check.time,
        load: check.load.clone(),
        expected: expected.clone(),
        found: check.outcome,
        units_until_next_good: units(Some(check.time), next_good.unwrap_or(i64::MAX)),
        units_since_last_good: units(last_good, check.time),
        last_good,
        next_good,
    })
}

/// Units tested at a station after one time and before another, each once however often it was tested; those
/// without a serial count by their tests.
fn units_between(pass: &Pass, station: u16, from: Option<i64>, to: i64) -> u64 {
    let at = pass.tests().filter(|t| t.station == station);
    let (mut named, mut nameless) = (BTreeSet::new(), 0);
    for test in at.flat_map(|t| t.between(from, to).of_products()) {
        match test.unit() {
            Some(unit) => {
                named.insert((test.model(), unit));
            }
            None => nameless += u64::from(test.count()),
        }
    }
    named.len() as u64 + nameless
}
