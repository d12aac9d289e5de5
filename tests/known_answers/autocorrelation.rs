//! Autocorrelation; the sources are in the cases under tests/data/checks.

use crate::support::checks::{assert_case, column, load, numbers};
use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::autocorrelation::{
    about_zero, autocorrelation, corrected_about_line, corrected_about_mean, variance_factor,
};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

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

/// By hand: n 43, r 0.2 gives 9.6/39 and 10.6/38; ends are clipped; rho 0.5 triples a variance.
#[test]
fn bias_corrections_by_hand() {
    assert_rel(corrected_about_mean(0.2, 43), 9.6 / 39.0, 1e-14);
    assert_rel(corrected_about_line(0.2, 43), 10.6 / 38.0, 1e-14);
    assert_abs(corrected_about_mean(-0.5, 43), 0.0, 0.0);
    assert_abs(corrected_about_line(0.99, 43), 0.95, 0.0);
    assert_rel(variance_factor(0.5), 3.0, 1e-14);
}

/// Simulated: what is freed of its bias is right in the mean, about a mean and about a fitted line. With the correction
/// for the least-squares coefficient (divisors n − 3 and n − 4) it is too small by 0.011 here.
#[test]
fn corrected_correlations_are_right_in_the_mean() {
    const POINTS: usize = 50;
    const RHO: f64 = 0.5;
    const SERIES: usize = 20_000;
    let mut chance = Pcg64::seed_from_u64(20_261_130);
    let mut sums = [0.0; 2];
    for _ in 0..SERIES {
        let mut level: f64 = StandardNormal.sample(&mut chance);
        let series: Vec<f64> = (0..POINTS)
            .map(|_| {
                let news: f64 = StandardNormal.sample(&mut chance);
                level = RHO * level + (1.0 - RHO * RHO).sqrt() * news;
                level
            })
            .collect();
        sums[0] += corrected_about_mean(autocorrelation(&series, 1).unwrap(), POINTS);
        let middle = (POINTS as f64 - 1.0) / 2.0;
        let mean = series.iter().sum::<f64>() / POINTS as f64;
        let by_place = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
            series.iter().enumerate().map(|(n, v)| of(n as f64 - middle, *v)).sum()
        };
        let slope = by_place(&|x, v| x * v) / by_place(&|x, _| x * x);
        let left: Vec<f64> = series
            .iter()
            .enumerate()
            .map(|(n, v)| v - mean - slope * (n as f64 - middle))
            .collect();
        sums[1] += corrected_about_line(about_zero(&left, 1).unwrap(), POINTS);
    }
    for sum in sums {
        assert_abs(sum / SERIES as f64, RHO, 0.006);
    }
}
