//! First-pass yield by model family, station and month, and what rejected good units cost.
//!
//! Takes outcomes of first tests, completed ones alone, and what became of units that failed first. A good unit rejected
//! is one that failed first and passed a later test of the same series: nothing was repaired that the record shows.
//! Intervals pay for days that vary more than single units would, by the dispersion of daily counts.

use std::collections::BTreeMap;

use serde::{Serialize, Serializer};

use crate::config::Config;
use crate::day::{Day, month_of};
use crate::series::{Pass, SeriesKey};
use crate::stats::estimate::Estimate;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};
use crate::words::time::{as_month, month_text};

/// What a yield is of.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum YieldOf {
    /// The whole line in a month.
    Month((i32, u32)),
    /// A model family in the month under review.
    Family(String),
    /// A station in the month under review.
    Station(String),
}

impl YieldOf {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Month(month) => month_text(*month),
            Self::Family(name) | Self::Station(name) => name.clone(),
        }
    }

    /// Machine name of its kind.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Month(_) => "month",
            Self::Family(_) => "family",
            Self::Station(_) => "station",
        }
    }
}

/// Two keys: `what` and `name`.
impl Serialize for YieldOf {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeStruct;
        let mut keys = to.serialize_struct("YieldOf", 2)?;
        keys.serialize_field("what", self.kind())?;
        keys.serialize_field("name", &self.name())?;
        keys.end()
    }
}

/// First-pass yield: completed first tests that passed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Yield {
    /// Of what.
    #[serde(flatten)]
    pub of: YieldOf,
    /// Completed first tests.
    pub units: u64,
    /// Of these, passed.
    pub passed: u64,
    /// Their share, with its interval.
    pub share: Option<Estimate>,
}

/// What good units that were rejected cost in a month of a model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cost {
    /// Model.
    pub model: String,
    /// Month of the first test.
    #[serde(serialize_with = "as_month")]
    pub month: (i32, u32),
    /// Units that failed first and passed a later test of the same series.
    pub good_rejected: u64,
    /// Further tests of units that failed first.
    pub retests: u64,
    /// Minutes from the first to the last test of these units, where both lie in one shift.
    pub minutes: f64,
    /// The same in money, where `minute_cost` says what a minute is worth.
    pub money: Option<f64>,
}

/// The family of a model: the first pattern of the settings that it fits, else its own name.
#[must_use]
pub fn family_of(model: &str, config: &Config) -> String {
    let fits = |pattern: &str| {
        glob::Pattern::new(pattern).is_ok_and(|p| p.matches(model)) || pattern == model
    };
    let found = config.family.iter().find(|(pattern, _)| fits(pattern));
    found.map_or_else(|| model.to_owned(), |(_, family)| family.clone())
}

/// The family of a series' model, with its plant where there is more than one.
fn family_at(key: &SeriesKey, config: &Config) -> String {
    let own = key.own_model();
    let family = family_of(own, config);
    match &key.plant {
        Some(at) if key.model != own => format!("{family} ({})", at.plant),
        _ => family,
    }
}

/// Yields of every month, and of families and stations in the month under review.
#[must_use]
pub fn yields(pass: &Pass, month: (i32, u32), config: &Config) -> Vec<Yield> {
    let mut days: BTreeMap<YieldOf, BTreeMap<Day, Counted>> = BTreeMap::new();
    let mut count = |of: YieldOf, day: Day, n: u64, failed: bool| {
        let counted = days.entry(of).or_default().entry(day).or_default();
        counted.units += n;
        counted.failed += if failed { n } else { 0 };
    };
    for series in &pass.series {
        let family = family_at(&series.key, config);
        for o in series.outcomes.iter().filter(|o| o.outcome.is_completed()) {
            let (n, failed, of) = (u64::from(o.count), o.outcome.is_failure(), month_of(o.day));
            count(YieldOf::Month(of), o.day, n, failed);
            if of == month {
                let station = pass.plant.stations[usize::from(o.station)].clone();
                count(YieldOf::Family(family.clone()), o.day, n, failed);
                count(YieldOf::Station(station), o.day, n, failed);
            }
        }
    }
    days.into_iter().map(|(of, days)| one(of, &days, config.confidence)).collect()
}

#[derive(Debug, Clone, Copy, Default)]
struct Counted {
    units: u64,
    failed: u64,
}

#[expect(clippy::cast_precision_loss, reason = "counts of units are far below 2^53")]
fn one(of: YieldOf, days: &BTreeMap<Day, Counted>, level: f64) -> Yield {
    let units: u64 = days.values().map(|d| d.units).sum();
    let failed: u64 = days.values().map(|d| d.failed).sum();
    let share = failed as f64 / units as f64;
    // Pearson's chi-square over its degrees of freedom.
    let off = |d: &Counted| {
        let (n, f) = (d.units as f64, d.failed as f64);
        (f - share * n).powi(2) / (share * (1.0 - share) * n)
    };
    let varies = days.len() > 1 && failed > 0 && failed < units;
    let dispersion =
        if varies { days.values().map(off).sum::<f64>() / (days.len() - 1) as f64 } else { 1.0 };
    let passed = units - failed;
    let counts = EffectiveCounts::new(passed as f64, units as f64, dispersion);
    Yield { of, units, passed, share: counts.and_then(|c| clopper_pearson(c, level)) }
}

/// What rejected good units cost, by model and month; months in which none was tested again are left out.
#[must_use]
pub fn costs(pass: &Pass, config: &Config) -> Vec<Cost> {
    let mut all: BTreeMap<(&str, (i32, u32)), Cost> = BTreeMap::new();
    for h in pass.histories().iter().filter(|h| h.retests > 0) {
        let model = pass.series[h.series as usize].key.model.as_str();
        let month = month_of(h.day);
        let cost = all.entry((model, month)).or_insert_with(|| Cost {
            model: model.to_owned(),
            month,
            good_rejected: 0,
            retests: 0,
            minutes: 0.0,
            money: None,
        });
        cost.good_rejected += u64::from(h.passed);
        cost.retests += u64::from(h.retests);
        cost.minutes += pass.minutes_of(h).unwrap_or(0.0);
    }
    let in_money = |c: Cost| Cost { money: config.minute_cost.map(|each| each * c.minutes), ..c };
    all.into_values().map(in_money).collect()
}
