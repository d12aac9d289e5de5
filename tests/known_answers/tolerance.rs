//! Non-central t and bounds from it against tables and quadrature.

use leakdrift::stats::special::normal_quantile;
use leakdrift::stats::tolerance::{capability_lower, distribution_free_sample, noncentral_t};

use crate::support::checks::{assert_case, load};
use crate::support::numbers::{assert_abs, assert_rel};

/// scipy 1.17.1, mpmath quadrature, R 4.2.2.
#[test]
fn noncentral_t_reference_values() {
    let case = load("noncentral-t-a");
    for (key, t, df, ncp) in [
        ("cdf[t=3,df=10,ncp=1.0]", 3.0, 10.0, 1.0),
        ("cdf[t=2,df=5,ncp=0.5]", 2.0, 5.0, 0.5),
        ("cdf[t=10,df=9,ncp=5.2]", 10.0, 9.0, 5.2),
    ] {
        let below = noncentral_t(t, df, ncp).unwrap().below;
        assert_case(&case, key, below);
        assert_case(&case, &format!("R.{key}"), below);
    }
    for (key, p, df, ncp) in [
        ("quantile[p=0.95,df=9,ncp=5.20148387876]", 0.95, 9.0, 5.201_483_878_76),
        ("quantile[p=0.95,df=29,ncp=12.7419320722]", 0.95, 29.0, 12.741_932_072_2),
        ("quantile[p=0.05,df=49,ncp=21.2132034356]", 0.05, 49.0, 21.213_203_435_6),
    ] {
        // R is good to 7 digits; both are quantiles, whose share below is the one asked for.
        for (key, digits) in [(key.to_owned(), 1e-9), (format!("R.{key}"), 1e-7)] {
            let share = noncentral_t(case.wanted(&key), df, ncp).unwrap().below;
            assert_rel(share, p, digits);
        }
    }
}

/// With one degree of freedom and no non-centrality it is Cauchy: P(T > t) = atan(1/t)/pi (closed form).
#[test]
fn cauchy_closed_form() {
    for t in [0.5_f64, 1.0, 40.0] {
        let above = (1.0 / t).atan() / std::f64::consts::PI;
        assert_rel(noncentral_t(t, 1.0, 0.0).unwrap().above, above, 1e-9);
    }
}

/// The bound of an index found to be `k/3` is a third of the quantile that a tolerance factor `k` covers: both say
/// `P(T(n - 1, z sqrt n) <= k sqrt n) = confidence`.
fn quantile_covered(k: f64, n: f64, confidence: f64) -> f64 {
    3.0 * capability_lower(k / 3.0, n, confidence).unwrap()
}

/// ISO 16269-6:2014, one-sided factors, 95 % of units with 95 % confidence, printed to three decimals.
#[test]
fn one_sided_factors_of_the_standard() {
    let case = load("tolerance-k-one-sided-95-95");
    for n in [3, 4, 5, 6, 7, 8, 9, 10, 15, 20, 25, 30, 50, 100] {
        let key = format!("k[n={n},p=0.95,conf=0.95]");
        let z = quantile_covered(case.wanted(&key), f64::from(n), 0.95);
        assert_abs(z, normal_quantile(0.95), 0.0006);
    }
}

/// NIST/SEMATECH e-Handbook 7.2.6.3: 43 wafers, 90 % of units with 99 % confidence.
#[test]
fn handbook_wafers() {
    let case = load("tolerance-handbook-k1");
    let z = quantile_covered(case.wanted("k1_exact"), 43.0, 0.99);
    assert_abs(z, normal_quantile(0.90), 0.0006);
    case.leave_out("k1_approximate", "the bound is exact");
    case.leave_out("upper_limit", "the factor times a standard deviation");
}

/// A very large sample knows the distribution: the bound is the index itself (limit).
#[test]
fn large_sample_limit() {
    assert_rel(capability_lower(1.03, 1e10, 0.95).unwrap(), 1.03, 1e-4);
}

/// Wilks (1941), as tabulated in ISO 16269-6:2014.
#[test]
fn distribution_free_samples() {
    let case = load("tolerance-nonparametric-n");
    for coverage in [0.9, 0.95, 0.99] {
        for confidence in [0.9, 0.95, 0.99] {
            let key = format!("n[p={coverage},conf={confidence}]");
            assert_case(&case, &key, distribution_free_sample(coverage, confidence).unwrap());
        }
    }
}

#[test]
fn unusable_numbers_have_no_bound() {
    assert!(capability_lower(1.0, 1.5, 0.9).is_none());
    assert!(capability_lower(1.0, 10.0, 1.0).is_none());
    assert!(capability_lower(f64::NAN, 10.0, 0.9).is_none());
    assert!(noncentral_t(f64::NAN, 3.0, 0.0).is_none());
}
