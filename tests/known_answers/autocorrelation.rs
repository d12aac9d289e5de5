//! Autocorrelation; the sources are in the cases under tests/data/checks.

use crate::support::checks::{assert_case, column, load, numbers};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::autocorrelation::{
    about_zero, autocorrelation, corrected_about_line, corrected_about_mean, variance_factor,
};

/// Nile, lags 1 to 5 (statsmodels 0.15.0).
#[test]
fn nile_lags() {
    let case = load("acf-nile");
    let volume = column("mannkendall-nile", 1);
    for lag in 1..=5 {
        let key = format!("r{lag}");
        let r = autocorrelation(&volume, lag).unwrap();
        assert_case(&case, &key, r);
        assert_rel(r, case["recomputed"][key.as_str()].as_f64().unwrap(), 1e-12);
    }
    case.leave_out("bartlett_95_bound", "no decision is taken on such a bound");
}

/// Longley residuals (statsmodels). To 12 digits: exact fractions of the residuals as listed, which have 9 or 10
/// digits themselves.
#[test]
fn longley_residuals() {
    let case = load("durbinwatson-longley");
    let r = about_zero(&numbers(&case["data"]["residuals"]), 1).unwrap();
    assert_case(&case, "residual_lag1", r);
    assert_rel(r, -0.348_022_302_818_494_17, 1e-12);
    case.leave_out("durbin_watson", "the lag-1 correlation says the same");
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
