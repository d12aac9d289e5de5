//! One cause: its numbers, and what cannot be told from it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::{self, Display, Formatter};

use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};

use super::cells::{Cell, Cells, Level, Place, total};
use super::factors::{FactorKind, kind};
use super::levels::Candidate;
use super::rise::Rise;
use crate::series::SHIFT;
use crate::stats::contingency::{Table, mantel_haenszel};
use crate::stats::estimate::Estimate;
use crate::stats::rate_ratio::{Rate, rate_ratio, rate_ratio_at_least};
use crate::words::numbers::{as_count, whole};

/// Two levels with this share of their units in common cannot be told apart.
const SAME_UNITS: f64 = 0.8;
/// A level whose likelihood ratio is so close to that of the best explains its failures nearly as well.
const CLOSE: f64 = 4.0;

/// One factor with one of its levels.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Named {
    /// The factor, for example `lot`.
    pub factor: String,
    /// Its level.
    pub level: String,
}

impl Named {
    fn of(cells: &Cells, (factor, level): Place) -> Self {
        Self {
            factor: cells.factors[factor].name.clone(),
            level: cells.name(factor, level).to_owned(),
        }
    }
}

impl Display for Named {
    /// `lot HE-26-31`.
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.factor, self.level)
    }
}

impl Serialize for Named {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// One level, or a pair of levels of two factors.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Levels(pub Vec<Named>);

impl Levels {
    /// Its factor; those of a pair joined by ` + `.
    #[must_use]
    pub fn factor(&self) -> String {
        self.joined(|n| &n.factor)
    }

    /// Its level, joined in the same way.
    #[must_use]
    pub fn level(&self) -> String {
        self.joined(|n| &n.level)
    }

    fn joined(&self, of: fn(&Named) -> &str) -> String {
        self.0.iter().map(of).collect::<Vec<_>>().join(" + ")
    }
}

impl Display for Levels {
    /// `lot HE-26-31 together with station A2`.
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let each: Vec<String> = self.0.iter().map(Named::to_string).collect();
        f.write_str(&each.join(" together with "))
    }
}

impl Serialize for Levels {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut pair = to.serialize_struct("Levels", 2)?;
        pair.serialize_field("factor", &self.factor())?;
        pair.serialize_field("level", &self.level())?;
        pair.end()
    }
}

/// What explains a part of a rise.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cause {
    /// What it is.
    #[serde(flatten)]
    pub what: Levels,
    /// Their places: factor and level.
    #[serde(skip)]
    pub places: Vec<Place>,
    /// Series of its units.
    #[serde(skip)]
    pub series: BTreeSet<usize>,
    /// Its failures.
    #[serde(serialize_with = "as_count")]
    pub failures: f64,
    /// Its units.
    #[serde(serialize_with = "as_count")]
    pub units: f64,
    /// Failures expected of so many units by the share before, series by series.
    pub expected: f64,
    /// How many times the share before; `None` where there was no failure before.
    pub ratio: Option<Estimate>,
    /// Where there was none: at least how many times, by a one-sided bound.
    pub ratio_at_least: Option<AtLeast>,
    /// Share of all failures beyond those expected.
    pub share_of_excess: f64,
    /// Odds against the units of the same series and day; `None` where none stood beside it, or none of these failed.
    pub odds_within_days: Option<Estimate>,
    /// Failures of the units of the same series and day; `None` where none stood beside it.
    pub others_failed: Option<u64>,
    /// Likelihood ratio over the dispersion, by which causes are ranked.
    #[serde(skip)]
    pub statistic: f64,
    /// p-value, adjusted for all levels asked.
    pub p_value: f64,
    /// Its units before the rise.
    #[serde(serialize_with = "as_count")]
    pub units_before: f64,
    /// Levels that were used together with it, whole or nearly.
    pub same_units: Vec<Named>,
    /// Levels of other units that have the same failures and explain them nearly as well.
    pub rivals: Vec<Named>,
}

/// A lower bound.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AtLeast {
    /// The bound.
    pub value: f64,
    /// Its one-sided confidence.
    pub level: f64,
}

/// Whoever worked on one station and shift only is named by these, unless they are all there is.
fn without_people(rise: &Rise<'_>, places: Vec<Place>) -> Vec<Place> {
    let cells = rise.cells;
    let mut named: Vec<Place> = Vec::new();
    for place in &places {
        let factor = &cells.factors[place.0].name;
        let stood = Some(cells.name(place.0, place.1))
            .filter(|_| kind(factor) == FactorKind::Person)
            .and_then(|operator| cells.posts.get(operator));
        let post = stood.and_then(|at| {
            Some([cells.place("station", &at.station)?, cells.place(SHIFT, &at.shift)?])
        });
        match post {
            Some(post) => named.extend(post),
            None => named.push(*place),
        }
    }
    named.sort_unstable();
    named.dedup();
    let elsewhere = |c: &&&Cell| !cells.is_of(c, &named);
    if rise.after.iter().filter(elsewhere).map(|c| c.tested(rise.counted)).sum::<f64>() < 0.5 {
        return places;
    }
    named
}

/// Measures a candidate against what is left of the rise.
pub(super) fn measured(rise: &Rise<'_>, candidate: &Candidate) -> Cause {
    let Rise { cells, counted, before, base, after, .. } = rise;
    let (counted, confidence) = (*counted, rise.demands.confidence);
    let places = without_people(rise, candidate.cut.places(candidate.level));
    let of_people = places.iter().any(|(f, _)| kind(&cells.factors[*f].name) == FactorKind::Person);
    let of = |c: &Cell| cells.is_of(c, &places);
    let own: Vec<&Cell> = after.iter().copied().filter(|c| of(c)).collect();
    let (units, failures) = total(own.iter().copied(), counted);
    let expected: f64 = own.iter().map(|c| c.tested(counted) * base.plain(c)).sum();
    // Exposures in units of the mean share before: what is rare in a series weighs less.
    let weighed = |list: &[&Cell]| -> f64 {
        list.iter().map(|c| c.tested(counted) * base.at(c) / base.all).sum()
    };
    let (_, failed_before) = total(before.iter().copied(), counted);
    let rates = [
        Rate { events: failures, exposure: weighed(&own) },
        Rate { events: failed_before, exposure: weighed(before) },
    ];
    let ratio = rate_ratio(rates[0], rates[1], confidence).filter(|r| r.value.is_finite());
    let at_least = rate_ratio_at_least(rates[0], rates[1], confidence).filter(|_| ratio.is_none());
    let mut tables: BTreeMap<(u32, i32), Table> = BTreeMap::new();
    for c in after {
        let t = tables.entry((c.series, c.day)).or_default();
        if of(c) {
            t.failed += c.failures.of(counted);
            t.units += c.tested(counted);
        } else {
            t.failed_others += c.failures.of(counted);
            t.units_others += c.tested(counted);
        }
    }
    let tables: Vec<Table> = tables.into_values().collect();
    let within_days = mantel_haenszel(&tables, confidence);
    Cause {
        what: Levels(places.iter().map(|place| Named::of(cells, *place)).collect()),
        failures,
        units,
        expected,
        ratio,
        ratio_at_least: at_least.map(|value| AtLeast { value, level: confidence }),
        series: own.iter().map(|c| c.series as usize).collect(),
        share_of_excess: (failures - expected) / rise.excess,
        statistic: candidate.statistic,
        p_value: candidate.adjusted,
        others_failed: within_days.as_ref().map(|m| whole(m.others_failed)),
        odds_within_days: within_days.and_then(|m| m.odds_ratio),
        units_before: before.iter().filter(|c| of(c)).map(|c| c.tested(counted)).sum(),
        same_units: places
            .iter()
            .flat_map(|place| {
                let of_place = |c: &&&Cell| cells.level(c, place.0) == place.1;
                let units = after.iter().filter(of_place).map(|c| c.tested(counted)).sum();
                same_units(rise, *place, units)
            })
            .filter(|n| !places.iter().any(|(f, _)| cells.factors[*f].name == n.factor))
            .filter(|n| of_people || kind(&n.factor) != FactorKind::Person)
            .collect(),
        rivals: Vec::new(),
        places,
    }
}

/// Single levels that have nearly the same failures as a cause and explain them nearly as well.
fn close<'a>(
    rise: &Rise<'_>,
    cause: &Cause,
    candidates: &'a [Candidate],
) -> impl Iterator<Item = &'a Candidate> {
    let explains = |c: &&Candidate| {
        c.cut.second.is_none()
            && !c.everything
            && c.adjusted <= rise.demands.false_discoveries
            && c.statistic >= cause.statistic - CLOSE
    };
    let same_failures = |c: &&Candidate| {
        let own = |cell: &&Cell| rise.cells.is_of(cell, &[c.place()]);
        let both = |cell: &&Cell| own(cell) && rise.cells.is_of(cell, &cause.places);
        let failed = |of: &dyn Fn(&&Cell) -> bool| {
            total(rise.after.iter().copied().filter(|c| of(c)), rise.counted).1
        };
        let common = failed(&both);
        common >= SAME_UNITS * (failed(&own) + cause.failures - common)
    };
    candidates.iter().filter(explains).filter(same_failures)
}

/// The kind of a cause: that of its last factor, since a pair with a person in it is about a person.
fn kind_of(cells: &Cells, places: &[Place]) -> FactorKind {
    let kinds = places.iter().map(|(f, _)| kind(&cells.factors[*f].name));
    kinds.max().unwrap_or(FactorKind::Thing)
}

/// Of levels that have the same failures and explain them nearly as well, the one that comes first: what was set,
/// and people last.
pub(super) fn settled<'a>(
    rise: &Rise<'_>,
    (best, cause): (&'a Candidate, Cause),
    candidates: &'a [Candidate],
) -> (&'a Candidate, Cause) {
    let rank = |c: &Candidate| kind_of(rise.cells, &[c.place()]);
    let own = kind_of(rise.cells, &best.cut.places(best.level));
    let first = close(rise, &cause, candidates)
        .filter(|c| rank(c) < own)
        .map(|c| (c, measured(rise, c)))
        .filter(|(_, other)| {
            other.failures >= rise.demands.failures && other.share_of_excess >= rise.demands.share
        })
        .min_by(|(a, _), (b, _)| rank(a).cmp(&rank(b)).then(b.statistic.total_cmp(&a.statistic)));
    first.unwrap_or((best, cause))
}

/// Single levels that have nearly the same failures as a cause, though not its units, and explain them nearly as
/// well; people only beside people.
pub(super) fn rivals(rise: &Rise<'_>, cause: &Cause, candidates: &[Candidate]) -> Vec<Named> {
    let own = kind_of(rise.cells, &cause.places);
    close(rise, cause, candidates)
        .map(Candidate::place)
        .filter(|place| !cause.places.iter().any(|(f, _)| *f == place.0))
        .filter(|place| {
            own == FactorKind::Person || kind_of(rise.cells, &[*place]) != FactorKind::Person
        })
        .map(|place| Named::of(rise.cells, place))
        .filter(|n| !cause.same_units.contains(n))
        .collect()
}

/// Levels of other factors with nearly the same units.
fn same_units(rise: &Rise<'_>, (factor, level): Place, units: f64) -> Vec<Named> {
    let cells = rise.cells;
    let mut found = Vec::new();
    for other in (0..cells.factors.len()).filter(|f| *f != factor) {
        let mut counts: BTreeMap<Level, (f64, f64)> = BTreeMap::new();
        for c in &rise.after {
            let slot = counts.entry(cells.level(c, other)).or_default();
            slot.0 += c.tested(rise.counted);
            if cells.level(c, factor) == level {
                slot.1 += c.tested(rise.counted);
            }
        }
        let several = counts.len() > 1;
        for (l, (all, both)) in counts {
            if several && l != 0 && both / (all + units - both) >= SAME_UNITS {
                found.push(Named::of(cells, (other, l)));
            }
        }
    }
    found
}
