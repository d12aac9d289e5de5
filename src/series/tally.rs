//! A series as a tally: distinct readings with how often each occurred, per day and station.
//!
//! A tally line is never a repeated row: equal lines of two plants are different units.

use serde::Serialize;

use super::SeriesKey;
use crate::day::Day;
use crate::records::{Limits, Outcome};

/// What a tally line says about the current.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Says {
    /// The reading itself, known to its step.
    Value,
    /// Below the value.
    Below,
    /// Above the value: a trip at the limit in force, or a reading such as `>5.00`.
    Above,
}

/// So many units of one day and station with one reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TallyLine {
    /// Production day.
    pub day: Day,
    /// Index into the pass's stations.
    pub station: u16,
    /// Picoamperes.
    pub value_pa: i64,
    /// What the value says.
    pub says: Says,
    /// Units.
    pub count: u32,
}

/// So many units of one day, station, combination of factor levels and settings with one outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct OutcomeLine {
    /// Production day.
    pub day: Day,
    /// Index into the pass's stations.
    pub station: u16,
    /// Index into the pass's factor sets.
    pub factors: u32,
    /// Index into what was set at the plant ([`super::Plant::settings`]).
    pub set: u32,
    /// The limits in force.
    pub limits: Limits,
    /// What the first attempt ended with.
    pub outcome: Outcome,
    /// Whether it tripped on the high limit while a direct voltage still rose: its current was charging current.
    pub in_ramp: bool,
    /// Units.
    pub count: u32,
}

impl OutcomeLine {
    /// The same of so many units.
    pub(super) fn with(self, count: u32) -> Self {
        Self { count, ..self }
    }
}

/// So many units of one combination of factor levels whose current is known to lie above something, over all days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct TripLine {
    /// Index into the pass's factor sets.
    pub factors: u32,
    /// Units.
    pub count: u32,
}

/// A value shown by an under-limit result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct UnderLimitLine {
    /// Production day.
    pub day: Day,
    /// Index into the pass's stations.
    pub station: u16,
    /// Picoamperes.
    pub value_pa: i64,
}

/// All that is known of one series.
#[derive(Debug, Clone)]
pub struct Series {
    /// What may be compared.
    pub key: SeriesKey,
    /// Readings, sorted by day, station and value.
    pub tally: Vec<TallyLine>,
    /// Outcomes of first attempts, sorted.
    pub outcomes: Vec<OutcomeLine>,
    /// Units of the tally above a value (trips, readings such as `>5.00`) by factor levels, sorted.
    pub trips: Vec<TripLine>,
    /// Values shown by under-limit results, sorted.
    pub under_limit: Vec<UnderLimitLine>,
    /// Squared differences between two readings of one unit, in square milliamperes, summed; and how many.
    pub repeats: (f64, u32),
}

impl Series {
    /// First attempts with this outcome.
    #[must_use]
    pub fn count(&self, outcome: Outcome) -> u64 {
        self.outcomes.iter().filter(|o| o.outcome == outcome).map(|o| u64::from(o.count)).sum()
    }

    /// Units: first attempts that were completed.
    #[must_use]
    pub fn units(&self) -> u64 {
        self.first_tests() - self.count(Outcome::NotCompleted)
    }

    /// First attempts in all, those not completed among them.
    fn first_tests(&self) -> u64 {
        self.outcomes.iter().map(|o| u64::from(o.count)).sum()
    }
}

/// Outcomes of the first attempts of a series.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Outcomes {
    /// Passed.
    pub pass: u64,
    /// Over the high limit.
    pub over_limit: u64,
    /// Under the low limit.
    pub under_limit: u64,
    /// Broke down, arcs among them.
    pub breakdown: u64,
    /// Of these, found by the arc detector.
    pub arc: u64,
    /// Failed, and nothing tells by what.
    #[serde(rename = "failed_class_not_known")]
    pub failed: u64,
    /// All that failed: over limit, under limit, breakdown and of no known class.
    #[serde(rename = "failed")]
    pub failed_in_all: u64,
    /// Stopped before the end.
    pub not_completed: u64,
    /// Failed an earlier step of the sequence and never came to this one.
    pub not_reached: u64,
}

impl Outcomes {
    /// Those of one of all series.
    #[must_use]
    pub fn new(all: &[Series], n: usize) -> Self {
        let series = &all[n];
        let count = |outcome| series.count(outcome);
        let SeriesKey { model, step, .. } = &series.key;
        let before = all
            .iter()
            .filter(|s| s.key.model == *model && !s.key.step.is_empty() && s.key.step < *step)
            .map(Series::first_tests)
            .max();
        Self {
            pass: count(Outcome::Pass),
            over_limit: count(Outcome::OverLimit),
            under_limit: count(Outcome::UnderLimit),
            breakdown: count(Outcome::Breakdown) + count(Outcome::Arc),
            arc: count(Outcome::Arc),
            failed: count(Outcome::Failed),
            failed_in_all: Outcome::ALL.into_iter().filter(|o| o.is_failure()).map(count).sum(),
            not_completed: count(Outcome::NotCompleted),
            not_reached: before.map_or(0, |before| before.saturating_sub(series.first_tests())),
        }
    }
}
