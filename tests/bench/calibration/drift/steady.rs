//! Series that stand still: how often they are called moved, and whether the smallest step printed with
//! them would have been found.

use leakdrift::movement::drift::{Drift, Shape as Found, assess};
use rayon::prelude::*;

use super::daily::{DAILY_SD_MA, Daily, Lots, flagged, generator};
use super::{Plan, Table, middle, options, percent, words};

fn rows() -> Vec<Daily> {
    let lengths = [60, 120, 280];
    let mut rows = Vec::new();
    for days in lengths {
        rows.extend([0.0, 0.3, 0.6].map(|rho| Daily::steady(days, rho)));
    }
    for known in [true, false] {
        for sd in [0.4, 1.0, 2.0] {
            rows.extend(lengths.map(|days| Daily {
                lots: Some(Lots { days: 10, sd, known }),
                ..Daily::steady(days, 0.3)
            }));
        }
    }
    rows.extend(lengths.map(|days| Daily { humid: true, ..Daily::steady(days, 0.3) }));
    rows
}

/// What one series of a row said.
struct Said {
    drift: Drift,
    certain: bool,
    flagged: bool,
    /// Of every fourth: whether the step printed with it was found in another series of the same law, as a
    /// movement of any shape, as a step.
    planted: Option<(bool, bool)>,
}

fn ask(plan: &Plan, series: &Daily, n: u64) -> Said {
    let words = words(series);
    let options = options(n);
    let drift = assess(&series.points(&mut generator(plan.seed, &words, n)), &options);
    let (certain, flagged) = flagged(&drift);
    let planted = drift
        .smallest_step_ma
        .filter(|_| drift.shape == Some(Found::Steady) && n.is_multiple_of(4))
        .map(|step| {
            // Another series of the same law: in the one it was printed with, chance has spoken already.
            let mut other =
                series.points(&mut generator(plan.seed, &format!("{words}, planted"), n));
            for point in &mut other[series.days / 2..] {
                point.value_ma += step;
            }
            let shape = assess(&other, &options).shape;
            (
                shape.is_some_and(|s| s != Found::Steady && s != Found::Season),
                matches!(shape, Some(Found::Step | Found::SlopeAndStep)),
            )
        });
    Said { drift, certain, flagged, planted }
}

/// Prints the table.
pub fn run(plan: &Plan) {
    let mut table = Table::new(&[
        "nothing moves",
        "certain, %",
        "flagged, %",
        "called step",
        "slope",
        "slope and step",
        "season",
        "smallest step named, %",
        "its size, standard deviations",
        "planted, found, %",
        "as a step",
    ]);
    for series in rows() {
        if !plan.wants(&format!("steady: {}", words(&series))) {
            continue;
        }
        let all: Vec<Said> =
            (0..plan.replicates as u64).into_par_iter().map(|n| ask(plan, &series, n)).collect();
        let n = all.len();
        let count = |test: &dyn Fn(&Said) -> bool| all.iter().filter(|s| test(s)).count();
        let shaped = |shape: Found| percent(count(&|s| s.drift.shape == Some(shape)), n);
        let steady = |s: &Said| s.drift.shape == Some(Found::Steady);
        let named = |s: &Said| s.drift.smallest_step_ma.is_some_and(|x| x.is_finite() && x > 0.0);
        let planted = count(&|s| s.planted.is_some());
        table.row(&[
            words(&series),
            percent(count(&|s| s.certain), n),
            percent(count(&|s| s.flagged), n),
            shaped(Found::Step),
            shaped(Found::Slope),
            shaped(Found::SlopeAndStep),
            shaped(Found::Season),
            percent(count(&|s| steady(s) && named(s)), count(&steady)),
            middle(
                all.iter()
                    .filter(|s| steady(s))
                    .filter_map(|s| Some(s.drift.smallest_step_ma? / DAILY_SD_MA))
                    .collect(),
                2,
            ),
            percent(count(&|s| s.planted.is_some_and(|p| p.0)), planted),
            percent(count(&|s| s.planted.is_some_and(|p| p.1)), planted),
        ]);
    }
}
