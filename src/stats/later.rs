//! Do the later points of a series lie higher than the earlier ones?

use super::autocorrelation::{about_zero, corrected_about_mean};
use super::moments::{Moments, sum};

/// Fewest points on either side of a split.
const FEWEST: usize = 5;
/// Smallest share of the points on either side.
const SHARE: f64 = 0.1;

/// The largest of `t = (mean of the later points - mean of the earlier ones) / standard error` over all splits that
/// leave a tenth of the points, and five, on either side; points in order of time.
///
/// The error carries the correlation of neighbours about the two means, `(1 + rho)/(1 - rho)`. It is no test: the
/// split is the one that looks worst, so that one independent series in five that stands still passes 2.0, one in
/// thirteen 2.5 (80 to 240 normal points, simulated). `None` where there are too few points or they are all alike.
pub fn later_above_earlier(values: &[f64]) -> Option<f64> {
    let n = values.len();
    let least = FEWEST.max((SHARE * n as f64).ceil() as usize);
    let splits = least..=n.checked_sub(least)?;
    splits.filter_map(|at| later_above(values, at)).reduce(f64::max)
}

fn later_above(values: &[f64], at: usize) -> Option<f64> {
    let (early, late) = values.split_at(at);
    let (before, after) = (Moments::of_values(early)?.mean, Moments::of_values(late)?.mean);
    let left: Vec<f64> =
        early.iter().map(|v| v - before).chain(late.iter().map(|v| v - after)).collect();
    let n = values.len() as f64;
    let variance = sum(left.iter().map(|v| v * v)) / (n - 2.0);
    let rho = about_zero(&left, 1).map_or(0.0, |r| corrected_about_mean(r, values.len()));
    let counts = 1.0 / early.len() as f64 + 1.0 / late.len() as f64;
    let error = (variance * counts * (1.0 + rho) / (1.0 - rho)).sqrt();
    (error > 0.0).then(|| (after - before) / error)
}
