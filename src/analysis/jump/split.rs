//! A rise split into parts that add up to it.
//!
//! `rise = mix + limit + charging + shift + strays + breakdown + other`, each a difference of shares of units:
//! - mix: `Σ (w_after − w_before) r_before` over the levels of one factor, `w` their shares of units; of a station or
//!   the line models or stations, of a series any factor but people and settings;
//! - charging: trips while a direct voltage still rose, which are charging current;
//! - limit: readings of one side counted against the limits of the other;
//! - shift: readings moved by the ratio of the medians, counted against the limit after;
//! - strays: what remains of over-limit results; breakdown: of breakdowns; other: of the rest.

use std::collections::{BTreeMap, BTreeSet};

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Poisson};
use rand_pcg::Pcg64;
use serde::Serialize;

use super::cells::{Cell, Cells, Counted, Failures, Level};
use super::factors::{FactorKind, kind};
use crate::stats::estimate::Estimate;

/// Draws for the intervals.
const DRAWS: usize = 399;
/// Fewest units before of a level that has a share of its own.
const LEVEL_UNITS: f64 = 30.0;
/// Least part of a change of mix of a level that is named with it…
const MIX_NAMED: f64 = 0.1;
/// …and how many are.
const MOST_NAMED: usize = 3;
/// Standard errors from which a change of mix is named.
const MIX_CERTAIN: f64 = 3.0;
/// Days from which days are drawn; below, their counts are.
const DAYS_DRAWN: usize = 5;

/// Units of one day that would have ended otherwise at the limits, or the level of readings, of the other side;
/// signed as they enter the part.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Recounted {
    /// Over-limit results that the change of the high limit makes.
    pub over_by_limit: f64,
    /// Under-limit results that the change of the low limit makes.
    pub under_by_limit: f64,
    /// Over-limit results that moved readings make.
    pub over_by_shift: f64,
}

/// Recounted units by day, before and after.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recount {
    /// By day.
    pub days: BTreeMap<i32, Recounted>,
    /// Ratio of typical readings, after over before; `None` where readings do not tell.
    pub moved: Option<f64>,
    /// Limits that changed.
    pub limits: Vec<LimitMove>,
}

/// A limit that differs between the two sides.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitMove {
    /// Station.
    pub station: String,
    /// Whether it is the high limit.
    pub high: bool,
    /// Before, mA; `None` where there was none.
    pub from_ma: Option<f64>,
    /// After, mA.
    pub to_ma: Option<f64>,
    /// First day of the new one there.
    pub day: i32,
}

/// The parts of a rise, as shares of units.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Parts {
    /// More units of what failed more often before already.
    pub mix: Estimate,
    /// Another limit.
    pub limit: Estimate,
    /// Trips while a direct voltage still rose: charging current.
    pub charging: Estimate,
    /// Readings moved as a whole.
    pub shift: Estimate,
    /// A separate group over the limit.
    pub strays: Estimate,
    /// Breakdowns.
    pub breakdown: Estimate,
    /// Under-limit results, and tests not completed where those are counted.
    pub other: Estimate,
    /// The rise itself.
    pub rise: Estimate,
    /// The factor whose mix changed.
    pub mix_of: Option<String>,
    /// Its levels that made the most of it.
    pub mixed: Vec<Mixed>,
}

/// A level whose share of the units changed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mixed {
    /// The level.
    pub level: String,
    /// Its share of the units before.
    pub share_before: f64,
    /// Its share since.
    pub share_after: f64,
    /// Share of its units that failed before; of all units, where it had too few.
    pub failed_before: f64,
}

/// Sums of one side: units and failures, by level of the factor of the mix.
#[derive(Debug, Clone, Default)]
struct Side {
    units: f64,
    failures: Failures,
    recounted: Recounted,
    levels: BTreeMap<Level, (f64, Failures)>,
}

impl Side {
    fn add(&mut self, other: &Self) {
        self.units += other.units;
        self.failures.add(&other.failures);
        self.recounted.over_by_limit += other.recounted.over_by_limit;
        self.recounted.under_by_limit += other.recounted.under_by_limit;
        self.recounted.over_by_shift += other.recounted.over_by_shift;
        for (level, (units, failures)) in &other.levels {
            let slot = self.levels.entry(*level).or_default();
            slot.0 += units;
            slot.1.add(failures);
        }
    }
}

fn by_day(
    cells: &Cells,
    chosen: &[&Cell],
    counted: Counted,
    recount: &Recount,
    factor: Option<usize>,
) -> Vec<Side> {
    let mut days: BTreeMap<i32, Side> = BTreeMap::new();
    for c in chosen {
        let side = days.entry(c.day).or_default();
        side.units += c.tested(counted);
        side.failures.add(&c.failures);
        if let Some(f) = factor {
            let slot = side.levels.entry(cells.level(c, f)).or_default();
            slot.0 += c.tested(counted);
            slot.1.add(&c.failures);
        }
    }
    for (day, side) in &mut days {
        side.recounted = recount.days.get(day).copied().unwrap_or_default();
    }
    days.into_values().collect()
}

fn sum(days: &[Side]) -> Side {
    let mut all = Side::default();
    for d in days {
        all.add(d);
    }
    all
}

/// One level of the factor of the mix: shares of units on both sides, and of failures before.
struct Share {
    level: Level,
    before: f64,
    after: f64,
    failed: f64,
}

fn level_shares<'a>(
    before: &'a Side,
    after: &'a Side,
    of: impl Fn(&Failures) -> f64 + 'a,
) -> impl Iterator<Item = Share> + 'a {
    let typical = of(&before.failures) / before.units;
    let levels: BTreeSet<Level> =
        before.levels.keys().chain(after.levels.keys()).copied().collect();
    levels.into_iter().map(move |level| {
        let old = before.levels.get(&level).copied().unwrap_or_default();
        let new = after.levels.get(&level).map_or(0.0, |n| n.0);
        Share {
            level,
            before: old.0 / before.units,
            after: new / after.units,
            failed: if old.0 >= LEVEL_UNITS { of(&old.1) / old.0 } else { typical },
        }
    })
}

/// The change of mix of one kind of failures.
fn mix(before: &Side, after: &Side, of: impl Fn(&Failures) -> f64) -> f64 {
    level_shares(before, after, of).map(|s| (s.after - s.before) * s.failed).sum()
}

/// The levels that made the most of a mix, the largest part first.
fn mixed(
    cells: &Cells,
    factor: usize,
    [before, after]: &[Side; 2],
    counted: Counted,
) -> Vec<Mixed> {
    let whole = mix(before, after, |f| f.of(counted));
    let typical = before.failures.of(counted) / before.units;
    let part = |s: &Share| (s.after - s.before) * (s.failed - typical) / whole;
    let mut all: Vec<Share> = level_shares(before, after, |f| f.of(counted))
        .filter(|s| s.level != 0 && whole != 0.0 && part(s) >= MIX_NAMED)
        .collect();
    all.sort_by(|a, b| part(b).total_cmp(&part(a)));
    all.truncate(MOST_NAMED);
    let named = |s: &Share| Mixed {
        level: cells.name(factor, s.level).to_owned(),
        share_before: s.before,
        share_after: s.after,
        failed_before: s.failed,
    };
    all.iter().map(named).collect()
}

/// `[rise, mix, limit, charging, shift, strays, breakdown, other]`; the last seven add up to the first.
fn parts_of(before: &Side, after: &Side, counted: Counted) -> [f64; 8] {
    let has =
        |kind| counted == kind || (counted == Counted::Failed && kind != Counted::NotCompleted);
    let rise = |kind: Counted| {
        after.failures.of(kind) / after.units - before.failures.of(kind) / before.units
    };
    let recounted = |f: fn(&Recounted) -> f64| {
        f(&before.recounted) / before.units + f(&after.recounted) / after.units
    };
    let mut all = [0.0; 8];
    if has(Counted::OverLimit) {
        let m = mix(before, after, |f| f.over);
        let limit = recounted(|r| r.over_by_limit);
        let shift = recounted(|r| r.over_by_shift);
        let charging = after.failures.charging / after.units
            - before.failures.charging / before.units
            - mix(before, after, |f| f.charging);
        all[1] += m;
        all[2] += limit;
        all[3] += charging;
        all[4] += shift;
        all[5] += rise(Counted::OverLimit) - m - limit - charging - shift;
        all[0] += rise(Counted::OverLimit);
    }
    if has(Counted::Breakdown) {
        let m = mix(before, after, |f| f.breakdown);
        all[1] += m;
        all[6] += rise(Counted::Breakdown) - m;
        all[0] += rise(Counted::Breakdown);
    }
    if has(Counted::UnderLimit) {
        let m = mix(before, after, |f| f.under);
        let limit = recounted(|r| r.under_by_limit);
        all[1] += m;
        all[2] += limit;
        all[7] += rise(Counted::UnderLimit) - m - limit;
        all[0] += rise(Counted::UnderLimit);
    }
    if counted == Counted::Failed {
        let m = mix(before, after, |f| f.unclassed);
        let rise =
            after.failures.unclassed / after.units - before.failures.unclassed / before.units;
        all[1] += m;
        all[7] += rise - m;
        all[0] += rise;
    }
    if has(Counted::NotCompleted) {
        let m = mix(before, after, |f| f.not_completed);
        all[1] += m;
        all[7] += rise(Counted::NotCompleted) - m;
        all[0] += rise(Counted::NotCompleted);
    }
    all
}

/// The factor whose mix changed for certain and most; else the models, where there are several series. Of several
/// series it is models or stations: a lot or a setting of one of them is that model in other words.
fn factor_of_mix(
    cells: &Cells,
    before: &[&Cell],
    after: &[&Cell],
    counted: Counted,
) -> Option<(usize, bool)> {
    let nothing = Recount::default();
    let several = before.iter().chain(after).map(|c| c.series).collect::<BTreeSet<_>>().len() > 1;
    let mut best: Option<(usize, f64)> = None;
    let may_be = |f: &usize| match cells.factors[*f].name.as_str() {
        "station" | "model" => true,
        name => !several && kind(name) == FactorKind::Thing,
    };
    for f in (0..cells.factors.len()).filter(may_be) {
        let (old, new) = (
            sum(&by_day(cells, before, counted, &nothing, Some(f))),
            sum(&by_day(cells, after, counted, &nothing, Some(f))),
        );
        let size = mix(&old, &new, |x| x.of(counted));
        let variance: f64 = old
            .levels
            .iter()
            .filter(|(_, (units, _))| *units >= LEVEL_UNITS)
            .map(|(l, (units, failures))| {
                let p = (failures.of(counted) + 0.5) / (units + 1.0);
                let w = new.levels.get(l).map_or(0.0, |n| n.0) / new.units - units / old.units;
                w * w * p * (1.0 - p) / units
            })
            .sum();
        if size.abs() > MIX_CERTAIN * variance.sqrt()
            && size != 0.0
            && best.is_none_or(|(_, most)| size.abs() > most)
        {
            best = Some((f, size.abs()));
        }
    }
    let models = cells.factors.iter().position(|f| f.name == "model");
    best.map(|(f, _)| (f, true)).or_else(|| models.filter(|_| several).map(|f| (f, false)))
}

/// Splits the rise from `before` to `after`. Intervals: days of both sides drawn again (whole days, since
/// units of one day hang together; their counts where a side has under five days), 399 times.
///
/// `None` where a side has no units.
#[must_use]
pub fn split(
    cells: &Cells,
    before: &[&Cell],
    after: &[&Cell],
    counted: Counted,
    recount: &Recount,
    confidence: f64,
    seed: u64,
) -> Option<Parts> {
    let chosen = factor_of_mix(cells, before, after, counted);
    let factor = chosen.map(|c| c.0);
    let days = [before, after].map(|side| by_day(cells, side, counted, recount, factor));
    let sides = [sum(&days[0]), sum(&days[1])];
    if sides.iter().any(|s| s.units <= 0.0) {
        return None;
    }
    let value = parts_of(&sides[0], &sides[1], counted);
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut drawn: Vec<[f64; 8]> = Vec::with_capacity(DRAWS);
    for _ in 0..DRAWS {
        let again = [draw(&days[0], &mut rng), draw(&days[1], &mut rng)];
        if again.iter().all(|s| s.units > 0.0) {
            drawn.push(parts_of(&again[0], &again[1], counted));
        }
    }
    let estimate = |n: usize| {
        let mut list: Vec<f64> = drawn.iter().map(|d| d[n]).collect();
        list.sort_by(f64::total_cmp);
        let tail = (1.0 - confidence) / 2.0;
        let at = |share: f64| {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a place in the list"
            )]
            let place = (share * list.len() as f64) as usize;
            list.get(place.min(list.len().saturating_sub(1))).copied().unwrap_or(value[n])
        };
        Estimate::new(value[n], at(tail), at(1.0 - tail), confidence, "days drawn again")
    };
    Some(Parts {
        mix: estimate(1)?,
        limit: estimate(2)?,
        charging: estimate(3)?,
        shift: estimate(4)?,
        strays: estimate(5)?,
        breakdown: estimate(6)?,
        other: estimate(7)?,
        rise: estimate(0)?,
        mix_of: chosen.filter(|c| c.1).map(|(f, _)| cells.factors[f].name.clone()),
        mixed: chosen
            .filter(|c| c.1)
            .map_or_else(Vec::new, |(f, _)| mixed(cells, f, &sides, counted)),
    })
}

fn draw(days: &[Side], rng: &mut Pcg64) -> Side {
    let mut all = Side::default();
    if days.len() >= DAYS_DRAWN {
        for _ in 0..days.len() {
            all.add(&days[rng.random_range(0..days.len())]);
        }
        return all;
    }
    let mut again = |x: f64| -> f64 {
        if x == 0.0 {
            return 0.0;
        }
        Poisson::new(x.abs()).map_or(x, |p| p.sample(rng) * x.signum())
    };
    for d in days {
        let mut one = d.clone();
        let charging = again(d.failures.charging);
        one.failures = Failures {
            over: again(d.failures.over - d.failures.charging) + charging,
            charging,
            under: again(d.failures.under),
            breakdown: again(d.failures.breakdown),
            unclassed: again(d.failures.unclassed),
            not_completed: again(d.failures.not_completed),
        };
        one.recounted.over_by_limit = again(d.recounted.over_by_limit);
        one.recounted.under_by_limit = again(d.recounted.under_by_limit);
        one.recounted.over_by_shift = again(d.recounted.over_by_shift);
        all.add(&one);
    }
    all
}
