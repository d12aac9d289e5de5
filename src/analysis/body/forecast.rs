//! Where the end of the healthy tail goes from the last day on.
//!
//! In: a body carried along straight lines. Out: the reading that all but the accepted share stay under, by the
//! answer in use, on days ahead.

use crate::analysis::body::describe::Which;
use crate::analysis::body::healthy::{Healthy, TailNumbers};
use crate::day::Day;
use crate::stats::estimate::Estimate;

/// Days ahead where the limit is not reached.
const USUAL: Day = 180;
/// Fewest and most days ahead where it is.
const FEWEST: Day = 30;
const MOST: Day = 400;
/// Stretches that the days ahead are cut into.
const STRETCHES: Day = 6;

/// An estimate on a day.
#[derive(Debug, Clone, PartialEq)]
pub struct DayEstimate {
    /// The day.
    pub day: Day,
    /// The value with its interval.
    pub estimate: Estimate,
}

impl Healthy {
    /// The reading that all but the accepted share stay under, by the answer in use.
    #[must_use]
    pub fn tail_in_use(&self) -> Option<&TailNumbers> {
        match self.in_use.as_ref().ok()? {
            Which::Apart => self.apart.as_ref(),
            Which::Together => self.together.as_ref(),
        }
    }

    /// The same from the last day to the day the limit is reached; empty where no slope is established.
    #[must_use]
    pub fn forecast(&self) -> Vec<DayEstimate> {
        let Some((lines, tail)) = self.lines.as_ref().zip(self.tail_in_use()) else {
            return Vec::new();
        };
        let from = lines.target_day;
        let last = self.crossing.map_or(USUAL, |c| (c.day - from).clamp(FEWEST, MOST));
        (0..=STRETCHES)
            .filter_map(|k| {
                let days = last * k / STRETCHES;
                let on = |ma: f64| lines.ahead(ma, f64::from(days));
                let today = &tail.quantile_ma;
                Some(DayEstimate {
                    day: from + days,
                    estimate: Estimate::new(
                        on(today.value),
                        on(today.low),
                        on(today.high),
                        today.level,
                        "carried along the line",
                    )?,
                })
            })
            .collect()
    }
}
