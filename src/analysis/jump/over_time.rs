//! Failures of a series month by month; week by week where the history is too short for months to show anything.
//!
//! Units are first tests that were completed, here as everywhere: what was not completed is counted apart.

use super::cells::{Counted, Failures};
use crate::day::{Day, days_of, month_of};
use crate::series::Series;
use crate::stats::estimate::Estimate;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};
use crate::words::numbers::whole;
use std::ops::Range;

/// A history of fewer days is shown by weeks: four months are no more than four points.
const BY_WEEK_BELOW: Day = 120;

/// First tests of one month or week.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Its first day.
    pub from: Day,
    /// The day after its last.
    pub until: Day,
    /// Units: first tests that were completed.
    pub units: u64,
    /// Failures by kind, and what was not completed.
    pub failures: Failures,
    /// Share of the units that failed; `None` where no test was completed.
    pub failed: Option<Estimate>,
}

/// The months, or weeks from Monday on, of a series that tested a unit, in order; `level` is that of the intervals.
#[must_use]
pub fn over_time(series: &Series, level: f64) -> Vec<Stretch> {
    let lines = &series.outcomes;
    let (Some(first), Some(last)) = (lines.first(), lines.last()) else {
        return Vec::new();
    };
    let by_week = last.day - first.day < BY_WEEK_BELOW;
    // Day 0, 1970-01-01, is a Thursday.
    let days = |day: Day| {
        let monday = (day + 3).div_euclid(7) * 7 - 3;
        if by_week { monday..monday + 7 } else { days_of(month_of(day)) }
    };
    lines
        .chunk_by(|a, b| days(a.day) == days(b.day))
        .map(|lines| {
            let mut failures = Failures::default();
            lines.iter().for_each(|o| failures.add(&Failures::of_line(o)));
            let all: u64 = lines.iter().map(|o| u64::from(o.count)).sum();
            let units = all as f64 - failures.not_completed;
            let counts = EffectiveCounts::new(failures.of(Counted::Failed), units, 1.0);
            let Range { start: from, end: until } = days(lines[0].day);
            Stretch {
                from,
                until,
                units: whole(units),
                failures,
                failed: counts.and_then(|c| clopper_pearson(c, level)),
            }
        })
        .collect()
}
