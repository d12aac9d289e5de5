//! Lines and trend tests; the sources are in the cases under tests/data/checks.

use crate::support::checks::{assert_case, column, load, numbers};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::autocorrelation::{about_zero, durbin_watson};
use leakdrift::stats::trend::{
    correlated_trend, least_squares, mann_kendall, mann_kendall_exact, rank_variance_factor,
    rising_pairs, theil_sen,
};

/// NIST StRD, Norris: certified to 15 digits, met to 12.
#[test]
fn norris_line() {
    let case = load("strd-linear-norris");
    let (y, x) = (column("strd-linear-norris", 0), column("strd-linear-norris", 1));
    let fit = least_squares(&x, &y).unwrap();
    assert_case(&case, "intercept", fit.intercept);
    assert_case(&case, "slope", fit.slope);
    assert_case(&case, "se_intercept", fit.se_intercept);
    assert_case(&case, "se_slope", fit.se_slope);
    assert_case(&case, "residual_sd", fit.residual_sd);
    assert_case(&case, "r_squared", fit.r_squared);
    assert_case(&case, "ss_regression", fit.ss_regression);
    assert_case(&case, "ss_residual", fit.ss_residual);
    assert_case(&case, "F", fit.f);
    for (key, got) in [
        ("durbin_watson", durbin_watson(&fit.residuals).unwrap()),
        ("residual_lag1", about_zero(&fit.residuals, 1).unwrap()),
    ] {
        assert_rel(got, case.wanted(key), 1e-12);
    }
}

/// Anscombe (1973): four sets, one least-squares line, four robust slopes.
#[test]
fn anscombe_quartet() {
    let case = load("regression-anscombe");
    for set in ["I", "II", "III", "IV"] {
        let x = numbers(&case["data"]["sets"][set]["x"]);
        let y = numbers(&case["data"]["sets"][set]["y"]);
        let fit = least_squares(&x, &y).unwrap();
        for (name, got) in [
            ("intercept", fit.intercept),
            ("slope", fit.slope),
            ("se_slope", fit.se_slope),
            ("r_squared", fit.r_squared),
            ("ss_regression", fit.ss_regression),
            ("ss_residual", fit.ss_residual),
            ("theil_sen_slope", theil_sen(&x, &y, 0.95).unwrap().slope.value),
        ] {
            assert_case(&case, &format!("{set}.{name}"), got);
        }
    }
}

/// Gilbert (1987), chapter 16 and Table A18.
#[test]
fn mann_kendall_of_four_values_is_exact() {
    let case = load("mannkendall-gilbert4");
    let found = mann_kendall(&numbers(&case["data"]["x"])).unwrap();
    assert_case(&case, "S", found.s as f64);
    assert_case(&case, "var_S", found.var_s);
    assert_case(&case, "p_one_sided_exact", mann_kendall_exact(found.s, 4).unwrap());
}

/// By hand: of 3! orders of 3 values one has S = 3, two S = 1, two S = -1, one S = -3.
#[test]
fn exact_null_of_three_values_by_hand() {
    for (s, p) in [(3, 1.0 / 6.0), (1, 0.5), (-1, 5.0 / 6.0), (-3, 1.0)] {
        assert_rel(mann_kendall_exact(s, 3).unwrap(), p, 1e-14);
    }
}

/// NIST/SEMATECH e-Handbook 8.2.3.4.
#[test]
fn rising_pairs_of_repair_gaps() {
    let case = load("reverse-arrangements-handbook");
    let gaps = numbers(&case["data"]["gaps_h"]);
    let found = rising_pairs(&gaps).unwrap();
    assert_case(&case, "reversals", found.count as f64);
    assert_case(&case, "z", found.z);
    let mk = mann_kendall(&gaps).unwrap();
    assert_case(&case, "mann_kendall_S", mk.s as f64);
    // Of 45 pairs those that neither rise nor fall: S is the rising less the falling ones.
    let rising = found.count as i64;
    assert_case(&case, "tied_pairs", (45 - rising - (rising - mk.s)) as f64);
    assert_case(&case, "mann_kendall_var_S", mk.var_s);
    assert_case(&case, "mann_kendall_z", mk.z);
    assert_case(&case, "mann_kendall_p_two_sided", mk.p_value);
}

/// Sen (1968), the worked example: slope 4, 93 % interval 26/7 to 35/8.
#[test]
fn sen_worked_example() {
    let case = load("theilsen-sen1968");
    let line = theil_sen(&numbers(&case["data"]["x"]), &numbers(&case["data"]["y"]), 0.93).unwrap();
    assert_case(&case, "slope", line.slope.value);
    assert_case(&case, "ci_lower", line.slope.low);
    assert_case(&case, "ci_upper", line.slope.high);
    assert_rel(line.slope.low, 26.0 / 7.0, 1e-15);
    assert_rel(line.slope.high, 35.0 / 8.0, 1e-15);
}

/// Nile, values of pymannkendall 1.4.3 and scipy.
#[test]
fn nile_trend() {
    let case = load("mannkendall-nile");
    let (year, volume) = (column("mannkendall-nile", 0), column("mannkendall-nile", 1));
    let mk = mann_kendall(&volume).unwrap();
    assert_case(&case, "S", mk.s as f64);
    assert_case(&case, "var_S", mk.var_s);
    assert_case(&case, "z", mk.z);
    assert_case(&case, "p_two_sided", mk.p_value);
    assert_case(&case, "tau_a", mk.tau_a);
    assert_case(&case, "tau_b", mk.tau_b);
    let line = theil_sen(&year, &volume, 0.95).unwrap();
    assert_case(&case, "slope_per_year", line.slope.value);
    assert_case(&case, "slope_ci95_lower", line.slope.low);
    assert_case(&case, "slope_ci95_upper", line.slope.high);
    // The Nile's years hang together: allowing for that must weaken the evidence.
    let allowed = correlated_trend(&year, &volume, 0.95).unwrap();
    assert!(allowed.factor > 1.0 && allowed.p_value > mk.p_value);
    assert!(allowed.line.slope.low <= line.slope.low && allowed.line.slope.high >= line.slope.high);
}

/// By hand, n = 4, rho = 1/2: 1 + 2/24 (3*2*1/2 + 2*1*0/4 + 0) = 1.25. Without correlation: 1.
#[test]
fn rank_variance_factor_by_hand() {
    assert_abs(rank_variance_factor(0.5, 4), 1.25, 1e-15);
    assert_abs(rank_variance_factor(0.0, 100), 1.0, 0.0);
}
