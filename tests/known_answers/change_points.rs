//! Change points; the sources are in the cases under tests/data/checks.

use crate::support::checks::{assert_case, column, load, numbers};
use leakdrift::stats::segment::cost::{Cost, SquaredError};
use leakdrift::stats::segment::search::{best_split, gaussian_bic, pettitt};

fn nile() -> (Vec<f64>, Vec<f64>) {
    (column("mannkendall-nile", 0), column("mannkendall-nile", 1))
}

/// Cobb (1978); values of the R package strucchange. Two means, one cut and the variance: 4 parameters.
#[test]
fn nile_by_least_squares() {
    let case = load("changepoint-nile-mean");
    let (year, volume) = nile();
    let cost = SquaredError::new(&volume);
    let split = best_split(&cost, 1).unwrap();
    let n = volume.len();
    assert_case(&case, "index_before", split.index as f64);
    assert_case(&case, "ruptures_index", split.index as f64);
    assert_case(&case, "last_year_before", year[split.index - 1]);
    assert_case(&case, "mean_before", cost.mean(0, split.index).unwrap());
    assert_case(&case, "mean_after", cost.mean(split.index, n).unwrap());
    assert_case(&case, "rss_no_break", cost.cost(0, n));
    assert_case(&case, "rss_one_break", split.cost);
    assert_case(&case, "bic_no_break", gaussian_bic(split.cost_uncut, n, 2));
    assert_case(&case, "bic_one_break", gaussian_bic(split.cost, n, 4));
    for key in ["ci95_year_lower", "ci95_year_upper"] {
        case.leave_out(key, "Bai's interval; ours is of series that hang together");
    }
}

/// Pettitt (1979) on the Nile.
#[test]
fn nile_by_ranks() {
    let case = load("changepoint-nile-pettitt");
    let (year, volume) = nile();
    let found = pettitt(&volume).unwrap();
    assert_case(&case, "index_before", found.index as f64);
    assert_case(&case, "last_year_before", year[found.index - 1]);
    assert_case(&case, "K", found.k);
    assert_case(&case, "K_by_ranks", found.k);
    assert_case(&case, "index_by_ranks", found.index as f64);
    assert_case(&case, "p_approx", found.p_value);
}

/// Constructed: every value after exceeds every value before.
#[test]
fn plain_step() {
    let case = load("changepoint-step-constructed");
    let x = numbers(&case["data"]["x"]);
    let cost = SquaredError::new(&x);
    let split = best_split(&cost, 1).unwrap();
    assert_case(&case, "index_before", split.index as f64);
    assert_case(&case, "rss", split.cost);
    assert_case(&case, "mean_before", cost.mean(0, split.index).unwrap());
    assert_case(&case, "mean_after", cost.mean(split.index, x.len()).unwrap());
    let ranks = pettitt(&x).unwrap();
    assert_case(&case, "pettitt_K", ranks.k);
    assert_case(&case, "pettitt_index", ranks.index as f64);
}
