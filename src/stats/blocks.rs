//! The variance of an estimate from readings whose days hang together.

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
}

/// Blocks that so many days make: `clip(days / 5, 6, 20)`, rounded down and never more than days.
#[must_use]
pub fn block_count(days: usize) -> usize {
    (days / 5).clamp(6, 20).min(days)
}

/// The larger of the usual variance and the one between blocks of consecutive days.
///
/// - `day_sums`: for each day, in order, the sum of the influences (gradient times inverse information
///   times score) of its readings on the estimate. `usual`: the variance from the observed information.
/// - Formula: `K = clip(days / 5, 6, 20)`, rounded down and never more than days;
///   `K / (K - 1) * sum(block sum^2)`, days centred on their mean. Where that is larger, Student t with
///   `K - 1` degrees of freedom. Fewer than two days: the usual variance.
/// - Source: White (1982) and Liang & Zeger (1986), from memory; the choice of `K` by simulation.
#[must_use]
pub fn block_variance(day_sums: &[f64], usual: f64) -> BlockVariance {
    let days = day_sums.len();
    let blocks = block_count(days);
    let none = BlockVariance {
        variance: usual,
        degrees_of_freedom: None,
        ratio: 1.0,
    };
    if blocks < 2 {
        return none;
    }
    let mean = day_sums.iter().sum::<f64>() / days as f64;
    let squares: f64 = (0..blocks)
        .map(|block| {
            let (from, to) = (block * days / blocks, (block + 1) * days / blocks);
            let sum: f64 = day_sums[from..to].iter().map(|day| day - mean).sum();
            sum * sum
        })
        .sum();
    let k = blocks as f64;
    let between = k / (k - 1.0) * squares;
    if !between.is_finite() {
        return none;
    }
    let ratio = if usual > 0.0 { between / usual } else { 1.0 };
    if between > usual {
        BlockVariance {
            variance: between,
            degrees_of_freedom: Some(k - 1.0),
            ratio,
        }
    } else {
        BlockVariance {
            variance: usual,
            degrees_of_freedom: None,
            ratio,
        }
    }
}
