//! Days without rows where a station's habit predicts some: an export that is missing, or a station that stood.
//!
//! A gap is a run of the plant's production days without a row of a station, rarer by its own habit (30
//! days to either side) than 1 in 100 over all stations and days.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::day::{Day, as_date};
use crate::series::Pass;

/// Days of the plant to each side from which a station's habit is taken.
const HABIT_DAYS: usize = 30;
/// Chance that a line of stations standing at random shows any gap so long, over all stations and days.
const BY_CHANCE: f64 = 0.01;

/// A run of production days without a row of one station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Gap {
    /// Station.
    pub station: String,
    /// First day without rows.
    #[serde(serialize_with = "as_date")]
    pub from: Day,
    /// Last one.
    #[serde(serialize_with = "as_date")]
    pub to: Day,
    /// Production days of the plant among them.
    pub days: u64,
}

/// Gaps of every station, in order of station and day.
#[must_use]
pub fn gaps(pass: &Pass) -> Vec<Gap> {
    let mut days_of: BTreeMap<&str, BTreeSet<Day>> = BTreeMap::new();
    for (station, days) in &pass.plant.station_days {
        days_of.entry(pass.plant.plant_of(*station)).or_default().extend(days);
    }
    let days_of: BTreeMap<&str, Vec<Day>> =
        days_of.into_iter().map(|(plant, days)| (plant, days.into_iter().collect())).collect();
    let of = |station: u16| &days_of[pass.plant.plant_of(station)];
    let chances: usize = pass.plant.station_days.keys().map(|s| of(*s).len()).sum();
    pass.plant
        .station_days
        .iter()
        .flat_map(|(&station, days)| {
            let name = &pass.plant.stations[usize::from(station)];
            of_station(name, of(station), days, BY_CHANCE / chances.max(1) as f64)
        })
        .collect()
}

/// Runs of the plant's production days, between the first and the last of a station, on which it has no row
/// though its habit makes that rarer than `rarest`.
///
/// - Habit: share of the plant's 30 days to either side of the run on which the station worked, one day added on
///   either outcome. Chance of a run of `k` days: `(1 - habit)^k`.
/// - `plant`: ascending, each once.
#[must_use]
pub fn of_station(station: &str, plant: &[Day], own: &BTreeSet<Day>, rarest: f64) -> Vec<Gap> {
    let (Some(first), Some(last)) = (own.first(), own.last()) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut n = plant.partition_point(|d| d < first);
    while n < plant.len() && plant[n] <= *last {
        if own.contains(&plant[n]) {
            n += 1;
            continue;
        }
        // The last day is one of the station's own, so the run ends before it.
        let end = (n..plant.len()).find(|&k| own.contains(&plant[k])).unwrap_or(plant.len());
        let beside = plant[n.saturating_sub(HABIT_DAYS)..n]
            .iter()
            .chain(&plant[end..(end + HABIT_DAYS).min(plant.len())])
            .filter(|d| (first..=last).contains(d));
        let (mut days, mut worked) = (0.0, 0.0);
        for day in beside {
            days += 1.0;
            worked += f64::from(u8::from(own.contains(day)));
        }
        let away = 1.0 - (worked + 1.0) / (days + 2.0);
        let length = end - n;
        if away.powf(length as f64) < rarest {
            found.push(Gap {
                station: station.to_owned(),
                from: plant[n],
                to: plant[end - 1],
                days: length as u64,
            });
        }
        n = end;
    }
    found
}
