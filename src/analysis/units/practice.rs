//! Retests: how many failures pass in the end, and who tests again until they do.

use std::fmt;

use serde::Serialize;

use crate::series::{OPERATOR, Outcome, Pass, Series, Tests, UnitHistory};
use crate::stats::estimate::Estimate;
use crate::stats::special::chi_square_quantile;

/// Units with more retests than allowed that make a practice.
const FEWEST_UNITS: u64 = 5;

/// What became of units that failed first; counts are `None` where the units are known from a tally alone, which
/// does not say it.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Practice {
    /// Units that failed their first completed test.
    pub failed: Option<u64>,
    /// Of these, passed in the end at the series' settings.
    pub then_passed: Option<u64>,
    /// Passed in the end, but only at other settings: repeats at a lower voltage, as after a repair.
    pub then_passed_at_other_settings: Option<u64>,
    /// Units tested again more often than allowed.
    pub more_than_allowed: Option<u64>,
    /// Of these, passed in the end at the series' settings.
    pub more_than_allowed_passed: Option<u64>,
    /// Standard deviation between two tests of one unit, mA.
    pub repeatability_ma: Option<Estimate>,
    /// Who tests again until it passes.
    #[serde(skip)]
    pub habits: Vec<Habit>,
}

/// One who tests again more often than allowed.
#[derive(Debug, Clone, PartialEq)]
pub struct Habit {
    /// Factor, for example `operator`.
    pub factor: String,
    /// Its level.
    pub level: String,
    /// Station.
    pub station: String,
    /// Over-limit units.
    pub units: u64,
    /// Passed in the end.
    pub passed: u64,
    /// Further tests per unit.
    pub tests_each: f64,
    /// Over-limit units of all others.
    pub others: u64,
    /// How many of them passed.
    pub others_passed: u64,
}

impl fmt::Display for Habit {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            to,
            "{} {} on {}: {} units tripped, {} passed in the end after {:.1} further tests each (all others: {} of {} passed)",
            self.factor,
            self.level,
            self.station,
            self.units,
            self.passed,
            self.tests_each,
            self.others_passed,
            self.others
        )
    }
}

/// Retests of a series.
#[must_use]
pub fn practice(pass: &Pass, series: usize, allowed: u32, level: f64) -> Practice {
    let mine = pass.histories_of(series);
    let tripped: Vec<&UnitHistory> =
        mine.iter().filter(|h| h.outcome == Outcome::OverLimit).collect();
    let mut habits = Vec::new();
    for (station, name) in pass.plant.stations.iter().enumerate() {
        for (factor, factor_name) in pass.plant.factor_names.iter().enumerate().skip(1) {
            let of = |h: &UnitHistory| pass.plant.factor_sets[h.factors as usize][factor].as_str();
            let mut levels: Vec<&str> = tripped
                .iter()
                .filter(|h| usize::from(h.station) == station)
                .map(|h| of(h))
                .filter(|l| !l.is_empty())
                .collect();
            levels.sort_unstable();
            levels.dedup();
            for level in levels {
                let (own, others): (Vec<&UnitHistory>, Vec<&UnitHistory>) = tripped
                    .iter()
                    .copied()
                    .partition(|h| usize::from(h.station) == station && of(h) == level);
                let often = |list: &[&UnitHistory]| {
                    list.iter().filter(|h| h.retests > allowed).count() as u64
                };
                let passed =
                    |list: &[&UnitHistory]| list.iter().filter(|h| h.passed).count() as u64;
                // Named only where it is theirs: most of those units are at this station and level.
                if often(&own) >= FEWEST_UNITS && often(&own) > 3 * often(&others) {
                    // Who worked on one station and shift only is named by these.
                    if factor_name == OPERATOR && pass.plant.posts.contains_key(level) {
                        continue;
                    }
                    habits.push(Habit {
                        factor: factor_name.clone(),
                        level: level.to_owned(),
                        station: name.clone(),
                        units: own.len() as u64,
                        passed: passed(&own),
                        tests_each: own.iter().map(|h| f64::from(h.retests)).sum::<f64>()
                            / own.len() as f64,
                        others: others.len() as u64,
                        others_passed: passed(&others),
                    });
                }
            }
        }
    }
    let is_told = pass.tests_of(series).flat_map(Tests::all).any(|test| !test.is_tallied());
    let count = |counts: &dyn Fn(&UnitHistory) -> bool| {
        is_told.then(|| mine.iter().filter(|h| counts(h)).count() as u64)
    };
    Practice {
        more_than_allowed: count(&|h| h.retests > allowed),
        more_than_allowed_passed: count(&|h| h.retests > allowed && h.passed),
        failed: count(&|_| true),
        then_passed: count(&|h| h.passed),
        then_passed_at_other_settings: count(&|h| h.passed_elsewhere),
        repeatability_ma: repeatability(&pass.series[series], level),
        habits,
    }
}

/// Repeatability: standard deviation of one reading, from two readings of one unit.
///
/// `s = sqrt(Σ d² / 2n)`, interval from chi-square with `n` degrees of freedom; `None` below 5 pairs.
#[must_use]
pub fn repeatability(series: &Series, level: f64) -> Option<Estimate> {
    let (sum, n) = series.repeats;
    if n < 5 || sum <= 0.0 {
        return None;
    }
    let n = f64::from(n);
    let sd = |chi: f64| (sum / 2.0 / chi).sqrt();
    Estimate::new(
        sd(n),
        sd(chi_square_quantile(0.5 + level / 2.0, n)),
        sd(chi_square_quantile(0.5 - level / 2.0, n)),
        level,
        "differences between two readings of one unit",
    )
}
