//! Readings of a drifting series as they would be on one day, so that quantiles and bounds are of the
//! present body and not of the mean of its history.

use rayon::prelude::*;

use crate::stats::blocks::block_count;
use crate::stats::sample::{Grouped, Observation, SampleError};

/// Carried edges are rounded to this part of a reading step, so that the tally stays short; the error
/// is an eighth of the rounding already in a reading.
const PARTS_OF_A_STEP: f64 = 8.0;
/// A spread is never carried by more than this factor: a line through weekly spreads may cross zero.
const LARGEST_RATIO: f64 = 4.0;
/// The spread never shrinks to less than this share of today's on the way to a later day.
const SMALLEST_SPREAD: f64 = 0.05;

/// Straight lines of a period: of the daily median and of the spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CarryLines {
    /// Day to carry to.
    pub target_day: i32,
    /// Median reading on that day, by the line.
    pub median: f64,
    /// Change of the median a day.
    pub median_per_day: f64,
    /// The spread's line; `None` where it stands still.
    pub spread: Option<SpreadLine>,
}

/// Line of the spread over weeks, in any unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadLine {
    /// Spread on the target day.
    pub at_target: f64,
    /// Change of the spread a week.
    pub per_week: f64,
}

impl CarryLines {
    /// The median on `day`.
    #[must_use]
    pub fn median_on(&self, day: i32) -> f64 {
        self.median - self.median_per_day * f64::from(self.target_day - day)
    }

    /// Spread of the target day over that of `day`, within a factor of four.
    #[must_use]
    pub fn spread_ratio(&self, day: i32) -> f64 {
        let Some(line) = self.spread else { return 1.0 };
        let then = line.at_target - line.per_week * f64::from(self.target_day - day) / 7.0;
        let ratio = line.at_target / then;
        if then > 0.0 && ratio.is_finite() && ratio > 0.0 {
            ratio.clamp(1.0 / LARGEST_RATIO, LARGEST_RATIO)
        } else if line.at_target > 0.0 {
            LARGEST_RATIO
        } else {
            1.0
        }
    }

    /// Spread so many days after the target day, over that of the target day.
    #[must_use]
    pub fn spread_ahead(&self, days: f64) -> f64 {
        self.spread.map_or(1.0, |s| {
            ((s.at_target + s.per_week * days / 7.0) / s.at_target).max(SMALLEST_SPREAD)
        })
    }

    /// A reading of the target day as it would be so many days later.
    #[must_use]
    pub fn ahead(&self, x: f64, days: f64) -> f64 {
        self.median + self.median_per_day * days + (x - self.median) * self.spread_ahead(days)
    }

    /// The reading of the target day that comes to `x` so many days later: [`CarryLines::ahead`] undone.
    #[must_use]
    pub fn back(&self, x: f64, days: f64) -> f64 {
        let then = self.median + self.median_per_day * days;
        self.median + (x - then) / self.spread_ahead(days)
    }

    /// Days until the reading `x` of the target day comes to `limit`, below zero where it lies beyond; `None` where it
    /// never does.
    #[must_use]
    pub fn days_to(&self, x: f64, limit: f64) -> Option<f64> {
        let spread = self.spread.map_or(0.0, |s| s.per_week / 7.0 / s.at_target);
        let days = (limit - x) / (self.median_per_day + (x - self.median) * spread);
        // A product that falls came from beyond the limit.
        (days.is_finite() && (days > 0.0) == (limit > x)).then_some(days)
    }

    /// A reading of `day` as it would be on the target day: its distance from the line times the ratio
    /// of the spreads.
    #[must_use]
    pub fn carried(&self, day: i32, x: f64) -> f64 {
        self.median + (x - self.median_on(day)) * self.spread_ratio(day)
    }
}

/// Every reading of `data` carried to the target day; days stay as they were, for the blocks.
///
/// - `step`: the coarsest reading step; edges are rounded to an eighth of it. The carried readings lie on no
///   instrument's steps: use `Edges::anywhere` with them.
/// # Errors
/// `NotFinite` where a line is not finite.
pub fn carry(data: &Grouped, lines: &CarryLines, step: f64) -> Result<Grouped, SampleError> {
    let grid = step / PARTS_OF_A_STEP;
    let round = |x: f64| {
        if grid > 0.0 { (x / grid).round() * grid } else { x }
    };
    data.filter_map(|day, observation| {
        Some(match observation {
            Observation::Between { low, high } => {
                let (a, b) = (round(lines.carried(day, low)), round(lines.carried(day, high)));
                // A spread that shrank below the grid must not make readings exact.
                Observation::Between {
                    low: a,
                    high: if b > a { b } else { a + grid.max(f64::MIN_POSITIVE) },
                }
            }
            other => other.map(|x| round(lines.carried(day, x))),
        })
    })
}

/// Several quantities, each from all readings but those of one block of days at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    each: Vec<Vec<Option<f64>>>,
}

impl LeftOut {
    /// Variance of quantity `n`; `None` where it could not be had with some block left out.
    ///
    /// - Formula: `(K - 1)/K Σ (θ_k - mean θ)²` over `K` blocks: the delete-a-group jackknife on blocks of days.
    /// - Source: blocks after Künsch H.R. (1989) Ann. Statist. 17:1217-1241, who leaves out overlapping ones.
    #[must_use]
    pub fn variance(&self, n: usize) -> Option<f64> {
        let each: Vec<f64> = self
            .each
            .iter()
            .map(|quantities| quantities.get(n).copied().flatten().filter(|x| x.is_finite()))
            .collect::<Option<_>>()?;
        let k = each.len() as f64;
        let mean = each.iter().sum::<f64>() / k;
        let sum: f64 = each.iter().map(|x| (x - mean).powi(2)).sum();
        Some((k - 1.0) / k * sum)
    }

    /// Degrees of freedom of the variances: blocks less one.
    #[must_use]
    pub fn degrees_of_freedom(&self) -> f64 {
        self.each.len() as f64 - 1.0
    }
}

/// Leaves out one block of consecutive days at a time: `quantities` fits the lines anew, carries and
/// estimates from the days it is told to keep, so the lines' own uncertainty is in the variance.
///
/// - `days`: ascending, each once; as many blocks as [`block_count`] says. `None` below 2 days.
#[must_use]
pub fn leave_out_blocks<F>(days: &[i32], quantities: F) -> Option<LeftOut>
where
    F: Fn(&dyn Fn(i32) -> bool) -> Vec<Option<f64>> + Sync,
{
    let blocks = block_count(days.len());
    if blocks < 2 {
        return None;
    }
    let block_of = |day: i32| days.partition_point(|&d| d < day) * blocks / days.len();
    let each = (0..blocks)
        .into_par_iter()
        .map(|block| quantities(&|day| block_of(day) != block))
        .collect();
    Some(LeftOut { each })
}
