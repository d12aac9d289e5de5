//! The search: which series, stations and outcomes changed, each change investigated.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::cells::{Cell, Counted, by_day};
use super::change::{Dated, Place, Scope, Side, Window};
use super::explain::explain;
use super::found::Jump;
use super::gather::{gather, plain};
use super::recount::recount;
use super::rise::{Change, Demands};
use super::split::{Recount, split};
use super::traces::{of_cause, traces};
use crate::config::Config;
use crate::day::Day;
use crate::series::Pass;
use crate::stats::estimate::Estimate;
use crate::stats::multiple::benjamini_hochberg;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};
use crate::stats::rate_change::{
    DayCount, KnownChange, RateChange, change_at, changes, even_trend_ratio,
};
use crate::stats::rate_ratio::{Rate, rate_ratio_p};

/// False discovery rate over all scans of a plant.
const FALSE_SCANS: f64 = 0.05;
/// From this p-value on a share is taken to have come back to what it was.
const CAME_BACK: f64 = 0.01;

/// False discovery rate over all levels asked for one change.
const FALSE_CAUSES: f64 = 0.05;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// p-value of a change.
    pub p: f64,
    /// What a cause must be.
    pub demands: Demands,
    /// Seed of replicates and draws.
    pub seed: u64,
    /// The date, where it is known: then only that is looked at.
    pub since: Option<Day>,
    /// The model looked at; all, and with them stations and the line, where `None`.
    pub model: Option<String>,
}

impl Asked {
    /// Every change of every series, station and the line, by the settings.
    #[must_use]
    pub fn all(config: &Config) -> Self {
        Self {
            p: config.jump_p,
            demands: Demands {
                failures: config.cause_failures,
                share: config.cause_share,
                false_discoveries: FALSE_CAUSES,
                confidence: config.confidence,
            },
            seed: config.seed,
            since: None,
            model: None,
        }
    }

    /// Whether a model is looked at: names are compared without case and blanks around.
    #[must_use]
    pub fn looks_at(&self, model: &str) -> bool {
        let plain = |name: &str| name.trim().to_lowercase();
        self.model.as_deref().is_none_or(|wanted| plain(wanted) == plain(model))
    }
}

/// One scan: a history of days and the changes in it.
struct Scan {
    scope: Scope,
    counted: Counted,
    days: Vec<DayCount>,
    changes: Vec<RateChange>,
}

/// Every change of the pass, those of series first, then by date. With a date given, the change at that date of
/// every series that has units on both sides, failures together.
#[must_use]
pub fn jumps(pass: &Pass, asked: &Asked) -> Vec<Jump> {
    let cells = plain(pass);
    let chosen: Vec<u32> = (0u32..)
        .zip(&pass.series)
        .filter(|(_, s)| asked.looks_at(&s.key.model))
        .map(|(n, _)| n)
        .collect();
    let mut by_series: BTreeMap<u32, Vec<&Cell>> = BTreeMap::new();
    for c in &cells {
        by_series.entry(c.series).or_default().push(c);
    }
    if let Some(since) = asked.since {
        return chosen
            .par_iter()
            .filter_map(|n| given(pass, asked, Scope::Series(*n), by_series.get(n)?, since))
            .collect();
    }
    let whole = chosen.len() == pass.series.len();
    let stations = if whole { pass.plant.stations.len() } else { 0 };
    let overall = usize::from(whole && pass.plant.stations.len() > 1);
    // Series, stations and the line are three questions, one after the other: each pays for its own scans.
    let questions: Vec<(u32, Counted)> =
        chosen.iter().flat_map(|n| Counted::ALL.map(|c| (*n, c))).collect();
    let scans: Vec<Scan> = questions
        .par_iter()
        .filter_map(|(n, counted)| {
            let days = by_day(by_series.get(n)?.iter().copied(), *counted, None);
            Some(scan(Scope::Series(*n), *counted, days, asked))
        })
        .collect();
    let mut found = investigate(pass, asked, scans, questions.len(), None);
    if !whole {
        return found;
    }
    // Beyond what the series tell: units of causes left out, each series at its own share of the time.
    let mut left = without_causes(pass, &cells, &found);
    let expected = shares(&left, &found);
    let of_stations: Vec<Scan> = (0..pass.plant.stations.len())
        .into_par_iter()
        .flat_map_iter(|s| Counted::ALL.map(|c| (s, c)))
        .filter_map(|(s, counted)| {
            let station = u16::try_from(s).ok()?;
            let mine = left.iter().filter(|c| c.station == station);
            let days = by_day(mine, counted, Some(&|c| expected.at(c, counted)));
            (days.len() > 3).then(|| scan(Scope::Station(station), counted, days, asked))
        })
        .collect();
    let of_stations =
        investigate(pass, asked, of_stations, Counted::ALL.len() * stations, Some(&found));
    if overall == 1 {
        left.retain(|c| !of_stations.iter().any(|j| j.scope == Scope::Station(c.station)));
        let scans: Vec<Scan> = Counted::ALL
            .par_iter()
            .map(|counted| {
                let days = by_day(&left, *counted, Some(&|c| expected.at(c, *counted)));
                scan(Scope::Overall, *counted, days, asked)
            })
            .collect();
        found.extend(of_stations);
        let line = investigate(pass, asked, scans, Counted::ALL.len(), Some(&found));
        found.extend(line);
    } else {
        found.extend(of_stations);
    }
    found
}

fn scan(scope: Scope, counted: Counted, days: Vec<DayCount>, asked: &Asked) -> Scan {
    Scan { scope, counted, changes: changes(&days, asked.p, asked.seed), days }
}

/// A change of one scan with its neighbours.
struct Raw {
    scope: Scope,
    counted: Counted,
    change: RateChange,
    adjusted_p: f64,
    before: Window,
    after: Window,
    ended: Option<Dated>,
    gradual: bool,
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
                scope: s.scope,
                counted: s.counted,
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
                && r.scope == one.scope
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
    known: Option<&[Jump]>,
) -> Vec<Jump> {
    let days: BTreeMap<(Scope, Counted), Vec<DayCount>> =
        scans.iter().map(|s| ((s.scope, s.counted), s.days.clone())).collect();
    let raws = raws(&mut scans, asked_in_all);
    let up = |r: &Raw| {
        let list = &days[&(r.scope, r.counted)];
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

/// Looks into one change: shares, parts, causes, traces.
fn look(
    pass: &Pass,
    asked: &Asked,
    raw: Raw,
    outcomes: Vec<Counted>,
    known: Option<&[Jump]>,
) -> Option<Jump> {
    let Raw { scope, counted, change, before, after, .. } = raw;
    let mut cells = gather(pass, scope, &[before, after]);
    if let Some(known) = known {
        let names = cells.clone();
        cells.cells.retain(|c| !explained_already(known, &names, c));
    }
    let (old, new): (Vec<&Cell>, Vec<&Cell>) = cells.cells.iter().partition(|c| before.has(c.day));
    let side = |list: &[&Cell], window: Window| -> Option<Side> {
        let mut failures = super::cells::Failures::default();
        let mut units = 0.0;
        for c in list {
            units += c.units;
            failures.add(&c.failures);
        }
        let counts = EffectiveCounts::new(failures.of(counted), units, change.phi)?;
        let share: Estimate = clopper_pearson(counts, asked.demands.confidence)?;
        Some(Side { window, units, failures, share })
    };
    let (was, is) = (side(&old, before)?, side(&new, after)?);
    let mut counts = Recount::default();
    for n in 0..pass.series.len() {
        let (inside, station) = match scope {
            Scope::Series(s) => (s as usize == n, None),
            Scope::Station(s) => (true, Some(s)),
            Scope::Overall => (true, None),
        };
        if inside {
            recount(pass, n, station, (before, after), &mut counts);
        }
    }
    let parts = split(&cells, &old, &new, counted, &counts, asked.demands.confidence, asked.seed);
    let rises = is.share.value > was.share.value;
    let about = Change { dispersion: change.long_run(), p_value: change.p_value };
    let (few, many) = if rises { (&old, &new) } else { (&new, &old) };
    let explained = explain(&cells, few, many, counted, about, &asked.demands);
    let windows = if rises { (before, after) } else { (after, before) };
    let traces = traces(pass, scope, counted, windows, explained.causes.first());
    Some(Jump {
        scope,
        place: Place::new(pass, scope),
        counted,
        date: Dated { day: change.day, low: change.days.0, high: change.days.1 },
        ended: raw.ended,
        before: was,
        after: is,
        p_value: change.p_value,
        adjusted_p: raw.adjusted_p,
        phi: change.phi,
        given: false,
        gradual: raw.gradual,
        outcomes,
        parts,
        moved: counts.moved.filter(|_| matches!(scope, Scope::Series(_))),
        limits: counts.limits,
        explained,
        traces,
        readings: None,
    })
}

/// The change at a date that is known.
fn given(pass: &Pass, asked: &Asked, scope: Scope, cells: &[&Cell], since: Day) -> Option<Jump> {
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
    let mut jump = look(pass, asked, raw, Vec::new(), None)?;
    jump.given = true;
    Some(jump)
}

/// Whether a known change explains this cell: it lies in its worse time and is of one of its causes.
fn explained_already(known: &[Jump], cells: &super::cells::Cells, c: &Cell) -> bool {
    known.iter().any(|j| {
        let inside = match j.scope {
            Scope::Series(n) => n == c.series,
            Scope::Station(s) => s == c.station,
            Scope::Overall => true,
        };
        inside
            && j.worse().window.has(c.day)
            && j.explained.causes.iter().any(|cause| {
                cause
                    .what
                    .0
                    .iter()
                    .zip(&cause.places)
                    .all(|(named, (f, _))| cells.name(*f, cells.level(c, *f)) == named.level)
            })
    })
}

/// The plain cells without the units of causes already named, in the worse time of their change.
fn without_causes(pass: &Pass, cells: &[Cell], known: &[Jump]) -> Vec<Cell> {
    let mut left: BTreeMap<(i32, u32, u16), Cell> =
        cells.iter().map(|c| ((c.day, c.series, c.station), *c)).collect();
    for jump in known {
        let Scope::Series(n) = jump.scope else {
            continue;
        };
        let window = jump.worse().window;
        for line in pass.series[n as usize].outcomes.iter().filter(|l| window.has(l.day)) {
            let named = jump
                .explained
                .causes
                .iter()
                .any(|c| of_cause(pass, c, line.station, n as usize, line.factors));
            if let Some(c) = left.get_mut(&(line.day, n, line.station)).filter(|_| named) {
                let units = f64::from(line.count);
                c.units -= units;
                let f = &mut c.failures;
                match line.outcome {
                    crate::series::Outcome::OverLimit => f.over -= units,
                    crate::series::Outcome::UnderLimit => f.under -= units,
                    crate::series::Outcome::Breakdown | crate::series::Outcome::Arc => {
                        f.breakdown -= units;
                    }
                    crate::series::Outcome::NotCompleted => f.not_completed -= units,
                    crate::series::Outcome::Failed => f.unclassed -= units,
                    crate::series::Outcome::Pass => {}
                }
            }
        }
    }
    left.into_values().filter(|c| c.units > 0.5).collect()
}

/// Shares of each series between its own changes.
struct Shares {
    by_series: BTreeMap<(u32, Counted), Vec<(Day, f64)>>,
}

impl Shares {
    fn at(&self, cell: &Cell, counted: Counted) -> f64 {
        self.by_series
            .get(&(cell.series, counted))
            .and_then(|list| list.iter().rev().find(|(from, _)| *from <= cell.day))
            .map_or(0.0, |s| s.1)
    }
}

fn shares(cells: &[Cell], known: &[Jump]) -> Shares {
    let mut by_series: BTreeMap<(u32, Counted), Vec<(Day, f64)>> = BTreeMap::new();
    let mut series: Vec<u32> = cells.iter().map(|c| c.series).collect();
    series.sort_unstable();
    series.dedup();
    for n in series {
        let mut cuts: Vec<Day> = known
            .iter()
            .filter(|j| j.scope == Scope::Series(n))
            .flat_map(|j| [Some(j.date.day), j.ended.map(|e| e.day)])
            .flatten()
            .collect();
        cuts.push(Day::MIN);
        cuts.sort_unstable();
        cuts.dedup();
        for counted in Counted::ALL {
            let list = cuts
                .iter()
                .enumerate()
                .map(|(k, from)| {
                    let to = cuts.get(k + 1).copied().unwrap_or(Day::MAX);
                    let (units, failed) = super::cells::total(
                        cells.iter().filter(|c| c.series == n && (*from..to).contains(&c.day)),
                        counted,
                    );
                    (*from, (failed + 0.1) / (units + 1.0))
                })
                .collect();
            by_series.insert((n, counted), list);
        }
    }
    Shares { by_series }
}
