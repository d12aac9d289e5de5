//! A month that is like the time before it is not said to differ, and one that differs is.

use leakdrift::analysis::month::change::{Before, MonthChange, baseline_days, month_change};
use leakdrift::config::Config;
use leakdrift::day::day_number;
use leakdrift::movement::Period;
use leakdrift::movement::drift::{DayPoint, DriftOptions, assess};
use leakdrift::movement::readings::Reading;
use leakdrift::movement::scale::OneScale;
use leakdrift::records::{Limits, Outcome};
use leakdrift::series::{OutcomeLine, Says};
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::month::{Matters, judge_month};
use leakdrift::words::Wording;
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use rayon::prelude::*;

use crate::support::days::day;

/// Units of a day.
const UNITS: usize = 20;

fn normal(random: &mut Pcg64) -> f64 {
    StandardNormal.sample(random)
}

/// Six months of weekdays of which the last, October, is reviewed: its level is raised by `rise` (a share), its
/// spread multiplied by `wider`, its share of failures is `fails`.
fn simulated(seed: u64, rho: f64, rise: f64, wider: f64, fails: f64) -> MonthChange {
    let mut random = Pcg64::seed_from_u64(seed);
    let first = day_number(day("2026-05-01"));
    let last = day_number(day("2026-10-30"));
    let october = day_number(day("2026-10-01"));
    let (mut readings, mut points, mut outcomes) = (Vec::new(), Vec::new(), Vec::new());
    let mut level = normal(&mut random);
    for day in (first..=last).filter(|d| (d + 3).rem_euclid(7) < 5) {
        level = rho * level + (1.0 - rho * rho).sqrt() * normal(&mut random);
        let now = day >= october;
        let middle = 2.0 * (1.0 + 0.006 * level) * if now { 1.0 + rise } else { 1.0 };
        let sd = 0.04 * if now { wider } else { 1.0 };
        let mut day_readings: Vec<f64> =
            (0..UNITS).map(|_| middle + sd * normal(&mut random)).collect();
        day_readings.sort_by(f64::total_cmp);
        readings.extend(day_readings.iter().map(|ma| Reading {
            day,
            station: 0,
            ma: *ma,
            step_ma: 0.001,
            says: Says::Value,
            count: 1.0,
        }));
        points.push(DayPoint {
            day,
            value_ma: 0.5 * (day_readings[UNITS / 2 - 1] + day_readings[UNITS / 2]),
            units: UNITS as f64,
            humidity: None,
            temperature: None,
            lot: None,
        });
        let share = if now { fails } else { 0.01 };
        let failed = (0..UNITS).filter(|_| random.random::<f64>() < share).count() as u32;
        for (outcome, count) in
            [(Outcome::Pass, UNITS as u32 - failed), (Outcome::OverLimit, failed)]
        {
            if count > 0 {
                outcomes.push(OutcomeLine {
                    day,
                    station: 0,
                    factors: 0,
                    set: 0,
                    limits: Limits::default(),
                    outcome,
                    in_ramp: false,
                    count,
                });
            }
        }
    }
    let judge = Period {
        from: first,
        to: last,
        slope: false,
        horizon: last,
        boundaries: Vec::new(),
        sentence: String::new(),
    };
    let drift = assess(&points, &DriftOptions::default());
    let baseline = baseline_days(outcomes.iter().map(|o| o.day), (2026, 10), &judge);
    let before = Before {
        readings: &readings,
        points: &points,
        drift: &drift,
        scale: &OneScale::default(),
        outcomes: &outcomes,
        limit_ma: None,
        level: 0.95,
    };
    month_change(&before, (2026, 10), baseline, [None, None])
}

/// Of 120 months like those before, at most 1 in 10 is said to differ in level, spread or failures: 5 % are
/// promised, and 3.5 standard errors of 120 trials make it 12.
#[test]
fn a_month_like_the_others_differs_as_often_as_promised() {
    for rho in [0.0, 0.5] {
        let (mut level, mut spread, mut failures) = (0, 0, 0);
        let all: Vec<MonthChange> = (0..120_u64)
            .into_par_iter()
            .map(|seed| simulated(1_000 + seed, rho, 0.0, 1.0, 0.01))
            .collect();
        for found in all {
            level += usize::from(!found.level_pct.unwrap().contains(0.0));
            spread += usize::from(!found.spread_ratio.unwrap().contains(1.0));
            failures += usize::from(!found.failure_change.unwrap().contains(0.0));
        }
        assert!(level <= 14, "level, correlation {rho}: {level} of 120");
        assert!(spread <= 14, "spread, correlation {rho}: {spread} of 120");
        assert!(failures <= 14, "failures, correlation {rho}: {failures} of 120");
    }
}

/// A level 2 % higher, a spread half as wide again, and failures four times as many are found, and their
/// intervals hold them: in at least 85 of 100 (95 promised, 3.5 standard errors and what few days leave).
#[test]
fn a_month_that_differs_is_found_with_its_size() {
    let (mut found, mut held) = ([0; 3], [0; 3]);
    let all: Vec<MonthChange> = (0..100_u64)
        .into_par_iter()
        .map(|seed| simulated(5_000 + seed, 0.3, 0.02, 1.5, 0.04))
        .collect();
    for m in all {
        let sizes = [
            (m.level_pct.unwrap(), 2.0, 0.0),
            (m.spread_ratio.unwrap(), 1.5, 1.0),
            (m.failure_change.unwrap(), 0.03, 0.0),
        ];
        for (n, (e, truth, none)) in sizes.into_iter().enumerate() {
            found[n] += usize::from(!e.contains(none));
            held[n] += usize::from(e.contains(truth));
        }
    }
    for (n, what) in ["level", "spread", "failures"].into_iter().enumerate() {
        assert!(found[n] >= 90, "{what} found in {} of 100", found[n]);
        assert!(held[n] >= 85, "{what} held in {} of 100", held[n]);
    }
}

/// What a month is held against.
#[test]
fn the_baseline_begins_after_an_established_step() {
    let on = |text: &str| day_number(day(text));
    let days = || on("2026-01-01")..=on("2026-10-30");
    let judge = |boundaries: Vec<i32>| Period {
        from: on("2026-01-01"),
        to: on("2026-10-30"),
        slope: false,
        horizon: on("2026-10-30"),
        boundaries,
        sentence: String::new(),
    };
    let last = on("2026-09-30");
    // Without a step half a year before the month; 183 days before 1 October.
    let free = baseline_days(days(), (2026, 10), &judge(Vec::new()));
    assert_eq!(free, Some((on("2026-04-01"), last)));
    let step = baseline_days(days(), (2026, 10), &judge(vec![on("2026-08-03")]));
    assert_eq!(step, Some((on("2026-08-03"), last)));
    // A step in the month itself, or days before it, leaves the half year.
    for at in [on("2026-10-12"), on("2026-09-29")] {
        assert_eq!(baseline_days(days(), (2026, 10), &judge(vec![at])), free);
    }
    assert_eq!(baseline_days(days(), (2026, 1), &judge(Vec::new())), None);
}

/// The rise of failures that matters of a month had a number of its own beside `jump_rise`.
#[test]
fn the_rise_that_flags_a_jump_is_the_rise_that_matters_of_a_month() {
    let share = |value: f64| Estimate::new(value, value - 0.03, value + 0.03, 0.95, "made up");
    let mut change = simulated(1, 0.0, 0.0, 1.0, 0.01);
    // From 10 % to 15 %: far from twice as many.
    change.failure_share_before = share(0.10);
    change.failure_share = share(0.15);
    change.failure_change = share(0.05);
    let matters = |jump_rise: f64| {
        let config = Config { jump_rise, ..Config::default() };
        judge_month(&change, None, &Wording::new(2.0, 0.001), &config).matters
    };
    assert_eq!(matters(0.005), Matters::FailuresRose);
    assert_ne!(matters(0.06), Matters::FailuresRose);
}
