//! A robust line through points that hang together, and whether there is a trend at all.

use crate::autocorrelation::{autocorrelation, corrected_about_line};
use crate::estimate::Estimate;
use crate::numeric::{median, median_of_sorted};
use crate::special::{normal_sf, student_t_quantile, student_t_sf};

/// Mann-Kendall test for a monotone trend.
#[derive(Debug, Clone, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    /// `(|s| - 1)/sqrt(var)` with the sign of `s`, `var` its variance without trend; 0 at `s = 0`.
    pub z: f64,
    /// Two-sided p-value from the normal approximation.
    pub p_value: f64,
}

/// Mann-Kendall `S`, its variance with ties, and the normal approximation.
///
/// - Shape: at least 3 points in order of time, else `None`.
/// - Formula: `var = (n(n-1)(2n+5) - sum t(t-1)(2t+5))/18`, `t` the sizes of groups of equal values.
/// - Source: Kendall, Rank Correlation Methods; Gilbert (1987) chapter 16 (from memory).
pub fn mann_kendall(y: &[f64]) -> Option<MannKendall> {
    let n = y.len();
    if n < 3 || y.iter().any(|v| v.is_nan()) {
        return None;
    }
    let s: i64 = (0..n)
        .flat_map(|i| (i + 1..n).map(move |j| (i, j)))
        .map(|(i, j)| i64::from(y[j] > y[i]) - i64::from(y[j] < y[i]))
        .sum();
    let ties = tie_sizes(y);
    let var_s = (choose_sum(n) - ties.iter().map(|t| choose_sum(*t)).sum::<f64>()) / 18.0;
    let z = if s == 0 || var_s <= 0.0 {
        0.0
    } else {
        (s.abs() - 1) as f64 / var_s.sqrt() * s.signum() as f64
    };
    Some(MannKendall { s, z, p_value: (2.0 * normal_sf(z.abs())).min(1.0) })
}

/// `t(t-1)(2t+5)`.
fn choose_sum(t: usize) -> f64 {
    let t = t as f64;
    t * (t - 1.0) * (2.0 * t + 5.0)
}

fn tie_sizes(y: &[f64]) -> Vec<usize> {
    let mut sorted = y.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(<[f64]>::len).filter(|t| *t > 1).collect()
}

/// A trend of points that hang together, as daily medians do.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrelatedTrend {
    /// Two-sided p-value of Mann-Kendall's test, its variance widened for autocorrelation.
    pub p_value: f64,
    /// Line with its interval, widened in the same way.
    pub line: TheilSen,
}

/// Variance factor of Mann-Kendall's `S` where rank correlations are `rho^k`:
/// `1 + 2/(n(n-1)(n-2)) sum_k (n-k)(n-k-1)(n-k-2) rho^k`, never below 1.
///
/// Source: Hamed & Rao (1998), J. Hydrology 204, 182-196 (from memory), with one AR(1) parameter in
/// place of sample autocorrelations, whose noise flags 5-38 % of steady series.
pub fn rank_variance_factor(rho: f64, n: usize) -> f64 {
    let m = n as f64;
    if n < 4 {
        return 1.0;
    }
    let mut power = 1.0;
    let mut sum = 0.0;
    for k in 1..n {
        power *= rho;
        let left = m - k as f64;
        sum += left * (left - 1.0) * (left - 2.0) * power;
    }
    (1.0 + 2.0 * sum / (m * (m - 1.0) * (m - 2.0))).max(1.0)
}

/// Theil-Sen line and Mann-Kendall test with the AR(1) variance factor.
///
/// - Shape: at least 6 points in order of `x`, which may stand still but never fall, all finite; else `None`.
///   `level`: of the slope's interval, 0.95; `None` outside (0, 1).
/// - Line: the median of all pairwise slopes; of `N` of them those of rank `(N - C)/2` and `(N + C)/2 + 1`, rounded to
///   the nearest, are the ends of its interval, `C = t sqrt(factor var S)`.
/// - Autocorrelation: `rho = clip((n r + 2)/(n - 5), 0, 0.95)`, `r` the lag-1 correlation of the ranks
///   of the detrended points; Student's t with `n/factor - 2` degrees of freedom, at least 1.
/// - Source: Sen (1968), JASA 63, 1379-1389.
pub fn correlated_trend(x: &[f64], y: &[f64], level: f64) -> Option<CorrelatedTrend> {
    let n = y.len();
    let sound = x.iter().chain(y).all(|v| v.is_finite()) && x.is_sorted();
    if n < 6 || x.len() != n || !sound || !(level > 0.0 && level < 1.0) {
        return None;
    }
    let plain = mann_kendall(y)?;
    let slopes = pair_slopes(x, y);
    let slope = median_of_sorted(&slopes)?;
    let flat: Vec<f64> = x.iter().zip(y).map(|(a, b)| b - slope * a).collect();
    let r = autocorrelation(&ranks(&flat), 1).unwrap_or(0.0);
    let factor = rank_variance_factor(corrected_about_line(r, n), n);
    let df = (n as f64 / factor - 2.0).max(1.0);
    let z = plain.z / factor.sqrt();
    let reach = student_t_quantile(0.5 + 0.5 * level, df) * factor.sqrt();
    let tied: f64 = tie_sizes(y).iter().chain(&tie_sizes(x)).map(|t| choose_sum(*t)).sum();
    let spread = reach * ((choose_sum(n) - tied).max(0.0) / 18.0).sqrt();
    let count = slopes.len() as f64;
    let lower = ((count - spread) / 2.0).round_ties_even() - 1.0;
    let upper = ((count + spread) / 2.0).round_ties_even();
    // A rank outside the list: the data do not bound that side.
    let low = if lower < 0.0 {
        f64::NEG_INFINITY
    } else {
        slopes[(lower as usize).min(slopes.len() - 1)]
    };
    let high = if upper > count - 1.0 { f64::INFINITY } else { slopes[upper.max(0.0) as usize] };
    let method = "Theil-Sen, widened for autocorrelation";
    Some(CorrelatedTrend {
        p_value: (2.0 * student_t_sf(z.abs(), df)).min(1.0),
        line: TheilSen {
            slope: Estimate::new(slope, low, high, level, method)?,
            intercept: median(&flat)?,
        },
    })
}

/// Mid-ranks, 1-based, equal values sharing their mean rank.
fn ranks(y: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..y.len()).collect();
    order.sort_by(|a, b| y[*a].total_cmp(&y[*b]));
    let mut out = vec![0.0; y.len()];
    let mut start = 0;
    for group in order.chunk_by(|a, b| y[*a] == y[*b]) {
        let shared = start as f64 + 0.5 * (group.len() as f64 + 1.0);
        for i in group {
            out[*i] = shared;
        }
        start += group.len();
    }
    out
}

/// A robust line: the median of all pairwise slopes.
#[derive(Debug, Clone, PartialEq)]
pub struct TheilSen {
    /// Slope with its interval.
    pub slope: Estimate,
    /// Median of `y - slope x`.
    pub intercept: f64,
}

impl TheilSen {
    /// Height of the line at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope.value * x
    }
}

fn pair_slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let mut slopes = Vec::with_capacity(n * n.saturating_sub(1) / 2);
    for i in 0..n {
        for j in i + 1..n {
            if x[j] != x[i] {
                slopes.push((y[j] - y[i]) / (x[j] - x[i]));
            }
        }
    }
    slopes.sort_unstable_by(f64::total_cmp);
    slopes
}
