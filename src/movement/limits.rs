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
    /// The station; `None` where all that test the series changed on that day.
    pub station: Option<String>,
}

/// The limits of a series over time.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct LimitHistory {
    /// In force on the last day, by most units of the last change of each station.
    #[serde(flatten)]
    pub now: Limits,
    /// Since when at every station that has them.
    #[serde(serialize_with = "as_date_if_any")]
    pub since: Option<Day>,
    /// Changes in order; the first is the first day.
    #[serde(rename = "history")]
    pub changes: Vec<LimitsFrom>,
    /// In force at each station on its last day, by most units.
    #[serde(skip)]
    pub at_stations: BTreeMap<u16, Limits>,
    /// Those of most stations over time, for what knows no stations.
    #[serde(skip)]
    pub of_most: Vec<LimitsFrom>,
}

/// The history of a series' limits: per station and day those of most units; runs of equal days are one
/// entry, one without a station where all stations changed on that day.
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
    let started = |station: u16| counts[&station].keys().next().copied();
    let since = runs.iter().filter(|(day, limits, station)| {
        let last = runs.iter().rev().find(|r| r.2 == *station);
        *limits == now && last.is_some_and(|r| r.0 == *day)
    });
    // A station that came later with what was in force changed nothing.
    let changed = since.clone().filter(|r| started(r.2) != Some(r.0)).map(|r| r.0).max();
    let since = changed.or_else(|| since.map(|r| r.0).min());
    let mut changes: Vec<LimitsFrom> = Vec::new();
    let mut of_most: Vec<LimitsFrom> = Vec::new();
    let mut set: BTreeMap<u16, Limits> = BTreeMap::new();
    for together in runs.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
        let (day, limits, _) = together[0];
        let known = changes.iter().any(|c| c.limits == limits);
        let own: Vec<u16> = together.iter().map(|r| r.2).collect();
        let at_start = |station: &u16| started(*station) == Some(day);
        let news: Vec<u16> = own.iter().copied().filter(|s| !(known && at_start(s))).collect();
        // All that test by then; of those that begin with the series, whoever begins later with the same.
        let others = counts.keys().filter(|s| !own.contains(s));
        let first = changes.is_empty();
        let alone = others.clone().any(|s| {
            let begins = runs.iter().find(|r| r.2 == *s);
            if first {
                begins.is_none_or(|r| r.1 != limits)
            } else {
                started(*s).is_some_and(|began| began <= day)
            }
        });
        set.extend(own.iter().map(|s| (*s, limits)));
        if alone {
            let name = |s: &u16| Some(stations[usize::from(*s)].clone());
            let each = |s: &u16| LimitsFrom { day, limits, station: name(s) };
            changes.extend(news.iter().map(each));
        } else if !news.is_empty() {
            changes.push(LimitsFrom { day, limits, station: None });
        }
        let votes = |l: &Limits| set.values().filter(|v| *v == l).count();
        let most = set.values().max_by_key(|l| (votes(l), **l == limits)).copied();
        if let Some(limits) = most.filter(|l| of_most.last().is_none_or(|c| c.limits != *l)) {
            of_most.push(LimitsFrom { day, limits, station: None });
        }
    }
    LimitHistory { now, since, changes, of_most, at_stations }
}
