//! What holds of every jump, on random plants with fixed seeds: parts add up, what was planted is named, orders and
//! names change nothing.

use leakdrift::analysis::jump::cells::{Cell, Cells, Counted, Factor, Failures, Stood};
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
                        _ => {
                            failures.over += 1.0;
                            failures.charging += f64::from(rng.random_range(0..2));
                        }
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
    Cells { factors, sets, cells, ..Cells::default() }
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

/// Two factors: level 2 of the first had all failures, level 2 of the second tested a few units more.
fn alike(first: &str, second: &str) -> Cells {
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
    Cells {
        factors: vec![factor(first), factor(second)],
        sets: vec![vec![1, 1], vec![2, 2], vec![1, 2]],
        cells: list,
        ..Cells::default()
    }
}

/// What is told beside a cause.
fn beside(found: &Explained) -> Vec<&str> {
    let cause = &found.causes[0];
    cause.rivals.iter().chain(&cause.same_units).map(|n| n.level.as_str()).collect()
}

/// One lot at one station had all failures, the station tested a few units more: either may be it.
#[test]
fn a_level_with_the_same_failures_is_told_beside_the_cause() {
    let found = explained(&alike("lot", "station"));
    assert_eq!(named(&found), ["lot-2"]);
    assert!(found.causes[0].same_units.is_empty());
    assert_eq!(beside(&found), ["station-2"]);
}

/// The same of an operator and a station: the station is named, and nobody beside it.
#[test]
fn people_come_last_where_failures_are_the_same() {
    let found = explained(&alike("operator", "station"));
    assert_eq!(named(&found), ["station-2"]);
    assert_eq!(beside(&found), Vec::<&str>::new());
}

/// The same of a lot, or an operator, and a setting: the setting is named, though the other fits a little better.
#[test]
fn what_was_set_wins_a_tie() {
    let found = explained(&alike("lot", "ramp"));
    assert_eq!(named(&found), ["ramp-2"]);
    assert_eq!(beside(&found), ["lot-2"]);
    let found = explained(&alike("operator", "high limit"));
    assert_eq!(named(&found), ["high limit-2"]);
    assert_eq!(beside(&found), Vec::<&str>::new());
}

/// Two stations with two shifts, each with an operator of its own, who is named by where and when he worked; an
/// operator of whom no such place is known is named by his code.
#[test]
fn an_operator_of_one_station_and_shift_is_named_by_these() {
    let mut rng = Pcg64::seed_from_u64(3);
    let mut cells = Cells {
        factors: ["station", "operator", "shift"]
            .iter()
            .zip([2, 4, 2])
            .map(|(name, n)| Factor {
                name: (*name).to_owned(),
                levels: (1..=n).map(|l| format!("{name}-{l}")).collect(),
            })
            .collect(),
        // Operator 1 to 4: early and late at station 1, early and late at station 2.
        sets: vec![vec![1, 1, 1], vec![1, 2, 2], vec![2, 3, 1], vec![2, 4, 2]],
        ..Cells::default()
    };
    for day in 0..40 {
        for set in 0..4 {
            let p = if day >= 20 && set == 1 { 0.3 } else { 0.01 };
            let over = f64::from((0..12).filter(|_| rng.random_bool(p)).count() as u32);
            let failures = Failures { over, ..Failures::default() };
            cells.cells.push(Cell { day, series: 0, station: 0, set, units: 12.0, failures });
        }
    }
    let found = explained(&cells);
    assert!(named(&found)[0].contains("operator-2"), "{:?}", named(&found));
    let stood = Stood { station: "station-1".to_owned(), shift: "shift-2".to_owned() };
    cells.posts.insert("operator-2".to_owned(), stood);
    let found = explained(&cells);
    assert_eq!(named(&found), ["station-1+shift-2"]);
    let told: Vec<&str> = found.causes[0]
        .same_units
        .iter()
        .chain(&found.causes[0].rivals)
        .map(|n| n.factor.as_str())
        .collect();
    assert!(!told.contains(&"operator"), "{told:?}");
    assert!((found.causes[0].units - 240.0).abs() < 0.5, "its own units");
}

/// Of one series and three days before and since; a cause none of whose series failed before. By hand: all n
/// failures are the cause's, so that its share is at least 0.05^(1/n), and the ratio that of exposures with it.
#[test]
fn a_cause_where_nothing_failed_before_has_a_lower_end() {
    let found = explained(&alike("lot", "cable"));
    let cause = &found.causes[0];
    assert_eq!(cause.ratio, None);
    let bound = cause.ratio_at_least.expect("a bound");
    // 5 failures of 80 units since; before 20 days of 24 units, and 3 more on 13 of them.
    assert_eq!((cause.failures, cause.units), (5.0, 80.0));
    let share = 0.05_f64.powf(1.0 / 5.0);
    let by_hand = share / (1.0 - share) * (20.0 * 24.0 + 13.0 * 3.0) / 80.0;
    assert!((bound.value / by_hand - 1.0).abs() < 1e-9, "{} against {by_hand}", bound.value);
    assert_eq!(bound.level, 0.95);
    let told = alike("lot", "cable");
    // Where something failed before there is a ratio, and no bound instead of it.
    let mut told = told;
    told.cells[0].failures.over = 1.0;
    let cause = explained(&told).causes.remove(0);
    assert!(cause.ratio.is_some() && cause.ratio_at_least.is_none());
}

/// Two models that fail in 1 and 20 of 100 units before and since; the poor one from one unit in ten to four. By
/// hand: mix = 0.3 (0.20 − 0.01), which is all of the rise; no other part.
#[test]
fn more_units_of_a_poor_model_are_mix_and_nothing_else() {
    let cells = Cells {
        factors: vec![Factor {
            name: "model".to_owned(),
            levels: vec!["good".to_owned(), "poor".to_owned()],
        }],
        sets: vec![vec![1], vec![2]],
        cells: (0..40)
            .flat_map(|day| {
                let poor = if day < 20 { 100.0 } else { 400.0 };
                [(0, 1000.0 - poor, 0.01), (1, poor, 0.2)].map(|(set, units, share)| Cell {
                    day,
                    series: set,
                    station: 0,
                    set,
                    units,
                    failures: Failures { over: units * share, ..Failures::default() },
                })
            })
            .collect(),
        ..Cells::default()
    };
    let (before, after): (Vec<&Cell>, Vec<&Cell>) = cells.cells.iter().partition(|c| c.day < 20);
    let parts =
        split(&cells, &before, &after, Counted::Failed, &Recount::default(), 0.95, 7).unwrap();
    assert!((parts.mix.value - 0.3 * 0.19).abs() < 1e-12, "{:?}", parts.mix);
    assert!((parts.rise.value - parts.mix.value).abs() < 1e-12);
    assert!(parts.strays.value.abs() < 1e-12);
    assert_eq!(parts.mix_of.as_deref(), Some("model"));
    // The good one makes a part of it too: fewer of what fails less.
    let poor = &parts.mixed[0];
    assert_eq!(poor.level, "poor");
    assert!((poor.share_before - 0.1).abs() < 1e-12 && (poor.share_after - 0.4).abs() < 1e-12);
    assert!((poor.failed_before - 0.2).abs() < 1e-12);
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
        let sum = parts.mix.value + parts.limit.value + parts.charging.value + parts.shift.value + parts.strays.value + parts.breakdown.value + parts.other.value;
        let share = |list: &[&Cell]| list.iter().map(|c| c.failures.of(counted)).sum::<f64>() / list.iter().map(|c| c.units).sum::<f64>();
        prop_assert!((parts.rise.value - (share(&after) - share(&before))).abs() < 1e-12);
        prop_assert!((sum - parts.rise.value).abs() < 1e-12);
        for part in [&parts.mix, &parts.limit, &parts.charging, &parts.shift, &parts.strays, &parts.breakdown, &parts.other, &parts.rise] {
            prop_assert!(part.low <= part.value && part.value <= part.high);
        }
    }
}
