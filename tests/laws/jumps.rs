//! What holds of every jump, on random plants with fixed seeds: parts add up, what was planted is named, orders and
//! names change nothing.

use leakdrift::analysis::jump::cells::{Cell, Cells, Counted, Factor, Failures};
use leakdrift::analysis::jump::explain::{Explained, explain};
use leakdrift::analysis::jump::split::{Recount, Recounted, split};
use leakdrift::analysis::jump::{Change, Demands};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use crate::support::draws::draws;

const DEMANDS: Demands =
    Demands { failures: 3.0, share: 0.1, false_discoveries: 0.01, confidence: 0.95 };

/// Steady days, and a change beyond doubt.
const CHANGE: Change = Change { dispersion: 1.0, p_value: 1e-4 };

/// 40 days, three factors of 2, 4 and 6 levels in every combination, 6 units a cell on average; from day 20 on the
/// units that `bad` chooses fail with one in three instead of one in a hundred.
fn plant(seed: u64, bad: impl Fn(i32, &[u32]) -> bool) -> Cells {
    let mut rng = Pcg64::seed_from_u64(seed);
    let sizes = [2u32, 4, 6];
    let factors = ["station", "lot", "cable"]
        .iter()
        .zip(sizes)
        .map(|(name, n)| Factor {
            name: (*name).to_owned(),
            levels: (1..=n).map(|l| format!("{name}-{l}")).collect(),
        })
        .collect();
    let mut sets = Vec::new();
    for a in 1..=sizes[0] {
        for b in 1..=sizes[1] {
            for c in 1..=sizes[2] {
                sets.push(vec![a, b, c]);
            }
        }
    }
    let mut cells = Vec::new();
    for day in 0..40 {
        for (set, levels) in (0u32..).zip(&sets) {
            let units = rng.random_range(0..12);
            let mut failures = Failures::default();
            for _ in 0..units {
                let p = if day >= 20 && bad(day, levels) { 0.33 } else { 0.01 };
                if rng.random_bool(p) {
                    match rng.random_range(0..3) {
                        0 => failures.breakdown += 1.0,
                        1 => failures.under += 1.0,
                        _ => failures.over += 1.0,
                    }
                }
            }
            if units > 0 {
                cells.push(Cell {
                    day,
                    series: set % 2,
                    station: 0,
                    set,
                    units: f64::from(units),
                    failures,
                });
            }
        }
    }
    Cells { factors, sets, cells }
}

fn explained(cells: &Cells) -> Explained {
    let (before, after): (Vec<&Cell>, Vec<&Cell>) = cells.cells.iter().partition(|c| c.day < 20);
    explain(cells, &before, &after, Counted::Failed, CHANGE, &DEMANDS)
}

fn named(found: &Explained) -> Vec<String> {
    found
        .causes
        .iter()
        .map(|c| {
            let levels: Vec<&str> = c.what.0.iter().map(|n| n.level.as_str()).collect();
            levels.join("+")
        })
        .collect()
}

/// One level planted: named alone, and the other factors cleared.
#[test]
fn a_planted_level_is_named_alone() {
    for seed in 0..5 {
        let found = explained(&plant(seed, |_, l| l[1] == 3));
        assert_eq!(named(&found), ["lot-3"], "seed {seed}");
        assert!(found.unexplained_share < 0.15);
        assert!(found.not_causes.contains(&"cable".to_owned()));
    }
}

/// A pair planted: named as the pair.
#[test]
fn a_planted_pair_is_named_as_a_pair() {
    for seed in 10..15 {
        let found = explained(&plant(seed, |_, l| l[0] == 2 && l[2] == 5));
        assert_eq!(named(&found), ["station-2+cable-5"], "seed {seed}");
    }
}

/// Two levels of different factors: both named, one after the other.
#[test]
fn two_causes_are_named_one_after_the_other() {
    let found = explained(&plant(20, |_, l| l[1] == 1 || l[2] == 6));
    let mut names = named(&found);
    names.sort();
    assert_eq!(names, ["cable-6", "lot-1"]);
}

/// Everything fails more: no level is a cause.
#[test]
fn a_rise_of_all_has_no_cause() {
    let named =
        (30..40).filter(|seed| !explained(&plant(*seed, |_, _| true)).causes.is_empty()).count();
    assert!(named <= 1, "{named} of 10");
}

/// A level that failed more often before already is no cause.
#[test]
fn an_old_difference_explains_nothing() {
    let mut cells = plant(50, |_, _| true);
    for c in &mut cells.cells {
        // Half of lot 2's units had failed before as well as since.
        if cells.sets[c.set as usize][1] == 2 {
            c.failures.over = (c.units * 0.5).floor();
            c.failures.under = 0.0;
            c.failures.breakdown = 0.0;
        }
    }
    assert!(!named(&explained(&cells)).contains(&"lot-2".to_owned()));
}

/// A column that repeats another under other names cannot be told from it, and that is said.
#[test]
fn tied_levels_are_said_to_be_tied() {
    let mut cells = plant(60, |_, l| l[1] == 3);
    cells.factors.push(Factor {
        name: "supplier".to_owned(),
        levels: (1..=4).map(|l| format!("supplier-{l}")).collect(),
    });
    for set in &mut cells.sets {
        set.push(set[1]);
    }
    let found = explained(&cells);
    assert_eq!(found.causes.len(), 1);
    let cause = &found.causes[0];
    let both: Vec<&str> =
        cause.what.0.iter().chain(&cause.same_units).map(|n| n.level.as_str()).collect();
    assert!(both.contains(&"lot-3") && both.contains(&"supplier-3"), "{both:?}");
}

/// Everything since the date is of a new level: it is told, as inseparable from the date, and not as a cause.
#[test]
fn a_level_of_all_units_since_the_date_is_tied_to_it() {
    let mut cells = plant(70, |_, _| true);
    cells.factors.push(Factor {
        name: "program".to_owned(),
        levels: vec!["old".to_owned(), "new".to_owned()],
    });
    let old: Vec<Vec<u32>> = cells.sets.clone();
    let n = u32::try_from(old.len()).unwrap();
    for (set, program) in old.iter().map(|s| (s, 1)).chain(old.iter().map(|s| (s, 2))) {
        let mut set = set.clone();
        set.push(program);
        cells.sets.push(set);
    }
    cells.sets.drain(..old.len());
    for c in &mut cells.cells {
        if c.day >= 20 {
            c.set += n;
        }
    }
    let found = explained(&cells);
    assert!(named(&found).is_empty());
    let with: Vec<&str> = found.coincides.iter().map(|c| c.what.0[0].level.as_str()).collect();
    assert_eq!(with, ["new"]);
    assert!((found.unexplained_share - 1.0).abs() < 1e-12);
}

/// One operator at one station had all failures, the station tested a few units more: either may be it.
#[test]
fn a_level_with_the_same_failures_is_told_beside_the_cause() {
    let factor = |name: &str| Factor {
        name: name.to_owned(),
        levels: vec![format!("{name}-1"), format!("{name}-2")],
    };
    let cell = |day: i32, set: u32, units: f64, over: f64| Cell {
        day,
        series: 0,
        station: 0,
        set,
        units,
        failures: Failures { over, ..Failures::default() },
    };
    let mut list = Vec::new();
    for day in 0..40 {
        let failed = if day >= 20 && day % 4 == 1 { 1.0 } else { 0.0 };
        list.push(cell(day, 0, 20.0, 0.0));
        list.push(cell(day, 1, 4.0, failed));
        if day % 2 == 0 || day % 8 == 1 {
            list.push(cell(day, 2, 3.0, 0.0));
        }
    }
    let cells = Cells {
        factors: vec![factor("operator"), factor("station")],
        sets: vec![vec![1, 1], vec![2, 2], vec![1, 2]],
        cells: list,
    };
    let found = explained(&cells);
    assert_eq!(named(&found), ["operator-2"]);
    assert!(found.causes[0].same_units.is_empty());
    let beside: Vec<&str> = found.causes[0].rivals.iter().map(|n| n.level.as_str()).collect();
    assert_eq!(beside, ["station-2"]);
}

/// A nest fails on one shift only, and one in forty batches must not hide it: the pair is named, by way of the nest.
#[test]
fn a_part_of_a_level_is_found_inside_it() {
    for seed in 80..85 {
        let mut cells = plant(seed, |_, l| l[1] == 2 && l[2] == 4);
        // A fourth factor of many levels that says nothing.
        cells.factors.push(Factor {
            name: "batch".to_owned(),
            levels: (1..=40).map(|l| format!("batch-{l}")).collect(),
        });
        let old: Vec<Vec<u32>> = std::mem::take(&mut cells.sets);
        for (n, c) in cells.cells.iter_mut().enumerate() {
            let mut set = old[c.set as usize].clone();
            set.push(u32::try_from(n * 7 % 40).unwrap() + 1);
            cells.sets.push(set);
            c.set = u32::try_from(n).unwrap();
        }
        assert_eq!(named(&explained(&cells)), ["lot-2+cable-4"], "seed {seed}");
    }
}

proptest! {
    #![proptest_config(draws(24))]

    /// Parts add up to the change, whatever is counted and however much the limit or a move takes.
    #[test]
    fn parts_add_up(seed in 0u64..1_000, kind in 0usize..5, limit in -3.0f64..3.0, shift in -3.0f64..3.0, under in -2.0f64..2.0) {
        let cells = plant(seed, |_, l| l[0] == 2 && seed % 3 == 0);
        let (before, after): (Vec<&Cell>, Vec<&Cell>) = cells.cells.iter().partition(|c| c.day < 20);
        let counted = Counted::ALL[kind];
        let recount = Recount {
            days: (0..40).map(|d| (d, Recounted { over_by_limit: limit, under_by_limit: under, over_by_shift: shift })).collect(),
            ..Recount::default()
        };
        let parts = split(&cells, &before, &after, counted, &recount, 0.95, seed).unwrap();
        let sum = parts.mix.value + parts.limit.value + parts.shift.value + parts.strays.value + parts.breakdown.value + parts.other.value;
        let share = |list: &[&Cell]| list.iter().map(|c| c.failures.of(counted)).sum::<f64>() / list.iter().map(|c| c.units).sum::<f64>();
        prop_assert!((parts.rise.value - (share(&after) - share(&before))).abs() < 1e-12);
        prop_assert!((sum - parts.rise.value).abs() < 1e-12);
        for part in [&parts.mix, &parts.limit, &parts.shift, &parts.strays, &parts.breakdown, &parts.other, &parts.rise] {
            prop_assert!(part.low <= part.value && part.value <= part.high);
        }
    }
}
