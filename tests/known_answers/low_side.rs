//! The low side against closed forms and against scipy on bodies whose counts are exactly those expected
//! (tests/reference/low_side.py, scipy 1.17.1).

use leakdrift::analysis::body::capability::{index, observed_rejects, reject_days};
use leakdrift::analysis::body::describe::{Body, Options, Which, describe};
use leakdrift::analysis::body::low_side::{LOWER_REFERENCE, LowSide, under_limit};
use leakdrift::movement::edges::Edges;
use leakdrift::records::{Limits, Outcome};
use leakdrift::series::OutcomeLine;
use leakdrift::stats::sample::{Grouped, Observation};
use leakdrift::stats::special::{normal_cdf, normal_quantile};

use crate::support::checks::{assert_case, load};
use crate::support::numbers::{assert_abs, assert_estimate, assert_rel};

const STEP: f64 = 0.01;
const UNITS: f64 = 100_000.0;

/// A body of as many readings in each step as `cdf` expects, the same on each of 40 days.
fn expected(cdf: impl Fn(f64) -> f64) -> Body {
    let lines = (50..=500).flat_map(|k| {
        let (low, high) = ((f64::from(k) - 0.5) * STEP, (f64::from(k) + 0.5) * STEP);
        let count = UNITS * (cdf(high) - cdf(low));
        let kept = if count > 1e-3 { count / 40.0 } else { 0.0 };
        (0..40).map(move |day| (day, Observation::Between { low, high }, kept))
    });
    let how = Options { groups: None, ..Options::default() };
    describe(&Grouped::new(lines).unwrap(), &Edges::uniform(STEP), &how).unwrap()
}

/// NIST/SEMATECH e-Handbook 6.1.6: mean 16, sd 2, lower limit 8; and the share below by the normal law.
#[test]
fn handbook_lower_index() {
    let case = load("capability-handbook");
    for upper in ["cp", "cpk", "cpu", "k"] {
        case.leave_out(upper, "compared with the upper side");
    }
    assert_case(&case, "cpl", index(8.0, 16.0, 16.0 - 3.0 * 2.0).unwrap());
    // The reference is the reading three standard deviations below, up to the rounding of 0.135 %.
    assert_rel(normal_quantile(LOWER_REFERENCE), -3.0, 1e-4);
}

/// Lognormal by hand, median 1, log spread 0.25, limit 0.6: X0.135 = exp(0.25 z) (scipy 1.17.1: 0.472369),
/// index 0.4 / (1 - X0.135).
#[test]
fn percentile_index_of_a_lognormal_below() {
    let x = (0.25 * normal_quantile(LOWER_REFERENCE)).exp();
    assert_rel(x, 0.472_369_269_718_174_94, 1e-10);
    assert_rel(index(0.6, 1.0, x).unwrap(), 0.758_105_957_525_155_4, 1e-10);
}

/// Normal, mean 2, sd 0.2, limit 1.2: 4 standard deviations away, with the exact bounds of non-central t.
#[test]
fn normal_body_against_scipy() {
    let body = expected(|x| normal_cdf((x - 2.0) / 0.2));
    let low = LowSide::of(&body, 1.2);
    let e = low.performance.unwrap();
    assert!(e.method.contains("non-central t"), "{}", e.method);
    let index = [1.333_343_757_411_547_2, 1.326_275_344_943_342_6, 1.340_410_799_513_287];
    assert_estimate(&e, index, [1e-5, 1e-5]);
    let share = [3.167_116_212_402_134e-5, 2.895_697_498_831_363_8e-5, 3.463_974_587_015_501e-5];
    assert_estimate(&low.reject_share.unwrap(), share, [1e-3, 1e-3]);
}

/// Lognormal, median 2, log spread 0.15, limit 1.2: no exact bound, the interval is that of the fit.
#[test]
fn lognormal_body_against_scipy() {
    let body = expected(|x| normal_cdf((x / 2.0).ln() / 0.15));
    let low = LowSide::of(&body, 1.2);
    let e = low.performance.unwrap();
    assert!(!e.method.contains("non-central"), "{}", e.method);
    let index = [1.103_845_317_662_301_3, 1.099_180_271_767_331_1, 1.108_510_363_557_271_5];
    assert_estimate(&e, index, [1e-5, 1e-4]);
    let share = [3.302_095_292_544_528e-4, 3.089_083_385_636_948_7e-4, 3.529_790_536_149_685_4e-4];
    assert_estimate(&low.reject_share.unwrap(), share, [1e-3, 1e-3]);
}

/// A normal body is its own reflection: the low side at `c - limit` is the upper side at `limit`.
#[test]
fn a_normal_body_looks_the_same_from_both_sides() {
    let body = expected(|x| normal_cdf((x - 2.0) / 0.2));
    let (upper, share_over) = (
        body.performance(Which::Apart, 2.7).unwrap(),
        body.reject_share(Which::Apart, 2.7).unwrap(),
    );
    let low = LowSide::of(&body, 4.0 - 2.7);
    let (lower, share_under) = (low.performance.unwrap(), low.reject_share.unwrap());
    // The upper side is weighed with the tail below its cut, which is drawn in a little.
    assert_rel(lower.value, upper.value, 1e-2);
    assert_rel(share_under.value, share_over.value, 0.25);
    // By hand: 0.7 / (0.2 × 2.99998).
    assert_rel(lower.value, 3.5 / -normal_quantile(LOWER_REFERENCE), 1e-4);
}

fn outcome(day: i32, outcome: Outcome, low_pa: Option<i64>, count: u32) -> OutcomeLine {
    OutcomeLine {
        day,
        station: 0,
        factors: 0,
        set: 0,
        limits: Limits { high_pa: Some(2_000_000_000), low_pa },
        outcome,
        in_ramp: false,
        count,
    }
}

/// 30 of 3000 evenly over ten days: the interval is scipy's beta quantiles (0.025 of 30, 2971 and 0.975 of
/// 31, 2970). Units not completed and units of another low limit are not counted.
#[test]
fn results_under_the_low_limit_by_hand() {
    let limit = 600_000_000;
    let lines: Vec<OutcomeLine> = (0..10)
        .flat_map(|day| {
            [
                outcome(day, Outcome::UnderLimit, Some(limit), 3),
                outcome(day, Outcome::Pass, Some(limit), 290),
                outcome(day, Outcome::OverLimit, Some(limit), 5),
                outcome(day, Outcome::Breakdown, Some(limit), 2),
                outcome(day, Outcome::NotCompleted, Some(limit), 40),
                outcome(day, Outcome::UnderLimit, Some(2 * limit), 7),
                outcome(day, Outcome::Pass, None, 11),
            ]
        })
        .collect();
    let found = under_limit(lines.iter(), limit, 0.95).unwrap();
    assert_abs(found.rejected, 30.0, 0.0);
    assert_abs(found.judged, 3000.0, 0.0);
    let share = [0.01, 0.006_756_842_967_354_001, 0.014_245_074_173_757_966];
    assert_estimate(&found.share, share, [1e-12, 1e-6]);
    assert!(under_limit(lines.iter(), 3 * limit, 0.95).is_err());

    // The same 30 on one day are worth fewer: the interval is wider on both sides.
    let clustered: Vec<OutcomeLine> = (0..10)
        .flat_map(|day| {
            let n = if day == 4 { 30 } else { 0 };
            [
                outcome(day, Outcome::UnderLimit, Some(limit), n),
                outcome(day, Outcome::Pass, Some(limit), 300 - n),
            ]
        })
        .collect();
    let wide = under_limit(clustered.iter(), limit, 0.95).unwrap().share;
    assert!(wide.low < found.share.low && wide.high > found.share.high, "{wide:?}");
    // Over limit is counted apart from under limit: 5 of 318 on each day.
    let over = reject_days(lines.iter(), Outcome::OverLimit);
    assert_rel(observed_rejects(&over, 0.95).unwrap().value, 5.0 / 318.0, 1e-12);
}
