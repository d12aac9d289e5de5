//! Two numbers of a jump and their words: units with their failures, and how many times as often a cause fails.

use std::fmt::{self, Display, Formatter};

use serde::Serialize;

use crate::analysis::jump::cells::Counted;
use crate::analysis::jump::{AtLeast, Cause, Side};
use crate::words::numbers::whole;
use crate::words::{count, percent, three_digits};

/// Units of one side, and how many of them failed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Tally {
    /// Share that failed.
    pub share: f64,
    /// Failures.
    pub failed: u64,
    /// Units.
    pub units: u64,
}

impl Display for Tally {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {}", self.failed, count(self.units, "unit"))
    }
}

impl Tally {
    /// Of one side.
    #[must_use]
    pub fn of(side: &Side, counted: Counted) -> Self {
        Self {
            share: side.share.value,
            failed: whole(side.failures.of(counted)),
            units: whole(side.units),
        }
    }
}

/// How many times as often as before a cause fails.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Times {
    /// So many, and from what to what.
    Between {
        /// The ratio.
        ratio: f64,
        /// Its lower end.
        low: f64,
        /// Its upper end.
        high: f64,
    },
    /// Nothing failed before: at least so many.
    AtLeast {
        /// The lower end.
        ratio: f64,
        /// Its one-sided confidence.
        level: f64,
    },
}

impl Times {
    /// Of a cause; `None` where it has neither.
    #[must_use]
    pub fn of(cause: &Cause) -> Option<Self> {
        let between = cause.ratio.as_ref();
        let between = between.map(|r| Self::Between { ratio: r.value, low: r.low, high: r.high });
        let bound = |b: AtLeast| Self::AtLeast { ratio: b.value, level: b.level };
        between.or_else(|| cause.ratio_at_least.map(bound))
    }
}

impl Display for Times {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Between { ratio, low, high } => write!(
                f,
                "{} times as often as before ({} to {})",
                three_digits(ratio),
                three_digits(low),
                three_digits(high)
            ),
            Self::AtLeast { ratio, level } => write!(
                f,
                "at least {} times as often as before, when none failed ({} confidence, one-sided)",
                three_digits(ratio),
                percent(level)
            ),
        }
    }
}
