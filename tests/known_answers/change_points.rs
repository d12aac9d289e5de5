//! The date of a single change of level; the sources are in the cases under tests/data/checks.

use crate::support::checks::{Case, assert_case, column, load, numbers};
use leakdrift::stats::shape::Points;
use leakdrift::stats::shape::candidates::{Fitter, Kind};

/// First point of the new level where the sum of squares is least, and that sum.
fn least_squares_date(values: Vec<f64>) -> (usize, f64) {
    let n = values.len();
    let days = (0..n).map(|i| i as f64).collect();
    let points = Points { days, values, ..Points::default() };
    let sums = Fitter::new(&points).profile(Kind::Step, &points.values, 1..n);
    let (before, least) = sums.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)).unwrap();
    (before + 1, *least)
}

fn leave_out(case: &Case, keys: &[&str]) {
    for key in keys {
        case.leave_out(key, "dates are found on prewhitened points, by their own BIC and interval");
    }
}

/// Cobb (1978); values of the R package strucchange and of ruptures.
#[test]
fn nile_by_least_squares() {
    let case = load("changepoint-nile-mean");
    let year = column("mannkendall-nile", 0);
    let (index, least) = least_squares_date(column("mannkendall-nile", 1));
    assert_case(&case, "index_before", index as f64);
    assert_case(&case, "ruptures_index", index as f64);
    assert_case(&case, "last_year_before", year[index - 1]);
    assert_case(&case, "rss_one_break", least);
    leave_out(
        &case,
        &["mean_before", "mean_after", "rss_no_break", "bic_no_break", "bic_one_break"],
    );
    leave_out(&case, &["ci95_year_lower", "ci95_year_upper"]);
}

/// Constructed: every value after exceeds every value before.
#[test]
fn plain_step() {
    let case = load("changepoint-step-constructed");
    let (index, least) = least_squares_date(numbers(&case["data"]["x"]));
    assert_case(&case, "index_before", index as f64);
    assert_case(&case, "rss", least);
    leave_out(&case, &["mean_before", "mean_after", "pettitt_K", "pettitt_index"]);
}
