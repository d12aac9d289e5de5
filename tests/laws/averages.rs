//! Averages of families: their definitions, and how often their intervals hold the truth.

use leakdrift::stats::average::{Average, Scale};
use leakdrift::stats::blocks::block_variance;
use leakdrift::stats::distribution::{Distribution, Family, Law};
use leakdrift::stats::sample::Grouped;

use super::families::{draws, generator, laws, rounded};
use crate::support::laws::textbook;
use crate::support::numbers::{assert_abs, assert_rel};

/// By hand: six days in six blocks, sums 1, 2, 3, 4, 5, 9 with mean 4; squares 9 + 4 + 1 + 0 + 1 + 25 =
/// 40; times 6/5 = 48. Thirty-five days in seven blocks of five.
#[test]
fn block_variance_by_hand() {
    let days = [1.0, 2.0, 3.0, 4.0, 5.0, 9.0];
    let larger = block_variance(&days, 12.0);
    assert_rel(larger.variance, 48.0, 1e-14);
    assert_eq!(larger.degrees_of_freedom, Some(5.0));
    assert_rel(larger.ratio, 4.0, 1e-14);
    let smaller = block_variance(&days, 96.0);
    assert_eq!((smaller.variance, smaller.degrees_of_freedom, smaller.ratio), (96.0, None, 0.5));
    // Blocks of five consecutive days, sums 5 (-3 ... 3): 25 (9+4+1+0+1+4+9) = 700, times 7/6. The lag-1
    // correlation 128/140 counts as 0.8: (1.8/0.2) / (1 + 2 (0.8 0.8 + 0.6 0.64 + 0.4 0.512 + 0.2 0.4096)).
    let weeks: Vec<f64> = (0..35).map(|day| f64::from(day / 5) - 3.0).collect();
    let found = block_variance(&weeks, 1.0);
    let missed = 9.0 / 3.62144;
    assert_rel(found.variance, 700.0 * 7.0 / 6.0 * missed, 1e-13);
    assert_rel(found.degrees_of_freedom.unwrap(), 6.0 / missed, 1e-13);
    // As many high as low days: nothing to shift. One high block of twenty: skewness 18/sqrt(19), over
    // 6 sqrt(20), times 1 + 2 4 = 9; half of the multiple at most.
    assert_abs(found.shift(2.0), 0.0, 1e-12);
    let one: Vec<f64> = (0..100).map(|day| f64::from(u8::from(day < 5))).collect();
    let skewed = block_variance(&one, 0.0);
    assert_rel(skewed.skew, 18.0 / 19.0_f64.sqrt() / (6.0 * 20.0_f64.sqrt()), 1e-12);
    assert_rel(skewed.shift(2.0), 1.0, 1e-12);
    assert_rel(skewed.shift(0.1), 0.05, 1e-12);
    let low: Vec<f64> = one.iter().map(|x| -x).collect();
    assert_eq!(block_variance(&low, 0.0).shift(2.0), 0.0);
    assert_eq!(block_variance(&[3.0], 2.0).variance, 2.0);
    assert_eq!(block_variance(&[], 2.0).degrees_of_freedom, None);
    let many = vec![1.0; 400];
    assert_eq!(block_variance(&many, 2.0).variance, 2.0);
}

/// Of one normal sample: AICc weights and the averages by their definitions.
#[test]
fn averages_follow_their_definitions() {
    let mut rng = generator(6);
    let law = textbook(Family::Gamma, 25.0, 0.04);
    let observations = rounded(&draws(&law, 600, &mut rng), 0.01, 1.5);
    let days = observations.iter().enumerate().map(|(i, &o)| (i as i32 / 20, o, 1.0));
    let data = Grouped::new(days).unwrap();
    let average = Average::fit(&Family::ALL, &data, None).unwrap();
    assert_rel(average.fits.iter().map(|w| w.weight).sum(), 1.0, 1e-12);
    assert!(average.failed.is_empty());
    let (a, b) = (&average.fits[1], &average.fits[2]);
    assert_rel((a.weight / b.weight).ln(), (b.fit.aicc - a.fit.aicc) / 2.0, 1e-9);
    let by_hand = |what: &dyn Fn(&Law) -> f64| -> f64 {
        average.fits.iter().map(|w| w.weight * what(&w.fit.law)).sum()
    };
    assert_rel(average.upper_quantile(1e-3), by_hand(&|law| law.upper_quantile(1e-3)), 1e-12);
    assert_rel(average.sf(1.4), by_hand(&|law| law.ln_sf(1.4).exp()), 1e-12);
    assert_rel(average.cdf(0.8), by_hand(&|law| law.ln_cdf(0.8).exp()), 1e-12);

    let far = |law: &Law| law.upper_quantile(1e-3);
    let linear = average.estimate(&data, Scale::Linear, 0.95, &far).unwrap();
    assert_rel(linear.value, average.upper_quantile(1e-3), 1e-12);
    assert!(linear.low < linear.value && linear.value < linear.high);
    let one = average.one_sided(&data, Scale::Linear, 0.975, &far).unwrap();
    assert_rel(one.lower, linear.low, 1e-12);
    assert_rel(one.upper, linear.high, 1e-12);
    let share = |law: &Law| law.ln_sf(1.5).exp();
    let logit = average.estimate(&data, Scale::TailShare, 0.95, &share).unwrap();
    assert!(
        0.0 < logit.low && logit.low < logit.value && logit.value < logit.high && logit.high < 1.0
    );
    assert_eq!(average.estimate(&data, Scale::Log, 0.95, &|_| -1.0), None);
    assert_eq!(average.estimate(&data, Scale::Linear, 0.95, &|_| f64::NAN), None);

    // One family: no disagreement, so the usual variance (known for a normal mean: sd / sqrt n) or more.
    let normal = Average::fit(&[Family::Normal], &data, None).unwrap();
    let mean = normal.averaged(&data, Scale::Linear, &|law| law.quantile(0.5)).unwrap();
    let sd = normal.best().fit.law.params()[1].1;
    let usual = sd / 600_f64.sqrt();
    assert!(mean.standard_error >= usual * 0.98);
    if mean.degrees_of_freedom.is_none() {
        assert_rel(mean.standard_error, usual, 0.02);
    } else {
        assert_rel(mean.standard_error, usual * mean.dispersion.sqrt(), 0.02);
    }
}

/// Share of 300 simulated series whose 95 % interval of the 99 % reading holds the true one. Daily
/// levels: normal with `level` of the spread within days, lag-1 correlation `rho`.
fn coverage(law: &Law, level: f64, rho: f64, seed: u64) -> f64 {
    let mut rng = generator(seed);
    let spread = (law.quantile(0.841_344_7) - law.quantile(0.158_655_3)) / 2.0;
    let normal = textbook(Family::Normal, 0.0, 1.0);
    let total = textbook(Family::Normal, 1.0, 0.2 * (1.0 + level * level).sqrt());
    let truth = if level > 0.0 { total.quantile(0.99) } else { law.quantile(0.99) };
    let series = 300;
    let mut held = 0;
    for _ in 0..series {
        let mut day_level = draws(&normal, 1, &mut rng)[0];
        let mut lines = Vec::new();
        for day in 0..60 {
            let fresh = draws(&normal, 1, &mut rng)[0];
            day_level = rho * day_level + (1.0 - rho * rho).sqrt() * fresh;
            let readings: Vec<f64> = draws(law, 10, &mut rng)
                .iter()
                .map(|x| (x + level * spread * day_level).max(0.02))
                .collect();
            lines.extend(rounded(&readings, 0.01, 2.0).into_iter().map(|o| (day, o, 1.0)));
        }
        let data = Grouped::new(lines).unwrap();
        let average = Average::fit(&Family::ALL, &data, None).unwrap();
        let what = |law: &Law| law.quantile(0.99);
        let estimate = average.estimate(&data, Scale::Log, 0.95, &what).unwrap();
        held += i32::from(estimate.contains(truth));
    }
    f64::from(held) / f64::from(series)
}

/// Independent readings of one of the families: 95 % within what 300 series can show (three standard
/// errors, 3.8 points; a wider interval than asked is tolerated where families disagree).
#[test]
fn intervals_cover_independent_readings() {
    for (seed, law) in laws().into_iter().take(6).enumerate() {
        let share = coverage(&law, 0.0, 0.0, 100 + seed as u64);
        assert!((0.912..=0.995).contains(&share), "{:?}: {share}", law.family());
    }
}

/// Daily levels of 0.6 of the spread with lag-1 correlation 0.5: at least 85 %.
#[test]
fn intervals_cover_where_days_hang_together() {
    let law = textbook(Family::Normal, 1.0, 0.2);
    let share = coverage(&law, 0.6, 0.5, 200);
    assert!(share >= 0.85, "{share}");
}
