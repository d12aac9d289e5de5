//! What holds for every family: as a distribution and as a fit.

use leakdrift::stats::distribution::{Distribution, Family, Law};
use leakdrift::stats::likelihood::{Fit, FitError, fit, scores};
use leakdrift::stats::sample::{Observation, Sample};
use rand::RngExt;
use rand_pcg::Pcg64;

use crate::support::laws::textbook;
use crate::support::numbers::{assert_abs, assert_rel};
use crate::support::samples::in_unit;

/// Laws of about the shape of leakage readings: median near 1 mA, spread a fifth of it.
pub fn laws() -> Vec<Law> {
    [
        (Family::Normal, 1.0, 0.2),
        (Family::Lognormal, 0.0, 0.2),
        (Family::Gamma, 25.0, 0.04),
        (Family::Weibull, 5.0, 1.1),
        (Family::LogLogistic, 9.0, 1.0),
        (Family::Gumbel, 0.9, 0.16),
        // A shape under 1, and one so large that its density is nearly normal.
        (Family::Gamma, 0.7, 1.0),
        (Family::Gamma, 1e6, 1e-6),
        (Family::Weibull, 0.8, 1.0),
    ]
    .map(|(family, a, b)| textbook(family, a, b))
    .to_vec()
}

pub fn generator(seed: u64) -> Pcg64 {
    Pcg64::new(u128::from(seed), 0xa02_bdbf_7bb3_c0a7_ac28_fa16_a64a_bf96)
}

pub fn draws(law: &Law, n: usize, rng: &mut Pcg64) -> Vec<f64> {
    (0..n).map(|_| law.quantile(rng.random::<f64>().max(1e-16))).collect()
}

/// Readings rounded to `step`; those at or above `limit` only say so.
pub fn rounded(readings: &[f64], step: f64, limit: f64) -> Vec<Observation> {
    readings
        .iter()
        .map(|&x| {
            let shown = (x / step).round() * step;
            if x >= limit {
                Observation::Above(limit)
            } else if shown < step / 2.0 {
                Observation::Below(step / 2.0)
            } else {
                Observation::Between { low: shown - step / 2.0, high: shown + step / 2.0 }
            }
        })
        .collect()
}

fn sample(observations: &[Observation]) -> Sample {
    Sample::new(observations.iter().map(|&o| (o, 1.0))).unwrap()
}

fn fit_values(fit: &Fit) -> [f64; 4] {
    let [a, b] = fit.law.internal();
    [a, b, fit.covariance[0][0].sqrt(), fit.covariance[1][1].sqrt()]
}

#[track_caller]
fn assert_same_fit(a: &Fit, b: &Fit, allowed: f64) {
    let (x, y) = (fit_values(a), fit_values(b));
    assert!(
        (x[0] - y[0]).abs() <= allowed * x[2] && (x[1] - y[1]).abs() <= allowed * x[3],
        "{:?}: {x:?} against {y:?}",
        a.law.family()
    );
    assert_rel(x[2], y[2], allowed.max(1e-9));
    assert_rel(x[3], y[3], allowed.max(1e-9));
}

/// The density integrates to the distribution function: Simpson's rule between quantiles against the
/// share between them.
#[test]
fn density_integrates_to_the_distribution_function() {
    for law in laws() {
        for (p, r) in [(1e-9, 1e-3), (0.01, 0.5), (0.5, 0.99), (0.999, 0.999_999)] {
            let (from, to) = (law.quantile(p), law.upper_quantile(1.0 - r));
            let n = 20_000;
            // Integrated over the logarithm where a density may be infinite at zero.
            let log = law.family().is_positive();
            let (a, b) = if log { (from.ln(), to.ln()) } else { (from, to) };
            let h = (b - a) / f64::from(n);
            let value = |i: i32| {
                let y = a + h * f64::from(i);
                if log { (law.ln_pdf(y.exp()) + y).exp() } else { law.ln_pdf(y).exp() }
            };
            let sum: f64 = (0..=n)
                .map(|i| {
                    let weight = if i == 0 || i == n {
                        1.0
                    } else if i % 2 == 1 {
                        4.0
                    } else {
                        2.0
                    };
                    weight * value(i)
                })
                .sum();
            assert_rel(sum * h / 3.0, r - p, 1e-7);
        }
    }
}

#[test]
fn quantile_undoes_both_tails() {
    for law in laws() {
        for ln_p in [-690.0, -400.0, -50.0, -10.0, -1.0, -0.7_f64] {
            let p = ln_p.exp();
            let low = law.quantile(p);
            if low != 0.0 {
                // Conditioned on one rounding of the quantile itself.
                let near = (law.ln_cdf(low * (1.0 + 4e-16)) - law.ln_cdf(low)).abs();
                assert_abs(law.ln_cdf(low), ln_p, 1e-10 * ln_p.abs() + 4.0 * near);
            }
            let high = law.upper_quantile(p);
            let near = (law.ln_sf(high * (1.0 + 4e-16)) - law.ln_sf(high)).abs();
            assert_abs(law.ln_sf(high), ln_p, 1e-10 * ln_p.abs() + 4.0 * near);
        }
        for p in [0.1, 0.5, 0.9] {
            assert_rel(law.quantile(p), law.upper_quantile(1.0 - p), 1e-12);
            let x = law.quantile(p);
            assert_abs(law.ln_cdf(x).exp() + law.ln_sf(x).exp(), 1.0, 1e-13);
        }
        assert!(law.quantile(-0.1).is_nan() && law.upper_quantile(1.1).is_nan());
    }
}

/// Narrow intervals are integrated and wide ones differenced: where they meet they must agree, and the
/// parts of an interval add up to it.
#[test]
fn parts_of_an_interval_add_up() {
    for law in laws() {
        for p in [1e-12, 0.3, 1.0 - 1e-12] {
            let from = law.quantile(p);
            for width in [1e-4, 0.03, 0.1, 0.5] {
                let to = from + width;
                let middle = from + 0.37 * width;
                let of = |low, high| law.ln_likelihood(Observation::Between { low, high });
                let parts = leakdrift::stats::special::ln_sum_exp(of(from, middle), of(middle, to));
                assert_abs(parts, of(from, to), 1e-9);
            }
        }
    }
}

/// Scores against differences of the log probability, for every kind of observation.
#[test]
fn scores_are_the_gradient() {
    for law in laws() {
        let q = |p| law.quantile(p);
        let observations = [
            Observation::Exact(q(0.3)),
            Observation::Below(q(0.05)),
            Observation::Above(q(0.8)),
            Observation::Between { low: q(0.4), high: q(0.41) },
            Observation::Between { low: q(0.1), high: q(0.7) },
        ];
        let cut = q(0.9);
        for observation in observations {
            let one = sample(&[observation]);
            for truncated in [None, Some(cut)] {
                let log_probability = |theta: [f64; 2]| {
                    let moved = Law::from_internal(law.family(), theta).unwrap();
                    let observation = match (observation, truncated) {
                        (Observation::Above(low), Some(high)) => Observation::Between { low, high },
                        (same, _) => same,
                    };
                    moved.ln_likelihood(observation)
                        - truncated.map_or(0.0, |cut| moved.ln_cdf(cut))
                };
                let score = scores(&law, &one, truncated).unwrap()[0];
                let theta = law.internal();
                for i in 0..2 {
                    let h = if i == 0 { 1e-4 * theta[1].exp() } else { 1e-4 };
                    let at = |steps: f64| {
                        let mut moved = theta;
                        moved[i] += steps * h;
                        log_probability(moved)
                    };
                    let want = (at(-2.0) - 8.0 * at(-1.0) + 8.0 * at(1.0) - at(2.0)) / 12.0;
                    assert_abs(score[i] * h, want, 1e-4 * 1e-6 * (1.0 + want.abs() * 1e4));
                }
            }
        }
    }
}

#[test]
fn rescaled_readings_give_rescaled_fits() {
    let mut rng = generator(1);
    for law in laws() {
        let step = (law.quantile(0.84) - law.quantile(0.16)) / 30.0;
        let sample = sample(&rounded(&draws(&law, 400, &mut rng), step, law.quantile(0.97)));
        let Ok(here) = fit(law.family(), &sample, None) else {
            panic!("{:?} does not fit its own data", law.family());
        };
        for factor in [1e-9, 1000.0, 7.3e11] {
            let there = fit(law.family(), &in_unit(&sample, factor), None).unwrap();
            for p in [0.001, 0.5, 0.999_9] {
                assert_rel(there.law.quantile(p), factor * here.law.quantile(p), 1e-8);
            }
            assert_abs(there.ln_likelihood, here.ln_likelihood, 1e-7);
            assert_rel(there.covariance[1][1], here.covariance[1][1], 1e-6);
        }
    }
}

#[test]
fn split_counts_and_order_change_nothing() {
    let mut rng = generator(2);
    let law = textbook(Family::Gamma, 25.0, 0.04);
    let observations = rounded(&draws(&law, 300, &mut rng), 0.02, 1.4);
    let whole = sample(&observations);
    let backwards = Sample::new(observations.iter().rev().map(|&o| (o, 1.0))).unwrap();
    assert_eq!(whole, backwards);
    let halves = Sample::new(observations.iter().flat_map(|&o| [(o, 0.5), (o, 0.5)])).unwrap();
    for family in Family::ALL {
        let a = fit(family, &whole, None).unwrap();
        assert_eq!(a, fit(family, &backwards, None).unwrap());
        assert_same_fit(&a, &fit(family, &halves, None).unwrap(), 1e-9);
        // Every count twice: the same law, half the variance.
        let twice = Sample::new(observations.iter().map(|&o| (o, 2.0))).unwrap();
        let b = fit(family, &twice, None).unwrap();
        assert_rel(b.covariance[0][0], a.covariance[0][0] / 2.0, 1e-8);
        assert_rel(b.law.quantile(0.99), a.law.quantile(0.99), 1e-9);
    }
}

#[test]
fn narrowing_intervals_approach_the_exact_fit() {
    let mut rng = generator(3);
    for law in laws() {
        let readings = draws(&law, 200, &mut rng);
        let exact: Vec<Observation> = readings.iter().map(|&x| Observation::Exact(x)).collect();
        let exact = fit(law.family(), &sample(&exact), None).unwrap();
        let spread = law.quantile(0.84) - law.quantile(0.16);
        let mut before = f64::INFINITY;
        for narrow in [1e-1, 1e-2, 1e-3, 1e-6, 1e-9] {
            // Relative to the reading where zero is near, so that no interval reaches it.
            let around = |x: &f64| {
                let half = narrow
                    * if law.family().is_positive() { spread.min(x.abs()) } else { spread }
                    / 2.0;
                Observation::Between { low: x - half, high: x + half }
            };
            let intervals: Vec<Observation> = readings.iter().map(around).collect();
            let near = fit(law.family(), &sample(&intervals), None).unwrap();
            let off = (near.law.internal()[1] - exact.law.internal()[1]).abs();
            assert!(off <= before.max(1e-6), "{law:?}: {off} after {before}");
            before = off;
        }
        assert!(before < 1e-6, "{law:?}: {before}");
    }
}

/// A bound that every law meets says nothing: below a reading far beyond all others, above one far
/// before them; and a cut far beyond them truncates nothing. "Far" is where each family's own fit leaves
/// less than 1e-15.
#[test]
fn certain_bounds_change_nothing() {
    let mut rng = generator(4);
    for law in laws() {
        let step = (law.quantile(0.84) - law.quantile(0.16)) / 30.0;
        let observations = rounded(&draws(&law, 300, &mut rng), step, law.quantile(0.95));
        let plain = fit(law.family(), &sample(&observations), None).unwrap();
        let high = 2.0 * plain.law.upper_quantile(1e-18);
        let low = if law.family().is_positive() { 0.0 } else { -10.0 };
        let mut more = observations.clone();
        more.extend([Observation::Below(high); 40]);
        more.extend([Observation::Above(low); 40]);
        assert_same_fit(&plain, &fit(law.family(), &sample(&more), None).unwrap(), 1e-6);
        // A trip is then a reading between limit and cut.
        assert_same_fit(
            &plain,
            &fit(law.family(), &sample(&observations), Some(high)).unwrap(),
            1e-6,
        );
    }
}

/// Readings of a known law below a cut, the rest thrown away: the truncated fit finds the law again, and
/// the plain one does not.
#[test]
fn truncated_fits_find_the_law_again() {
    let mut rng = generator(5);
    for law in laws().into_iter().take(6) {
        let cut = (law.quantile(0.95) * 100.0).round() / 100.0 + 0.005;
        let kept: Vec<Observation> = rounded(&draws(&law, 40_000, &mut rng), 0.01, f64::INFINITY)
            .into_iter()
            .filter(|o| o.high() <= cut + 1e-9)
            .collect();
        let kept = sample(&kept);
        let truncated = fit(law.family(), &kept, Some(cut)).unwrap();
        let plain = fit(law.family(), &kept, None).unwrap();
        for i in 0..2 {
            let error = truncated.covariance[i][i].sqrt();
            assert_abs(truncated.law.internal()[i], law.internal()[i], 4.0 * error);
        }
        let far = |fit: &Fit| (fit.law.upper_quantile(1e-3) / law.upper_quantile(1e-3) - 1.0).abs();
        assert!(far(&truncated) < 0.02 && far(&plain) > 2.0 * far(&truncated), "{law:?}");
    }
}

/// A name, a sample, and the reason expected of every family (none: a sound fit).
type Hostile = (&'static str, Vec<(Observation, f64)>, Option<FitError>);

#[test]
fn hostile_samples_give_a_reason_or_a_sound_fit() {
    let exact = |x: f64| Observation::Exact(x);
    let between = |low: f64, high: f64| Observation::Between { low, high };
    let cases: [Hostile; 16] = [
        ("all equal", vec![(exact(1.0), 500.0)], Some(FitError::TooFewDistinct)),
        ("one interval", vec![(between(0.9, 1.1), 500.0)], Some(FitError::TooFewDistinct)),
        (
            "two that touch",
            vec![(between(0.9, 1.0), 5.0), (between(1.0, 1.1), 9.0)],
            Some(FitError::TooFewDistinct),
        ),
        ("all above", vec![(Observation::Above(5.0), 50.0)], Some(FitError::AllCensored)),
        (
            "above two limits",
            vec![(Observation::Above(5.0), 50.0), (Observation::Above(6.0), 50.0)],
            Some(FitError::AllCensored),
        ),
        ("all below", vec![(Observation::Below(5.0), 50.0)], Some(FitError::AllCensored)),
        (
            "three readings",
            vec![(exact(1.0), 1.0), (exact(2.0), 1.0), (exact(3.0), 1.0)],
            Some(FitError::TooFewReadings { count: 3.0 }),
        ),
        (
            "bounds that cross",
            vec![(Observation::Above(5.0), 9.0), (Observation::Below(1.0), 9.0)],
            Some(FitError::Unbounded),
        ),
        ("two values", vec![(exact(1.0), 30.0), (exact(1.1), 20.0)], None),
        (
            "step wider than spread",
            vec![
                (between(0.5, 1.5), 900.0),
                (between(1.5, 2.5), 3.0),
                (Observation::Below(0.5), 2.0),
            ],
            None,
        ),
        (
            "one huge",
            vec![(exact(1.0), 30.0), (exact(1.1), 20.0), (exact(0.9), 20.0), (exact(1e6), 1.0)],
            None,
        ),
        (
            "tiny values",
            vec![(exact(1e-150), 3.0), (exact(2e-150), 4.0), (exact(3e-150), 3.0)],
            None,
        ),
        ("large values", vec![(exact(1e150), 3.0), (exact(2e150), 4.0), (exact(3e150), 3.0)], None),
        (
            "many",
            vec![(between(0.9, 1.0), 1e9), (between(1.0, 1.1), 3e9), (between(1.1, 1.2), 1e9)],
            None,
        ),
        (
            "nearly equal",
            vec![(exact(1.0), 30.0), (exact(1.0 + 1e-12), 20.0), (exact(1.0 - 1e-12), 20.0)],
            None,
        ),
        (
            "far from zero",
            vec![
                (between(1e9, 1e9 + 1.0), 30.0),
                (between(1e9 + 1.0, 1e9 + 2.0), 20.0),
                (between(1e9 + 2.0, 1e9 + 3.0), 10.0),
            ],
            None,
        ),
    ];
    for (name, lines, reason) in cases {
        let sample = Sample::new(lines).unwrap();
        for family in Family::ALL {
            match (fit(family, &sample, None), reason) {
                (Err(got), Some(want)) => assert_eq!(
                    std::mem::discriminant(&got),
                    std::mem::discriminant(&want),
                    "{name}, {family:?}: {got}"
                ),
                (Err(got), None) => panic!("{name}, {family:?}: {got}"),
                (Ok(fit), Some(_)) => panic!("{name}, {family:?}: {fit:?}"),
                (Ok(fit), None) => {
                    assert!(fit.ln_likelihood.is_finite() && fit.aicc.is_finite(), "{name}");
                    assert!(fit.covariance[0][0] > 0.0 && fit.covariance[1][1] > 0.0, "{name}");
                    // At a maximum no neighbour is higher.
                    let total = |law: &Law| -> f64 {
                        sample
                            .lines()
                            .iter()
                            .map(|l| l.count * law.ln_likelihood(l.observation))
                            .sum()
                    };
                    for (i, sign) in [(0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0)] {
                        let mut theta = fit.law.internal();
                        theta[i] += sign * 0.1 * fit.covariance[i][i].sqrt();
                        let moved = Law::from_internal(family, theta).unwrap();
                        let slack = 1e-12 * fit.ln_likelihood.abs();
                        assert!(total(&moved) < fit.ln_likelihood + slack, "{name}, {family:?}");
                    }
                }
            }
        }
    }
    let huge = Sample::new([1e300, 2e300, 3e300, 4e300].map(|x| (exact(x), 1.0))).unwrap();
    assert_eq!(fit(Family::Normal, &huge, None), Err(FitError::BadUnit));
    let zero = Sample::new([(exact(0.0), 1.0), (exact(1.0), 5.0), (exact(2.0), 4.0)]).unwrap();
    for family in Family::ALL {
        let got = fit(family, &zero, None);
        assert_eq!(got.is_err(), family.is_positive());
        if let Err(reason) = got {
            assert_eq!(reason, FitError::NotPositive { reading: 0.0 });
        }
    }
    let beyond = fit(Family::Normal, &zero, Some(1.5)).unwrap_err();
    assert_eq!(beyond, FitError::BeyondCut { reading: 2.0, cut: 1.5 });
}

/// A tally of 500 distinct readings, all six families.
#[test]
fn six_families_fit_500_distinct_readings_quickly() {
    let mut rng = generator(7);
    let law = textbook(Family::Normal, 2.5, 0.5);
    let sample = sample(&rounded(&draws(&law, 200_000, &mut rng), 0.008, 3.6));
    assert!(sample.lines().len() > 300);
    let evaluations: usize =
        Family::ALL.iter().map(|&family| fit(family, &sample, None).unwrap().evaluations).sum();
    // Work, not time, so that a busy machine does not decide: some ten Newton steps a family.
    assert!(evaluations <= 90, "{evaluations}");
}
