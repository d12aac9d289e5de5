//! The pass's outcomes as cells: all days summed plainly, or a stretch with all its factors.

use std::collections::BTreeMap;

use super::cells::{Cell, Cells, Factor, Failures, Level, Stood};
use super::change::{Scope, Window};
use super::factors::{Factors, in_windows};
use crate::series::{Outcome, OutcomeLine, Pass, Post};

/// Sums by day, series and station, without factors; sorted.
#[must_use]
pub fn plain(pass: &Pass) -> Vec<Cell> {
    let mut sums: BTreeMap<(i32, u32, u16), Cell> = BTreeMap::new();
    for (n, series) in (0u32..).zip(&pass.series) {
        for line in &series.outcomes {
            let key = (line.day, n, line.station);
            sums.entry(key).or_insert_with(|| empty(n, line, 0)).add(line);
        }
    }
    sums.into_values().collect()
}

/// Cells of a scope over the windows, with every factor that may explain a rise.
#[must_use]
pub fn gather(pass: &Pass, scope: Scope, windows: &[Window]) -> Cells {
    let known = Factors::new(pass, scope, windows);
    let factor = |name: &String| Factor { name: name.clone(), levels: Vec::new() };
    let mut factors: Vec<Factor> = known.names.iter().map(factor).collect();
    let mut codes: Vec<BTreeMap<String, Level>> = vec![BTreeMap::new(); factors.len()];
    let mut sets: Vec<Vec<Level>> = Vec::new();
    let mut set_of: BTreeMap<(u32, OutcomeLine), u32> = BTreeMap::new();
    let mut sums: BTreeMap<(i32, u32, u16, u32), Cell> = BTreeMap::new();
    for (n, series) in (0u32..).zip(&pass.series) {
        if !scope.has_series(n as usize) {
            continue;
        }
        for line in in_windows(series, scope, windows) {
            // What tells levels, without day, outcome and count.
            let alike =
                OutcomeLine { day: 0, outcome: Outcome::Pass, in_ramp: false, count: 0, ..*line };
            let set = *set_of.entry((n, alike)).or_insert_with(|| {
                let names = known.levels(n as usize, line).into_iter().enumerate();
                sets.push(
                    names.map(|(f, name)| code(&mut factors[f], &mut codes[f], &name)).collect(),
                );
                u32::try_from(sets.len() - 1).unwrap_or(u32::MAX)
            });
            let key = (line.day, n, line.station, set);
            sums.entry(key).or_insert_with(|| empty(n, line, set)).add(line);
        }
    }
    let stood = |(operator, post): (&String, &Post)| {
        let station = pass.plant.stations[usize::from(post.station)].clone();
        (operator.clone(), Stood { station, shift: post.shift.clone() })
    };
    Cells {
        factors,
        sets,
        cells: sums.into_values().collect(),
        posts: pass.plant.posts.iter().map(stood).collect(),
    }
}

/// The cell of a line, with nothing in it.
fn empty(series: u32, line: &OutcomeLine, set: u32) -> Cell {
    let OutcomeLine { day, station, .. } = *line;
    Cell { day, series, station, set, units: 0.0, failures: Failures::default() }
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
