//! What series tell of stations and the line: their shares between their own changes, and the units of their causes.

use std::collections::BTreeMap;

use super::cells::{Cell, Counted, Failures, completed, total};
use super::change::Scope;
use super::factors::Tested;
use super::found::Jump;
use super::traces::of_cause;
use crate::day::Day;
use crate::series::Pass;

/// The plain cells without the units of causes already named, in the worse time of their change.
pub(super) fn without_causes(pass: &Pass, cells: &[Cell], known: &[Jump]) -> Vec<Cell> {
    let mut left: BTreeMap<(i32, u32, u16), Cell> =
        cells.iter().map(|c| ((c.day, c.series, c.station), *c)).collect();
    for jump in known {
        let Scope::Series(n) = jump.scope else {
            continue;
        };
        let window = jump.worse().window;
        for line in pass.series[n as usize].outcomes.iter().filter(|l| window.has(l.day)) {
            let unit = Tested::of_line(pass, n as usize, line);
            let named = jump.explained.causes.iter().any(|c| of_cause(c, &unit));
            if let Some(c) = left.get_mut(&(line.day, n, line.station)).filter(|_| named) {
                c.units -= completed(line);
                c.failures.add(&Failures::of_line(line).times(-1.0));
            }
        }
    }
    left.into_values().filter(|c| c.tested(Counted::NotCompleted) > 0.5).collect()
}

/// Shares of each series between its own changes.
pub(super) struct Shares {
    by_series: BTreeMap<(u32, Counted), Vec<(Day, f64)>>,
}

impl Shares {
    pub(super) fn at(&self, cell: &Cell, counted: Counted) -> f64 {
        self.by_series
            .get(&(cell.series, counted))
            .and_then(|list| list.iter().rev().find(|(from, _)| *from <= cell.day))
            .map_or(0.0, |s| s.1)
    }
}

pub(super) fn shares(cells: &[Cell], known: &[Jump], asked: &[Counted]) -> Shares {
    let mut by_series: BTreeMap<(u32, Counted), Vec<(Day, f64)>> = BTreeMap::new();
    let mut of_series: BTreeMap<u32, Vec<&Cell>> = BTreeMap::new();
    for c in cells {
        of_series.entry(c.series).or_default().push(c);
    }
    for (n, cells) in of_series {
        let mut cuts: Vec<Day> = known
            .iter()
            .filter(|j| j.scope == Scope::Series(n))
            .flat_map(|j| [Some(j.date.day), j.ended.map(|e| e.day)])
            .flatten()
            .collect();
        cuts.push(Day::MIN);
        cuts.sort_unstable();
        cuts.dedup();
        for counted in asked.iter().copied() {
            let list = cuts
                .iter()
                .enumerate()
                .map(|(k, from)| {
                    let to = cuts.get(k + 1).copied().unwrap_or(Day::MAX);
                    let (units, failed) = total(
                        cells.iter().copied().filter(|c| (*from..to).contains(&c.day)),
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

/// How much of a change of a place the series' own changes make, as a share of units: the change of each series'
/// share there at the share of the units that it has since. The rest is mix, and what no series shows by itself.
pub(super) fn by_series_alone(cells: &[Cell], known: &[Jump], jump: &Jump) -> f64 {
    let inside = |c: &&Cell| jump.scope.has(c.series as usize, c.station);
    let inside: Vec<Cell> = cells.iter().filter(inside).copied().collect();
    let shares = shares(&inside, known, &[jump.counted]);
    // Units on both sides, and failures expected there, of each series.
    let mut sums: BTreeMap<u32, [(f64, f64); 2]> = BTreeMap::new();
    for c in &inside {
        let side = match (jump.before.window.has(c.day), jump.after.window.has(c.day)) {
            (true, _) => 0,
            (_, true) => 1,
            _ => continue,
        };
        let slot = &mut sums.entry(c.series).or_default()[side];
        slot.0 += c.tested(jump.counted);
        slot.1 += c.tested(jump.counted) * shares.at(c, jump.counted);
    }
    let all: f64 = sums.values().map(|s| s[1].0).sum();
    let own = sums.values().filter(|s| s[0].0 > 0.0 && s[1].0 > 0.0);
    own.map(|s| (s[1].1 / s[1].0 - s[0].1 / s[0].0) * s[1].0 / all.max(1.0)).sum()
}
