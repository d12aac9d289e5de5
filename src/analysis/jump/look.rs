//! One change investigated: shares, parts, causes, traces.

use super::asked::Asked;
use super::cause::Cause;
use super::cells::{self, Cell, Cells, Counted, Failures, by_day};
use super::change::{Dated, Place, Scope, Side, Window};
use super::explain::{Explained, explain};
use super::found::Jump;
use super::gather::gather;
use super::recount::recount;
use super::rise::Change;
use super::split::{LimitMove, Recount, split};
use super::traces::{Traces, traces};
use crate::day::Day;
use crate::series::Pass;
use crate::stats::estimate::Estimate;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};
use crate::stats::rate_change::{KnownChange, RateChange, change_at, changes};

/// A change of one scan with its neighbours.
#[derive(Clone)]
pub(super) struct Raw {
    pub(super) scope: Scope,
    pub(super) counted: Counted,
    /// Whether it is beyond what the series tell, or of all units as they stand.
    pub(super) beyond: bool,
    pub(super) change: RateChange,
    pub(super) adjusted_p: f64,
    pub(super) before: Window,
    pub(super) after: Window,
    pub(super) ended: Option<Dated>,
    pub(super) gradual: bool,
}

/// Looks into one change, `outcomes` those that changed with it, `known` what is explained already; `None` where a
/// side has no units.
///
/// A change that is another limit began on the day the limit did, where the failures allow that day: they are few, and
/// the record is not.
pub(super) fn look(
    pass: &Pass,
    asked: &Asked,
    raw: Raw,
    outcomes: Vec<Counted>,
    known: &[Jump],
) -> Option<Jump> {
    let seen = investigated(pass, asked, &raw, &outcomes, known)?;
    let moved = |m: &&LimitMove| match raw.counted {
        Counted::OverLimit => m.high,
        Counted::UnderLimit => !m.high,
        _ => true,
    };
    let on = seen.limits.iter().filter(moved).map(|m| m.day).min();
    let allowed =
        |day: &Day| seen.rules(|p| p.limit.value) && (seen.date.low..=seen.date.high).contains(day);
    let Some(day) = on.filter(allowed).filter(|day| *day != seen.date.day && !raw.given()) else {
        return Some(seen);
    };
    let mut dated = raw;
    dated.change.day = day;
    dated.before.to = day - 1;
    dated.after.from = day;
    investigated(pass, asked, &dated, &outcomes, known).or(Some(seen))
}

impl Raw {
    /// Whether the date was given: then no other day is allowed.
    fn given(&self) -> bool {
        self.change.days.0 == self.change.days.1
    }
}

fn investigated(
    pass: &Pass,
    asked: &Asked,
    raw: &Raw,
    outcomes: &[Counted],
    known: &[Jump],
) -> Option<Jump> {
    let Raw { scope, counted, change, before, after, .. } = raw;
    let (scope, counted, before, after) = (*scope, *counted, *before, *after);
    let mut cells = gather(pass, scope, &[before, after]);
    if raw.beyond {
        cells.cells = not_explained(known, &cells);
    }
    let (old, new): (Vec<&Cell>, Vec<&Cell>) = cells.cells.iter().partition(|c| before.has(c.day));
    let side = |list: &[&Cell], window: Window| -> Option<Side> {
        let mut failures = Failures::default();
        let mut units = 0.0;
        for c in list {
            units += c.tested(counted);
            failures.add(&c.failures);
        }
        let counts = EffectiveCounts::new(failures.of(counted), units, change.phi)?;
        let share: Estimate = clopper_pearson(counts, asked.demands.confidence)?;
        Some(Side { window, units, failures, share })
    };
    let (was, is) = (side(&old, before)?, side(&new, after)?);
    let mut counts = Recount::default();
    let station = match scope {
        Scope::Station(s) => Some(s),
        Scope::Series(_) | Scope::Overall => None,
    };
    for n in (0..pass.series.len()).filter(|n| scope.has_series(*n)) {
        recount(pass, n, station, (before, after), &mut counts);
    }
    let parts = split(&cells, &old, &new, counted, &counts, asked.demands.confidence, asked.seed);
    let rises = is.share.value > was.share.value;
    let about = Change { dispersion: change.long_run(), p_value: change.p_value };
    let (few, many) = if rises { (&old, &new) } else { (&new, &old) };
    let mut jump = Jump {
        scope,
        place: Place::new(pass, scope),
        counted,
        beyond: raw.beyond,
        date: Dated { day: change.day, low: change.days.0, high: change.days.1 },
        ended: raw.ended,
        before: was,
        after: is,
        p_value: change.p_value,
        adjusted_p: raw.adjusted_p,
        phi: change.phi,
        given: false,
        gradual: raw.gradual,
        outcomes: outcomes.to_vec(),
        parts,
        moved: counts.moved.filter(|_| matches!(scope, Scope::Series(_))),
        limits: counts.limits,
        explained: Explained::default(),
        traces: Traces::default(),
        readings: None,
        also: Vec::new(),
    };
    // What only came more often fails no more often than before: nothing is its cause. What does beyond that is asked
    // of the series, and of stations and line beyond them.
    if !jump.is_mix() {
        jump.explained = explain(&cells, few, many, counted, about, &asked.demands);
    }
    let windows = if rises { (before, after) } else { (after, before) };
    jump.traces = traces(pass, scope, counted, windows, jump.explained.causes.first());
    Some(jump)
}

/// The change at a date that is known.
pub(super) fn given(
    pass: &Pass,
    asked: &Asked,
    scope: Scope,
    cells: &[&Cell],
    since: Day,
) -> Option<Jump> {
    let days = by_day(cells.iter().copied(), Counted::Failed, None);
    let index = days.iter().position(|d| d.day >= since)?;
    if index == 0 {
        return None;
    }
    // Earlier changes, and later ones, bound the two sides; one close to the date is the date.
    let others = changes(&days, asked.p, asked.seed);
    let near =
        |c: &&RateChange| (c.days.0..=c.days.1).contains(&since) || c.index.abs_diff(index) < 5;
    let from =
        others.iter().filter(|c| !near(c) && c.index < index).map(|c| c.index).max().unwrap_or(0);
    let to = others
        .iter()
        .filter(|c| !near(c) && c.index > index)
        .map(|c| c.index)
        .min()
        .unwrap_or(days.len());
    let KnownChange { statistic, phi, p_value } = change_at(&days[from..to], index - from)?;
    let day = days[index].day;
    let raw = Raw {
        scope,
        counted: Counted::Failed,
        beyond: false,
        change: RateChange { index, day, days: (day, day), statistic, phi, rho: 0.0, p_value },
        adjusted_p: p_value,
        before: Window { from: days[from].day, to: days[index - 1].day },
        after: Window { from: day, to: days[to - 1].day },
        ended: others.iter().find(|c| c.index == to).map(|c| Dated {
            day: c.day,
            low: c.days.0,
            high: c.days.1,
        }),
        gradual: false,
    };
    let mut jump = look(pass, asked, raw, Vec::new(), &[])?;
    jump.given = true;
    Some(jump)
}

/// The cells that no known change explains: those outside its worse time, or of none of its causes.
fn not_explained(known: &[Jump], cells: &Cells) -> Vec<Cell> {
    let causes = known.iter().flat_map(|j| j.explained.causes.iter().map(move |c| (j, c)));
    let told: Vec<(&Jump, &Cause, Vec<cells::Place>)> = causes
        .filter_map(|(jump, cause)| {
            let names = cause.what.0.iter();
            let at = names.map(|n| cells.place(&n.factor, &n.level)).collect::<Option<_>>()?;
            Some((jump, cause, at))
        })
        .collect();
    let is_told = |c: &&Cell| {
        told.iter().any(|(jump, cause, at)| {
            jump.scope.has(c.series as usize, c.station)
                && jump.worse().window.has(c.day)
                && cause.series.contains(&(c.series as usize))
                && cells.is_of(c, at)
        })
    };
    cells.cells.iter().filter(|c| !is_told(c)).copied().collect()
}
