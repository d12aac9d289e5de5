//! One change of the share of failures, with everything found out about it.

use super::cause::Cause;
use super::cells::Counted;
use super::change::{Dated, Place, Scope, Side};
use super::explain::Explained;
use super::readings::Readings;
use super::split::{LimitMove, Parts};
use super::traces::Traces;

/// One change of the share of failures.
#[derive(Debug, Clone, PartialEq)]
pub struct Jump {
    /// Where.
    pub scope: Scope,
    /// The names of that.
    pub place: Place,
    /// Which failures.
    pub counted: Counted,
    /// Since when.
    pub date: Dated,
    /// First day of the earlier share again, where it came back.
    pub ended: Option<Dated>,
    /// Before.
    pub before: Side,
    /// Since then.
    pub after: Side,
    /// p-value, paid for the scan over days and for rates that vary.
    pub p_value: f64,
    /// The same, adjusted for all scans of the plant.
    pub adjusted_p: f64,
    /// Dispersion of daily counts.
    pub phi: f64,
    /// Whether the date was given, not found.
    pub given: bool,
    /// Whether an even rise describes it better than a step.
    pub gradual: bool,
    /// The outcomes that changed with it, of failures together.
    pub outcomes: Vec<Counted>,
    /// The change in parts; `None` where a side has no units.
    pub parts: Option<Parts>,
    /// Limits that changed between the sides.
    pub limits: Vec<LimitMove>,
    /// Ratio of typical readings, after over before.
    pub moved: Option<f64>,
    /// What explains it: of a rise what failed more since, of a fall what no longer fails.
    pub explained: Explained,
    /// Failures in time, and their retests.
    pub traces: Traces,
    /// Readings before and since, of a series; asked once its reading step is known.
    pub readings: Option<Readings>,
}

impl Jump {
    /// Whether more fail since the date.
    #[must_use]
    pub fn rises(&self) -> bool {
        self.after.share.value > self.before.share.value
    }

    /// Causes, and what came with the date.
    pub fn named(&self) -> impl Iterator<Item = &Cause> {
        self.explained.causes.iter().chain(&self.explained.coincides)
    }

    /// Causes that are of what units are made of, not who tested them nor where: their passed units must be looked at.
    /// Only a rise has such.
    pub fn lots(&self) -> impl Iterator<Item = &Cause> {
        const WHO_AND_WHERE: [&str; 5] = ["station", "model", "operator", "shift", "fixture"];
        let of_units =
            |c: &&Cause| c.what.0.iter().any(|n| !WHO_AND_WHERE.contains(&n.factor.as_str()));
        self.named().filter(of_units).filter(|_| self.rises())
    }

    /// Whether it is a rise of this series that names this level, as a cause or as what came with it.
    #[must_use]
    pub fn covers(&self, series: usize, factor: &str, level: &str) -> bool {
        matches!(self.scope, Scope::Series(n) if n as usize == series)
            && self.rises()
            && self.named().any(|c| c.what.0.iter().any(|n| n.factor == factor && n.level == level))
    }

    /// The side with more failures.
    #[must_use]
    pub fn worse(&self) -> &Side {
        if self.rises() { &self.after } else { &self.before }
    }
}
