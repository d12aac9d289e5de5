//! How much of a movement the room explains.

use serde::Serialize;

use super::DayPoint;
use crate::stats::autocorrelation::variance_factor;
use crate::stats::estimate::Estimate;
use crate::stats::shape::Points;
use crate::stats::shape::candidates::{Candidate, share_explained};
use crate::stats::special::normal_quantile;

/// What was recorded of the room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum RoomFactor {
    /// Relative humidity.
    Humidity,
    /// Temperature.
    Temperature,
}

impl RoomFactor {
    /// In a word.
    pub fn words(self) -> &'static str {
        match self {
            Self::Humidity => "humidity",
            Self::Temperature => "temperature",
        }
    }
}

/// Share of a series' movement that one recorded factor explains.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Explained {
    /// The factor.
    pub what: RoomFactor,
    /// Share of the sum of squares of the points, 0 to 1.
    pub share: Estimate,
}

/// Shares of covariates beside the fitted shape, averaged over the orders in which they can enter.
///
/// - Source: Lindeman, Merenda & Gold (1980), as described by Groemping (2006) (from memory): humidity
///   and temperature rise and fall together, and no single order is fair to both.
/// - Interval: Fisher's z on the root of the share, with `points` independent points.
pub fn shares(
    factors: &[(RoomFactor, &[f64])],
    shape: &[f64],
    y: &[f64],
    points: f64,
    level: f64,
) -> Vec<Explained> {
    let mut columns: Vec<&[f64]> = factors.iter().map(|f| f.1).collect();
    columns.push(shape);
    let k = columns.len();
    let together: Vec<f64> = (0..1_usize << k)
        .map(|set| {
            let chosen: Vec<&[f64]> =
                (0..k).filter(|i| set >> i & 1 == 1).map(|i| columns[i]).collect();
            share_explained(&chosen, y)
        })
        .collect();
    let factorial = |n: usize| (1..=n).product::<usize>() as f64;
    let reach = normal_quantile(0.5 + 0.5 * level) / (points - 3.0).max(1.0).sqrt();
    factors
        .iter()
        .enumerate()
        .filter_map(|(i, (what, _))| {
            let share: f64 = (0..1_usize << k)
                .filter(|set| set >> i & 1 == 0)
                .map(|set| {
                    let before = set.count_ones() as usize;
                    let orders = factorial(before) * factorial(k - before - 1) / factorial(k);
                    orders * (together[set | 1 << i] - together[set])
                })
                .sum();
            let root = share.clamp(0.0, 1.0 - 1e-12).sqrt().atanh();
            let low = (root - reach).max(0.0).tanh().powi(2);
            let high = (root + reach).tanh().powi(2);
            let share =
                Estimate::new(share.max(0.0), low, high, level, "mean over orders of entry")?;
            Some(Explained { what: *what, share })
        })
        .collect()
}

/// Recorded room columns, gaps filled from the days beside them; a column known for under eight points
/// in ten, or without spread, is left out.
pub(super) fn room_columns(points: &[DayPoint]) -> Vec<(RoomFactor, Vec<f64>)> {
    type Pick = fn(&DayPoint) -> Option<f64>;
    let picks: [(RoomFactor, Pick); 2] =
        [(RoomFactor::Humidity, |p| p.humidity), (RoomFactor::Temperature, |p| p.temperature)];
    picks
        .into_iter()
        .filter_map(|(what, pick)| {
            let known: Vec<(f64, f64)> = points
                .iter()
                .filter_map(|p| pick(p).filter(|v| v.is_finite()).map(|v| (f64::from(p.day), v)))
                .collect();
            if known.is_empty() || (known.len() as f64) < 0.8 * points.len() as f64 {
                return None;
            }
            if known.iter().all(|k| k.1 == known[0].1) {
                return None;
            }
            Some((what, points.iter().map(|p| between(&known, f64::from(p.day))).collect()))
        })
        .collect()
}

fn between(known: &[(f64, f64)], day: f64) -> f64 {
    let after = known.partition_point(|k| k.0 < day);
    let (a, b) = (known[after.saturating_sub(1)], known[after.min(known.len() - 1)]);
    if b.0 > a.0 { a.1 + (b.1 - a.1) * ((day - a.0) / (b.0 - a.0)).clamp(0.0, 1.0) } else { b.1 }
}

/// Values with the room's fitted effect taken off, at the mean room.
pub(super) fn room_taken_off(
    points: &[DayPoint],
    best: &Candidate,
    room: &[(RoomFactor, Vec<f64>)],
    logs: bool,
) -> Vec<f64> {
    let mut effect = vec![0.0; points.len()];
    for ((_, column), b) in room.iter().zip(&best.coefficients[1..]) {
        let mean = column.iter().sum::<f64>() / column.len() as f64;
        effect.iter_mut().zip(column).for_each(|(e, v)| *e += b * (v - mean));
    }
    points
        .iter()
        .zip(effect)
        .map(|(p, e)| if logs { p.value_ma * (-e).exp() } else { p.value_ma - e })
        .collect()
}

pub(super) fn explained_by(
    room: &[(RoomFactor, Vec<f64>)],
    best: &Candidate,
    points: &Points,
    left: &[f64],
    rho: f64,
    level: f64,
) -> Vec<Explained> {
    let factors: Vec<(RoomFactor, &[f64])> = room.iter().map(|r| (r.0, r.1.as_slice())).collect();
    // The shape's own part: what is neither room nor left over.
    let shape: Vec<f64> = (0..left.len())
        .map(|i| {
            let by_room: f64 =
                room.iter().zip(&best.coefficients[1..]).map(|(r, b)| b * r.1[i]).sum();
            points.values[i] - left[i] - by_room
        })
        .collect();
    shares(&factors, &shape, &points.values, left.len() as f64 / variance_factor(rho), level)
}
