//! A share that is expected of healthy units and not seen, with the least that its units can tell.
//!
//! A fitted tail can be asked for any share, however small; units tell none below one in a hundred times their number
//! (design section 12). Such a share is handed on as "below that", and never as a number: not on a page, not in a
//! result file.

use std::ops::Deref;

use serde::{Serialize, Serializer};

use super::estimate::Estimate;

/// A share, in whatever unit it is told: of 1, per million, units a month.
///
/// - As JSON: an estimate with the key `below`. Where the units cannot tell the value it is `null` and `below` says
///   what it is below; an end of the interval that they cannot tell is 0, or that bound.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedShare {
    estimate: Estimate,
    least: f64,
}

/// No share is said to be rarer than this many units in all those judged: so far out the law of a tail is not known.
pub const RAREST: f64 = 0.01;

/// The least share that so many units tell, a fraction of 1.
fn least_of(units: u64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of units stay far below 2^53")]
    let units = units.max(1) as f64;
    RAREST / units
}

impl ExpectedShare {
    /// A share of 1 that so many units let expect, told in `unit`s: 1e6 for parts per million.
    #[must_use]
    pub fn new(share: &Estimate, units: u64, unit: f64) -> Self {
        Self { estimate: share.scaled(unit), least: unit * least_of(units) }
    }

    /// The same in another unit.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self { estimate: self.estimate.scaled(factor), least: factor * self.least }
    }

    /// The least that its units can tell.
    #[must_use]
    pub fn least(&self) -> f64 {
        self.least
    }
}

impl Deref for ExpectedShare {
    type Target = Estimate;

    fn deref(&self) -> &Estimate {
        &self.estimate
    }
}

impl Serialize for ExpectedShare {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Told<'a> {
            value: Option<f64>,
            low: Option<f64>,
            high: Option<f64>,
            level: f64,
            method: &'a str,
            below: Option<f64>,
        }
        let (e, least) = (&self.estimate, self.least);
        Told {
            value: Some(e.value).filter(|x| *x >= least && x.is_finite()),
            low: Some(if e.low < least { 0.0 } else { e.low }).filter(|x| x.is_finite()),
            high: Some(e.high.max(least)).filter(|x| x.is_finite()),
            level: e.level,
            method: &e.method,
            below: (e.value < least).then_some(least),
        }
        .serialize(to)
    }
}

/// A share at the end of the planning horizon, per million: it has no interval. Neither is known without a slope.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct ExpectedAtHorizon {
    /// The share, where the units can tell it.
    #[serde(rename = "expected_reject_ppm_at_horizon")]
    pub ppm: Option<f64>,
    /// What it is below, where they cannot.
    #[serde(rename = "expected_reject_ppm_at_horizon_below")]
    pub below_ppm: Option<f64>,
}

impl ExpectedAtHorizon {
    /// A share of 1 that so many units let expect.
    #[must_use]
    pub fn new(share: Option<f64>, units: u64) -> Self {
        let least = least_of(units);
        let told = |x: f64| Some(1e6 * x);
        Self {
            ppm: share.filter(|x| *x >= least).and_then(told),
            below_ppm: share.filter(|x| *x < least).and_then(|_| told(least)),
        }
    }

    /// Whether it was asked for.
    #[must_use]
    pub fn is_known(self) -> bool {
        self.ppm.or(self.below_ppm).is_some()
    }
}
