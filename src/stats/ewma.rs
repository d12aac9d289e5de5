//! Exponentially weighted moving average: the chart, and how often it cries wolf.

use std::sync::Mutex;

use crate::numeric::{gauss_legendre, last_that, solve};
use crate::special::normal_cdf;

/// The moving average `z_i = lambda x_i + (1 - lambda) z_(i-1)`, from `start`.
pub fn smooth(x: &[f64], lambda: f64, start: f64) -> Vec<f64> {
    let mut z = start;
    x.iter()
        .map(|v| {
            z += lambda * (v - z);
            z
        })
        .collect()
}

/// Standard deviation of the settled moving average over that of one independent point,
/// `sqrt(lambda/(2 - lambda))`.
pub fn settled_sd(lambda: f64) -> f64 {
    (lambda / (2.0 - lambda)).sqrt()
}

/// What AR(1) points add to the settled sd: `sqrt((1 + rho(1-lambda))/(1 - rho(1-lambda)))`.
pub fn autocorrelation_factor(lambda: f64, rho: f64) -> f64 {
    let a = rho * (1.0 - lambda);
    ((1.0 + a) / (1.0 - a)).sqrt()
}

/// Number of quadrature nodes: settles 9 digits for `lambda` of 0.05 and more.
const NODES: usize = 120;

/// Variance of the settled moving average of levels that hold for blocks of `length` points each, of variance 1 and
/// independent from block to block, over every place in a block:
/// `lambda/(2 - lambda) (1 + 2 sum_(k < length) (1 - k/length)(1 - lambda)^k)`.
pub fn block_variance(lambda: f64, length: f64) -> f64 {
    let beyond = (1_i32..).take_while(|k| f64::from(*k) < length);
    let sum: f64 = beyond.map(|k| (1.0 - f64::from(k) / length) * (1.0 - lambda).powi(k)).sum();
    settled_sd(lambda).powi(2) * (1.0 + 2.0 * sum)
}

/// Mean number of points to the first signal of a two-sided chart with settled limits at
/// `L sqrt(lambda/(2-lambda))`, started at its centre, for independent normal points of sd 1 whose mean
/// is `shift`.
///
/// - Formula: integral equation `A(u) = 1 + (1/lambda) int A(y) phi((y - (1-lambda)u)/lambda - shift) dy`
///   over the limits, solved on Gauss-Legendre nodes.
/// - Source: Crowder (1987), Technometrics 29, 401-407 (from memory).
///
/// `None` unless `0.02 <= lambda <= 1`, the limit is positive, and the run length is below 1e9.
pub fn average_run_length(lambda: f64, limit: f64, shift: f64) -> Option<f64> {
    let known = (0.02..=1.0).contains(&lambda) && limit > 0.0 && limit < 8.0;
    if !known || !shift.is_finite() {
        return None;
    }
    let half = limit * settled_sd(lambda);
    if lambda > 0.999 {
        let out = normal_cdf(-limit - shift) + normal_cdf(shift - limit);
        return Some(1.0 / out);
    }
    let nodes = gauss_legendre(NODES);
    let width = 2.0 * half;
    let density = |to: f64, from: f64| {
        let z = (to - (1.0 - lambda) * from) / lambda - shift;
        (-0.5 * z * z).exp() / (lambda * std::f64::consts::TAU.sqrt())
    };
    let mut matrix = vec![vec![0.0; NODES + 1]; NODES];
    for (i, row) in matrix.iter_mut().enumerate() {
        for j in 0..NODES {
            row[j] = -width * nodes[j].weight * density(half * nodes[j].at, half * nodes[i].at);
        }
        row[i] += 1.0;
        row[NODES] = 1.0;
    }
    let lengths = solve(matrix)?;
    let at_centre = 1.0
        + (0..NODES)
            .map(|j| width * nodes[j].weight * density(half * nodes[j].at, 0.0) * lengths[j])
            .sum::<f64>();
    (at_centre.is_finite() && (1.0..1e9).contains(&at_centre)).then_some(at_centre)
}

/// The limit factor `L`, in units of the settled sd, that gives an in-control run length, to 1e-7
/// (2.962 for `lambda` 0.2 at 500, Lucas & Saccucci 1990).
///
/// `None` for a run length outside 2 to 1e6 or a `lambda` outside 0.02 to 1. The last answer is kept: every
/// series of a review asks the same, and each time it would cost as much as its shape test.
pub fn limit_factor(lambda: f64, run_length: f64) -> Option<f64> {
    static LAST: Mutex<Option<(f64, f64, Option<f64>)>> = Mutex::new(None);
    if let Ok(last) = LAST.lock()
        && let Some((of, at, factor)) = *last
        && (of, at) == (lambda, run_length)
    {
        return factor;
    }
    let factor = search_factor(lambda, run_length);
    if let Ok(mut last) = LAST.lock() {
        *last = Some((lambda, run_length, factor));
    }
    factor
}

fn search_factor(lambda: f64, run_length: f64) -> Option<f64> {
    if !(2.0..=1e6).contains(&run_length) || !(0.02..=1.0).contains(&lambda) {
        return None;
    }
    // No answer at the wide end means a run length beyond reach, hence too long.
    let short = |limit| average_run_length(lambda, limit, 0.0).is_some_and(|l| l < run_length);
    Some(last_that(short, 0.1, 6.0, 26))
}
