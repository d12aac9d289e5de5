//! How often movement is found, and only where it is: a few dozen series of known truth for each promise.
//!
//! The promises: of steady series at most 5 % flagged; of steps of two standard deviations in 120 days at least
//! 85 % found, with a date interval that holds the day in at least 90 %; beside every `steady` the smallest
//! step that would have been found four times in five. Each bound below is so far from its promise that a method
//! that keeps it fails once in a thousand sets of seeds (binomial), and one that misses it widely fails here. The
//! full table is that of `cargo bench --bench calibration -- --what drift`.

use crate::support::daily::{Daily, Lots, Moves, calendar, flagged, generator};
use leakdrift::movement::drift::{Drift, DriftOptions, Shape, assess};
use rayon::prelude::*;

const SEED: u64 = 7;

/// Movement found in so many series of one law.
fn found(series: &Daily, words: &str, count: u64) -> Vec<Drift> {
    (0..count)
        .into_par_iter()
        .map(|n| {
            let mut options = DriftOptions::default();
            // Drawn anew for each series: else all share the luck of one set of comparisons.
            options.shape.seed ^= n;
            assess(&series.points(&mut generator(SEED, words, n)), &options)
        })
        .collect()
}

fn count(all: &[Drift], test: impl Fn(&Drift) -> bool) -> usize {
    all.iter().filter(|d| test(d)).count()
}

/// 120 series at 5 %: 14 or fewer in 999 of 1000 sets.
#[test]
fn steady_series_are_seldom_flagged() {
    let flags: usize = [0.0, 0.3, 0.6]
        .into_iter()
        .map(|rho| {
            let all = found(&Daily::steady(120, rho), &format!("steady {rho}"), 40);
            count(&all, |d| flagged(d).1)
        })
        .sum();
    assert!(flags <= 14, "{flags} of 120 steady series are flagged");
}

/// 40 series at 5 %: 7 or fewer in 997 of 1000 sets. Taken as one level, lots are certain steps in 41 %.
#[test]
fn steady_series_of_known_lots_are_seldom_flagged() {
    let series =
        Daily { lots: Some(Lots { days: 10, sd: 1.0, known: true }), ..Daily::steady(120, 0.3) };
    let flags = count(&found(&series, "lots", 40), |d| flagged(d).1);
    assert!(flags <= 7, "{flags} of 40 steady series of lots are flagged");
}

/// What recorded humidity explains is a season and no drift: 24 at 5 %: 5 or fewer in 999 of 1000 sets.
#[test]
fn series_that_follow_humidity_are_seldom_flagged() {
    let series = Daily { humid: true, ..Daily::steady(120, 0.3) };
    let all = found(&series, "humid", 24);
    let flags = count(&all, |d| flagged(d).1);
    assert!(flags <= 5, "{flags} of 24 series are flagged");
    let seasons = count(&all, |d| d.shape == Some(Shape::Season));
    assert!(seasons >= 19, "{seasons} of 24 are seasons");
}

/// 36 steps at 85 %: 23 or more in 999 of 1000 sets; of 36 dates at 90 %: 26 or more.
#[test]
fn steps_of_two_standard_deviations_are_found_with_their_date() {
    for rho in [0.0, 0.3, 0.6] {
        let (mut steps, mut dates) = (0, 0);
        for at in [30, 60, 90] {
            let series = Daily { moves: Moves::Step { at, size: 2.0 }, ..Daily::steady(120, rho) };
            let all = found(&series, &format!("step {at} {rho}"), 12);
            steps += count(&all, |d| !d.steps.is_empty());
            dates += count(&all, |d| {
                d.steps.iter().any(|s| s.day_low <= calendar(at) && calendar(at) <= s.day_high)
            });
        }
        assert!(steps >= 23, "{steps} of 36 steps found, correlation {rho}");
        assert!(dates * 36 >= steps * 26, "{dates} of {steps} dates held, correlation {rho}");
    }
}

/// A slope of ten standard deviations from day 60 on: rate held at 95 %, of 40: 33 or more in 999 of 1000 sets;
/// its beginning held at 90 %: 30 or more.
#[test]
fn slopes_carry_their_rate_and_their_beginning() {
    let series = Daily { moves: Moves::Slope { from: 60, size: 10.0 }, ..Daily::steady(120, 0.3) };
    let all = found(&series, "slope", 40);
    let rate = series.per_month_ma();
    let held =
        count(&all, |d| d.per_month_ma.as_ref().is_some_and(|e| e.low <= rate && rate <= e.high));
    assert!(held >= 33, "{held} of 40 rates held");
    let began = count(&all, |d| {
        d.since_low.is_some_and(|low| low <= calendar(60))
            && d.since_high.is_some_and(|high| calendar(60) <= high)
    });
    assert!(began >= 30, "{began} of 40 beginnings held");
}

/// A leak at right angles to 0.267 mA that grows evenly from day 65 of 281 on, as KB120's does: its beginning is
/// held at 90 %, of 24: 16 or more in 999 of 1000 sets. A straight line begins 16 days late and holds it in none.
#[test]
fn a_leak_at_right_angles_begins_when_it_did() {
    let law = Daily::steady(281, 0.0);
    let begins = calendar(65);
    let all: Vec<Drift> = (0..24_u64)
        .into_par_iter()
        .map(|n| {
            let mut points = law.points(&mut generator(SEED, "leak", n));
            for p in &mut points {
                let leak = 0.100 + 0.020 * f64::from((p.day - begins).max(0)) / 30.44;
                p.value_ma *= 0.267_f64.hypot(leak);
            }
            assess(&points, &DriftOptions::default())
        })
        .collect();
    let slopes = count(&all, |d| d.shape == Some(Shape::Slope));
    assert!(slopes >= 20, "{slopes} of 24 are slopes");
    let held = count(&all, |d| {
        d.since_low.is_some_and(|low| low <= begins)
            && d.since_high.is_some_and(|high| begins <= high)
    });
    assert!(held >= 16, "{held} of 24 beginnings held");
}

/// The step named beside `steady`, planted in another series of the same law: 40 at 80 %: 24 or more in 999 of
/// 1000 sets.
#[test]
fn the_smallest_step_is_named_and_would_be_found() {
    for rho in [0.3, 0.6] {
        let law = Daily::steady(120, rho);
        let all = found(&law, "at rest", 40);
        let named: Vec<f64> = all
            .iter()
            .filter(|d| d.shape == Some(Shape::Steady))
            .map(|d| d.smallest_step_ma.expect("named beside steady"))
            .collect();
        assert!(named.iter().all(|s| s.is_finite() && *s > 0.0));
        let noticed: usize = named
            .par_iter()
            .enumerate()
            .map(|(n, step)| {
                let mut points = law.points(&mut generator(SEED, "planted", n as u64));
                points[60..].iter_mut().for_each(|p| p.value_ma += step);
                let shape = assess(&points, &DriftOptions::default()).shape;
                usize::from(shape.is_some_and(|s| s != Shape::Steady))
            })
            .sum();
        assert!(
            noticed * 40 >= 24 * named.len(),
            "{noticed} of {} noticed, correlation {rho}",
            named.len()
        );
    }
}

/// A step beside a slope holds its size: 60 series at 90 %, 45 or more in 999 of 1000 sets. With the slope taken off as
/// if it were known 78 in 100 hold.
#[test]
fn a_step_beside_a_slope_holds_its_size() {
    let moves = Moves::Both { at: 60, step: 4.0, slope: 4.0 };
    let series = Daily { moves, ..Daily::steady(120, 0.0) };
    let all = found(&series, "both", 80);
    let called = all.iter().filter(|d| d.shape == Some(Shape::SlopeAndStep) && d.steps.len() == 1);
    let sizes: Vec<_> = called.map(|d| &d.steps[0].size_ma).collect();
    let held = sizes.iter().filter(|e| e.contains(0.04)).count();
    assert!(sizes.len() >= 40, "{} called", sizes.len());
    assert!(held * 100 >= sizes.len() * 82, "{held} of {}", sizes.len());
}
