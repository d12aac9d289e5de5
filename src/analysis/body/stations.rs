//! Each station that tests a series, at its own scale: the table a limit is set by, which is typed station by station.

use serde::Serialize;

use crate::analysis::body::by_size::BySize;
use crate::analysis::body::healthy::Healthy;
use crate::analysis::body::offsets::AtStation;
use crate::day::{Day, as_date};
use crate::movement::SeriesMovement;
use crate::movement::readings::Reading;
use crate::movement::scale::OneScale;
use crate::series::{Outcome, Pass, Series};
use crate::stats::estimate::Estimate;
use crate::stats::expected_share::ExpectedShare;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};
use crate::words::numbers::whole;

/// A station in the period judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StationOfSeries {
    /// Its name.
    pub station: String,
    /// Units judged.
    pub units: u64,
    /// Typical reading of these units as the station would show it now, mA.
    pub x50_ma: Option<f64>,
    /// High limit in force there, mA.
    pub limit_ma: Option<f64>,
    /// Units tested under it.
    pub under_this_limit: u64,
    /// Of these, over it.
    pub over_limit: u64,
    /// Their share.
    pub reject_share: Option<Estimate>,
    /// Share of healthy units expected over it, at the station's own scale.
    pub expected_share: Option<ExpectedShare>,
    /// How its readings come to the scale of the series: so many times what is shown…
    pub times: f64,
    /// …and so much more, mA.
    pub plus_ma: f64,
    /// Steps of its tester that were taken off.
    pub steps: Vec<StepTakenOff>,
    /// Whether the scale of the series is this station's.
    pub is_scale: bool,
}

/// A step of a tester that was taken off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StepTakenOff {
    /// First day at the new level.
    #[serde(rename = "date", serialize_with = "as_date")]
    pub day: Day,
    /// What readings before it were raised by, per cent.
    pub size_pct: f64,
    /// Half the width of its interval, per cent.
    pub reach_pct: f64,
}

/// The steps of a station that were taken off.
fn steps(scale: &OneScale, station: u16) -> Vec<StepTakenOff> {
    let stretches = scale.stretches(station);
    let of_station = scale.steps().iter().filter(|s| s.station == station);
    of_station
        .filter_map(|step| {
            let at = stretches.iter().position(|s| s.0 == step.day)?;
            let before = stretches.get(at.checked_sub(1)?)?.1;
            let size_pct = 100.0 * (before.times / stretches[at].1.times - 1.0);
            Some(StepTakenOff { day: step.day, size_pct, reach_pct: step.reach_pct() })
        })
        .collect()
}

/// The stations of a series, by name; `readings` are its own as shown.
#[must_use]
pub fn stations(
    pass: &Pass,
    series: &Series,
    moved: &SeriesMovement,
    readings: &[Reading],
    at: &[AtStation],
    healthy: Option<&Healthy>,
    level: f64,
) -> Vec<StationOfSeries> {
    let judged = whole(at.iter().map(|s| s.units).sum());
    let mut all: Vec<StationOfSeries> = at
        .iter()
        .map(|s| {
            let here = |r: &&Reading| r.station == s.station && moved.period.has(r.day);
            // Readings before a step of its tester as it would show them now.
            let as_now = |r: &Reading| {
                let r = moved.scale.carried(r);
                Reading { ma: s.carry.at_station(r.ma), step_ma: r.step_ma / s.carry.times, ..r }
            };
            let shown: Vec<Reading> = readings.iter().filter(here).map(as_now).collect();
            let (mut over, mut completed) = (0, 0);
            let outcomes = series.outcomes.iter().filter(|o| {
                let in_force = s.limit_ma.is_none() || o.limits.high_ma() == s.limit_ma;
                o.station == s.station
                    && moved.period.has(o.day)
                    && in_force
                    && o.outcome != Outcome::NotCompleted
            });
            for o in outcomes {
                let n = u64::from(o.count);
                completed += n;
                over += if o.outcome == Outcome::OverLimit { n } else { 0 };
            }
            #[expect(clippy::cast_precision_loss, reason = "counts of units")]
            let counts = EffectiveCounts::new(over as f64, completed as f64, 1.0);
            StationOfSeries {
                station: pass.plant.stations[usize::from(s.station)].clone(),
                units: whole(s.units),
                x50_ma: BySize::new(&shown).quantile(0.5),
                limit_ma: s.limit_ma,
                under_this_limit: completed,
                over_limit: over,
                reject_share: counts.and_then(|c| clopper_pearson(c, level)),
                expected_share: healthy
                    .and_then(|h| h.share_at(s))
                    .map(|e| ExpectedShare::new(&e, judged, 1.0)),
                times: s.carry.times,
                plus_ma: s.carry.plus_ma,
                steps: steps(&moved.scale, s.station),
                is_scale: moved.scale.of == Some(s.station),
            }
        })
        .collect();
    all.sort_by(|a, b| a.station.cmp(&b.station));
    all
}
