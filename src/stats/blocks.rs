//! The variance of an estimate from readings whose days hang together.
//!
//! Blocks of five days are paid up for what they miss at the days' own lag-1 correlation (from 20 days on),
//! with as many fewer degrees of freedom, and the upper end moves out by Johnson's skewness term times the
//! part of the variance that days add. The lower end does not move in: it then covered less.

use super::autocorrelation::{autocorrelation, corrected_about_mean};

/// Days more alike than this are a trend, not a correlation.
const MOST_CORRELATED: f64 = 0.8;
/// Fewer days than this do not tell their correlation.
const FEWEST_CORRELATED: usize = 20;

/// Variance of an estimate from blocks of days, against the usual one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockVariance {
    /// The larger of the two variances. Units: those of the estimate, squared.
    pub variance: f64,
    /// Degrees of freedom of Student's t where the block variance is the larger (blocks less one);
    /// `None`: the usual one is, and the normal applies.
    pub degrees_of_freedom: Option<f64>,
    /// Block variance over the usual one, 1 where one of them cannot be had. Below 1 as well as above:
    /// counts are divided by it only where it exceeds 1.
    pub ratio: f64,
    /// Skewness of the block sums over six times the root of their number, times the part of the variance
    /// that the usual one does not explain. See [`BlockVariance::shift`].
    pub skew: f64,
}

/// A shift never takes more than this part of the multiple it shifts.
const MOST_SHIFT: f64 = 0.5;

impl BlockVariance {
    /// What block sums with a long upper side add to the upper end of an interval of `multiple` standard
    /// errors, in standard errors: an estimate from days of which none read high is too low and its
    /// standard error too small. The other end is left: drawn in as far, it covers less in simulation.
    ///
    /// - Formula: `skewness / (6 sqrt(K)) (1 + 2 multiple^2)`, not below 0 and at most half the multiple.
    /// - Source: Johnson N.J. (1978) Modified t tests and confidence intervals for asymmetrical populations,
    ///   JASA 73:536-544; Hall P. (1992) J. R. Statist. Soc. B 54:221-228 (from memory).
    pub fn shift(&self, multiple: f64) -> f64 {
        let most = MOST_SHIFT * multiple.abs();
        (self.skew * (1.0 + 2.0 * multiple * multiple)).clamp(0.0, most)
    }
}

/// Blocks that so many days make: `clip(days / 5, 6, 20)`, rounded down and never more than days.
pub fn block_count(days: usize) -> usize {
    (days / 5).clamp(6, 20).min(days)
}

/// The larger of the usual variance and the one between blocks of consecutive days.
///
/// - `day_sums`: for each day, in order, the sum of the influences (gradient times inverse information
///   times score) of its readings on the estimate. `usual`: the variance from the observed information.
/// - Formula: `K = clip(days / 5, 6, 20)`, rounded down and never more than days;
///   `c K / (K - 1) * sum(block sum^2)`, days centred on their mean, `c` what blocks of so few days miss of
///   a first-order autoregressive series with the days' own lag-1 correlation, from 20 days on. Where that is larger,
///   Student t with `(K - 1)/c` degrees of freedom. Fewer than two days: the usual variance.
/// - Source: White (1982) and Liang & Zeger (1986), from memory; the choice of `K` by simulation.
pub fn block_variance(day_sums: &[f64], usual: f64) -> BlockVariance {
    let days = day_sums.len();
    let blocks = block_count(days);
    let none = BlockVariance { variance: usual, degrees_of_freedom: None, ratio: 1.0, skew: 0.0 };
    if blocks < 2 {
        return none;
    }
    let mean = day_sums.iter().sum::<f64>() / days as f64;
    let sums: Vec<f64> = (0..blocks)
        .map(|block| {
            let (from, to) = (block * days / blocks, (block + 1) * days / blocks);
            day_sums[from..to].iter().map(|day| day - mean).sum()
        })
        .collect();
    let squares: f64 = sums.iter().map(|sum| sum * sum).sum();
    let k = blocks as f64;
    let missed = beyond_blocks(day_sums, days / blocks);
    let between = k / (k - 1.0) * squares * missed;
    if !between.is_finite() {
        return none;
    }
    let ratio = if usual > 0.0 { between / usual } else { 1.0 };
    if between > usual {
        BlockVariance {
            variance: between,
            degrees_of_freedom: Some(((k - 1.0) / missed).max(1.0)),
            ratio,
            // Only what days add is skew by days.
            skew: (1.0 - usual / between) * skewness(&sums) / (6.0 * k.sqrt()),
        }
    } else {
        BlockVariance { variance: usual, degrees_of_freedom: None, ratio, skew: 0.0 }
    }
}

/// Long-run variance of days with their lag-1 correlation `r`, over that of sums of `length` days:
/// `(1 + r)/(1 - r)` over `1 + 2 sum (1 - k/length) r^k`. Blocks of five days whose levels hang together by
/// 0.5 see three quarters of their variance.
fn beyond_blocks(day_sums: &[f64], length: usize) -> f64 {
    if day_sums.len() < FEWEST_CORRELATED {
        return 1.0;
    }
    let r = autocorrelation(day_sums, 1)
        .map_or(0.0, |r| corrected_about_mean(r, day_sums.len()).clamp(0.0, MOST_CORRELATED));
    let (mut power, mut seen) = (1.0, 1.0);
    for k in 1..length {
        power *= r;
        seen += 2.0 * (1.0 - k as f64 / length as f64) * power;
    }
    (1.0 + r) / (1.0 - r) / seen
}

/// Third central moment over the cube of the standard deviation, both with divisor `n`; 0 for equal sums.
fn skewness(sums: &[f64]) -> f64 {
    let n = sums.len() as f64;
    let mean = sums.iter().sum::<f64>() / n;
    let moment = |power: i32| sums.iter().map(|x| (x - mean).powi(power)).sum::<f64>() / n;
    let value = moment(3) / moment(2).powf(1.5);
    if value.is_finite() { value } else { 0.0 }
}
