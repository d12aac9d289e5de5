//! How far a point resembles the one before it, and what that costs in information.

use super::moments::{Moments, sum};

/// Largest correlation that is ever used: beyond it a series cannot be told from a random walk.
pub const LARGEST_RHO: f64 = 0.95;

/// Sample autocorrelation at `lag`, with `n` in the denominator.
///
/// - Formula: `r_k = sum_(i=k+1..n) (x_i - mean)(x_(i-k) - mean) / sum (x_i - mean)^2`.
/// - Source: Box & Jenkins, Time Series Analysis (from memory).
///
/// `None` where the series is no longer than the lag or has no spread.
pub fn autocorrelation(x: &[f64], lag: usize) -> Option<f64> {
    if x.len() <= lag || x.len() < 2 {
        return None;
    }
    let mean = Moments::of_values(x)?.mean;
    let mut deviations: Vec<f64> = x.iter().map(|v| v - mean).collect();
    // What the mean itself has lost to rounding.
    let left = sum(deviations.iter().copied()) / x.len() as f64;
    deviations.iter_mut().for_each(|d| *d -= left);
    about_zero(&deviations, lag)
}

/// Autocorrelation of residuals, which have mean zero already: nothing is subtracted.
///
/// `None` where there are too few residuals or they are all zero.
pub fn about_zero(residuals: &[f64], lag: usize) -> Option<f64> {
    if residuals.len() <= lag {
        return None;
    }
    let total = sum(residuals.iter().map(|v| v * v));
    let shared = sum(residuals.iter().zip(&residuals[lag..]).map(|(a, b)| a * b));
    (total > 0.0 && shared.is_finite()).then(|| shared / total)
}

/// AR(1) parameter from the lag-1 correlation `r` of `n` points about their mean, freed of its bias:
/// `clip((n r + 1)/(n - 4), 0, 0.95)`.
///
/// Source: Kendall M.G. (1954) Note on bias in the estimation of autocorrelation, Biometrika 41:403-404, whose
/// `E r = rho - (1 + 3 rho)/n` is of the least-squares coefficient; [`autocorrelation`] divides by all `n` squares, and
/// has `E r = rho - (1 + 4 rho)/n` (simulated in `tests/known_answers/autocorrelation.rs`).
pub fn corrected_about_mean(r: f64, n: usize) -> f64 {
    let n = n as f64;
    clip((n * r + 1.0) / (n - 4.0), n > 4.0)
}

/// AR(1) parameter from the lag-1 correlation `r` of `n` points about a fitted line, freed of its bias,
/// `E r = rho - (2 + 5 rho)/n`: `clip((n r + 2)/(n - 5), 0, 0.95)`.
pub fn corrected_about_line(r: f64, n: usize) -> f64 {
    let n = n as f64;
    clip((n * r + 2.0) / (n - 5.0), n > 5.0)
}

fn clip(rho: f64, enough: bool) -> f64 {
    if enough && rho.is_finite() { rho.clamp(0.0, LARGEST_RHO) } else { 0.0 }
}

/// Variance of a mean of AR(1) points over that of independent ones, `(1 + rho)/(1 - rho)`.
pub fn variance_factor(rho: f64) -> f64 {
    (1.0 + rho) / (1.0 - rho)
}
