//! Lines through points, ordinary and robust, and whether there is a trend at all.

use crate::stats::autocorrelation::{autocorrelation, corrected_about_line};
use crate::stats::estimate::Estimate;
use crate::stats::moments::{Moments, sum};
use crate::stats::special::{normal_quantile, normal_sf, student_t_quantile, student_t_sf};

/// A straight line by least squares.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastSquares {
    /// Value at `x = 0`.
    pub intercept: f64,
    /// Change of `y` per unit of `x`.
    pub slope: f64,
    /// Standard error of the intercept.
    pub se_intercept: f64,
    /// Standard error of the slope.
    pub se_slope: f64,
    /// Residual standard deviation, `n - 2` in the denominator.
    pub residual_sd: f64,
    /// Share of the sum of squares that the line explains.
    pub r_squared: f64,
    /// Sum of squares explained.
    pub ss_regression: f64,
    /// Sum of squares left.
    pub ss_residual: f64,
    /// `ss_regression / residual_sd^2`.
    pub f: f64,
    /// `y - line`, in the order given.
    pub residuals: Vec<f64>,
}

/// Least-squares line of `y` on `x`, by centred sums in two passes (no digits lost to large means).
///
/// - Shape: two slices of one length, at least 3 points, `x` not all equal; else `None`.
/// - Formula: `slope = Sxy/Sxx`; `se_slope = s/sqrt(Sxx)`; `se_intercept = s sqrt(1/n + mean_x^2/Sxx)`.
#[must_use]
pub fn least_squares(x: &[f64], y: &[f64]) -> Option<LeastSquares> {
    let n = x.len();
    if n < 3 || y.len() != n {
        return None;
    }
    let (of_x, of_y) = (Moments::of_values(x)?, Moments::of_values(y)?);
    let (mx, my, sxx) = (of_x.mean, of_y.mean, of_x.sum_of_squares);
    if sxx <= 0.0 {
        return None;
    }
    let sxy = sum(x.iter().zip(y).map(|(a, b)| (a - mx) * (b - my)));
    let slope = sxy / sxx;
    let residuals: Vec<f64> = x.iter().zip(y).map(|(a, b)| (b - my) - slope * (a - mx)).collect();
    let ss_residual = sum(residuals.iter().map(|r| r * r));
    let ss_regression = slope * sxy;
    let residual_sd = (ss_residual / (n as f64 - 2.0)).sqrt();
    let total = ss_regression + ss_residual;
    Some(LeastSquares {
        intercept: my - slope * mx,
        slope,
        se_intercept: residual_sd * (1.0 / n as f64 + mx * mx / sxx).sqrt(),
        se_slope: residual_sd / sxx.sqrt(),
        residual_sd,
        r_squared: if total > 0.0 { ss_regression / total } else { 0.0 },
        ss_regression,
        ss_residual,
        f: if ss_residual > 0.0 { ss_regression / residual_sd.powi(2) } else { f64::INFINITY },
        residuals,
    })
}

/// Median of values in any order; `None` where there are none.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => Some(sorted[n / 2]),
        _ => Some(0.5 * (sorted[n / 2 - 1] + sorted[n / 2])),
    }
}

/// Mann-Kendall test for a monotone trend.
#[derive(Debug, Clone, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    /// Variance of `s` without trend, for independent points, ties taken into account.
    pub var_s: f64,
    /// `(|s| - 1)/sqrt(var_s)` with the sign of `s`; 0 at `s = 0`.
    pub z: f64,
    /// Two-sided p-value from the normal approximation.
    pub p_value: f64,
    /// `s` over the number of pairs.
    pub tau_a: f64,
    /// `s` over the number of pairs that are not tied.
    pub tau_b: f64,
}

/// Mann-Kendall `S`, its variance with ties, and the normal approximation.
///
/// - Shape: at least 3 points in order of time, else `None`.
/// - Formula: `var = (n(n-1)(2n+5) - sum t(t-1)(2t+5))/18`, `t` the sizes of groups of equal values.
/// - Source: Kendall, Rank Correlation Methods; Gilbert (1987) chapter 16 (from memory).
#[must_use]
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
    let pairs = (n * (n - 1) / 2) as f64;
    let tied: f64 = ties.iter().map(|t| (t * (t - 1) / 2) as f64).sum();
    Some(MannKendall {
        s,
        var_s,
        z,
        p_value: (2.0 * normal_sf(z.abs())).min(1.0),
        tau_a: s as f64 / pairs,
        tau_b: if tied < pairs { s as f64 / (pairs * (pairs - tied)).sqrt() } else { 0.0 },
    })
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

/// Exact one-sided p-value `P(S >= s)` of Mann-Kendall for `n` points without ties.
///
/// By counting permutations with a given number of inversions (recurrence over `n`). `None` above 150
/// points, where the normal approximation has all the digits that matter.
#[must_use]
pub fn mann_kendall_exact(s: i64, n: usize) -> Option<f64> {
    if !(2..=150).contains(&n) {
        return None;
    }
    // share[k]: probability of k inversions among the points placed so far.
    let mut share = vec![1.0];
    for m in 2..=n {
        let mut next = vec![0.0; share.len() + m - 1];
        for (k, p) in share.iter().enumerate() {
            for slot in &mut next[k..k + m] {
                *slot += p / m as f64;
            }
        }
        share = next;
    }
    let pairs = (n * (n - 1) / 2) as i64;
    // S = pairs - 2 inversions.
    Some(share.iter().enumerate().filter(|(k, _)| pairs - 2 * *k as i64 >= s).map(|(_, p)| p).sum())
}

/// Number of rising pairs with the normal statistic of the reverse-arrangements test (half a pair of
/// continuity correction, ties counted as not rising).
#[derive(Debug, Clone, PartialEq)]
pub struct RisingPairs {
    /// Pairs whose later value is the larger.
    pub count: u64,
    /// `(count - n(n-1)/4 + 1/2) / sqrt((2n+5)(n-1)n/72)`.
    pub z: f64,
}

/// Reverse-arrangements test; `None` below 3 points.
///
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.3.4.
#[must_use]
pub fn rising_pairs(y: &[f64]) -> Option<RisingPairs> {
    let n = y.len();
    if n < 3 {
        return None;
    }
    let count: u64 = (0..n).map(|i| y[i + 1..].iter().filter(|v| **v > y[i]).count() as u64).sum();
    let m = n as f64;
    let z = (count as f64 - m * (m - 1.0) / 4.0 + 0.5)
        / ((2.0 * m + 5.0) * (m - 1.0) * m / 72.0).sqrt();
    Some(RisingPairs { count, z })
}

/// Mann-Kendall for points that hang together, as daily medians do.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrelatedTrend {
    /// The test for independent points.
    pub plain: MannKendall,
    /// AR(1) parameter of the ranks of the detrended points.
    pub rho: f64,
    /// Factor on the variance of `S`, at least 1.
    pub factor: f64,
    /// Degrees of freedom of the t distribution used, `n/factor - 2`, at least 1.
    pub df: f64,
    /// Two-sided p-value.
    pub p_value: f64,
    /// Line with its interval, widened in the same way.
    pub line: TheilSen,
}

/// Variance factor of Mann-Kendall's `S` where rank correlations are `rho^k`:
/// `1 + 2/(n(n-1)(n-2)) sum_k (n-k)(n-k-1)(n-k-2) rho^k`, never below 1.
///
/// Source: Hamed & Rao (1998), J. Hydrology 204, 182-196 (from memory), with one AR(1) parameter in
/// place of sample autocorrelations, whose noise flags 5-38 % of steady series.
#[must_use]
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
/// - Shape: at least 6 points, `x` rising; else `None`. `level`: of the slope's interval, 0.95.
/// - Autocorrelation: `rho = clip((n r + 2)/(n - 4), 0, 0.95)`, `r` the lag-1 correlation of the ranks
///   of the detrended points.
#[must_use]
pub fn correlated_trend(x: &[f64], y: &[f64], level: f64) -> Option<CorrelatedTrend> {
    let n = y.len();
    if n < 6 || x.len() != n {
        return None;
    }
    let plain = mann_kendall(y)?;
    let slopes = pair_slopes(x, y);
    let slope = median_of_sorted(&slopes)?;
    let flat: Vec<f64> = x.iter().zip(y).map(|(a, b)| b - slope * a).collect();
    let r = autocorrelation(&ranks(&flat), 1).unwrap_or(0.0);
    let rho = corrected_about_line(r, n);
    let factor = rank_variance_factor(rho, n);
    let df = (n as f64 / factor - 2.0).max(1.0);
    let z = plain.z / factor.sqrt();
    let reach = student_t_quantile(0.5 + 0.5 * level, df) * factor.sqrt();
    Some(CorrelatedTrend {
        p_value: (2.0 * student_t_sf(z.abs(), df)).min(1.0),
        line: line_from(x, y, &slopes, reach, level, "Theil-Sen, widened for autocorrelation")?,
        plain,
        rho,
        factor,
        df,
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
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope.value * x
    }
}

/// Theil-Sen line for independent points; interval from order statistics of the pairwise slopes.
///
/// - Shape: at least 3 points, not all at one `x`; else `None`.
/// - Formula: with `N` slopes and `C = z sqrt(var S)`, the slopes of rank `(N - C)/2` and
///   `(N + C)/2 + 1`, rounded to the nearest.
/// - Source: Sen (1968), JASA 63, 1379-1389.
#[must_use]
pub fn theil_sen(x: &[f64], y: &[f64], level: f64) -> Option<TheilSen> {
    if x.len() < 3 || y.len() != x.len() {
        return None;
    }
    let slopes = pair_slopes(x, y);
    line_from(x, y, &slopes, normal_quantile(0.5 + 0.5 * level), level, "Theil-Sen")
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

fn median_of_sorted(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len();
    (n > 0).then(|| 0.5 * (sorted[(n - 1) / 2] + sorted[n / 2]))
}

fn line_from(
    x: &[f64],
    y: &[f64],
    slopes: &[f64],
    reach: f64,
    level: f64,
    method: &str,
) -> Option<TheilSen> {
    let slope = median_of_sorted(slopes)?;
    let tied: f64 = tie_sizes(y).iter().chain(&tie_sizes(x)).map(|t| choose_sum(*t)).sum();
    let spread = reach * ((choose_sum(x.len()) - tied).max(0.0) / 18.0).sqrt();
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
    let offsets: Vec<f64> = x.iter().zip(y).map(|(a, b)| b - slope * a).collect();
    Some(TheilSen {
        slope: Estimate::new(slope, low, high, level, method)?,
        intercept: median(&offsets)?,
    })
}
