//! One change of the share of failures, with everything found out about it.

use super::cause::Cause;
use super::cells::Counted;
use super::change::{Dated, Place, Scope, Side};
use super::explain::Explained;
use super::factors::is_of_units;
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
    /// Whether it is of a station or the line beyond what series tell, not of all units as they stand.
    pub beyond: bool,
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
    /// The same date and cause elsewhere.
    pub also: Vec<Jump>,
}

/// A part this large a share of the change is what the change is.
const PART_RULES: f64 = 0.50;

impl Jump {
    /// Whether more fail since the date.
    #[must_use]
    pub fn rises(&self) -> bool {
        self.after.share.value > self.before.share.value
    }

    /// The change of the share.
    #[must_use]
    pub fn rise(&self) -> f64 {
        self.after.share.value - self.before.share.value
    }

    /// Failures more than the better side would have had.
    #[must_use]
    pub fn excess(&self) -> f64 {
        self.rise().abs() * self.worse().units
    }

    /// It and what is the same elsewhere.
    pub fn each(&self) -> impl Iterator<Item = &Self> {
        std::iter::once(self).chain(&self.also)
    }

    /// Share of the change that some parts make; `None` where it has no parts or is none.
    pub fn part(&self, of: impl Fn(&Parts) -> f64) -> Option<f64> {
        let parts = self.parts.as_ref()?;
        (parts.rise.value != 0.0).then(|| of(parts) / parts.rise.value)
    }

    /// Whether some parts are what the change is.
    pub fn rules(&self, of: impl Fn(&Parts) -> f64) -> bool {
        self.part(of).is_some_and(|share| share >= PART_RULES)
    }

    /// Whether it is for certain another mix: more, or fewer, units of what failed more often before.
    #[must_use]
    pub fn is_mix(&self) -> bool {
        self.rules(|p| p.mix.value)
            && self.parts.as_ref().is_some_and(|p| p.mix_of.is_some() && !p.mix.contains(0.0))
    }

    /// Whether it is that of the whole line as it stands.
    #[must_use]
    pub fn is_mix_of_line(&self) -> bool {
        self.scope == Scope::Overall && !self.beyond && self.is_mix()
    }

    /// What tells that another change is the same: the factor of the mix, or the strongest cause.
    #[must_use]
    pub fn answers_to(&self) -> Option<String> {
        if self.is_mix() {
            return Some(format!("mix of {}", self.parts.as_ref()?.mix_of.as_ref()?));
        }
        self.explained.causes.first().map(|c| c.what.to_string())
    }

    /// Causes, and what came with the date.
    pub fn named(&self) -> impl Iterator<Item = &Cause> {
        self.explained.causes.iter().chain(&self.explained.coincides)
    }

    /// Causes that are of what units are made of, not who tested them nor where: their passed units must be looked at.
    /// Only a rise has such.
    pub fn lots(&self) -> impl Iterator<Item = &Cause> {
        let of_units = |c: &&Cause| c.what.0.iter().any(|n| is_of_units(&n.factor));
        self.named().filter(of_units).filter(|_| self.rises())
    }

    /// Whether it is a rise of this series that names this level, as a cause or as what came with it.
    #[must_use]
    pub fn covers(&self, series: usize, factor: &str, level: &str) -> bool {
        let names = |j: &Self| {
            j.named().any(|c| c.what.0.iter().any(|n| n.factor == factor && n.level == level))
        };
        self.each().any(|j| j.scope == Scope::Series(series as u32) && j.rises() && names(j))
    }

    /// The side with more failures.
    #[must_use]
    pub fn worse(&self) -> &Side {
        if self.rises() { &self.after } else { &self.before }
    }
}
