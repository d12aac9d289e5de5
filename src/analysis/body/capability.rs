//! Capability against a limit: the index, its exact bound for normal readings, and the rejects seen.
//!
//! The exact bound (non-central t) holds only for `apart`, where normal has weight 0.9 or more and the
//! dispersion is at most 1; its n is matched to the information of the censored fit.

use std::collections::BTreeMap;

use serde::{Serialize, Serializer};

use crate::analysis::NotDone;
use crate::day::Day;
use crate::series::{Outcome, OutcomeLine};
use crate::stats::blocks::block_variance;
use crate::stats::estimate::Estimate;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};
use crate::stats::tolerance::{capability_lower, capability_upper};

/// Which index: of a steady series its capability, of another what it performed; against the high or the low
/// limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Index {
    /// Whether the series is steady.
    pub steady: bool,
    /// Whether it is against the low limit.
    pub low: bool,
}

impl Index {
    /// Its sign, as pages and JSON write it.
    #[must_use]
    pub fn sign(self) -> &'static str {
        match (self.steady, self.low) {
            (true, false) => "C_pkU",
            (false, false) => "P_pkU",
            (true, true) => "C_pkL",
            (false, true) => "P_pkL",
        }
    }

    /// Its name in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        if self.steady { "capability index" } else { "performance index" }
    }
}

impl Serialize for Index {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.sign())
    }
}

/// The index against the high limit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Capability {
    /// Which index.
    pub index: Index,
    /// Its value.
    pub value: Estimate,
}

/// One-sided index by the geometric method: `(limit - middle) / (reference - middle)`.
///
/// - Units: all three alike. `middle` is the median, `reference` the reading that 99.865 % stay under.
/// - `None` where the reference does not differ from the middle or a number is not finite.
/// - Source: ISO 22514-2, -4 (from memory); for normal readings `(limit - mean)/(3 sd)`.
#[must_use]
pub fn index(limit: f64, middle: f64, reference: f64) -> Option<f64> {
    let value = (limit - middle) / (reference - middle);
    value.is_finite().then_some(value)
}

/// The index of normal readings with its exact two-sided interval, from `n` independent readings.
///
/// Meant where the family is normal and days vary no more than independent readings would; see
/// [`capability_lower`] for the formula.
#[must_use]
pub fn exact_normal(index: f64, n: f64, level: f64) -> Option<Estimate> {
    let confidence = 0.5 + level / 2.0;
    Estimate::new(
        index,
        capability_lower(index, n, confidence)?,
        capability_upper(index, n, confidence)?,
        level,
        "exact non-central t bounds for normal readings",
    )
}

/// Rejects and judged units of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayRejects {
    /// Units that tripped on the limit.
    pub rejected: f64,
    /// Units judged against it.
    pub judged: f64,
}

/// First attempts by day, ascending: those with the outcome `rejects`, of those judged (all but those not
/// completed).
#[must_use]
pub fn reject_days<'a>(
    outcomes: impl Iterator<Item = &'a OutcomeLine>,
    rejects: Outcome,
) -> Vec<DayRejects> {
    let mut days: BTreeMap<Day, DayRejects> = BTreeMap::new();
    for o in outcomes.filter(|o| o.outcome.is_completed()) {
        let day = days.entry(o.day).or_insert(DayRejects { rejected: 0.0, judged: 0.0 });
        day.judged += f64::from(o.count);
        if o.outcome == rejects {
            day.rejected += f64::from(o.count);
        }
    }
    days.into_values().collect()
}

/// Share of the judged units that were rejected, with the exact interval on effective counts.
///
/// - Shape: one entry per day, in order of days.
/// - Method: both counts divided by the block variance over the binomial, at least 1, and by what is not known of it
///   from few blocks (Korn & Graubard 1998).
/// # Errors
/// `TooFewReadings` where no unit was judged.
pub fn observed_rejects(days: &[DayRejects], level: f64) -> Result<Estimate, NotDone> {
    let rejected: f64 = days.iter().map(|day| day.rejected).sum();
    let judged: f64 = days.iter().map(|day| day.judged).sum();
    if judged.is_nan() || judged <= 0.0 {
        return Err(NotDone::TooFewReadings { found: 0.0 });
    }
    let share = rejected / judged;
    let binomial = judged * share * (1.0 - share);
    let counts = if binomial > 0.0 {
        let sums: Vec<f64> = days.iter().map(|day| day.rejected - share * day.judged).collect();
        let block = block_variance(&sums, binomial);
        let ratio = block.variance / binomial;
        match block.degrees_of_freedom {
            Some(df) => EffectiveCounts::of_blocks(rejected, judged, ratio, df, level),
            None => EffectiveCounts::new(rejected, judged, ratio),
        }
    } else {
        EffectiveCounts::new(rejected, judged, 1.0)
    };
    counts
        .and_then(|counts| clopper_pearson(counts, level))
        .ok_or(NotDone::NotFinite("the observed rejects"))
}
