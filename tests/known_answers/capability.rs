//! Capability indices and their bounds against published values.

use leakdrift::analysis::body::capability::index;
use leakdrift::stats::special::{chi_square_quantile, normal_quantile, normal_sf};
use leakdrift::stats::tolerance::{capability_lower, capability_upper};

use crate::support::checks::{assert_case, load};
use crate::support::numbers::assert_rel;

/// The index from the mean and three standard deviations, as for a normal characteristic.
fn one_sided(distance: f64, sd: f64) -> f64 {
    index(distance, 0.0, 3.0 * sd).unwrap()
}

/// NIST/SEMATECH e-Handbook 6.1.6.
#[test]
fn handbook_example() {
    let case = load("capability-handbook");
    let upper = one_sided(20.0 - 16.0, 2.0);
    let lower = one_sided(16.0 - 8.0, 2.0);
    assert_case(&case, "cpu", upper);
    assert_case(&case, "cpl", lower);
    assert_case(&case, "cpk", upper.min(lower));
    assert_case(&case, "cp", (upper + lower) / 2.0);
    case.leave_out("k", "limits are one-sided: there is no middle to be off");
}

/// Montgomery (2009), example 8.4: the interval of Cp from chi-square.
#[test]
fn cp_interval_from_chi_square() {
    let case = load("capability-cp-interval");
    let cp = one_sided((62.0 - 38.0) / 2.0, 1.75);
    assert_case(&case, "cp", cp);
    for (key, p) in [("lower", 0.025), ("upper", 0.975)] {
        assert_case(&case, key, cp * (chi_square_quantile(p, 19.0) / 19.0).sqrt());
    }
}

/// e-Handbook 6.1.6: normal approximation, `c ± z sqrt(1/(9 n) + c²/(2 (n - 1)))`.
#[test]
fn cpk_interval_by_normal_approximation() {
    let case = load("capability-cpk-interval");
    let (c, n) = (1.33_f64, 20.0);
    let half = normal_quantile(0.975) * (1.0 / (9.0 * n) + c * c / (2.0 * (n - 1.0))).sqrt();
    assert_case(&case, "lower", c - half);
    assert_case(&case, "upper", c + half);
}

/// Chou, Owen, Borrego (1990); values by scipy and by 30-digit quadrature.
#[test]
fn exact_lower_bound() {
    let case = load("capability-cpu-lower-bound-a");
    for (c, n, confidence) in [(1.0, 30, 0.95), (1.33, 50, 0.95), (1.67, 20, 0.9), (1.0, 100, 0.95)]
    {
        let shown = if c == 1.0 { "1.0".to_owned() } else { format!("{c}") };
        let key = format!("lower[cpu={shown},n={n},conf={confidence}]");
        assert_case(&case, &key, capability_lower(c, f64::from(n), confidence).unwrap());
    }
}

/// The upper bound undoes the lower one's probability: at confidence 1/2 both are the median bound.
#[test]
fn bounds_meet_at_one_half() {
    let low = capability_lower(1.2, 40.0, 0.5).unwrap();
    let high = capability_upper(1.2, 40.0, 0.5).unwrap();
    assert_rel(low, high, 1e-10);
    assert!(capability_upper(1.2, 40.0, 0.95).unwrap() > 1.2);
}

/// Montgomery (2009), table 8.2, one-sided.
#[test]
fn rejects_of_an_index() {
    let case = load("capability-ppm-one-sided");
    for tenths in 5..=15 {
        let c = f64::from(tenths) / 10.0;
        assert_case(&case, &format!("ppm[{c:.1}]"), 1e6 * normal_sf(3.0 * c));
    }
}

/// Geometric method of ISO 22514-4 on lognormal quantiles, computed by scipy 1.17.1.
#[test]
fn percentile_index_of_a_lognormal() {
    let case = load("capability-percentile-lognormal");
    let quantile = |p: f64| (0.25 * normal_quantile(p)).exp();
    let tail = normal_sf(3.0_f64.ln() / 0.25);
    assert_case(&case, "median", quantile(0.5));
    assert_case(&case, "q99865", quantile(0.998_65));
    assert_case(&case, "cnpu_99865", index(3.0, quantile(0.5), quantile(0.998_65)).unwrap());
    assert_case(&case, "cnpu_995_handbook", index(3.0, quantile(0.5), quantile(0.995)).unwrap());
    assert_case(&case, "fraction_above_usl", tail);
    assert_case(&case, "equivalent_cpu", -normal_quantile(tail) / 3.0);
}
