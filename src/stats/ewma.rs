//! Exponentially weighted moving average: the chart, and how often it cries wolf.

use std::sync::Mutex;

use crate::stats::special::normal_cdf;

/// The moving average `z_i = lambda x_i + (1 - lambda) z_(i-1)`, from `start`.
#[must_use]
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
#[must_use]
pub fn settled_sd(lambda: f64) -> f64 {
    (lambda / (2.0 - lambda)).sqrt()
}

/// What AR(1) points add to the settled sd: `sqrt((1 + rho(1-lambda))/(1 - rho(1-lambda)))`.
#[must_use]
pub fn autocorrelation_factor(lambda: f64, rho: f64) -> f64 {
    let a = rho * (1.0 - lambda);
    ((1.0 + a) / (1.0 - a)).sqrt()
}

/// Number of quadrature nodes: settles 9 digits for `lambda` of 0.05 and more.
const NODES: usize = 120;

/// Mean number of points to the first signal of a two-sided chart with settled limits at
/// `L sqrt(lambda/(2-lambda))`, started at its centre, for independent normal points of sd 1 whose mean
/// is `shift`.
///
/// - Formula: integral equation `A(u) = 1 + (1/lambda) int A(y) phi((y - (1-lambda)u)/lambda - shift) dy`
///   over the limits, solved on Gauss-Legendre nodes.
/// - Source: Crowder (1987), Technometrics 29, 401-407 (from memory).
///
/// `None` unless `0.02 <= lambda <= 1`, the limit is positive, and the run length is below 1e9.
#[must_use]
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
    let (nodes, weights) = gauss_legendre(NODES);
    let density = |to: f64, from: f64| {
        let z = (to - (1.0 - lambda) * from) / lambda - shift;
        (-0.5 * z * z).exp() / (lambda * std::f64::consts::TAU.sqrt())
    };
    let mut matrix = vec![vec![0.0; NODES + 1]; NODES];
    for (i, row) in matrix.iter_mut().enumerate() {
        for j in 0..NODES {
            row[j] = -half * weights[j] * density(half * nodes[j], half * nodes[i]);
        }
        row[i] += 1.0;
        row[NODES] = 1.0;
    }
    let lengths = solve(matrix)?;
    let at_centre = 1.0
        + (0..NODES)
            .map(|j| half * weights[j] * density(half * nodes[j], 0.0) * lengths[j])
            .sum::<f64>();
    (at_centre.is_finite() && (1.0..1e9).contains(&at_centre)).then_some(at_centre)
}

/// The limit factor `L`, in units of the settled sd, that gives an in-control run length, to 1e-7
/// (2.962 for `lambda` 0.2 at 500, Lucas & Saccucci 1990).
///
/// `None` for a run length outside 2 to 1e6 or a `lambda` outside 0.02 to 1. The last answer is kept: every
/// series of a review asks the same, and each time it would cost as much as its shape test.
#[must_use]
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
    if !(2.0..=1e6).contains(&run_length) {
        return None;
    }
    let (mut low, mut high) = (0.1, 6.0);
    while high - low > 1e-7 {
        let middle = 0.5 * (low + high);
        // No answer at the wide end means a run length beyond reach, hence too long.
        match average_run_length(lambda, middle, 0.0) {
            Some(length) if length < run_length => low = middle,
            _ if !(0.02..=1.0).contains(&lambda) => return None,
            _ => high = middle,
        }
    }
    Some(0.5 * (low + high))
}

/// Nodes and weights of Gauss-Legendre quadrature on -1..1, by Newton's method on the polynomial.
fn gauss_legendre(n: usize) -> (Vec<f64>, Vec<f64>) {
    let m = n as f64;
    (0..n)
        .map(|i| {
            let mut x = ((i as f64 + 0.75) / (m + 0.5) * std::f64::consts::PI).cos();
            let mut slope = 1.0;
            for _ in 0..50 {
                let (mut p, mut before) = (1.0, 0.0);
                for k in 1..=n {
                    let k = k as f64;
                    (p, before) = (((2.0 * k - 1.0) * x * p - (k - 1.0) * before) / k, p);
                }
                slope = m * (x * p - before) / (x * x - 1.0);
                let move_by = p / slope;
                x -= move_by;
                if move_by.abs() < 1e-15 {
                    break;
                }
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .unzip()
}

/// Solves the augmented system by elimination with row exchange; `None` where it is singular.
fn solve(mut a: Vec<Vec<f64>>) -> Option<Vec<f64>> {
    let n = a.len();
    for column in 0..n {
        let pivot =
            (column..n).max_by(|i, j| a[*i][column].abs().total_cmp(&a[*j][column].abs()))?;
        a.swap(column, pivot);
        if a[column][column] == 0.0 {
            return None;
        }
        let (top, below) = a.split_at_mut(column + 1);
        let row = &top[column];
        for other in below {
            let factor = other[column] / row[column];
            for k in column..=n {
                other[k] -= factor * row[k];
            }
        }
    }
    let mut x = vec![0.0; n];
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|k| a[i][k] * x[k]).sum();
        x[i] = (a[i][n] - known) / a[i][i];
    }
    Some(x)
}
