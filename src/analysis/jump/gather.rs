//! The pass's outcomes as cells: all days summed plainly, or a stretch with all its factors.

use std::collections::BTreeMap;

use super::cells::{Cell, Cells, Factor, Failures, Level};
use super::change::{Scope, Window};
use crate::series::{Outcome, OutcomeLine, Pass};

/// What one line of outcomes counts as.
pub(super) fn failures_of(line: &OutcomeLine) -> Failures {
    let n = f64::from(line.count);
    let mut f = Failures::default();
    match line.outcome {
        Outcome::OverLimit => f.over = n,
        Outcome::UnderLimit => f.under = n,
        Outcome::Breakdown | Outcome::Arc => f.breakdown = n,
        Outcome::NotCompleted => f.not_completed = n,
        Outcome::Failed => f.unclassed = n,
        Outcome::Pass => {}
    }
    f
}

/// Sums by day, series and station, without factors; sorted.
#[must_use]
pub fn plain(pass: &Pass) -> Vec<Cell> {
    let mut sums: BTreeMap<(i32, u32, u16), (f64, Failures)> = BTreeMap::new();
    for (n, series) in (0u32..).zip(&pass.series) {
        for line in &series.outcomes {
            let slot = sums.entry((line.day, n, line.station)).or_default();
            slot.0 += f64::from(line.count);
            slot.1.add(&failures_of(line));
        }
    }
    sums.into_iter()
        .map(|((day, series, station), (units, failures))| Cell {
            day,
            series,
            station,
            set: 0,
            units,
            failures,
        })
        .collect()
}

/// Cells of a scope over the windows, with station, model and all factors of the units.
#[must_use]
pub fn gather(pass: &Pass, scope: Scope, windows: &[Window]) -> Cells {
    let mut factors: Vec<Factor> = ["station", "model"]
        .into_iter()
        .map(str::to_owned)
        .chain(pass.plant.factor_names.iter().cloned())
        .map(|name| Factor { name, levels: Vec::new() })
        .collect();
    let mut codes: Vec<BTreeMap<String, Level>> = vec![BTreeMap::new(); factors.len()];
    let mut sets: Vec<Vec<Level>> = Vec::new();
    let mut set_of: BTreeMap<(u32, u16, u32), u32> = BTreeMap::new();
    let mut sums: BTreeMap<(i32, u32, u16, u32), (f64, Failures)> = BTreeMap::new();
    for (n, series) in (0u32..).zip(&pass.series) {
        if matches!(scope, Scope::Series(wanted) if wanted != n) {
            continue;
        }
        for line in &series.outcomes {
            if matches!(scope, Scope::Station(wanted) if wanted != line.station)
                || !windows.iter().any(|w| w.has(line.day))
            {
                continue;
            }
            let set = *set_of.entry((n, line.station, line.factors)).or_insert_with(|| {
                let names = [
                    pass.plant.stations[usize::from(line.station)].as_str(),
                    series.key.model.as_str(),
                ];
                let own = pass.plant.factor_sets[line.factors as usize].iter().map(String::as_str);
                let levels = names
                    .into_iter()
                    .chain(own)
                    .enumerate()
                    .map(|(f, name)| code(&mut factors[f], &mut codes[f], name.trim()))
                    .collect();
                sets.push(levels);
                u32::try_from(sets.len() - 1).unwrap_or(u32::MAX)
            });
            let slot = sums.entry((line.day, n, line.station, set)).or_default();
            slot.0 += f64::from(line.count);
            slot.1.add(&failures_of(line));
        }
    }
    Cells {
        factors,
        sets,
        cells: sums
            .into_iter()
            .map(|((day, series, station, set), (units, failures))| Cell {
                day,
                series,
                station,
                set,
                units,
                failures,
            })
            .collect(),
    }
}

fn code(factor: &mut Factor, codes: &mut BTreeMap<String, Level>, name: &str) -> Level {
    if name.is_empty() {
        return 0;
    }
    if let Some(code) = codes.get(name) {
        return *code;
    }
    factor.levels.push(name.to_owned());
    let code = Level::try_from(factor.levels.len()).unwrap_or(0);
    codes.insert(name.to_owned(), code);
    code
}
