//! Sudden changes of the share of failures: since when, how big, and what explains them.
//!
//! Looked for in every series, then at every station and over the whole line beyond what the series tell
//! already; failures together and each outcome on its own (design section 11).
//!
//! *Finding*: replicates draw their own dispersion and correlation, since few failures tell little of how
//! rates vary; series, stations and the line are three questions, each paying for its own scans; the date's
//! interval is 7 long-run dispersions, `1 + (phi − 1)(1 + rho)/(1 − rho)`, wide, where design 11 says 7
//! `phi`: with days that hang together that held too little.
//!
//! *Explaining*: levels beside others on the same days are compared within series and day. A level tied to
//! days of its own proves no more than the change does, and is a cause only where nothing within days is
//! one and its factor's levels leave little for other days. A level that every unit since had, and none
//! before, is told as coinciding, never as a cause. Every factor has the same weight in the false-discovery
//! control, shared by its levels (Genovese, Roeder & Wasserman 2006, from memory), as the ranking's `2
//! ln(levels)` has it. Another level that has the same failures and fits within a likelihood ratio of e² is
//! told beside a cause (`rivals`).

mod cause;
pub mod cells;
pub mod explain;
mod find;
mod gather;
mod levels;
mod odds;
mod recount;
pub mod split;
pub mod traces;

pub use cause::{Cause, Named};
use cells::{Counted, Failures};
pub use explain::{Change, Demands, Explained};
pub use find::{Asked, jumps};
pub use split::{LimitMove, Parts};
pub use traces::{Traces, of_cause};

use crate::day::Day;
use crate::stats::estimate::Estimate;

/// Where a change is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// One series.
    Series(u32),
    /// One station, all its series.
    Station(u16),
    /// The whole line.
    Overall,
}

/// What is asked of a plant: all its series or those of one model, whenever or at a date that is known.
#[derive(Debug, Clone, Copy, Default)]
pub struct JumpQuestion<'a> {
    /// Model looked at; all where `None`.
    pub model: Option<&'a str>,
    /// The date, where it is known.
    pub since: Option<Day>,
}

/// A change that ended so many days before the last is history.
const RECENT_DAYS: Day = 31;

impl JumpQuestion<'_> {
    /// Whether a model is looked at; names are compared without case and blanks around.
    #[must_use]
    pub fn is_about(&self, model: &str) -> bool {
        self.model.is_none_or(|m| m.trim().to_lowercase() == model.trim().to_lowercase())
    }
}

/// Days from the first to the last, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
}

impl Window {
    /// Whether the day lies inside.
    #[must_use]
    pub fn has(&self, day: Day) -> bool {
        (self.from..=self.to).contains(&day)
    }
}

/// A date with the days that the data allow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dated {
    /// First day of the new share.
    pub day: Day,
    /// First day allowed.
    pub low: Day,
    /// Last day allowed.
    pub high: Day,
}

/// Units and failures of one side.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Its days.
    pub window: Window,
    /// Units.
    pub units: f64,
    /// Failures by kind.
    pub failures: Failures,
    /// Share of those that count.
    pub share: Estimate,
}

/// One change of the share of failures.
#[derive(Debug, Clone, PartialEq)]
pub struct Jump {
    /// Where.
    pub scope: Scope,
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
}

impl Jump {
    /// Whether more fail since the date.
    #[must_use]
    pub fn rises(&self) -> bool {
        self.after.share.value > self.before.share.value
    }

    /// Whether it began, or ended, within a month of the last day; one that ended before is history.
    #[must_use]
    pub fn is_recent(&self, last: Day) -> bool {
        self.ended.map_or(self.date.day, |e| e.day) + RECENT_DAYS >= last
    }

    /// Causes, and what came with it.
    fn named(&self) -> impl Iterator<Item = &Cause> {
        self.explained.causes.iter().chain(&self.explained.coincides)
    }

    /// Causes that are of what units are made of, not who tested them nor where: their passed units must be looked at.
    /// Only a rise has such.
    pub fn lots(&self) -> impl Iterator<Item = &Cause> {
        const WHO_AND_WHERE: [&str; 5] = ["station", "model", "operator", "shift", "fixture"];
        let of_units =
            |c: &&Cause| c.what.iter().any(|n| !WHO_AND_WHERE.contains(&n.factor.as_str()));
        self.named().filter(of_units).filter(|_| self.rises())
    }

    /// Whether it is a rise of this series that names this level, as a cause or as what came with it.
    #[must_use]
    pub fn covers(&self, series: usize, factor: &str, level: &str) -> bool {
        matches!(self.scope, Scope::Series(n) if n as usize == series)
            && self.rises()
            && self.named().any(|c| c.what.iter().any(|n| n.factor == factor && n.level == level))
    }

    /// The side with more failures.
    #[must_use]
    pub fn worse(&self) -> &Side {
        if self.rises() { &self.after } else { &self.before }
    }
}
