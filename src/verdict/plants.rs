//! The same model at several plants, side by side: what the intervals of their typical readings allow to be said.
//!
//! Takes series that were judged each alone, gives those of one model and one test together. Nothing is pooled, and
//! nobody is blamed: a difference may be of the product, of its parts, or of leads and meters, and only a unit tested at
//! both plants tells which. Each plant is held against the first by name; a difference is told where its interval
//! excludes none, else it is said that it cannot be told.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::analysis::Findings;
use crate::series::{Pass, SeriesKey};
use crate::stats::estimate::Estimate;
use crate::stats::log_ratio::log_ratio;

/// One model and test at the plants that make it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SideBySide {
    /// Model, as files call it.
    pub model: String,
    /// The test, for people.
    pub test: String,
    /// Its plants, by name.
    pub at: Vec<AtOnePlant>,
    /// Each against the first.
    pub differences: Vec<Difference>,
}

/// One plant.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AtOnePlant {
    /// The plant.
    pub plant: String,
    /// Index of its series.
    #[serde(skip)]
    pub index: usize,
    /// Id of its series, where all else stands.
    pub series: String,
    /// Typical reading at the plant's middle station; `null` where the healthy body could not be described.
    pub x50_ma: Option<Estimate>,
    /// Stations that test it there.
    pub stations: Vec<String>,
}

/// One plant against another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// The plant.
    pub plant: String,
    /// The one it is held against.
    pub against: String,
    /// Typical reading against that of the other, per cent; `null` where either is not known.
    pub x50_pct: Option<Estimate>,
    /// What that tells.
    pub says: Says,
}

/// What a difference tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Says {
    /// The plant reads more, with certainty.
    ReadsMore,
    /// It reads less, with certainty.
    ReadsLess,
    /// Its interval includes none, or it is not known.
    CannotBeTold,
}

impl Difference {
    fn new(of: &AtOnePlant, against: &AtOnePlant) -> Self {
        let ratio =
            of.x50_ma.as_ref().zip(against.x50_ma.as_ref()).and_then(|(a, b)| log_ratio(a, b));
        let pct = |x: f64| 100.0 * (x - 1.0);
        let x50_pct = ratio
            .and_then(|r| Estimate::new(pct(r.value), pct(r.low), pct(r.high), r.level, r.method));
        let says = match &x50_pct {
            Some(e) if e.low > 0.0 => Says::ReadsMore,
            Some(e) if e.high < 0.0 => Says::ReadsLess,
            _ => Says::CannotBeTold,
        };
        Self { plant: of.plant.clone(), against: against.plant.clone(), x50_pct, says }
    }
}

/// The test of a series, whatever the plant.
fn anywhere(key: &SeriesKey) -> SeriesKey {
    SeriesKey { model: key.own_model().to_owned(), plant: None, ..key.clone() }
}

/// Models and tests that two or more plants share, in order; of series `withheld` nothing is said.
#[must_use]
pub fn side_by_side(
    pass: &Pass,
    findings: &Findings,
    withheld: &BTreeSet<usize>,
) -> Vec<SideBySide> {
    let mut shared: BTreeMap<SeriesKey, Vec<usize>> = BTreeMap::new();
    for (n, series) in pass.series.iter().enumerate() {
        if series.key.plant.is_some() && !withheld.contains(&n) {
            shared.entry(anywhere(&series.key)).or_default().push(n);
        }
    }
    let of_series = |index: usize| {
        let series = &pass.series[index];
        let used: BTreeSet<u16> = series.outcomes.iter().map(|o| o.station).collect();
        let healthy = findings.series[index].healthy.as_ref().ok();
        AtOnePlant {
            plant: series.key.plant().to_owned(),
            index,
            series: pass.called[index].id.clone(),
            x50_ma: healthy.and_then(|h| h.quantiles[1].clone()),
            stations: used.iter().map(|s| pass.plant.stations[usize::from(*s)].clone()).collect(),
        }
    };
    let several = shared.into_iter().filter(|(_, of)| of.len() > 1);
    several
        .map(|(key, of)| {
            let mut at: Vec<AtOnePlant> = of.into_iter().map(of_series).collect();
            at.sort_by(|a, b| a.plant.cmp(&b.plant));
            let differences = at[1..].iter().map(|one| Difference::new(one, &at[0])).collect();
            SideBySide { test: key.conditions(), model: key.model, at, differences }
        })
        .collect()
}
