//! The tail law on data whose truth is known.

use leakdrift::stats::distribution::{Distribution, Law};
use leakdrift::stats::sample::{Grouped, Observation};
use leakdrift::stats::tail::{Line, Tail, TailError};

use super::families::laws;
use crate::support::numbers::{assert_abs, assert_rel};

const STEP: f64 = 0.02;

/// Exponential readings of scale 1 at evenly spaced probabilities, in steps, a limit at `limit`.
fn exponential(n: usize, limit: f64) -> Grouped {
    Grouped::new(exponential_lines(n, limit)).unwrap()
}

fn exponential_lines(n: usize, limit: f64) -> impl Iterator<Item = (i32, Observation, f64)> {
    (0..n).map(move |i| {
        // Days take every 50th reading, so that they are alike; 21 and 50 have no factor in common, so no
        // run of days takes the larger ones.
        let day = i32::try_from(i * 21 % 50).unwrap();
        let x = -(-(i as f64 + 0.5) / n as f64).ln_1p();
        let shown = (x / STEP).round();
        let o = if x > limit {
            Observation::Above(limit)
        } else {
            Observation::Between { low: (shown - 0.5) * STEP, high: (shown + 0.5) * STEP }
        };
        (day, o, 1.0)
    })
}

/// The excess of an exponential is exponential with the same scale (no memory), so scale 1 and shape 0.
#[test]
fn exponential_has_no_memory() {
    let tail = Tail::fit(&exponential(20_000, f64::MAX), 2.31, None, Line::Readings).unwrap();
    assert_rel(tail.scale, 1.0, 0.03);
    assert_abs(tail.shape, 0.0, 0.03);
    assert_rel(tail.share, (-2.31_f64).exp(), 0.01);
    assert_rel(tail.upper_quantile(1e-4).unwrap(), 1e4_f64.ln(), 0.03);
    assert_rel(tail.sf(6.0).unwrap(), (-6.0_f64).exp(), 0.15);
}

/// A limit inside the tail widens the intervals but does not move it.
#[test]
fn trips_are_censored_not_lost() {
    let whole = Tail::fit(&exponential(20_000, f64::MAX), 2.31, None, Line::Readings).unwrap();
    let cut = Tail::fit(&exponential(20_000, 4.0), 2.31, None, Line::Readings).unwrap();
    assert_eq!(whole.beyond, cut.beyond);
    assert_rel(cut.scale, 1.0, 0.05);
    let (a, b) = (whole.bounds(1e-4, 0.95).unwrap(), cut.bounds(1e-4, 0.95).unwrap());
    assert!(b.lower < a.value && a.value < b.upper, "{a:?} {b:?}");
    assert!(b.upper - b.lower > a.upper - a.lower, "{a:?} {b:?}");
}

/// Asking for the reading of a share and for the share of a reading agree, ends included.
#[test]
fn quantile_and_exceedance_are_one_question() {
    let tail = Tail::fit(&exponential(3_000, 5.0), 2.31, None, Line::Readings).unwrap();
    for q in [0.05, 0.01, 1e-3, 1e-5] {
        let x = tail.quantile_estimate(q, 0.95).unwrap();
        assert_rel(tail.sf(x.value).unwrap(), q, 1e-9);
        assert_rel(tail.exceedance(x.high, 0.95).unwrap().high, q, 1e-6);
        assert!(tail.exceedance(x.value, 0.95).unwrap().contains(q));
    }
    assert!(tail.upper_quantile(0.5).is_none());
    assert!(tail.exceedance(1.0, 0.95).is_none());
}

/// The share beyond a reading falls with the reading, ends included, down to nothing far beyond all of
/// them, whether the law has an end there or not.
#[test]
fn exceedance_falls_to_nothing() {
    // P(X > x) = (1 - x)^3 on 0 to 1: shape -1/3 beyond any threshold.
    let ended = Grouped::new((0..3_000).map(|i| {
        let x = 1.0 - ((f64::from(i) + 0.5) / 3_000.0).cbrt();
        let low = (x / STEP).floor() * STEP;
        let o = Observation::Between { low, high: low + STEP };
        (i % 50, o, 1.0)
    }))
    .unwrap();
    let short = Tail::fit(&ended, 0.4, None, Line::Readings).unwrap();
    assert!(short.shape < -0.1, "{}", short.shape);
    for tail in [short, Tail::fit(&exponential(3_000, 5.0), 2.31, None, Line::Readings).unwrap()] {
        let mut before = [1.0; 3];
        for x in [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 20.0, 100.0, 1e4, 1e9] {
            let e = tail.exceedance(tail.threshold + x, 0.95).unwrap();
            let now = [e.low, e.value, e.high];
            for (now, before) in now.iter().zip(before) {
                assert!(*now <= before * (1.0 + 1e-6), "{x}: {now} after {before}");
            }
            before = now;
        }
        assert!(before[2] < 1e-5, "{before:?}");
    }
}

/// One reading a million times as far as the others makes a shape above 2; the intervals still hold
/// their value and do not end at once.
#[test]
fn outliers_do_not_break_the_interval() {
    let mut lines: Vec<_> = exponential_lines(1_500, f64::MAX).collect();
    for day in 0..40 {
        lines.push((day, Observation::Exact(3.0 + 1e6 * f64::from(day)), 1.0));
    }
    let tail = Tail::fit(&Grouped::new(lines).unwrap(), 2.31, None, Line::Readings).unwrap();
    assert!(tail.shape > 2.0, "{}", tail.shape);
    for x in [10.0, 1e3, 1e6] {
        let e = tail.exceedance(x, 0.95).unwrap();
        assert!(
            0.0 < e.low
                && e.low < 0.95 * e.value
                && 1.05 * e.value < e.high
                && e.high < 0.9 * tail.share.max(1.1 * e.value),
            "{x}: {e:?}"
        );
    }
}

#[test]
fn too_few_readings_make_no_tail() {
    assert!(matches!(
        Tail::fit(&exponential(50, f64::MAX), 2.31, None, Line::Readings),
        Err(TailError::TooFew(_))
    ));
}

/// Exact readings at evenly spaced probabilities of a law.
fn readings_of(law: &Law, n: usize) -> Vec<f64> {
    (0..n).map(|i| law.quantile((i as f64 + 0.5) / n as f64)).collect()
}

fn grouped(readings: &[f64]) -> Grouped {
    Grouped::new(readings.iter().enumerate().map(|(i, &x)| {
        let day = i32::try_from(i * 21 % 50).unwrap();
        (day, Observation::Exact(x), 1.0)
    }))
    .unwrap()
}

/// `-ln P(X > x)` of a reading is exponential with scale 1 whatever the law (probability integral
/// transform), so on the scores of its own law every tail has scale 1, shape 0 and the law's quantiles; so
/// has the tail below a cut, which then expects as many beyond it as lie there.
#[test]
fn on_the_scores_of_its_own_law_every_tail_is_exponential() {
    for law in laws() {
        let readings = readings_of(&law, 4_000);
        let data = grouped(&readings);
        let (threshold, cut) = (law.upper_quantile(0.15), law.upper_quantile(0.02));
        let open = Tail::fit(&data, threshold, None, Line::Scores(law)).unwrap();
        let below = Tail::fit(&data, threshold, Some(cut), Line::Scores(law)).unwrap();
        // Below a cut the tail is drawn in a little: no more can be healthy than lie beyond it.
        for (tail, allowed) in [(&open, 0.03), (&below, 0.12)] {
            assert_rel(tail.scale, 1.0, 0.03);
            assert_abs(tail.shape, 0.0, 0.08);
            assert_rel(tail.share, 0.15, 0.02);
            let x = tail.upper_quantile(1e-3).unwrap();
            assert_rel(law.ln_sf(x), (1e-3_f64).ln(), allowed);
        }
        assert_rel(below.expected_beyond_cut().unwrap().value, 80.0, 0.2);
        assert!(open.expected_beyond_cut().is_none());
        // Little to gain over the law that made the readings (at most ln 2 twice, for having no more beyond
        // the cut than expected), much over one half a spread lower.
        assert!(below.gain_over_law().unwrap() < 1.5, "{law:?}");
        let spread = law.quantile(0.841_344_746) - law.quantile(0.5);
        let moved: Vec<f64> = readings.iter().map(|x| x + spread / 2.0).collect();
        let wrong = Tail::fit(&grouped(&moved), threshold, Some(cut), Line::Scores(law));
        let gain = wrong.unwrap().gain_over_law().unwrap();
        assert!(gain > 12.8, "{law:?} {gain}");
    }
}

/// Another unit of the readings changes no share and moves every reading with it.
#[test]
fn a_tail_knows_no_unit() {
    for law in laws().into_iter().take(1) {
        let readings = readings_of(&law, 2_000);
        let scaled: Vec<f64> = readings.iter().map(|x| x * 1_000.0).collect();
        let (threshold, cut) = (law.upper_quantile(0.2), law.upper_quantile(0.02));
        for cut in [None, Some(cut)] {
            let here = Tail::fit(&grouped(&readings), threshold, cut, Line::Readings).unwrap();
            let there = Tail::fit(
                &grouped(&scaled),
                threshold * 1_000.0,
                cut.map(|x| x * 1_000.0),
                Line::Readings,
            )
            .unwrap();
            assert_rel(there.share, here.share, 1e-6);
            let (a, b) = (here.bounds(1e-3, 0.95).unwrap(), there.bounds(1e-3, 0.95).unwrap());
            for (x, y) in [(a.value, b.value), (a.lower, b.lower), (a.upper, b.upper)] {
                assert_rel(y, 1_000.0 * x, 1e-5);
            }
        }
    }
}

/// Ten readings of 2 000 far beyond the body are better explained as strays; the same body alone, or one
/// whose tail really is long, is not.
#[test]
fn strays_are_told_from_a_long_tail() {
    for law in laws() {
        let body = readings_of(&law, 2_000);
        let end = law.upper_quantile(1e-3) - law.quantile(0.5);
        let mut with_strays = body.clone();
        with_strays.extend((0..10).map(|i| law.quantile(0.5) + end * (2.0 + 0.4 * f64::from(i))));
        // Generalised Pareto with shape 0.3 on the scores from the tenth on.
        let long: Vec<f64> = body
            .iter()
            .map(|&x| {
                let past = -law.ln_sf(x) - 10.0_f64.ln();
                if past <= 0.0 {
                    return x;
                }
                law.upper_quantile(0.1 * (-(0.3 * past).exp_m1() / 0.3).exp())
            })
            .collect();
        let step = end / 100.0;
        let gain = |readings: &[f64]| {
            let shown = readings.iter().enumerate().map(|(i, x)| {
                let low = (x / step).floor() * step;
                let o = Observation::Between { low, high: low + step };
                (i32::try_from(i * 21 % 50).unwrap(), o, 1.0)
            });
            let data = Grouped::new(shown).unwrap();
            let tail = Tail::fit(&data, law.upper_quantile(0.1), None, Line::Scores(law)).unwrap();
            tail.gain_of_strays(&data, |x| law.ln_sf(x).exp()).unwrap()
        };
        assert!(gain(&with_strays) > 2.0, "{law:?} {}", gain(&with_strays));
        assert!(gain(&body) < 2.0, "{law:?} {}", gain(&body));
        assert!(gain(&long) < 2.0, "{law:?} {}", gain(&long));
    }
}

/// Evenly spread readings end in a cliff, where the likelihood has no summit: the tail is then longer than
/// theirs and not missing.
#[test]
fn a_cliff_is_no_reason_to_have_no_tail() {
    let readings: Vec<f64> = (0..1_000).map(|i| 1.0 + f64::from(i) / 1_000.0).collect();
    let tail = Tail::fit(&grouped(&readings), 1.9, None, Line::Readings).unwrap();
    let x = tail.upper_quantile(1e-3).unwrap();
    assert!((1.99..2.2).contains(&x), "{x}");
    assert!(tail.bounds(1e-3, 0.95).unwrap().upper >= 1.999);
}
