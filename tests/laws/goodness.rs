//! What holds for goodness of fit: the laws of `estimators`, and no statistic for impossible readings.

use leakdrift::stats::distribution::{Distribution, Family, Law};
use leakdrift::stats::empirical::Empirical;
use leakdrift::stats::goodness::{Cdf, anderson_darling, bootstrap, largest_gap};
use leakdrift::stats::likelihood::fit;
use leakdrift::stats::sample::{Observation, Sample};

use super::estimators::{Answers, FACTORS, Lines, grouped, obeys, series};
use super::families::{draws, generator, laws};
use crate::support::laws::textbook;
use crate::support::numbers::assert_rel;

fn normal_cdf(sample: &Sample) -> Option<Cdf> {
    let law = fit(Family::Normal, sample, None).ok()?.law;
    Some(Box::new(move |x| law.ln_cdf(x).exp()))
}

#[test]
fn goodness_obeys() {
    for (_, lines, _) in series() {
        obeys(&lines, FACTORS, [1e-6, 1e-6], |lines: &Lines, _| {
            let data = grouped(lines);
            let cdf = normal_cdf(data.sample()).unwrap();
            Answers {
                in_unit: Vec::new(),
                bare: vec![
                    anderson_darling(data.sample(), &cdf).unwrap(),
                    largest_gap(&Empirical::of(data.sample()), &cdf).unwrap(),
                    bootstrap(data.sample(), &normal_cdf, 59, 5).unwrap(),
                ],
            }
        });
    }
}

/// The statistic of narrow intervals approaches that of exact readings, as sums approach the integral: with
/// 4 000 readings within 3 %.
#[test]
fn goodness_of_narrow_intervals_approaches_that_of_exact_readings() {
    let mut rng = generator(304);
    for law in laws().into_iter().take(6) {
        let readings = draws(&law, 4000, &mut rng);
        let exact = Sample::new(readings.iter().map(|&x| (Observation::Exact(x), 1.0))).unwrap();
        let narrow = Sample::new(readings.iter().map(|&x| {
            let (low, high) = (x - 1e-9, x + 1e-9);
            (Observation::Between { low, high }, 1.0)
        }))
        .unwrap();
        // A cdf that does not fit, so that the statistic is large.
        let cdf = |x: f64| law.ln_cdf(x * 1.03).exp();
        let (a, b) =
            (anderson_darling(&exact, cdf).unwrap(), anderson_darling(&narrow, cdf).unwrap());
        assert_rel(b, a, 0.03);
    }
}

/// A reading where the distribution has no probability left: no statistic, whichever kind the readings are of.
#[test]
fn goodness_refuses_impossible_readings() {
    let law = textbook(Family::Normal, 1.0, 0.1);
    let cdf = |x: f64| law.ln_cdf(x).exp();
    for far in [-9.0, 9.0] {
        for half in [0.0, 0.005] {
            let around = |x: f64| match half {
                0.0 => Observation::Exact(x),
                _ => Observation::Between { low: x - half, high: x + half },
            };
            let readings = (1..100).map(|i| (around(law.quantile(f64::from(i) / 100.0)), 1.0));
            let sound = Sample::new(readings.clone()).unwrap();
            assert!(anderson_darling(&sound, cdf).unwrap() < 1.0);
            let with_far = readings.chain([(around(far), 1.0), (around(far * 1.1), 1.0)]);
            let impossible = Sample::new(with_far).unwrap();
            assert_eq!(anderson_darling(&impossible, cdf), None, "{far} {half}");
        }
    }
}

/// A true law is an alarm at 5 % in one series of twenty, also where some twenty units are shown in fine steps: 400
/// series at 5 %: 34 or fewer in 999 of 1000 sets. With cells that end at the readings themselves it was 11 %.
#[test]
fn a_true_law_is_seldom_an_alarm_with_few_units() {
    use rayon::prelude::*;
    let alarms = (0..400_u64)
        .into_par_iter()
        .filter(|seed| {
            let mut rng = generator(9_000 + seed);
            let law = Law::from_internal(Family::Normal, [2.0, 0.1_f64.ln()]).unwrap();
            let step = 0.1 / 25.0;
            let shown = draws(&law, 20, &mut rng).into_iter().map(|x| {
                let middle = (x / step).round() * step;
                let (low, high) = (middle - step / 2.0, middle + step / 2.0);
                (Observation::Between { low, high }, 1.0)
            });
            let sample = Sample::new(shown).unwrap();
            bootstrap(&sample, &normal_cdf, 99, *seed).is_some_and(|p| p <= 0.05)
        })
        .count();
    assert!(alarms <= 34, "{alarms} of 400");
}
