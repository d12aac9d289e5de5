//! Changes of a share of failures: a published history, and planted ones.

use leakdrift::stats::rate_change::{
    DayCount, RateChange, changes, even_trend_ratio, single_change,
};
use rand::SeedableRng;
use rand_distr::{Binomial, Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// Disasters in British coal mines by year from 1851 to 1962 (Jarrett R.G. (1979) Biometrika 66:191-193; the counts
/// from memory). Carlin, Gelfand & Smith (1992), Applied Statistics 41:389-405 (from memory): the rate falls
/// from about 3.1 to 0.9 a year, most probably after year 41 (1891), within 1886 to 1896.
#[test]
fn coal_mining_disasters() {
    const COUNTS: [u8; 112] = [
        4, 5, 4, 1, 0, 4, 3, 4, 0, 6, 3, 3, 4, 0, 2, 6, 3, 3, 5, 4, 5, 3, 1, 4, 4, 1, 5, 5, 3, 4,
        2, 5, 2, 2, 3, 4, 2, 1, 3, 2, 2, 1, 1, 1, 1, 3, 0, 0, 1, 0, 1, 1, 0, 0, 3, 1, 0, 3, 2, 2,
        0, 1, 1, 1, 0, 1, 0, 1, 0, 0, 0, 2, 1, 0, 0, 0, 1, 1, 0, 2, 3, 3, 1, 1, 2, 1, 1, 1, 1, 2,
        3, 3, 0, 0, 0, 1, 4, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 1, 0, 1,
    ];
    let days: Vec<DayCount> = (1851..)
        .zip(COUNTS)
        .map(|(day, n)| DayCount {
            day,
            // So many that the binomial is a Poisson distribution.
            units: 1e6,
            failed: f64::from(n),
        })
        .collect();
    assert_eq!(days.iter().map(|d| d.failed).sum::<f64>(), 191.0);
    let found = single_change(&days, 0.01, 1).unwrap();
    assert_eq!(found.day, 1892);
    assert!(found.p_value <= 0.001);
    assert!(found.days.0 >= 1880 && found.days.1 <= 1902, "{found:?}");
    assert!(found.days.0 <= 1888 && found.days.1 >= 1894, "{found:?}");
}

/// A year of production with about 200 units a day; `level` is the share of a day, `vary` the standard deviation
/// of its logarithm, which hangs together with correlation 0.5.
fn year(seed: u64, vary: f64, level: impl Fn(i32) -> f64) -> Vec<DayCount> {
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut x: f64 = StandardNormal.sample(&mut rng);
    (0..250)
        .map(|day| {
            let e: f64 = StandardNormal.sample(&mut rng);
            x = 0.5 * x + 0.75_f64.sqrt() * e;
            let p = level(day) * (vary * x - vary * vary / 2.0).exp();
            let failed = Binomial::new(200, p.min(1.0)).unwrap().sample(&mut rng);
            DayCount { day, units: 200.0, failed: failed as f64 }
        })
        .collect()
}

/// Nothing planted, rates that vary by half and hang together: about one alarm in a hundred at 0.01.
#[test]
fn steady_rates_rarely_alarm() {
    let alarms =
        (0..30).filter(|seed| !changes(&year(*seed, 0.5, |_| 0.01), 0.01, 7).is_empty()).count();
    // Binomial(30, 0.02): more than 4 has probability 0.0003 (two questions at 0.01 each).
    assert!(alarms <= 4, "{alarms} alarms in 30");
}

/// Few failures, one day in two without any, hide how rates vary: alarms stay at the rate that is asked.
#[test]
fn few_failures_rarely_alarm() {
    let alarms = (0..100)
        .filter(|seed| {
            single_change(&year(*seed, 0.5, |_| 0.004), 0.05, 7).is_some_and(|c| c.p_value <= 0.05)
        })
        .count();
    // Binomial(100, 0.05): more than 12 has probability 0.0015.
    assert!(alarms <= 12, "{alarms} alarms in 100");
}

/// Counts of weeks vary as days do where rates do not hang together, and more where they do.
#[test]
fn rates_that_hang_together_vary_more_in_the_long_run() {
    let of = |phi: f64, rho: f64| {
        RateChange { index: 1, day: 1, days: (1, 1), statistic: 0.0, phi, rho, p_value: 1.0 }
            .long_run()
    };
    assert!((of(1.0, 0.5) - 1.0).abs() < 1e-12);
    assert!((of(1.4, 0.0) - 1.4).abs() < 1e-12);
    // The variance of a sum of many AR(1) terms is (1 + rho)/(1 − rho) times that of independent ones (textbook).
    assert!((of(1.4, 0.5) - 2.2).abs() < 1e-12);
}

/// A share that trebles on day 150: found, and the true day lies inside the interval.
#[test]
fn a_planted_change_is_dated() {
    let mut dated = 0;
    for seed in 100..120 {
        let found = changes(&year(seed, 0.3, |d| if d < 150 { 0.01 } else { 0.03 }), 0.01, 7);
        assert!(!found.is_empty(), "seed {seed}");
        dated += u32::from(found.iter().any(|c| (c.days.0..=c.days.1).contains(&150)));
    }
    assert!(dated >= 17, "{dated} of 20 inside the interval");
}

/// Up for 15 days and down again in the middle of a year: both found.
#[test]
fn a_rise_that_ended_is_found() {
    for seed in 200..210 {
        let days = year(seed, 0.2, |d| if (100..115).contains(&d) { 0.02 } else { 0.002 });
        let found = changes(&days, 0.01, 7);
        assert_eq!(found.len(), 2, "seed {seed}: {found:?}");
        assert!((97..=103).contains(&found[0].day), "seed {seed}: {found:?}");
        assert!((112..=118).contains(&found[1].day), "seed {seed}: {found:?}");
    }
}

/// The same counts give the same answer; no failure, or hardly a day, gives none.
#[test]
fn nothing_to_find() {
    let days = year(3, 0.5, |_| 0.01);
    assert_eq!(single_change(&days, 0.01, 5), single_change(&days, 0.01, 5));
    assert!(single_change(&days[..3], 0.01, 5).is_none());
    assert!(single_change(&year(4, 0.0, |_| 0.0), 0.01, 5).is_none());
}

/// An even rise is told from a step by the better likelihood: by hand, shares that double along the logit line.
#[test]
fn an_even_rise_is_no_step() {
    let days: Vec<DayCount> = (0..200)
        .map(|day| DayCount {
            day,
            units: 1000.0,
            failed: 1000.0 / (1.0 + (5.0 - 0.01 * f64::from(day)).exp()),
        })
        .collect();
    let step = single_change(&days, 0.01, 5).unwrap();
    assert!(even_trend_ratio(&days) > step.statistic * step.phi);
}
