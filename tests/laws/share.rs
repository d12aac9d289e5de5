//! Share of healthy units above a limit: never rises with the limit, says what the quantiles say, and far
//! beyond the data is next to nothing instead of anything.

use leakdrift::analysis::body::describe::{Body, Options, Which, describe};
use leakdrift::analysis::body::share_ladder::{ShareLadder, rungs};
use leakdrift::movement::edges::Edges;
use leakdrift::stats::sample::{Grouped, Observation};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

use crate::support::numbers::assert_rel;

const STEP: f64 = 0.01;

/// `n` units over 60 days: lognormal of median 2 mA, a share of strays from 3 to 4 mA; nothing above `limit` is
/// seen but that it tripped.
fn body(seed: u64, n: usize, spread: f64, strays: f64, limit: f64) -> Body {
    let mut chance = Pcg64::seed_from_u64(seed);
    let lines = (0..n).map(|i| {
        let z: f64 = StandardNormal.sample(&mut chance);
        let u: f64 = rand_distr::Open01.sample(&mut chance);
        let x = if u < strays { 3.0 + u / strays } else { 2.0 * (spread * z).exp() };
        let shown = (x / STEP).round();
        let observation = if shown * STEP > limit {
            Observation::Above(limit)
        } else {
            Observation::Between { low: (shown - 0.5) * STEP, high: (shown + 0.5) * STEP }
        };
        (i32::try_from(i * 60 / n).unwrap(), observation, 1.0)
    });
    let data = Grouped::new(lines).unwrap();
    describe(&data, &Edges::uniform(STEP), &Options::default()).unwrap()
}

fn bodies() -> Vec<Body> {
    let free = f64::INFINITY;
    vec![
        body(1, 4000, 0.05, 0.0, free),
        body(2, 4000, 0.10, 0.005, free),
        body(3, 800, 0.03, 0.0, free),
        body(4, 4000, 0.08, 0.0, 2.30),
        body(5, 150, 0.10, 0.0, free),
        body(6, 4000, 0.02, 0.01, free),
    ]
}

/// Value and both ends fall with the limit, down to ten units in a million; where one part of the body hands
/// over to another they rise by no more than the noise of two fits.
#[test]
fn a_higher_limit_never_rejects_more() {
    for (n, body) in bodies().iter().enumerate() {
        for &which in &body.answers() {
            let x50 = body.quantile(which, 0.5).unwrap().value;
            let mut last = (1.0, 1.0, 1.0);
            for k in 1..200 {
                let limit = x50 * (1.0 + 0.02 * f64::from(k));
                let e = body.reject_share(which, limit).unwrap();
                let now = (e.value, e.low, e.high);
                for (was, is) in [(last.0, now.0), (last.1, now.1), (last.2, now.2)] {
                    assert!(
                        is <= was * 1.05 || is < 1e-5,
                        "body {n}, {which:?}, {limit}: {was} to {is}"
                    );
                }
                assert!(e.low <= e.value && e.value <= e.high);
                assert_rel(
                    body.share_above(which, limit).unwrap().max(1e-290),
                    e.value.max(1e-290),
                    1e-6,
                );
                last = now;
            }
        }
    }
}

/// At ten times the room of X99.9 no number of such units is rejected, and the interval says so.
#[test]
fn far_beyond_the_data_the_interval_says_something() {
    for (n, body) in bodies().iter().enumerate() {
        for &which in &body.answers() {
            let x50 = body.quantile(which, 0.5).unwrap().value;
            let far = x50 + 10.0 * (body.quantile(which, 0.999).unwrap().value - x50);
            let e = body.reject_share(which, far).unwrap();
            assert!(e.high < 3e-3, "body {n}, {which:?}: {e:?}");
        }
    }
}

/// The share above an end of the interval of a quantile ends at that quantile's share: both ways of asking
/// are one.
#[test]
fn shares_and_quantiles_agree_in_the_tail() {
    for body in bodies().iter().take(4) {
        let which = Which::Together;
        for q in [0.01, 0.001, 0.0001] {
            // Far out a short body has no answer; where one unit in a hundred lies, each has.
            let Ok(x) = body.quantile(which, 1.0 - q) else {
                assert!(q < 0.01, "{:?}", body.quantile(which, 1.0 - q));
                continue;
            };
            let high = body.reject_share(which, x.high).unwrap().high;
            let low = body.reject_share(which, x.low).unwrap().low;
            assert_rel(high, q, 0.05);
            assert_rel(low, q, 0.05);
            assert_rel(body.share_above(which, x.value).unwrap(), q, 1e-6);
            assert_rel(body.quantile_value(which, 1.0 - q).unwrap(), x.value, 1e-9);
        }
    }
}

/// By hand: rungs at shares 0.5, 0.281, 0.158, 0.0889 … whose readings end at 1, 2, 4, 8 … mA (upper) and half of
/// it (lower): 4 mA is the upper end of the third rung and the lower end of the fourth.
#[test]
fn the_ladder_is_read_as_by_hand() {
    let q = rungs();
    assert_rel(q[0], 0.5, 1e-12);
    assert_rel(q[4], 0.05, 1e-12);
    let intervals: Vec<Option<(f64, f64)>> = (0..q.len())
        .map(|k| {
            let high = 2_f64.powi(i32::try_from(k).unwrap());
            (k != 9).then_some((high / 2.0, high))
        })
        .collect();
    let ladder = ShareLadder::new(&intervals, 0.95).unwrap();
    let e = ladder.share(0.12, 4.0, "by hand").unwrap();
    assert_rel(e.high, q[2], 1e-12);
    assert_rel(e.low, q[3], 1e-12);
    // Half way between two rungs on the scale of logs; the missing tenth rung is bridged.
    let e = ladder.share(q[3], 2_f64.powf(2.5), "by hand").unwrap();
    assert_rel(e.high, (q[2] * q[3]).sqrt().max(q[3]), 1e-12);
    let e = ladder.share(q[9], 512.0, "by hand").unwrap();
    assert_rel(e.high, q[9], 1e-9);
    // Beyond the ends nothing is known but on which side.
    let below = ladder.share(0.9, 0.1, "by hand").unwrap();
    assert_eq!((below.low, below.high), (0.5, 1.0));
    let beyond = ladder.share(0.0, 1e30, "by hand").unwrap();
    assert_eq!(beyond.low, 0.0);
    assert_rel(beyond.high, q[q.len() - 1], 1e-12);
    assert_eq!(ShareLadder::new(&intervals[..1], 0.95), None);
}

/// No number of units vouches for a share rarer than one in a hundred times their number.
#[test]
fn no_share_is_rarer_than_the_units_can_tell() {
    for body in bodies() {
        for &which in &body.answers() {
            let e = body.reject_share(which, 100.0).unwrap();
            assert!(e.high * 100.0 * body.units >= 1.0, "{e:?} of {} units", body.units);
        }
    }
}

/// The share expected at a limit beyond the data is held by its upper bound: 100 series of 300 units of a lognormal body
/// in steps of a third of its spread, at 97.5 % one-sided; 90 or more in 999 of 1000 sets at 95 %.
#[test]
fn a_share_beyond_the_data_is_held_by_its_bound() {
    use rayon::prelude::*;
    const N: usize = 300;
    let share = 1.0 / (5.0 * N as f64);
    let held = (0..100_u64)
        .into_par_iter()
        .filter(|seed| {
            let mut chance = Pcg64::seed_from_u64(4_000 + seed);
            let step = 0.07;
            let lines = (0..N).map(|i| {
                let z: f64 = StandardNormal.sample(&mut chance);
                let shown = ((2.0 * (0.1 * z).exp()) / step).round();
                let (low, high) = ((shown - 0.5) * step, (shown + 0.5) * step);
                (i32::try_from(i * 40 / N).unwrap(), Observation::Between { low, high }, 1.0)
            });
            let data = Grouped::new(lines).unwrap();
            let Ok(body) = describe(&data, &Edges::uniform(step), &Options::default()) else {
                return false;
            };
            // Lognormal: 1 in 1500 lies 3.209 standard deviations out.
            let limit = 2.0 * (0.1 * 3.208_7_f64).exp();
            body.which().is_ok_and(|w| body.reject_share(w, limit).unwrap().high >= share)
        })
        .count();
    assert!(held >= 90, "{held} of 100");
}
