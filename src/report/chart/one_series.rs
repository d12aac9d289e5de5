//! One series as its charts see it: what was found and decided about it, its unit, and the words that several of its
//! charts share.

use super::axis::{day_text, decimals_of, number, percent};
use super::marks::{EventOn, LimitFrom};
use super::style::printable;
use super::unit::Unit;
use crate::analysis::Finding;
use crate::analysis::body::describe::Body;
use crate::analysis::body::healthy::Healthy;
use crate::analysis::jump::Jump;
use crate::movement::readings::ma;
use crate::movement::{GroupSplit, SeriesMovement};
use crate::review::Review;
use crate::stats::distribution::Family;
use crate::stats::mixture::TwoGroups;
use crate::verdict::plant::SeriesVerdict;

/// What the charts of one series are filled from.
#[derive(Debug, Clone)]
pub struct OneSeries<'a> {
    /// Its name, for people.
    pub title: String,
    /// The unit of its currents.
    pub unit: Unit,
    /// How it moved.
    pub moved: &'a SeriesMovement,
    /// What was found out.
    pub finding: &'a Finding,
    /// What was decided.
    pub decided: &'a SeriesVerdict,
    /// The largest jump in its failures that is still felt.
    pub largest_jump: Option<&'a Jump>,
    /// What was recorded about its model, in order of time.
    pub events: Vec<EventOn>,
}

impl<'a> OneSeries<'a> {
    /// The `n`-th series of a review.
    pub fn new(review: &'a Review, n: usize) -> Self {
        let (moved, finding) = (&review.moved.series[n], &review.findings.series[n]);
        let named = &review.series[n].named;
        let healthy = finding.healthy.as_ref().ok();
        let typical_ma = healthy
            .and_then(|h| h.quantiles[1].as_ref())
            .map(|q| q.value)
            .or_else(|| moved.points.last().map(|p| p.value_ma))
            .unwrap_or(1.0);
        let events = review.register.events_about(None, &named.key.names()).map(|e| {
            let at = if e.station.is_empty() { String::new() } else { format!(" ({})", e.station) };
            EventOn { day: e.day, what: printable(&format!("{}{at}", e.what), "event") }
        });
        Self {
            title: printable(&named.title, &format!("series {}", n + 1)),
            unit: Unit::of(typical_ma),
            moved,
            finding,
            decided: &review.decided[n],
            largest_jump: review.findings.largest_jump(n),
            events: events.collect(),
        }
    }

    /// Its healthy body, where it could be described.
    pub fn healthy(&self) -> Option<&'a Healthy> {
        self.finding.healthy.as_ref().ok()
    }

    /// Reading step in the unit of its charts.
    pub fn step(&self) -> f64 {
        self.unit.of_ma(self.finding.step_ma)
    }

    /// A current with its unit.
    pub fn show(&self, ma: f64) -> String {
        format!("{} {}", number(self.unit.of_ma(ma), decimals_of(self.step())), self.unit.name)
    }

    /// The period judged.
    pub fn period(&self) -> String {
        let period = &self.finding.period;
        format!("{} to {}", day_text(period.from), day_text(period.to))
    }

    /// High limit in force.
    pub fn high_limit(&self) -> Option<f64> {
        self.moved.limits.now.high_pa.map(|pa| self.unit.of_ma(ma(pa)))
    }

    /// Low limit in force.
    pub fn low_limit(&self) -> Option<f64> {
        self.moved.limits.now.low_pa.map(|pa| self.unit.of_ma(ma(pa)))
    }

    /// Limits of most stations over time.
    pub fn limits(&self) -> Vec<LimitFrom> {
        let of = |pa: Option<i64>| pa.map(|pa| self.unit.of_ma(ma(pa)));
        let changes = self.moved.limits.of_most.iter();
        changes
            .map(|c| LimitFrom { day: c.day, high: of(c.limits.high_pa), low: of(c.limits.low_pa) })
            .collect()
    }

    /// The bounds that the verdict uses of the reading that all but the accepted share stay under.
    pub fn tail_bounds(&self) -> Option<(f64, f64)> {
        let tail = self.healthy()?.tail_in_use()?;
        let (low, high) = (self.unit.of_ma(tail.lower_ma), self.unit.of_ma(tail.upper_ma));
        (low.is_finite() && high.is_finite()).then_some((low, high))
    }

    /// Names of the two groups; empty where there is one.
    pub fn group_names(&self, body: &Body) -> [String; 2] {
        body.groups.as_ref().map_or_else(Default::default, |two| {
            group_names(two, self.moved.split.as_ref(), &|ma| self.show(ma))
        })
    }
}

/// Names of the two groups: the levels of the factor that separates them, else `lower` and `upper`.
pub fn group_names(
    two: &TwoGroups,
    split: Option<&GroupSplit>,
    show: &dyn Fn(f64) -> String,
) -> [String; 2] {
    let level = |names: &[String], other: &str| {
        let Some(split) = split else {
            return format!("{other} group");
        };
        let factor = &split.split.factor;
        let text = match names {
            [one] => format!("{factor} {one}"),
            [one, two] => format!("{factor} {one}, {two}"),
            more => format!("{other} group, {} levels of {factor}", more.len()),
        };
        printable(&text, &format!("{other} group"))
    };
    let names = [
        level(split.map_or(&[], |s| &s.split.lower), "lower"),
        level(split.map_or(&[], |s| &s.split.upper), "upper"),
    ];
    let mut groups = two.groups.iter();
    names.map(|name| {
        groups.next().map_or_else(String::new, |g| {
            format!("{name}: {}, around {}", percent(g.share), show(g.median))
        })
    })
}

/// The family with the most weight, as people write it.
pub fn family_words(body: &Body) -> &'static str {
    match body.average.best().fit.law.family() {
        Family::Normal => "normal",
        Family::Lognormal => "lognormal",
        Family::Gamma => "gamma",
        Family::Weibull => "Weibull",
        Family::LogLogistic => "log-logistic",
        Family::Gumbel => "Gumbel",
    }
}
