//! Distance between a fit and the readings against published statistics.

use leakdrift::stats::empirical::Empirical;
use leakdrift::stats::goodness::{Cdf, anderson_darling, bootstrap, largest_gap};
use leakdrift::stats::moments::Moments;
use leakdrift::stats::sample::{Observation, Sample};
use leakdrift::stats::special::{normal_cdf, normal_quantile};

use crate::support::checks::{assert_case, column, load, numbers};
use crate::support::numbers::assert_abs;

/// Stephens' adjustment is for exact normal values only.
const BY_BOOTSTRAP: &str = "p-values come from a bootstrap of the statistic itself";

fn statistic(values: &[f64]) -> f64 {
    let moments = Moments::of_values(values).unwrap();
    let (mean, sd) = (moments.mean, moments.sd().unwrap());
    let sample = Sample::new(values.iter().map(|&x| (Observation::Exact(x), 1.0))).unwrap();
    anderson_darling(&sample, |x| normal_cdf((x - mean) / sd)).unwrap()
}

/// R nortest ad.test, quoted in the scipy test suite.
#[test]
fn nine_ones_and_a_zero() {
    let case = load("anderson-darling-degenerate");
    assert_case(&case, "A2", statistic(&numbers(&case["data"]["x"])));
    case.leave_out("A2_star", BY_BOOTSTRAP);
}

/// NIST StRD Mavro; scipy 1.17.1 anderson.
#[test]
fn mavro() {
    let case = load("anderson-darling-mavro");
    let x = column("strd-univariate-mavro", 0);
    assert_case(&case, "A2", statistic(&x));
    case.leave_out("A2_star", BY_BOOTSTRAP);
    case.leave_out("p_stephens", BY_BOOTSTRAP);
}

/// By hand: one exact value at the median of a uniform law lies half a jump away.
#[test]
fn gap_by_hand() {
    let sample = Sample::new([(Observation::Exact(0.5), 1.0)]).unwrap();
    assert_abs(largest_gap(&Empirical::of(&sample), |x| x.clamp(0.0, 1.0)).unwrap(), 0.5, 1e-12);
}

fn tally(quantile: impl Fn(f64) -> f64, n: usize, step: f64) -> Sample {
    Sample::new((0..n).map(|i| {
        let x = quantile((i as f64 + 0.5) / n as f64);
        let shown = (x / step).round() * step;
        (Observation::Between { low: shown - step / 2.0, high: shown + step / 2.0 }, 1.0)
    }))
    .unwrap()
}

/// Normal by moments of the cells, good enough as a fit for testing the test.
fn refit(sample: &Sample) -> Option<Cdf> {
    let middle = |o: Observation| match o {
        Observation::Between { low, high } => (low + high) / 2.0,
        other => {
            if other.low().is_finite() {
                other.low()
            } else {
                other.high()
            }
        }
    };
    let n = sample.total();
    let mean = sample.lines().iter().map(|l| l.count * middle(l.observation)).sum::<f64>() / n;
    let variance = sample
        .lines()
        .iter()
        .map(|l| l.count * (middle(l.observation) - mean).powi(2))
        .sum::<f64>()
        / n;
    let sd = variance.sqrt();
    Some(Box::new(move |x| normal_cdf((x - mean) / sd)))
}

/// Readings at the quantiles of the family fit better than nearly every draw; those of a law with
/// another shape worse.
#[test]
fn bootstrap_tells_shapes_apart() {
    let own = bootstrap(&tally(normal_quantile, 1000, 0.05), &refit, 99, 1).unwrap();
    assert!(own > 0.1, "{own:?}");
    let other = bootstrap(&tally(|p| -(-p).ln_1p(), 1000, 0.05), &refit, 99, 1).unwrap();
    assert!(other <= 0.02, "{other:?}");
    let again = bootstrap(&tally(|p| -(-p).ln_1p(), 1000, 0.05), &refit, 99, 1).unwrap();
    assert_eq!(other, again);
}
