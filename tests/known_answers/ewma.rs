//! EWMA chart and its run lengths; the sources are in the cases under tests/data/checks.

use crate::support::checks::{assert_case, assert_case_list, load, numbers};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::ewma::{
    autocorrelation_factor, average_run_length, limit_factor, settled_sd, smooth,
};

/// NIST/SEMATECH e-Handbook 6.3.2.4.
#[test]
fn handbook_chart() {
    let case = load("ewma-handbook");
    let number = |key: &str| case["data"][key].as_f64().expect("a number");
    let x = numbers(&case["data"]["x"]);
    let (lambda, start) = (number("lambda"), number("start"));
    let half = number("L") * number("s") * settled_sd(lambda);
    assert_case(&case, "ucl_steady", start + half);
    assert_case(&case, "lcl_steady", start - half);
    let z = smooth(&x, lambda, start);
    assert_case_list(&case, "z", &z);
    assert_case(&case, "points_out", z.iter().filter(|v| (*v - start).abs() > half).count() as f64);
}

/// Lucas & Saccucci (1990), Technometrics 32, 1-12.
#[test]
fn run_lengths_of_lucas_and_saccucci() {
    let case = load("arl-ewma-lam0.1-L2.814");
    for shift in ["0", "0.25", "0.5", "0.75", "1", "1.5", "2", "2.5", "3", "4"] {
        let got = average_run_length(0.1, 2.814, shift.parse().expect("a number")).unwrap();
        assert_case(&case, &format!("arl[{shift}]"), got);
        if shift == "0" {
            assert_case(&case, "check_nodes_320.arl[0]", got);
        }
    }
}

/// Lucas & Saccucci (1990): a run length of 500 needs L = 2.962 at lambda 0.2, 2.814 at 0.1 and 2.998
/// at 0.25.
#[test]
fn limit_factors_for_500() {
    for (lambda, limit) in [(0.1, 2.814), (0.2, 2.962), (0.25, 2.998)] {
        assert_abs(limit_factor(lambda, 500.0).unwrap(), limit, 0.0011);
    }
}

/// Montgomery (2009): at lambda 1 the chart is that of single points, whose run length is 1/p.
#[test]
fn single_points() {
    let case = load("arl-shewhart-3sigma");
    for shift in 0..=3 {
        let got = average_run_length(1.0, 3.0, f64::from(shift)).unwrap();
        assert_case(&case, &format!("arl[{shift}]"), got);
    }
}

/// By hand: rho 0.5, lambda 0.2 gives sqrt(1.4/0.6).
#[test]
fn autocorrelation_widens_limits() {
    assert_rel(autocorrelation_factor(0.2, 0.5), (1.4_f64 / 0.6).sqrt(), 1e-14);
    assert_abs(autocorrelation_factor(0.2, 0.0), 1.0, 0.0);
}
