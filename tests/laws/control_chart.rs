//! What holds for the moving average of daily medians: its limits are those that days and lots justify.

use leakdrift::movement::drift::chart::{EwmaChart, ewma_chart};
use leakdrift::movement::drift::{DayPoint, DriftOptions};
use leakdrift::stats::ewma::{block_variance, settled_sd};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

use crate::support::numbers::assert_rel;

/// Days, one point each: daily scatter of 1 about lots of `length` days whose levels scatter by `lot_sd`; from
/// `day` on all lie higher by `step`.
fn points(
    seed: u64,
    length: usize,
    lot_sd: f64,
    named: bool,
    (day, step): (i32, f64),
) -> Vec<DayPoint> {
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut draw = || -> f64 { StandardNormal.sample(&mut rng) };
    let mut level = 0.0;
    (0..280)
        .map(|d| {
            if (d as usize).is_multiple_of(length) {
                level = lot_sd * draw();
            }
            let moved = if d >= day { step } else { 0.0 };
            DayPoint {
                day: d,
                value_ma: 100.0 + level + draw() + moved,
                units: 20.0,
                humidity: None,
                temperature: None,
                lot: named.then_some((d as usize / length) as u32),
            }
        })
        .collect()
}

fn chart(points: &[DayPoint]) -> Option<EwmaChart> {
    ewma_chart(points, 0.0, &DriftOptions::default())
}

const NEVER: (i32, f64) = (i32::MAX, 0.0);

/// One false alarm in 2000 days makes 12 % of histories with 255 days after a baseline; limits from daily scatter
/// alone signal in nearly all that are made of lots.
#[test]
fn a_steady_series_made_of_lots_is_not_out_of_control() {
    for (length, lot_sd) in [(1, 0.0), (5, 0.5), (10, 1.0), (10, 3.0), (20, 2.0)] {
        let signals = (0..200)
            .filter(|seed| {
                let points = points(*seed, length, lot_sd, length > 1, NEVER);
                !chart(&points).expect("a baseline").signals.is_empty()
            })
            .count();
        assert!(signals <= 30, "{signals} of 200 with lots of {length} days and {lot_sd}");
    }
}

#[test]
fn a_step_is_signalled_soon_and_dated() {
    for (length, lot_sd, step) in [(1, 0.0, 2.0), (10, 0.5, 3.0), (10, 1.0, 6.0)] {
        let late: Vec<i32> = (0..40)
            .map(|seed| {
                let points = points(seed, length, lot_sd, length > 1, (150, step));
                let signals = chart(&points).expect("a baseline").signals;
                signals.into_iter().find(|day| *day >= 150).map_or(i32::MAX, |day| day - 150)
            })
            .collect();
        let soon = late.iter().filter(|days| **days <= 20).count();
        assert!(soon >= 36, "{soon} of 40 within 20 days, lots of {length}: {late:?}");
    }
}

#[test]
fn fewer_than_five_lots_or_25_days_justify_no_limits() {
    let all = points(1, 10, 1.0, true, NEVER);
    // The sixth lot begins on the 51st day.
    assert!(chart(&all[..50]).is_none());
    let made = chart(&all[..60]).expect("five lots");
    assert_eq!(made.baseline, (0, 49));
    let unnamed = points(1, 10, 1.0, false, NEVER);
    assert!(chart(&unnamed[..24]).is_none());
    assert_eq!(chart(&unnamed[..40]).expect("25 days").baseline, (0, 24));
}

/// By hand: lots of one day are single points; lots of two at lambda 0.2: (0.2/1.8)(1 + 2 · 0.5 · 0.8) = 0.2.
#[test]
fn lots_weigh_by_how_long_they_last() {
    assert_rel(block_variance(0.2, 1.0), settled_sd(0.2).powi(2), 1e-14);
    assert_rel(block_variance(0.2, 2.0), 0.2, 1e-14);
    // Lots without end carry the whole variance.
    assert!(block_variance(0.2, 1e4) > 0.999);
}
