//! Readings of one side of a date counted against the limits, and at the level, of the other side.

use std::collections::BTreeMap;

use super::change::Window;
use super::split::{LimitMove, Recount};
use crate::movement::readings::ma;
use crate::series::{Limits, Pass, Says, TallyLine, UnderLimitLine};

/// Fewest readings on each side and station from which a move of readings is taken.
const FEWEST: f64 = 20.0;
/// Days before the date whose readings say where they were.
const RECENT_DAYS: i32 = 60;

/// Recounts one series, at one station where given, and adds to `recount`.
///
/// Over limit: a lowered limit is judged by the readings before, a raised one by those after; the other way round
/// trips hide the readings. Under limit: both ways, each for one half. `moved` multiplies readings
/// before (or divides those after, where they fell).
pub fn recount(
    pass: &Pass,
    n: usize,
    station: Option<u16>,
    (before, after): (Window, Window),
    recount: &mut Recount,
) {
    let series = &pass.series[n];
    let old = usual(pass, n, before);
    let new = usual(pass, n, after);
    let at = |s: u16| {
        let found = old.get(&s).copied().zip(new.get(&s).copied());
        // A station of one side only is judged by itself.
        found.or_else(|| old.get(&s).or(new.get(&s)).map(|l| (*l, *l)))
    };
    let mine = |l: &&TallyLine| station.is_none_or(|s| s == l.station);
    // The level just before the date: older days may have had others.
    let recent = Window { from: before.from.max(before.to - RECENT_DAYS), to: before.to };
    let moved = moved(series.tally.iter().filter(mine), recent, after);
    for (s, (a, b)) in old.keys().filter_map(|s| {
        let pair = at(*s)?;
        station.is_none_or(|wanted| wanted == *s).then_some((*s, pair))
    }) {
        for (high, from_pa, to_pa) in [(true, a.high_pa, b.high_pa), (false, a.low_pa, b.low_pa)] {
            if from_pa != to_pa {
                recount.limits.push(LimitMove {
                    station: pass.plant.stations[usize::from(s)].clone(),
                    high,
                    from_ma: from_pa.map(ma),
                    to_ma: to_pa.map(ma),
                    day: first_day(pass, n, s, high, to_pa),
                });
            }
        }
    }
    let beyond = |x: i64, limit: Option<i64>| limit.is_some_and(|l| x > l);
    let short = |x: i64, limit: Option<i64>| limit.is_some_and(|l| x < l);
    for line in series.tally.iter().filter(mine) {
        if line.says != Says::Value {
            continue;
        }
        let Some((a, b)) = at(line.station) else {
            continue;
        };
        let (x, count) = (line.value_pa, f64::from(line.count));
        if before.has(line.day) {
            let slot = recount.days.entry(line.day).or_default();
            if beyond(x, b.high_pa) {
                slot.over_by_limit += count;
            } else if let Some(m) = moved.filter(|m| *m > 1.0)
                && beyond(scaled(x, m), b.high_pa)
            {
                slot.over_by_shift += count;
            }
            if short(x, b.low_pa) && !short(x, a.low_pa) {
                slot.under_by_limit += 0.5 * count;
            }
        } else if after.has(line.day) {
            let slot = recount.days.entry(line.day).or_default();
            if beyond(x, a.high_pa) {
                slot.over_by_limit -= count;
            } else if let Some(m) = moved.filter(|m| *m < 1.0)
                && beyond(scaled(x, 1.0 / m), b.high_pa)
            {
                slot.over_by_shift -= count;
            }
            if short(x, a.low_pa) && !short(x, b.low_pa) {
                slot.under_by_limit -= 0.5 * count;
            }
        }
    }
    for &UnderLimitLine { day, station: s, value_pa } in &series.under_limit {
        if station.is_some_and(|wanted| wanted != s) {
            continue;
        }
        let Some((a, b)) = at(s) else { continue };
        if before.has(day) && !short(value_pa, b.low_pa) {
            recount.days.entry(day).or_default().under_by_limit -= 0.5;
        } else if after.has(day) && !short(value_pa, a.low_pa) {
            recount.days.entry(day).or_default().under_by_limit += 0.5;
        }
    }
    recount.moved = recount.moved.or(moved);
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "readings stay far below 2^53 pA"
)]
fn scaled(x: i64, by: f64) -> i64 {
    (x as f64 * by).round() as i64
}

/// First day on which most units of a station were tested at this limit, and at no earlier one again.
fn first_day(pass: &Pass, n: usize, station: u16, high: bool, limit: Option<i64>) -> i32 {
    let mut first = None;
    for o in pass.series[n].outcomes.iter().filter(|o| o.station == station) {
        let at = if high { o.limits.high_pa } else { o.limits.low_pa };
        if at == limit {
            first = first.or(Some(o.day));
        } else if first.is_some_and(|day| day < o.day) {
            first = None;
        }
    }
    first.unwrap_or_default()
}

/// Limits of most units by station.
fn usual(pass: &Pass, n: usize, window: Window) -> BTreeMap<u16, Limits> {
    let mut counts: BTreeMap<(u16, Limits), u64> = BTreeMap::new();
    for o in pass.series[n].outcomes.iter().filter(|o| window.has(o.day)) {
        *counts.entry((o.station, o.limits)).or_default() += u64::from(o.count);
    }
    let mut most: BTreeMap<u16, (u64, Limits)> = BTreeMap::new();
    for ((station, limits), count) in counts {
        let slot = most.entry(station).or_insert((0, limits));
        if count > slot.0 {
            *slot = (count, limits);
        }
    }
    most.into_iter().map(|(s, (_, l))| (s, l)).collect()
}

/// Units by what their reading is and says.
type Readings = BTreeMap<(i64, Says), f64>;

/// Ratio of medians after over before, each station for itself, weighed by its units after. Trips lie above.
fn moved<'a>(
    lines: impl Iterator<Item = &'a TallyLine>,
    before: Window,
    after: Window,
) -> Option<f64> {
    let mut sides: BTreeMap<u16, [Readings; 2]> = BTreeMap::new();
    for l in lines {
        let side = if before.has(l.day) {
            0
        } else if after.has(l.day) {
            1
        } else {
            continue;
        };
        let value = if l.says == Says::Above { i64::MAX } else { l.value_pa };
        *sides.entry(l.station).or_default()[side].entry((value, Says::Value)).or_default() +=
            f64::from(l.count);
    }
    let median = |list: &BTreeMap<(i64, Says), f64>| -> Option<(f64, f64)> {
        let all: f64 = list.values().sum();
        let mut seen = 0.0;
        let at = list.iter().find(|(_, count)| {
            seen += **count;
            seen * 2.0 >= all
        });
        #[expect(clippy::cast_precision_loss, reason = "far below 2^53 pA")]
        at.filter(|((x, _), _)| all >= FEWEST && *x > 0 && *x < i64::MAX)
            .map(|((x, _), _)| (*x as f64, all))
    };
    let (mut logs, mut weights) = (0.0, 0.0);
    for [old, new] in sides.values() {
        if let (Some((a, _)), Some((b, units))) = (median(old), median(new)) {
            logs += units * (b / a).ln();
            weights += units;
        }
    }
    (weights > 0.0).then(|| (logs / weights).exp())
}
