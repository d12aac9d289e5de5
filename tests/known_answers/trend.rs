//! Trend tests and what lines explain; the sources are in the cases under tests/data/checks.

use crate::support::checks::{Case, assert_case, column, load, numbers};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::shape::candidates::share_explained;
use leakdrift::stats::trend::{correlated_trend, mann_kendall, rank_variance_factor};

/// Leaves out what only an ordinary straight line has.
fn leave_out_the_line(case: &Case, prefix: &str, keys: &[&str]) {
    for key in keys {
        case.leave_out(&format!("{prefix}{key}"), "lines are robust: no such number is printed");
    }
}

/// NIST StRD, Norris: what a column explains is certified to 15 digits, met to 12.
#[test]
fn norris_share_explained() {
    let case = load("strd-linear-norris");
    let (y, x) = (column("strd-linear-norris", 0), column("strd-linear-norris", 1));
    assert_case(&case, "r_squared", share_explained(&[&x], &y));
    let line = ["intercept", "slope", "se_intercept", "se_slope", "residual_sd"];
    let squares = ["ss_regression", "ss_residual", "F", "durbin_watson", "residual_lag1"];
    leave_out_the_line(&case, "", &[line, squares].concat());
}

/// Anscombe (1973): four sets, of which a column explains the same share, and their robust slopes; of the fourth,
/// whose points lie at two places, there is no line in time.
#[test]
fn anscombe_quartet() {
    let case = load("regression-anscombe");
    for set in ["I", "II", "III", "IV"] {
        let x = numbers(&case["data"]["sets"][set]["x"]);
        let y = numbers(&case["data"]["sets"][set]["y"]);
        assert_case(&case, &format!("{set}.r_squared"), share_explained(&[&x], &y));
        let mut points: Vec<(f64, f64)> = x.into_iter().zip(y).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (x, y): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
        let key = format!("{set}.theil_sen_slope");
        match correlated_trend(&x, &y, 0.95) {
            Some(found) => assert_case(&case, &key, found.line.slope.value),
            None => case.leave_out(&key, "points at one time"),
        }
        let keys = ["intercept", "slope", "se_slope", "ss_regression", "ss_residual"];
        leave_out_the_line(&case, &format!("{set}."), &keys);
    }
}

/// Gilbert (1987), chapter 16.
#[test]
fn mann_kendall_of_four_values() {
    let case = load("mannkendall-gilbert4");
    let found = mann_kendall(&numbers(&case["data"]["x"])).unwrap();
    assert_case(&case, "S", found.s as f64);
    assert_rel(found.z, 3.0 / case.wanted("var_S").sqrt(), 1e-12);
    case.leave_out("p_one_sided_exact", "series are longer: the normal approximation");
}

/// The gaps between repairs of NIST/SEMATECH e-Handbook 8.2.3.4.
#[test]
fn mann_kendall_of_repair_gaps() {
    let case = load("reverse-arrangements-handbook");
    let found = mann_kendall(&numbers(&case["data"]["gaps_h"])).unwrap();
    assert_case(&case, "mann_kendall_S", found.s as f64);
    assert_case(&case, "mann_kendall_z", found.z);
    assert_case(&case, "mann_kendall_p_two_sided", found.p_value);
    case.leave_out("mann_kendall_var_S", "z is S less one over its root");
    for key in ["reversals", "z", "tied_pairs"] {
        case.leave_out(key, "of the test by reverse arrangements");
    }
}

/// Sen (1968), the worked example: slope 4. Its interval is of independent points; ours is at least as wide.
#[test]
fn sen_worked_example() {
    let case = load("theilsen-sen1968");
    let (x, y) = (numbers(&case["data"]["x"]), numbers(&case["data"]["y"]));
    let line = correlated_trend(&x, &y, 0.93).unwrap().line;
    assert_case(&case, "slope", line.slope.value);
    assert!(line.slope.low <= case.wanted("ci_lower") + 0.006);
    assert!(line.slope.high >= case.wanted("ci_upper") - 0.006);
}

/// Nile, values of pymannkendall 1.4.3 and scipy.
#[test]
fn nile_trend() {
    let case = load("mannkendall-nile");
    let (year, volume) = (column("mannkendall-nile", 0), column("mannkendall-nile", 1));
    let mk = mann_kendall(&volume).unwrap();
    assert_case(&case, "S", mk.s as f64);
    case.leave_out("var_S", "z is S less one over its root");
    assert_case(&case, "z", mk.z);
    assert_case(&case, "p_two_sided", mk.p_value);
    for key in ["tau_a", "tau_b"] {
        case.leave_out(key, "no rank correlation is printed");
    }
    // The Nile's years hang together: allowing for that must weaken the evidence.
    let allowed = correlated_trend(&year, &volume, 0.95).unwrap();
    let slope = &allowed.line.slope;
    assert_case(&case, "slope_per_year", slope.value);
    assert!(allowed.p_value > mk.p_value);
    assert!(slope.low <= case.wanted("slope_ci95_lower"));
    assert!(slope.high >= case.wanted("slope_ci95_upper"));
}

/// By hand, n = 4, rho = 1/2: 1 + 2/24 (3*2*1/2 + 2*1*0/4 + 0) = 1.25. Without correlation: 1.
#[test]
fn rank_variance_factor_by_hand() {
    assert_abs(rank_variance_factor(0.5, 4), 1.25, 1e-15);
    assert_rel(rank_variance_factor(0.0, 100), 1.0, 0.0);
}
