//! Mean, spread and lag-1 correlation on the NIST StRD univariate sets, each certified to 15 digits.
//! References that are not printed: tests/reference/moments.py (mpmath 1.4.1).

use leakdrift::stats::autocorrelation::autocorrelation;
use leakdrift::stats::moments::{Moments, sum};

use crate::support::checks::{assert_case, column, load};
use crate::support::numbers::{assert_abs, assert_rel};

/// Every value with how often it occurs, in ascending order.
fn tally(values: &[f64]) -> Vec<(f64, f64)> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(|same| (same[0], same.len() as f64)).collect()
}

/// NIST StRD: mean, sd and lag-1 correlation, one value after the other and as a tally, to 12 digits.
#[test]
fn certified_univariate_sets() {
    for set in ["pidigits", "lottery", "mavro", "michelso", "numacc1", "numacc2"] {
        let case = load(&format!("strd-univariate-{set}"));
        let x = column(&format!("strd-univariate-{set}"), 0);
        let r = autocorrelation(&x, 1).unwrap();
        assert_case(&case, "lag1_autocorrelation", r);
        for found in [Moments::of_values(&x), Moments::of(tally(&x))] {
            let found = found.unwrap();
            assert_case(&case, "n", found.count);
            assert_case(&case, "mean", found.mean);
            assert_case(&case, "sd", found.sd().unwrap());
        }
    }
}

/// NIST StRD NumAcc3: a fifth is not a double, so that rounding moves the spread of the data themselves in
/// the ninth digit. The statistics of the doubles are met to 12 digits all the same.
#[test]
fn numacc3_as_far_as_doubles_hold_it() {
    let case = load("strd-univariate-numacc3");
    let x = column("strd-univariate-numacc3", 0);
    let found = Moments::of_values(&x).unwrap();
    let r = autocorrelation(&x, 1).unwrap();
    assert_case(&case, "n", found.count);
    assert_case(&case, "mean", found.mean);
    assert_case(&case, "sd", found.sd().unwrap());
    assert_case(&case, "lag1_autocorrelation", r);
    assert_rel(found.mean, 1_000_000.2, 1e-15);
    assert_rel(found.sd().unwrap(), 0.100_000_000_034_924_6, 1e-12);
    assert_rel(r, -0.998_999_999_999_418_5, 1e-12);
}

/// NIST StRD NumAcc4 (from memory): 10000000.2, then 500 times 10000000.1 and 10000000.3.
#[test]
fn numacc4_as_far_as_doubles_hold_it() {
    let mut x = vec![10_000_000.2];
    x.extend([10_000_000.1, 10_000_000.3].repeat(500));
    let found = Moments::of_values(&x).unwrap();
    let r = autocorrelation(&x, 1).unwrap();
    // Certified.
    assert_rel(found.mean, 10_000_000.2, 1e-15);
    assert_rel(found.sd().unwrap(), 0.1, 1e-8);
    assert_rel(r, -0.999, 1e-10);
    // Of the values as doubles.
    assert_rel(found.sd().unwrap(), 0.100_000_000_558_793_54, 1e-12);
    assert_rel(r, -0.998_999_999_990_696_1, 1e-12);
}

/// Counted in whole steps of the last digit, as currents are, the hardest sets keep 12 digits.
#[test]
fn whole_steps_keep_every_digit() {
    let fifths = |base: f64| {
        let mut x = vec![base + 2.0];
        x.extend([base + 1.0, base + 3.0].repeat(500));
        x
    };
    let numacc3: Vec<f64> =
        column("strd-univariate-numacc3", 0).iter().map(|x| (x * 10.0).round()).collect();
    assert_eq!(numacc3, fifths(1e7));
    for (x, mean) in [(numacc3, 10_000_002.0), (fifths(1e8), 100_000_002.0)] {
        let found = Moments::of(tally(&x)).unwrap();
        assert_abs(found.mean, mean, 0.0);
        assert_rel(found.sd().unwrap(), 1.0, 1e-15);
        assert_rel(autocorrelation(&x, 1).unwrap(), -0.999, 1e-15);
    }
}

/// By hand: 2 once, 4 three times, 8 twice: mean 30/6 = 5, sum of squares 9 + 3 + 18 = 30.
#[test]
fn counts_by_hand() {
    let found = Moments::of([(8.0, 2.0), (2.0, 1.0), (4.0, 3.0), (99.0, 0.0)]).unwrap();
    assert_eq!((found.count, found.mean, found.sum_of_squares), (6.0, 5.0, 30.0));
    assert_eq!(found.variance(), Some(6.0));
    assert_eq!(found.population_variance(), 5.0);
    let alone = Moments::of_values(&[7.0]).unwrap();
    assert_eq!((alone.mean, alone.variance(), alone.sd()), (7.0, None, None));
}

/// A billion readings of three values: 1.1 and 1.3 as often as each other about 1.2 (closed form).
#[test]
fn a_billion_readings() {
    let found = Moments::of([(1.1, 4e8), (1.2, 2e8), (1.3, 4e8)]).unwrap();
    assert_rel(found.mean, 1.2, 1e-15);
    assert_rel(found.population_variance(), 0.008, 1e-14);
}

/// By hand: 1 + 1e100 - 1e100 + 1 is 2, and ten tenths are 1.
#[test]
fn a_sum_keeps_what_rounding_takes() {
    assert_eq!(sum([1.0, 1e100, 1.0, -1e100]), 2.0);
    assert_eq!(sum([0.1; 10]), 1.0);
}

#[test]
fn unusable_tallies_have_no_moments() {
    let of = |tally: &[(f64, f64)]| Moments::of(tally.to_vec());
    assert_eq!(of(&[]), None);
    assert_eq!(of(&[(1.0, 0.0)]), None);
    assert_eq!(of(&[(1.0, -1.0), (2.0, 3.0)]), None);
    assert_eq!(of(&[(f64::NAN, 1.0)]), None);
    assert_eq!(of(&[(f64::INFINITY, 0.0), (1.0, 1.0)]), None);
    assert_eq!(of(&[(1e200, 1.0), (-1e200, 1.0)]), None, "the square is no double");
}
