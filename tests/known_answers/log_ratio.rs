//! The ratio of two independent estimates, by hand.

use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::log_ratio::log_ratio;

use crate::support::numbers::assert_rel;

fn estimate([low, value, high]: [f64; 3], level: f64) -> Estimate {
    Estimate::new(value, low, high, level, "by hand").unwrap()
}

/// Intervals that reach a factor of two to either side: on the scale of logs their squares add up, so that the ratio
/// of 2 to 1 reaches a factor of 2^sqrt(2).
#[test]
fn equal_reaches_add_at_right_angles() {
    let ratio = log_ratio(&estimate([1.0, 2.0, 4.0], 0.95), &estimate([0.5, 1.0, 2.0], 0.95));
    let found = ratio.unwrap();
    assert_rel(found.value, 2.0, 1e-12);
    assert_rel(found.low, 2.0_f64.powf(1.0 - 2.0_f64.sqrt()), 1e-12);
    assert_rel(found.high, 2.0_f64.powf(1.0 + 2.0_f64.sqrt()), 1e-12);
}

/// Each end of the ratio is made by the ends that push it there: a factor of 8 down and 16 up against one of 2 up
/// and 4 down reaches 2^sqrt(9 + 1) down and 2^sqrt(16 + 4) up.
#[test]
fn each_end_takes_the_reach_that_matters() {
    let first = estimate([1.0, 8.0, 128.0], 0.95);
    let second = estimate([0.25, 1.0, 2.0], 0.9);
    let found = log_ratio(&first, &second).unwrap();
    assert_rel(found.low, 8.0 / 2.0_f64.powf(10.0_f64.sqrt()), 1e-12);
    assert_rel(found.high, 8.0 * 2.0_f64.powf(20.0_f64.sqrt()), 1e-12);
    assert_rel(found.level, 0.9, 1e-12);
}

/// What has no logarithm, or no bound, has no ratio.
#[test]
fn an_estimate_without_a_bound_has_no_ratio() {
    let sound = estimate([1.0, 2.0, 4.0], 0.95);
    for wrong in [[0.0, 1.0, 2.0], [-1.0, 1.0, 2.0], [1.0, 2.0, f64::INFINITY]] {
        assert!(log_ratio(&sound, &estimate(wrong, 0.95)).is_none(), "{wrong:?}");
        assert!(log_ratio(&estimate(wrong, 0.95), &sound).is_none(), "{wrong:?}");
    }
}
