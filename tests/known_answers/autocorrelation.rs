//! Autocorrelation; the sources are in the cases under tests/data/checks.

use crate::support::checks::{assert_case, csv, load};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::autocorrelation::{
    about_zero, autocorrelation, corrected_about_line, corrected_about_mean, durbin_watson,
    variance_factor,
};

/// Nile, lags 1 to 5 (statsmodels 0.15.0).
#[test]
fn nile_lags() {
    let case = load("acf-nile");
    let volume: Vec<f64> = csv("mannkendall-nile")
        .lines()
        .skip(1)
        .map(|line| {
            line.split(',')
                .nth(1)
                .expect("a cell")
                .parse()
                .expect("a number")
        })
        .collect();
    for lag in 1..=5 {
        assert_case(
            &case,
            &format!("r{lag}"),
            autocorrelation(&volume, lag).unwrap(),
        );
    }
}

/// Longley residuals (statsmodels prints 2.559488).
#[test]
fn longley_durbin_watson() {
    let case = load("durbinwatson-longley");
    let residuals: Vec<f64> = case["data"]["residuals"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|v| v.as_f64().expect("a number"))
        .collect();
    assert_case(&case, "durbin_watson", durbin_watson(&residuals).unwrap());
    assert_case(&case, "residual_lag1", about_zero(&residuals, 1).unwrap());
}

/// By hand: n 43, r 0.2 gives 9.6/40 and 10.6/39; ends are clipped; rho 0.5 triples a variance.
#[test]
fn bias_corrections_by_hand() {
    assert_rel(corrected_about_mean(0.2, 43), 9.6 / 40.0, 1e-14);
    assert_rel(corrected_about_line(0.2, 43), 10.6 / 39.0, 1e-14);
    assert_abs(corrected_about_mean(-0.5, 43), 0.0, 0.0);
    assert_abs(corrected_about_line(0.99, 43), 0.95, 0.0);
    assert_rel(variance_factor(0.5), 3.0, 1e-14);
}
