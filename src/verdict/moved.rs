//! What moved, testers and products, each found once over all series.

use std::fmt::{self, Display};

use serde::Serialize;

use crate::day::{Day, as_date};
use crate::movement::Movement;
use crate::movement::drift::{Drift, Shape};
use crate::series::Pass;
use crate::stats::estimate::Estimate;
use crate::verdict::plant::SeriesVerdict;
use crate::words::currents::Wording;
use crate::words::time::day_text;

/// Who moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mover {
    /// A product.
    Product,
    /// A tester.
    Tester,
}

impl Display for Mover {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Product => "product",
            Self::Tester => "tester at",
        })
    }
}

/// A movement found once.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moved {
    /// Who moved.
    pub what: Mover,
    /// Model or station.
    pub name: String,
    /// When.
    #[serde(rename = "date", serialize_with = "as_date")]
    pub day: Day,
    /// By how much, per cent.
    pub size_pct: Estimate,
}

/// Steps of testers, then steps and slopes of the products whose movement is flagged.
#[must_use]
pub fn moved(pass: &Pass, movement: &Movement, verdicts: &[SeriesVerdict]) -> Vec<Moved> {
    let stations = movement.stations.iter().flat_map(|s| &s.stations);
    let testers = pass.plant.stations.iter().zip(stations).flat_map(|(name, s)| {
        s.moved.iter().map(|m| Moved {
            what: Mover::Tester,
            name: name.clone(),
            day: m.day,
            size_pct: m.size_pct.clone(),
        })
    });
    let series = pass.series.iter().zip(&movement.series).zip(verdicts);
    let products = series.filter(|(_, v)| v.flag.flagged).flat_map(|((series, moved), _)| {
        let steps = moved.drift.steps.iter().filter_map(|s| Some((s.day, s.size_pct.clone()?)));
        steps.chain(moved.drift.slope_so_far_pct()).map(|(day, size_pct)| Moved {
            what: Mover::Product,
            name: series.key.model.clone(),
            day,
            size_pct,
        })
    });
    testers.chain(products).collect()
}

/// How the series moved, in a few words, to stand in a title.
#[must_use]
pub fn in_short(drift: &Drift, flagged: bool, say: Wording) -> String {
    let show = |ma: f64| say.estimate(ma.abs());
    let since =
        |day: Option<i32>| day.map_or_else(String::new, |d| format!(" since {}", day_text(d)));
    let goes = |size: f64| if size > 0.0 { "rises" } else { "falls" };
    let slope = drift.per_month_ma.as_ref().map(|e| e.value);
    let slope = slope.map(|s| format!("{} by {} a month{}", goes(s), show(s), since(drift.since)));
    let largest = drift
        .steps
        .iter()
        .max_by(|a, b| a.size_ma.value.abs().total_cmp(&b.size_ma.value.abs()))
        .map(|s| (s.size_ma.value, s.day));
    let step = largest.map(|(size, day)| {
        let (went, on) = (if size > 0.0 { "rose" } else { "fell" }, day_text(day));
        format!("{went} by {} on {on}", show(size))
    });
    let moved = match drift.shape {
        None => return "readings over time".to_owned(),
        Some(Shape::Steady) => return "steady".to_owned(),
        Some(Shape::Season) => Some("follows the season".to_owned()),
        Some(Shape::Slope) => slope,
        Some(Shape::Step) => step,
        Some(Shape::SlopeAndStep) => step.zip(slope).map(|(a, b)| format!("{a}, {b}")),
    };
    let words = || drift.shape.map_or("", Shape::words).to_owned();
    format!("{}{}", moved.unwrap_or_else(words), if flagged { "" } else { ", not flagged" })
}
