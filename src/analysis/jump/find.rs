//! The search: which series, stations and outcomes changed, each change investigated.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::asked::Asked;
use super::beyond::{by_series_alone, shares, without_causes};
use super::cause::Named;
use super::cells::{Cell, Counted, by_day, total};
use super::change::{Dated, Scope, Window};
use super::found::Jump;
use super::gather::plain;
use super::look::{Raw, given, look};
use crate::day::Day;
use crate::series::Pass;
use crate::stats::multiple::benjamini_hochberg;
use crate::stats::rate_change::{DayCount, RateChange, changes, even_trend_ratio};
use crate::stats::rate_ratio::{Rate, rate_ratio_p};

/// False discovery rate over all scans of a plant.
const FALSE_SCANS: f64 = 0.05;
/// From this p-value on a share is taken to have come back to what it was.
const CAME_BACK: f64 = 0.01;

/// A change of a place as it stands is told by others where they make this share of it.
const TELLS: f64 = 0.5;
/// One scan: a history of days and the changes in it.
struct Scan {
    of: Of,
    days: Vec<DayCount>,
    changes: Vec<RateChange>,
}

/// What a scan is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Of {
    scope: Scope,
    counted: Counted,
    /// Whether of what series do not tell.
    beyond: bool,
}

/// Every change of the pass, those of series first, then by date; several of one date and one cause are one. With a
/// date given, the change at that date of every series that has units on both sides, and of stations and the line
/// where the mix is what changed; failures together.
///
/// Series, stations and the line are three questions, each paying for its own scans. Stations and the line are
/// asked as they stand, where more units of a poor model are a jump whose answer is the mix, and beyond what the
/// series tell; both ways are one question.
#[must_use]
pub fn jumps(pass: &Pass, asked: &Asked) -> Vec<Jump> {
    let cells = plain(pass);
    let mut by_series: BTreeMap<u32, Vec<&Cell>> = BTreeMap::new();
    for c in cells.iter().filter(|c| asked.looks_at(&pass.series[c.series as usize].key.model)) {
        by_series.entry(c.series).or_default().push(c);
    }
    let whole = pass.series.iter().all(|s| asked.looks_at(&s.key.model));
    // A place that tests one series is that series.
    let mixed = if whole { places_of_several(pass, &cells) } else { Vec::new() };
    if let Some(since) = asked.since {
        return at_date(pass, asked, (&cells, &by_series), &mixed, since);
    }
    let questions: Vec<Of> =
        by_series.keys().flat_map(|n| all_of(Scope::Series(*n), false)).collect();
    let scans: Vec<Scan> = questions
        .par_iter()
        .filter_map(|of| {
            let Scope::Series(n) = of.scope else { return None };
            let days = by_day(by_series.get(&n)?.iter().copied(), of.counted, None);
            Some(scan(*of, days, asked))
        })
        .collect();
    let mut found = investigate(pass, asked, scans, questions.len(), &[]);
    let grown = |line: &Jump| grown_alike(pass, &cells, line);
    if !whole {
        return together(found, &grown);
    }
    let of_series = found.len();
    let mut left = without_causes(pass, &cells, &found);
    let expected = shares(&left, &found, &Counted::ALL);
    let stations = (0..pass.plant.stations.len()).filter_map(|s| u16::try_from(s).ok());
    let stations: Vec<Scope> = stations.map(Scope::Station).collect();
    // The line of one station is that station, and two plants are no one line.
    let line: Vec<Scope> = is_line(pass).then_some(Scope::Overall).into_iter().collect();
    for places in [stations, line] {
        let as_it_stands =
            places.iter().filter(|p| mixed.contains(p)).flat_map(|p| all_of(*p, false));
        let beyond = places.iter().flat_map(|p| all_of(*p, true));
        let questions: Vec<Of> = as_it_stands.chain(beyond).collect();
        let scans: Vec<Scan> = questions
            .par_iter()
            .filter_map(|of| {
                let inside = |c: &&Cell| of.scope.has(c.series as usize, c.station);
                let weighed = |c: &Cell| expected.at(c, of.counted);
                let days = match of.beyond {
                    true => by_day(left.iter().filter(inside), of.counted, Some(&weighed)),
                    false => by_day(cells.iter().filter(inside), of.counted, None),
                };
                (days.len() > 3).then(|| scan(*of, days, asked))
            })
            .collect();
        let here = investigate(pass, asked, scans, questions.len(), &found);
        let (beyond, as_it_stands): (Vec<Jump>, Vec<Jump>) =
            here.into_iter().partition(|j| j.beyond);
        left.retain(|c| !beyond.iter().any(|j| j.scope == Scope::Station(c.station)));
        found.extend(beyond);
        for jump in as_it_stands {
            let told = by_series_alone(&cells, &found[..of_series], &jump) / jump.rise();
            if (told < TELLS || jump.is_mix()) && !found.iter().any(|known| tells(known, &jump)) {
                found.push(jump);
            }
        }
    }
    found.sort_by_key(|j| (j.scope, j.date.day, j.counted));
    together(found, &grown)
}

/// Failures together and each outcome on its own.
fn all_of(scope: Scope, beyond: bool) -> impl Iterator<Item = Of> {
    Counted::ALL.into_iter().map(move |counted| Of { scope, counted, beyond })
}

/// Stations and the line, where they test several series.
fn places_of_several(pass: &Pass, cells: &[Cell]) -> Vec<Scope> {
    let mut series: BTreeMap<Scope, BTreeSet<u32>> = BTreeMap::new();
    for c in cells {
        for place in [Scope::Station(c.station), Scope::Overall] {
            series.entry(place).or_default().insert(c.series);
        }
    }
    let several = |(place, of): (Scope, BTreeSet<u32>)| (of.len() > 1).then_some(place);
    let line = is_line(pass);
    series.into_iter().filter_map(several).filter(|p| line || *p != Scope::Overall).collect()
}

/// Whether all stations together are a line of their own: several, of one plant.
fn is_line(pass: &Pass) -> bool {
    pass.plant.stations.len() > 1 && pass.plant.plants().len() == 1
}

/// What changed on a date that is known.
fn at_date(
    pass: &Pass,
    asked: &Asked,
    (cells, by_series): (&[Cell], &BTreeMap<u32, Vec<&Cell>>),
    mixed: &[Scope],
    since: Day,
) -> Vec<Jump> {
    let of_series = by_series.par_iter();
    let mut found: Vec<Jump> = of_series
        .filter_map(|(n, cells)| given(pass, asked, Scope::Series(*n), cells, since))
        .collect();
    let of_place = |scope: &Scope| {
        let inside = cells.iter().filter(|c| scope.has(c.series as usize, c.station));
        given(pass, asked, *scope, &inside.collect::<Vec<_>>(), since)
    };
    let wider: Vec<Jump> = mixed.par_iter().filter_map(of_place).collect();
    let clear = |j: &Jump| j.is_mix() && j.p_value <= asked.p;
    let grown = |line: &Jump| grown_alike(pass, cells, line);
    found.extend(together(wider.into_iter().filter(clear).collect(), &grown));
    found
}

/// Whether a change that is told already is this one, of a place as it stands, or the most of it.
fn tells(known: &Jump, jump: &Jump) -> bool {
    let same_time = known.rises() == jump.rises() && known.date.meets(jump.date);
    let inside = known.scope == jump.scope || jump.scope == Scope::Overall;
    same_time && inside && !jump.is_mix() && known.excess() >= TELLS * jump.excess()
}

/// Levels that the line has more of since, and that fail there as often as before: those a mix consists of.
fn grown_alike(pass: &Pass, cells: &[Cell], line: &Jump) -> Vec<String> {
    let Some(parts) = line.parts.as_ref().filter(|_| line.is_mix_of_line()) else {
        return Vec::new();
    };
    let of = |c: &Cell| match parts.mix_of.as_deref() {
        Some("station") => pass.plant.stations[usize::from(c.station)].as_str(),
        _ => pass.series[c.series as usize].key.model.as_str(),
    };
    // Over days that vary counts tell less than as many of one day.
    let rate = |window: Window, level: &str| {
        let own = cells.iter().filter(|c| window.has(c.day) && of(c) == level);
        let (units, failed) = total(own, line.counted);
        Rate { events: failed / line.phi, exposure: units / line.phi }
    };
    let alike = |level: &&String| {
        let sides = [line.before.window, line.after.window].map(|side| rate(side, level));
        rate_ratio_p(sides[0], sides[1]).is_none_or(|p| p > CAME_BACK)
    };
    parts.mixed.iter().map(|m| &m.level).filter(alike).cloned().collect()
}

/// Whether a rise at a narrower place is the mix of the line at the same time, seen from there: it names as its cause
/// nothing but a level that came more often and fails over the whole line as often as before, which one series alone
/// knows too little of to tell; or nothing explains it but its own mix of the same factor, or that it is such a level.
fn is_of_mix(line: &Jump, grown: &[String], jump: &Jump) -> bool {
    let mix_of = line.parts.as_ref().and_then(|p| p.mix_of.as_ref());
    if grown.is_empty() || jump.scope == Scope::Overall {
        return false;
    }
    let grew = |n: &Named| Some(&n.factor) == mix_of && grown.contains(&n.level);
    let causes = &jump.explained.causes;
    if !causes.is_empty() {
        return causes.iter().all(|c| matches!(c.what.0.as_slice(), [one] if grew(one)));
    }
    let own = jump.parts.as_ref().is_some_and(|p| p.mix_of.as_ref() == mix_of);
    let level = matches!(jump.scope, Scope::Station(_)) && grown.contains(&jump.place.subject);
    jump.explained.coincides.is_empty() && (own || level)
}

/// Changes of one date and one cause, told as one: the largest, the others with it; a mix of the line first, with what
/// it is at each series and station. `grown` tells of that mix what it consists of.
fn together(found: Vec<Jump>, grown: &dyn Fn(&Jump) -> Vec<String>) -> Vec<Jump> {
    let mut order: Vec<(Jump, Vec<String>)> = found
        .into_iter()
        .map(|jump| {
            let grown = grown(&jump);
            (jump, grown)
        })
        .collect();
    order.sort_by(|(a, _), (b, _)| {
        b.is_mix_of_line()
            .cmp(&a.is_mix_of_line())
            .then(b.excess().total_cmp(&a.excess()))
            .then(a.scope.cmp(&b.scope))
    });
    let mut told: Vec<(Jump, Vec<String>)> = Vec::new();
    for (jump, levels) in order {
        let one = |(known, grown): &&mut (Jump, Vec<String>)| {
            let same = known.counted == jump.counted
                && jump.answers_to().is_some_and(|cause| known.answers_to() == Some(cause));
            let inside = known.counted == jump.counted
                || known.counted == Counted::Failed && jump.counted != Counted::NotCompleted;
            known.rises() == jump.rises()
                && known.date.meets(jump.date)
                && (same || inside && is_of_mix(known, grown, &jump))
        };
        match told.iter_mut().find(one) {
            Some((known, _)) => known.also.push(jump),
            None => told.push((jump, levels)),
        }
    }
    let mut told: Vec<Jump> = told.into_iter().map(|(jump, _)| jump).collect();
    told.sort_by_key(|j| (j.scope, j.date.day, j.counted));
    told
}

fn scan(of: Of, days: Vec<DayCount>, asked: &Asked) -> Scan {
    Scan { of, changes: changes(&days, asked.p, asked.seed), days }
}

fn rises(days: &[DayCount], from: usize, at: usize, to: usize) -> (Rate, Rate) {
    let rate = |list: &[DayCount]| Rate {
        events: list.iter().map(|d| d.failed).sum(),
        exposure: list.iter().map(|d| d.units).sum(),
    };
    (rate(&days[from..at]), rate(&days[at..to]))
}

/// The changes that stand among all scans, each with what came before and after it; a change that only ends the
/// one before it is told with that one.
fn raws(scans: &mut [Scan], asked_in_all: usize) -> Vec<Raw> {
    let p: Vec<f64> = scans.iter().flat_map(|s| s.changes.iter().map(|c| c.p_value)).collect();
    let mut all = p.clone();
    let silent = scans.iter().filter(|s| s.changes.is_empty()).count();
    all.resize(p.len() + silent.max(asked_in_all.saturating_sub(scans.len())), 1.0);
    let mut adjusted = benjamini_hochberg(&all).into_iter();
    let mut found = Vec::new();
    for s in scans {
        let kept: Vec<(RateChange, f64)> = s
            .changes
            .drain(..)
            .zip(adjusted.by_ref())
            .filter(|(_, adjusted)| *adjusted <= FALSE_SCANS)
            .collect();
        let edge = |n: usize| kept.get(n).map_or(s.days.len(), |(c, _)| c.index);
        let mut n = 0;
        while n < kept.len() {
            let (change, adjusted_p) = &kept[n];
            let from = if n == 0 { 0 } else { edge(n - 1) };
            let to = edge(n + 1);
            let (old, new) = rises(&s.days, from, change.index, to);
            let ended = kept.get(n + 1).filter(|(next, _)| {
                let (_, then) = rises(&s.days, change.index, next.index, edge(n + 2));
                let up = |a: Rate, b: Rate| b.events * a.exposure > a.events * b.exposure;
                up(old, new) != up(new, then)
                    && rate_ratio_p(old, then).is_none_or(|p| p > CAME_BACK)
            });
            let trend = even_trend_ratio(&s.days[from..to]);
            found.push(Raw {
                scope: s.of.scope,
                counted: s.of.counted,
                beyond: s.of.beyond,
                adjusted_p: *adjusted_p,
                before: Window { from: s.days[from].day, to: s.days[change.index - 1].day },
                after: Window { from: change.day, to: s.days[to - 1].day },
                gradual: ended.is_none() && trend > change.statistic * change.phi,
                change: change.clone(),
                ended: ended.map(|(next, _)| Dated {
                    day: next.day,
                    low: next.days.0,
                    high: next.days.1,
                }),
            });
            n += if ended.is_some() { 2 } else { 1 };
        }
    }
    found
}

/// Outcomes of their own that changed with failures together, in the same way and time, are told with them.
fn fold(raws: Vec<Raw>, side: &dyn Fn(&Raw) -> bool) -> Vec<(Raw, Vec<Counted>)> {
    let (together, single): (Vec<Raw>, Vec<Raw>) =
        raws.into_iter().partition(|r| r.counted == Counted::Failed);
    let mut found: Vec<(Raw, Vec<Counted>)> =
        together.into_iter().map(|r| (r, Vec::new())).collect();
    for one in single {
        let home = found.iter_mut().find(|(r, _)| {
            r.counted == Counted::Failed
                && one.counted != Counted::NotCompleted
                && (r.scope, r.beyond) == (one.scope, one.beyond)
                && side(r) == side(&one)
                && r.change.days.0 <= one.change.days.1
                && one.change.days.0 <= r.change.days.1
        });
        match home {
            Some((_, outcomes)) => outcomes.push(one.counted),
            None => found.push((one, Vec::new())),
        }
    }
    found
}

fn investigate(
    pass: &Pass,
    asked: &Asked,
    mut scans: Vec<Scan>,
    asked_in_all: usize,
    known: &[Jump],
) -> Vec<Jump> {
    let days: BTreeMap<Of, Vec<DayCount>> = scans.iter().map(|s| (s.of, s.days.clone())).collect();
    let raws = raws(&mut scans, asked_in_all);
    let up = |r: &Raw| {
        let list = &days[&Of { scope: r.scope, counted: r.counted, beyond: r.beyond }];
        let sum = |w: Window| {
            list.iter()
                .filter(|d| w.has(d.day))
                .fold((0.0, 0.0), |(f, n), d| (f + d.failed, n + d.units))
        };
        let (a, b) = (sum(r.before), sum(r.after));
        b.0 * a.1 > a.0 * b.1
    };
    let mut found: Vec<Jump> = fold(raws, &up)
        .into_par_iter()
        .filter_map(|(raw, outcomes)| look(pass, asked, raw, outcomes, known))
        .collect();
    found.sort_by_key(|j| (j.scope, j.date.day, j.counted));
    found
}
