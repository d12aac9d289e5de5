//! Methods at the edges of what they take: no answer is made of what is no number, and none depends on the unit.

use leakdrift::movement::drift::{DayPoint, DriftOptions, Shape, assess};
use leakdrift::stats::average::Average;
use leakdrift::stats::contingency::{Table, mantel_haenszel};
use leakdrift::stats::distribution::Family;
use leakdrift::stats::empirical::Empirical;
use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::goodness::{anderson_darling, largest_gap};
use leakdrift::stats::offsets::{Entry, fit};
use leakdrift::stats::proportion::{EffectiveCounts, clopper_pearson};
use leakdrift::stats::rate_ratio::{Rate, rate_ratio, rate_ratio_p};
use leakdrift::stats::sample::{Grouped, Observation, Sample};
use leakdrift::stats::shape::candidates::Kind;
use leakdrift::stats::shape::power::smallest_step;
use leakdrift::stats::shape::{NoShape, Options, Points, test};
use leakdrift::stats::special::normal_sf;
use leakdrift::stats::trend::correlated_trend;

use crate::support::numbers::{assert_abs, assert_rel};

fn points(values: Vec<f64>) -> Points {
    Points { days: (0..values.len()).map(|i| i as f64).collect(), values, ..Points::default() }
}

/// What rounding leaves of a constant was taken for a series with a correlation of 0.95, in which a step of
/// 1e-17 would have been seen.
#[test]
fn a_series_that_does_not_vary_has_no_smallest_step_and_no_correlation() {
    for level in [0.412, 0.412_f64.ln(), 1e9 / 3.0, 0.0, -7e-13] {
        let flat = points(vec![level; 60]);
        let options = Options::default();
        let found = test(&flat, &options).unwrap();
        assert_eq!(found.best.kind, Kind::Steady);
        assert_eq!((found.rho, found.p_value, found.gain), (0.0, 1.0, 0.0), "{level}");
        assert_eq!(smallest_step(&flat, &found, &options), None, "{level}");
    }
}

/// The same of a series' movement, which the report prints.
#[test]
fn a_constant_current_has_no_smallest_step_and_no_correlation() {
    let point = |day: i32| DayPoint {
        day,
        value_ma: 0.412,
        units: 20.0,
        humidity: None,
        temperature: None,
        lot: None,
    };
    let found = assess(&(0..60).map(point).collect::<Vec<_>>(), &DriftOptions::default());
    assert_eq!((found.shape, found.rho, found.smallest_step_ma), (Some(Shape::Steady), None, None));
}

/// A step of ten standard deviations is one in any unit; squares that fit no double were taken for a perfect fit.
#[test]
fn a_step_is_found_at_any_scale() {
    let scatter = |i: usize| [0.3, -0.8, 0.5, 1.1, -1.2, 0.1, -0.4, 0.9, -0.5][i * i % 9];
    let values = |unit: f64| -> Vec<f64> {
        (0..60).map(|i| unit * (scatter(i) + if i < 30 { 0.0 } else { 10.0 })).collect()
    };
    let plain = test(&points(values(1.0)), &Options::default()).unwrap();
    assert_eq!((plain.best.kind, plain.best.index), (Kind::Step, Some(30)));
    for unit in [1e-120, 1e-16, 1e16, 1e140] {
        let found = test(&points(values(unit)), &Options::default()).unwrap();
        assert_eq!((found.best.kind, found.best.index), (Kind::Step, Some(30)), "{unit:e}");
        assert_eq!(found.p_value, plain.p_value, "{unit:e}");
    }
    for unit in [1e-200, 1e154] {
        assert_eq!(test(&points(values(unit)), &Options::default()), Err(NoShape::NotNumbers));
    }
}

/// Days out of order, or none at all, gave a line.
#[test]
fn a_trend_needs_days_in_order() {
    let y: Vec<f64> = (0..8).map(f64::from).collect();
    let rising = y.clone();
    assert!(correlated_trend(&rising, &y, 0.95).is_some());
    let falling: Vec<f64> = y.iter().rev().copied().collect();
    assert_eq!(correlated_trend(&falling, &y, 0.95), None);
    let mut unknown = y.clone();
    unknown[3] = f64::NAN;
    assert_eq!(correlated_trend(&unknown, &y, 0.95), None);
    assert_eq!(correlated_trend(&rising, &unknown, 0.95), None);
}

/// At a level of -0.2 an interval came back that did not hold its own value.
#[test]
fn an_interval_needs_a_level_between_0_and_1() {
    let counts = EffectiveCounts::new(3.0, 20.0, 1.0).unwrap();
    let (few, many) = (Rate { events: 3.0, exposure: 1.0 }, Rate { events: 9.0, exposure: 1.0 });
    for level in [-0.2, 0.0, 1.0, f64::NAN] {
        assert_eq!(clopper_pearson(counts, level), None, "{level}");
        assert_eq!(rate_ratio(few, many, level), None, "{level}");
    }
    assert!(clopper_pearson(counts, 0.5).is_some());
}

#[test]
fn an_estimate_has_no_field_that_is_no_number() {
    for place in 0..4 {
        let mut numbers = [1.0, 0.0, 2.0, 0.95];
        numbers[place] = f64::NAN;
        let [value, low, high, level] = numbers;
        assert_eq!(Estimate::new(value, low, high, level, ""), None, "{place}");
    }
}

/// A distribution function that gives no numbers passed for one that fits perfectly.
#[test]
fn a_distribution_without_numbers_does_not_fit() {
    let cells = (0..9).map(f64::from);
    let sample =
        Sample::new(cells.map(|x| (Observation::Between { low: x, high: x + 1.0 }, 1.0))).unwrap();
    let exact = Sample::new((0..9).map(|x| (Observation::Exact(f64::from(x)), 1.0))).unwrap();
    for sample in [sample, exact] {
        assert_eq!(anderson_darling(&sample, |_| f64::NAN), None);
        assert_eq!(largest_gap(&Empirical::of(&sample), |_| f64::NAN), None);
        assert!(largest_gap(&Empirical::of(&sample), |x| (x / 9.0).clamp(0.0, 1.0)).is_some());
    }
}

/// The share beyond a reading that is no number was 0.
#[test]
fn the_share_beyond_no_number_is_no_number() {
    let lines = (0..40).map(|i| {
        let low = 1.0 + 0.01 * f64::from(i % 13);
        (i, Observation::Between { low, high: low + 0.01 }, 1.0)
    });
    let data = Grouped::new(lines).unwrap();
    let average = Average::fit(&Family::ALL, &data, None).unwrap();
    assert!(average.sf(f64::NAN).is_nan() && average.cdf(f64::NAN).is_nan());
    assert!(average.sf(1e9) < 1e-6);
}

#[test]
fn tables_without_numbers_have_no_odds() {
    let sound = Table { failed: 4.0, units: 10.0, failed_others: 2.0, units_others: 10.0 };
    assert!(mantel_haenszel(&[sound], 0.95).is_some());
    for broken in [
        Table { failed: f64::NAN, ..sound },
        Table { units: f64::NAN, ..sound },
        Table { units_others: f64::INFINITY, ..sound },
    ] {
        assert_eq!(mantel_haenszel(&[sound, broken], 0.95), None, "{broken:?}");
    }
}

/// Two stations over ten days, the second 0.1 above the first.
fn two_stations() -> (Vec<Entry>, [Vec<f64>; 1]) {
    let scatter = [0.01, -0.02, 0.005, 0.015, -0.01, 0.0, 0.02, -0.015, 0.01, -0.005];
    let entries = (0..20).map(|i: usize| Entry {
        group: i / 2,
        cluster: i32::try_from(i / 2).unwrap(),
        value: f64::from(u8::from(i % 2 == 1)).mul_add(0.1, scatter[(i * 7) % 10]),
        weight: 1.0,
    });
    (entries.collect(), [(0..20).map(|i| f64::from(i % 2)).collect()])
}

/// A value that is no number spread to every effect, and a weight of nothing likewise.
#[test]
fn effects_are_of_numbers() {
    let (entries, second) = two_stations();
    let found = fit(&entries, &second, None).unwrap();
    assert_abs(found.value[0], 0.1, 0.05);
    for broken in [
        Entry { value: f64::NAN, ..entries[4] },
        Entry { value: f64::INFINITY, ..entries[4] },
        Entry { weight: 0.0, ..entries[4] },
        Entry { weight: f64::NAN, ..entries[4] },
    ] {
        let mut entries = entries.clone();
        entries[4] = broken;
        assert_eq!(fit(&entries, &second, None), None, "{broken:?}");
    }
}

/// Both panicked.
#[test]
fn a_column_that_is_too_short_has_no_answer() {
    let (entries, [second]) = two_stations();
    assert_eq!(fit(&entries, &[second[..19].to_vec()], None), None);
    let long = points((0..30).map(f64::from).collect());
    assert_eq!(long.part(10, 30).unwrap().values.len(), 20);
    assert!(long.part(10, 31).is_none());
    assert!(Points { covariates: vec![vec![0.0; 20]], ..long.clone() }.part(10, 30).is_none());
    assert!(Points { lots: Some(vec![0; 20]), ..long }.part(10, 30).is_none());
}

/// The sum ran over every split of the events, minutes for a billion. At equal exposures the number is nearly normal:
/// half a million and 316 of a million events have `z = 632/1000`, two-sided (continuity: 631).
#[test]
fn a_ratio_of_a_billion_events_takes_no_longer_than_one_of_ten() {
    let rate = |events: f64| Rate { events, exposure: 1.0 };
    assert_rel(
        rate_ratio_p(rate(500_316.0), rate(499_684.0)).unwrap(),
        2.0 * normal_sf(0.631),
        1e-4,
    );
    let all = 1e9_f64;
    let off = 10_000.5_f64;
    let p = rate_ratio_p(rate(all / 2.0 + off.floor()), rate(all / 2.0 - off.floor())).unwrap();
    assert_rel(p, 2.0 * normal_sf((2.0 * off - 2.0) / all.sqrt()), 1e-3);
    assert_eq!(rate_ratio_p(rate(all), rate(all)), Some(1.0));
    // By hand: 1 of 4 at equal exposures, (1 + 4 + 4 + 1)/16.
    assert_rel(rate_ratio_p(rate(1.0), rate(3.0)).unwrap(), 10.0 / 16.0, 1e-12);
}
