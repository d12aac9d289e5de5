//! Readings of a series on both sides of a change: did they move, or did a separate group appear?

use std::collections::BTreeMap;

use super::change::Window;
use crate::movement::readings::ma;
use crate::series::{Says, Series};

/// Readings of one side.
#[derive(Debug, Clone, PartialEq)]
pub struct SideReadings {
    /// Readings of passed units (mA) with their counts, by day.
    pub passed: Vec<(f64, f64)>,
    /// Units that tripped: their reading is not known.
    pub tripped: f64,
    /// High limit of most units, mA.
    pub limit_ma: Option<f64>,
}

/// Readings before and since.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// Coarsest reading step at the typical reading, mA.
    pub step_ma: f64,
    /// The first reading of the series, which tells its unit, mA.
    pub first_ma: Option<f64>,
    /// Before.
    pub before: SideReadings,
    /// Since.
    pub after: SideReadings,
}

/// The readings of a series on both sides; `step_ma` is its coarsest step.
#[must_use]
pub fn readings(series: &Series, before: Window, after: Window, step_ma: f64) -> Readings {
    let side = |window: Window| {
        let mut limits: BTreeMap<i64, u32> = BTreeMap::new();
        for o in series.outcomes.iter().filter(|o| window.has(o.day)) {
            if let Some(high) = o.limits.high_pa {
                *limits.entry(high).or_default() += o.count;
            }
        }
        let lines =
            |says: Says| series.tally.iter().filter(move |l| l.says == says && window.has(l.day));
        SideReadings {
            passed: lines(Says::Value).map(|l| (ma(l.value_pa), f64::from(l.count))).collect(),
            tripped: lines(Says::Above).map(|l| f64::from(l.count)).sum(),
            limit_ma: limits.iter().max_by_key(|(_, n)| **n).map(|(high, _)| ma(*high)),
        }
    };
    Readings {
        step_ma,
        first_ma: series.tally.iter().find(|l| l.says == Says::Value).map(|l| ma(l.value_pa)),
        before: side(before),
        after: side(after),
    }
}
