//! Lots whose failures stand out: their units are no part of the healthy body, and are counted apart.
//!
//! Left in, a lot that trips one unit in a hundred turns a fifth of all verdicts to `not enough data`
//! (design section 6). Only what a unit is made of can be named here (lot and the config's factors, not
//! operator or shift): who tested a unit does not change what it reads.
//!
//! Standing out is an exact binomial tail against all other units, Bonferroni over levels, with at least 5
//! failures and 3 times the upper bound of the others. Such lots are named by the jump that they cause, or
//! by themselves where no jump covers them.

use std::collections::BTreeMap;
use std::fmt;

use crate::day::{Day, date_of};
use crate::movement::readings::Reading;
use crate::series::{Outcome, Pass, Says, ma_to_pa};
use crate::stats::proportion::{EffectiveCounts, clopper_pearson_upper};
use crate::stats::special::beta_reg;

/// p-value, times the number of levels, from which a level stands out.
const SIGNIFICANT: f64 = 0.01;
/// Fewest failures.
const FEWEST: u64 = 5;
/// Least ratio of its share of failures to the upper 95 % bound of all others'.
const RATIO: f64 = 3.0;
/// Factors that describe the test and not the unit: operator, shift and fixture; what comes after is the config's.
const NOT_OF_THE_UNIT: std::ops::Range<usize> = 1..4;

/// A level whose failures stand out.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// Its factor, for example `lot`.
    pub factor: String,
    /// Place of the factor.
    pub index: usize,
    /// The level.
    pub level: String,
    /// Its first attempts that were over the limit or broke down.
    pub failed: u64,
    /// Its first attempts.
    pub units: u64,
    /// Failures expected among them from the share of all others.
    pub expected: f64,
    /// First and last day.
    pub days: (Day, Day),
}

impl fmt::Display for Cause {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            to,
            "{} {} stands out: {} of its {} units failed, {:.1} expected from all others ({} to {}).",
            self.factor,
            self.level,
            self.failed,
            self.units,
            self.expected,
            date_of(self.days.0),
            date_of(self.days.1)
        )
    }
}

/// Levels of a series whose share of failures stands out from all others', the strongest first.
///
/// - Test: exact binomial tail of the level's failures at the share of all other units, taken at its upper
///   95 % bound so that few other failures prove nothing; times the number of levels (Bonferroni).
#[must_use]
pub fn causes(pass: &Pass, series: usize) -> Vec<Cause> {
    #[derive(Default)]
    struct Count {
        units: u64,
        failed: u64,
        days: Option<(Day, Day)>,
    }
    let known = &pass.series[series];
    let mut all = Count::default();
    let mut levels: BTreeMap<(usize, &str), Count> = BTreeMap::new();
    // First by combination of levels, of which there are few: the levels' names are compared once each.
    let mut sets: BTreeMap<u32, Count> = BTreeMap::new();
    for o in known.outcomes.iter().filter(|o| o.outcome.is_completed()) {
        let n = u64::from(o.count);
        let count = sets.entry(o.factors).or_default();
        count.units += n;
        if matches!(o.outcome, Outcome::Breakdown | Outcome::Arc | Outcome::Failed) {
            count.failed += n;
        }
        let (from, to) = count.days.unwrap_or((o.day, o.day));
        count.days = Some((from.min(o.day), to.max(o.day)));
    }
    // Trips from the tally: those in a DC ramp, which say nothing of the unit, are not in it.
    for trips in &known.trips {
        sets.entry(trips.factors).or_default().failed += u64::from(trips.count);
    }
    for (factors, set) in &sets {
        all.units += set.units;
        all.failed += set.failed;
        for (factor, level) in pass.plant.factor_sets[*factors as usize].iter().enumerate() {
            if level.is_empty() || NOT_OF_THE_UNIT.contains(&factor) {
                continue;
            }
            let count = levels.entry((factor, level)).or_default();
            count.units += set.units;
            count.failed += set.failed;
            if let Some((first, last)) = set.days {
                let (from, to) = count.days.unwrap_or((first, last));
                count.days = Some((from.min(first), to.max(last)));
            }
        }
    }
    let (units, failed) = (all.units, all.failed);
    #[expect(clippy::cast_precision_loss, reason = "counts of units stay far below 2^53")]
    let number = |n: u64| n as f64;
    let tried = number(levels.len() as u64);
    let mut found: Vec<(f64, Cause)> = levels
        .into_iter()
        .filter(|(_, c)| c.failed >= FEWEST && c.units < units)
        .filter_map(|((index, level), c)| {
            let others =
                EffectiveCounts::new(number(failed - c.failed), number(units - c.units), 1.0)?;
            let share = clopper_pearson_upper(others, 0.95)?;
            let own = number(c.failed) / number(c.units);
            let p = beta_reg(number(c.failed), number(c.units - c.failed) + 1.0, share) * tried;
            (p < SIGNIFICANT && own >= RATIO * share).then(|| {
                let cause = Cause {
                    factor: pass.plant.factor_names[index].clone(),
                    index,
                    level: level.to_owned(),
                    failed: c.failed,
                    units: c.units,
                    expected: others.share() * number(c.units),
                    days: c.days.unwrap_or((0, 0)),
                };
                (p, cause)
            })
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.level.cmp(&b.1.level)));
    found.into_iter().map(|(_, cause)| cause).collect()
}

/// The readings of a series without the units of these levels.
#[must_use]
pub fn without(pass: &Pass, series: usize, readings: &[Reading], causes: &[Cause]) -> Vec<Reading> {
    if causes.is_empty() {
        return readings.to_vec();
    }
    let mut gone: BTreeMap<(Day, u16, i64, Says), f64> = BTreeMap::new();
    for test in pass.used_of(series) {
        let levels = test.levels();
        if !causes.iter().any(|c| levels[c.index] == c.level)
            || !matches!(test.outcome(), Outcome::Pass | Outcome::OverLimit)
        {
            continue;
        }
        if let Some((pa, says)) = test.says() {
            *gone.entry((test.day(), test.station(), pa, says)).or_default() +=
                f64::from(test.count());
        }
    }
    readings
        .iter()
        .filter_map(|r| {
            let pa = ma_to_pa(r.ma)?;
            let count = r.count - gone.get(&(r.day, r.station, pa, r.says)).copied().unwrap_or(0.0);
            (count > 0.5).then_some(Reading { count, ..*r })
        })
        .collect()
}
