//! How much of a movement the room explains.

use crate::stats::estimate::Estimate;
use crate::stats::shape::candidates::share_explained;
use crate::stats::special::normal_quantile;

/// What was recorded of the room.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RoomFactor {
    /// Relative humidity.
    Humidity,
    /// Temperature.
    Temperature,
}

/// Share of a series' movement that one recorded factor explains.
#[derive(Debug, Clone, PartialEq)]
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
#[must_use]
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
            let share = Estimate::new(share.max(0.0), low, high, level, "mean over orders of entry")?;
            Some(Explained { what: *what, share })
        })
        .collect()
}
