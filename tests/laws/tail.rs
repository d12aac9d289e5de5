//! The tail law on data whose truth is known.

use leakdrift::stats::sample::{Grouped, Observation};
use leakdrift::stats::tail::{Tail, TailError};

use crate::support::numbers::{assert_abs, assert_rel};

const STEP: f64 = 0.02;

/// Exponential readings of scale 1 at evenly spaced probabilities, in steps, a limit at `limit`.
fn exponential(n: usize, limit: f64) -> Grouped {
    Grouped::new((0..n).map(|i| {
        // Days take every 50th reading, so that they are alike.
        let day = i32::try_from(i % 50).unwrap();
        let x = -(-(i as f64 + 0.5) / n as f64).ln_1p();
        let shown = (x / STEP).round();
        let o = if x > limit {
            Observation::Above(limit)
        } else {
            Observation::Between {
                low: (shown - 0.5) * STEP,
                high: (shown + 0.5) * STEP,
            }
        };
        (day, o, 1.0)
    }))
    .unwrap()
}

/// The excess of an exponential is exponential with the same scale (no memory), so scale 1 and shape 0.
#[test]
fn exponential_has_no_memory() {
    let tail = Tail::fit(&exponential(20_000, f64::MAX), 2.31).unwrap();
    assert_rel(tail.scale, 1.0, 0.03);
    assert_abs(tail.shape, 0.0, 0.03);
    assert_rel(tail.share, (-2.31_f64).exp(), 0.01);
    assert_rel(tail.upper_quantile(1e-4).unwrap(), 1e4_f64.ln(), 0.03);
    assert_rel(tail.sf(6.0).unwrap(), (-6.0_f64).exp(), 0.15);
}

/// A limit inside the tail widens the intervals but does not move it.
#[test]
fn trips_are_censored_not_lost() {
    let whole = Tail::fit(&exponential(20_000, f64::MAX), 2.31).unwrap();
    let cut = Tail::fit(&exponential(20_000, 4.0), 2.31).unwrap();
    assert_eq!(whole.beyond, cut.beyond);
    assert_rel(cut.scale, 1.0, 0.05);
    let (a, b) = (
        whole.bounds(1e-4, 0.95).unwrap(),
        cut.bounds(1e-4, 0.95).unwrap(),
    );
    assert!(b.lower < a.value && a.value < b.upper, "{a:?} {b:?}");
    assert!(b.upper - b.lower > a.upper - a.lower);
}

/// Asking for the reading of a share and for the share of a reading agree, ends included.
#[test]
fn quantile_and_exceedance_are_one_question() {
    let tail = Tail::fit(&exponential(3_000, 5.0), 2.31).unwrap();
    for q in [0.05, 0.01, 1e-3, 1e-5] {
        let x = tail.quantile_estimate(q, 0.95).unwrap();
        assert_rel(tail.sf(x.value).unwrap(), q, 1e-9);
        assert_rel(tail.exceedance(x.high, 0.95).unwrap().high, q, 1e-6);
        assert!(tail.exceedance(x.value, 0.95).unwrap().contains(q));
    }
    assert!(tail.upper_quantile(0.5).is_none());
    assert!(tail.exceedance(1.0, 0.95).is_none());
}

#[test]
fn too_few_readings_make_no_tail() {
    assert!(matches!(
        Tail::fit(&exponential(50, f64::MAX), 2.31),
        Err(TailError::TooFew(_))
    ));
}
