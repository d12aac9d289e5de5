//! Failures of a series week by week.

use super::cells::Counted;
use crate::day::Day;
use crate::series::{Outcome, OutcomeLine, Series};
use crate::stats::estimate::Estimate;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};

/// First tests of one week.
#[derive(Debug, Clone, PartialEq)]
pub struct Week {
    /// Its first day, a Monday.
    pub from: Day,
    /// Units tested.
    pub units: u64,
    /// Failures by kind; a kind that is missing was not seen.
    pub failures: Vec<KindCount>,
}

/// Failures of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct KindCount {
    /// The kind.
    pub counted: Counted,
    /// Units that failed so.
    pub count: u64,
    /// Their share of the units tested.
    pub share: Estimate,
}

/// The weeks of a series that tested a unit, in order; `level` is that of the intervals.
#[must_use]
pub fn weeks(series: &Series, level: f64) -> Vec<Week> {
    // Day 0, 1970-01-01, is a Thursday.
    let week = |day: Day| (day + 3).div_euclid(7);
    series
        .outcomes
        .chunk_by(|a, b| week(a.day) == week(b.day))
        .map(|lines| {
            let count = |of: &dyn Fn(Outcome) -> bool| -> u64 {
                let own = |o: &&OutcomeLine| of(o.outcome);
                lines.iter().filter(own).map(|o| u64::from(o.count)).sum()
            };
            let units = count(&|_| true);
            let kind = |counted: Counted| {
                let count = count(&|outcome| counted.counts(outcome));
                #[expect(clippy::cast_precision_loss, reason = "counts of a week")]
                let counts = EffectiveCounts::new(count as f64, units as f64, 1.0)?;
                let share = clopper_pearson(counts, level).filter(|_| count > 0)?;
                Some(KindCount { counted, count, share })
            };
            Week {
                from: week(lines[0].day) * 7 - 3,
                units,
                failures: Counted::SINGLE.into_iter().filter_map(kind).collect(),
            }
        })
        .collect()
}
