//! Readings of a drifting series as they would be on one day, so that quantiles and bounds are of the
//! present body and not of the mean of its history.

use crate::stats::sample::{Grouped, Observation, SampleError};

/// Fewest and most blocks of days, and days a block: those of the block variance.
const BLOCKS: [usize; 2] = [6, 20];
const DAYS_A_BLOCK: usize = 5;
/// Carried edges are rounded to this part of a reading step, so that the tally stays short; the error
/// is an eighth of the rounding already in a reading.
const PARTS_OF_A_STEP: f64 = 8.0;
/// A spread is never carried by more than this factor: a line through weekly spreads may cross zero.
const LARGEST_RATIO: f64 = 4.0;

/// Straight lines of a period: the daily median, and the weekly spread where it moves with certainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CarryLines {
    /// Day to carry to.
    pub target_day: i32,
    /// Median reading on that day, by the line.
    pub median: f64,
    /// Change of the median a day.
    pub median_per_day: f64,
    /// The spread's line, `None` where it does not move with certainty.
    pub spread: Option<SpreadLine>,
}

/// Line of the spread (X84 − X50) over weeks.
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
        if grid > 0.0 {
            (x / grid).round() * grid
        } else {
            x
        }
    };
    Grouped::new(data.iter().map(|(day, observation, count)| {
        let moved = match observation {
            Observation::Between { low, high } => {
                let (a, b) = (
                    round(lines.carried(day, low)),
                    round(lines.carried(day, high)),
                );
                // A spread that shrank below the grid must not make readings exact.
                Observation::Between {
                    low: a,
                    high: if b > a {
                        b
                    } else {
                        a + grid.max(f64::MIN_POSITIVE)
                    },
                }
            }
            other => other.map(|x| round(lines.carried(day, x))),
        };
        (day, moved, count)
    }))
}

/// A quantity of the carried readings and its variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carried {
    /// From all readings.
    pub value: f64,
    /// Variance, by leaving out one block of days at a time.
    pub variance: f64,
    /// Degrees of freedom of the variance: blocks less one.
    pub degrees_of_freedom: f64,
}

/// Why a carried quantity has no variance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CarryError {
    /// Too few days for blocks.
    #[error("only {0} days with readings, 2 needed")]
    TooFewDays(usize),
    /// The quantity could not be had from all readings.
    #[error("the quantity could not be estimated from the carried readings")]
    NoValue,
    /// The quantity could not be had with a block left out.
    #[error("the quantity could not be estimated with block {0} left out")]
    NoValueWithout(usize),
}

/// `quantity` of `data`, with its variance by leaving out one block of consecutive days at a time: the
/// closure fits the lines anew, carries and estimates, so the lines' own uncertainty is in the variance.
///
/// - Formula: `(K - 1)/K Σ (θ_k - mean θ)²`, `K = clip(days/5, 6, 20)` blocks, never more than days.
/// - Source: Künsch H.R. (1989) Ann. Statist. 17:1217-1241, block jackknife (from memory).
/// # Errors
/// See [`CarryError`].
pub fn leave_out_blocks(
    data: &Grouped,
    quantity: &dyn Fn(&Grouped) -> Option<f64>,
) -> Result<Carried, CarryError> {
    let days: Vec<i32> = data.days().iter().map(|day| day.day).collect();
    let blocks = (days.len() / DAYS_A_BLOCK)
        .clamp(BLOCKS[0], BLOCKS[1])
        .min(days.len());
    if blocks < 2 {
        return Err(CarryError::TooFewDays(days.len()));
    }
    let finite = |x: &f64| x.is_finite();
    let value = quantity(data).filter(finite).ok_or(CarryError::NoValue)?;
    let block_of = |day: i32| days.partition_point(|&d| d < day) * blocks / days.len();
    let mut each = Vec::with_capacity(blocks);
    for block in 0..blocks {
        let rest = data
            .filter_map(|day, o| (block_of(day) != block).then_some(o))
            .map_err(|_| CarryError::NoValueWithout(block))?;
        each.push(
            quantity(&rest)
                .filter(finite)
                .ok_or(CarryError::NoValueWithout(block))?,
        );
    }
    let k = blocks as f64;
    let mean = each.iter().sum::<f64>() / k;
    let variance = (k - 1.0) / k * each.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
    Ok(Carried {
        value,
        variance,
        degrees_of_freedom: k - 1.0,
    })
}
