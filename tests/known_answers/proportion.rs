//! Binomial intervals against published limits.

use leakdrift::stats::proportion::{EffectiveCounts, clopper_pearson, difference, wilson};

use crate::support::checks::{assert_case, load};
use crate::support::numbers::{assert_abs, assert_rel};

fn counts(events: f64, trials: f64) -> EffectiveCounts {
    EffectiveCounts::new(events, trials, 1.0).unwrap()
}

/// NIST/SEMATECH e-Handbook 7.2.4.1: 4 defectives in 20.
#[test]
fn handbook_four_of_twenty() {
    let case = load("binomial-handbook-4-20");
    let e = clopper_pearson(counts(4.0, 20.0), 0.9).unwrap();
    assert_case(&case, "lower", e.low);
    assert_case(&case, "upper", e.high);
}

/// Newcombe (1998), table I.
#[test]
fn newcombe_exact_and_score() {
    let case = load("binomial-newcombe-a");
    for (x, n) in [(81.0, 263.0), (15.0, 148.0)] {
        let exact = clopper_pearson(counts(x, n), 0.95).unwrap();
        let score = wilson(counts(x, n), 0.95).unwrap();
        assert_case(&case, &format!("exact_lower[{x}/{n}]"), exact.low);
        assert_case(&case, &format!("exact_upper[{x}/{n}]"), exact.high);
        assert_case(&case, &format!("wilson_lower[{x}/{n}]"), score.low);
        assert_case(&case, &format!("wilson_upper[{x}/{n}]"), score.high);
    }
}

/// No event among n: the upper limit solves (1 - p)^n = alpha/2, also for a fractional n (by hand).
#[test]
fn no_event_closed_form() {
    for n in [1.0, 37.5, 1e7] {
        let e = clopper_pearson(counts(0.0, n), 0.95).unwrap();
        assert_eq!(e.low, 0.0);
        assert_rel(e.high, -(0.025_f64.ln() / n).exp_m1(), 1e-8);
    }
}

/// Twice the variance says as much as half the counts (Korn & Graubard 1998); less than binomial counts
/// as binomial.
#[test]
fn effective_counts_divide_both() {
    let twice = EffectiveCounts::new(8.0, 40.0, 2.0).unwrap();
    assert_eq!(twice, counts(4.0, 20.0));
    assert_eq!(EffectiveCounts::new(4.0, 20.0, 0.3), EffectiveCounts::new(4.0, 20.0, 1.0));
    assert!(EffectiveCounts::new(3.0, 2.0, 1.0).is_none());
    assert!(EffectiveCounts::new(0.0, 0.0, 1.0).is_none());
}

/// Korn & Graubard's factor by hand, from tables of Student's t: `t(39)` 2.0227, `t(5)` 2.5706 at 97.5 %, so that 20
/// effective trials known from six blocks are 20 × 0.6192; many blocks take nothing off.
#[test]
fn few_blocks_leave_fewer_effective_counts() {
    let of = |df: f64| EffectiveCounts::of_blocks(8.0, 40.0, 2.0, df, 0.95).unwrap();
    assert_rel(of(5.0).trials, 20.0 * (2.0227_f64 / 2.5706).powi(2), 1e-4);
    assert_rel(of(5.0).share(), 0.2, 1e-14);
    assert_eq!(of(1e6), counts(4.0, 20.0));
}

/// Newcombe R.G. (1998) Statistics in Medicine 17:873-890, table II, example (a), method 10: 56 of 70 against
/// 48 of 80 differ by 0.2, interval 0.0524 to 0.3339; example (b) 9 of 10 against 3 of 10: 0.1705 to 0.8090
/// (both from memory).
#[test]
fn two_shares_differ_as_published() {
    let share = |failed, judged| EffectiveCounts::new(failed, judged, 1.0).unwrap();
    for (before, now, value, low, high) in [
        ((48.0, 80.0), (56.0, 70.0), 0.2, 0.0524, 0.3339),
        ((3.0, 10.0), (9.0, 10.0), 0.6, 0.1705, 0.8090),
    ] {
        let (before, now) = (share(before.0, before.1), share(now.0, now.1));
        let found = difference(before, now, 0.95).unwrap();
        assert_abs(found.value, value, 1e-12);
        assert_abs(found.low, low, 5e-5);
        assert_abs(found.high, high, 5e-5);
    }
}
