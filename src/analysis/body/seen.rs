//! What the units of the period judged came to, beside what was expected of healthy ones.
//!
//! In: outcomes of first tests in the period. Out: how many units there were, how many were over the limit in force,
//! and how many are of lots whose failures stand out. These are no part of the healthy body, so what is expected of
//! the body is held against the others; both are told, since the lot's failures were as real.

use serde::Serialize;

use crate::analysis::body::capability::{observed_rejects, reject_days};
use crate::analysis::units::causes::Cause;
use crate::series::{Outcome, OutcomeLine, Pass};
use crate::stats::estimate::Estimate;
use crate::words::numbers::whole;

/// Units of the period judged, first tests that were completed.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Seen {
    /// All of them.
    pub units: u64,
    /// Those tested under the limit in force, and how many of them were over it.
    #[serde(flatten)]
    pub all: OverLimit,
    /// Units of lots whose failures stand out, whatever the limit was.
    pub counted_apart: u64,
    /// As `all`, without those counted apart; `None` where there are none.
    pub without_them: Option<OverLimit>,
}

/// Units tested under the limit in force.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct OverLimit {
    /// How many.
    pub under_this_limit: u64,
    /// Of these, over the limit.
    pub over_limit: u64,
    /// Their share, per million; `None` without any unit.
    pub reject_ppm: Option<Estimate>,
}

impl Seen {
    /// Counts the outcomes of a period; `high_pa` is the limit in force.
    #[must_use]
    pub fn new<'a>(
        pass: &Pass,
        outcomes: impl Iterator<Item = &'a OutcomeLine> + Clone,
        causes: &[Cause],
        high_pa: Option<i64>,
        level: f64,
    ) -> Self {
        let completed = outcomes.filter(|o| o.outcome.is_completed());
        let is_apart = |o: &&OutcomeLine| {
            let levels = &pass.plant.factor_sets[o.factors as usize];
            causes.iter().any(|c| levels[c.index] == c.level)
        };
        let sum = |lines: &mut dyn Iterator<Item = &'a OutcomeLine>| -> u64 {
            lines.map(|o| u64::from(o.count)).sum()
        };
        // Only units judged at the limit in force: the expected rejects are of that limit.
        let at_limit =
            completed.clone().filter(|o| o.limits.high_pa.is_none_or(|high| Some(high) == high_pa));
        let counted_apart = sum(&mut completed.clone().filter(is_apart));
        Self {
            units: sum(&mut completed.clone()),
            all: OverLimit::new(at_limit.clone(), level),
            counted_apart,
            without_them: (counted_apart > 0)
                .then(|| OverLimit::new(at_limit.filter(|o| !is_apart(o)), level)),
        }
    }
}

impl OverLimit {
    fn new<'a>(outcomes: impl Iterator<Item = &'a OutcomeLine>, level: f64) -> Self {
        let days = reject_days(outcomes, Outcome::OverLimit);
        Self {
            under_this_limit: whole(days.iter().map(|d| d.judged).sum()),
            over_limit: whole(days.iter().map(|d| d.rejected).sum()),
            reject_ppm: observed_rejects(&days, level).ok().map(|share| share.scaled(1e6)),
        }
    }
}
