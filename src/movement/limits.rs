//! The limits in force over time: a change of limit is an event inside a series, not another series.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::day::{Day, as_date, as_date_if_any};
use crate::series::{Limits, Series};

/// Limits from a day on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LimitsFrom {
    /// First day.
    #[serde(rename = "from", serialize_with = "as_date")]
    pub day: Day,
    /// The limits.
    #[serde(flatten)]
    pub limits: Limits,
    /// The station, where the others changed on another day.
    pub station: Option<String>,
}

/// The limits of a series over time.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct LimitHistory {
    /// In force on the last day, by most units of the last change of each station.
    #[serde(flatten)]
    pub now: Limits,
    /// Since when.
    #[serde(serialize_with = "as_date_if_any")]
    pub since: Option<Day>,
    /// Changes in order; the first is the first day.
    #[serde(rename = "history")]
    pub changes: Vec<LimitsFrom>,
    /// In force at each station on its last day, by most units.
    #[serde(skip)]
    pub at_stations: BTreeMap<u16, Limits>,
}

/// The history of a series' limits: per station and day those of most units; runs of equal days are one
/// entry, and stations that changed together are one entry without a station.
pub fn history(series: &Series, stations: &[String]) -> LimitHistory {
    let mut counts: BTreeMap<u16, BTreeMap<Day, BTreeMap<Limits, u64>>> = BTreeMap::new();
    for o in &series.outcomes {
        *counts
            .entry(o.station)
            .or_default()
            .entry(o.day)
            .or_default()
            .entry(o.limits)
            .or_default() += u64::from(o.count);
    }
    let mut runs: Vec<(Day, Limits, u16)> = Vec::new();
    let mut last: BTreeMap<Limits, u64> = BTreeMap::new();
    let mut at_stations = BTreeMap::new();
    for (station, days) in &counts {
        let mut current: Option<Limits> = None;
        let mut units = 0;
        for (day, limits) in days {
            let Some((most, n)) = limits.iter().max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)))
            else {
                continue;
            };
            if current != Some(*most) {
                runs.push((*day, *most, *station));
                current = Some(*most);
                units = 0;
            }
            units += n;
        }
        if let Some(limits) = current {
            *last.entry(limits).or_default() += units;
            at_stations.insert(*station, limits);
        }
    }
    let now = last
        .iter()
        .max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)))
        .map(|(l, _)| *l)
        .unwrap_or_default();
    runs.sort_unstable();
    let first_day = runs.first().map(|r| r.0);
    let mut changes: Vec<LimitsFrom> = Vec::new();
    for (day, limits, station) in &runs {
        // A station's first day is no change of limit unless its limits were not in force elsewhere.
        let is_start = counts[station].keys().next() == Some(day);
        let known_before = changes.iter().any(|c| c.limits == *limits && c.station.is_none());
        if is_start && known_before {
            continue;
        }
        if changes.iter().any(|c| c.day == *day && c.limits == *limits && c.station.is_none()) {
            continue;
        }
        let alone = Some(*day) != first_day && known_before;
        let station = alone.then(|| stations[usize::from(*station)].clone());
        changes.push(LimitsFrom { day: *day, limits: *limits, station });
    }
    let since =
        changes.iter().filter(|c| c.limits == now && c.station.is_none()).map(|c| c.day).max();
    LimitHistory { now, since, changes, at_stations }
}
