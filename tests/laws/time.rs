//! What holds for every series in time: another unit or origin changes nothing, steady series are left
//! alone, and a plain step is found.

use crate::support::numbers::{assert_abs, assert_rel};
use leakdrift::stats::shape::candidates::Kind;
use leakdrift::stats::shape::steps::DateRange;
use leakdrift::stats::shape::{NoShape, Options, Points, steps, test};
use leakdrift::stats::trend::correlated_trend;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

fn ar1(rng: &mut Pcg64, n: usize, rho: f64) -> Vec<f64> {
    let mut state: f64 = StandardNormal.sample(rng);
    (0..n)
        .map(|_| {
            let out = state;
            let shock: f64 = StandardNormal.sample(rng);
            state = rho * state + (1.0 - rho * rho).sqrt() * shock;
            out
        })
        .collect()
}

fn points(values: Vec<f64>) -> Points {
    // Monday to Friday.
    let days = (0..values.len()).map(|i| (i / 5 * 7 + i % 5) as f64).collect();
    Points { days, values, ..Points::default() }
}

/// Share of `trials` steady series that come out as moved at 5 %.
fn false_alarms(trials: u64, n: usize, rho: f64) -> f64 {
    let mut rng = Pcg64::seed_from_u64(7);
    let found = (0..trials)
        .filter(|i| {
            let options = Options { seed: 1000 + i, replicates_near: 199, ..Options::default() };
            test(&points(ar1(&mut rng, n, rho)), &options).unwrap().p_value <= 0.05
        })
        .count();
    found as f64 / trials as f64
}

/// 300 series: 5 % has a standard error of 1.3 %, so 9 % is three of them above.
#[test]
fn steady_series_are_left_alone() {
    for rho in [0.0, 0.3] {
        let share = false_alarms(300, 120, rho);
        assert!(share <= 0.09, "rho {rho}: {share} of steady series flagged");
    }
}

#[test]
fn a_step_of_two_sd_is_found_with_its_date() {
    for rho in [0.0, 0.3] {
        let mut rng = Pcg64::seed_from_u64(11);
        let (mut found, mut dated) = (0, 0);
        for seed in 0..60 {
            let mut values = ar1(&mut rng, 120, rho);
            values[70..].iter_mut().for_each(|v| *v += 2.0);
            let options = Options { seed, replicates_near: 199, ..Options::default() };
            let moved = steps::find(&points(values), &options).unwrap();
            if moved.test.p_value <= 0.05 && moved.kind == Kind::Step {
                found += 1;
                dated += usize::from(
                    moved.steps.iter().any(|s| s.index_low <= 70 && 70 <= s.index_high),
                );
            }
        }
        assert!(found >= 52, "rho {rho}: {found} of 60 found");
        assert!(dated * 100 >= found * 90, "rho {rho}: {dated} of {found} dates inside");
    }
}

#[test]
fn a_slope_that_begins_in_mid_history_is_no_step() {
    let mut rng = Pcg64::seed_from_u64(3);
    let mut values = ar1(&mut rng, 200, 0.2);
    for (i, v) in values.iter_mut().enumerate().skip(100) {
        *v += 0.06 * (i - 100) as f64;
    }
    let moved = steps::find(&points(values), &Options::default()).unwrap();
    assert_eq!(moved.kind, Kind::Bend);
    let DateRange { at, low, high } = moved.slope_from.unwrap();
    assert!(low <= 100 && 100 <= high && at.abs_diff(100) < 25, "{low} {at} {high}");
}

#[test]
fn two_steps_are_two() {
    let mut rng = Pcg64::seed_from_u64(5);
    let mut values = ar1(&mut rng, 210, 0.0);
    values[70..].iter_mut().for_each(|v| *v += 4.0);
    values[140..].iter_mut().for_each(|v| *v -= 6.0);
    let moved = steps::find(&points(values), &Options::default()).unwrap();
    assert_eq!(moved.steps.len(), 2);
    for (step, (index, size)) in moved.steps.iter().zip([(70, 4.0), (140, -6.0)]) {
        assert!(step.index_low <= index && index <= step.index_high);
        assert_abs(step.size, size, 4.0 * step.se);
    }
}

#[test]
fn another_unit_and_origin_change_nothing() {
    let mut rng = Pcg64::seed_from_u64(9);
    let mut values = ar1(&mut rng, 100, 0.3);
    values[60..].iter_mut().for_each(|v| *v += 3.0);
    let plain = steps::find(&points(values.clone()), &Options::default()).unwrap();
    let moved = steps::find(
        &points(values.iter().map(|v| 1000.0 + 0.01 * v).collect()),
        &Options::default(),
    )
    .unwrap();
    assert_eq!(plain.kind, moved.kind);
    assert_abs(moved.test.p_value, plain.test.p_value, 1e-12);
    assert_rel(moved.test.gain, plain.test.gain, 1e-6);
    assert_rel(moved.steps[0].size, 0.01 * plain.steps[0].size, 1e-6);
    let x = points(values.clone()).days;
    let y: Vec<f64> = values.iter().map(|v| 5.0 - 2.0 * v).collect();
    let (a, b) =
        (correlated_trend(&x, &values, 0.95).unwrap(), correlated_trend(&x, &y, 0.95).unwrap());
    assert_rel(b.line.slope.value, -2.0 * a.line.slope.value, 1e-9);
    assert_rel(b.p_value, a.p_value, 1e-9);
}

/// A staircase of lots: told the lots, the test calls far fewer of them moved.
#[test]
fn lots_are_no_drift() {
    let mut rng = Pcg64::seed_from_u64(21);
    let (mut with, mut without) = (0, 0);
    for seed in 0..100 {
        let lots: Vec<u32> = (0..140).map(|i| i / 10).collect();
        let levels: Vec<f64> = (0..14).map(|_| StandardNormal.sample(&mut rng)).collect();
        let values: Vec<f64> = lots
            .iter()
            .map(|l| {
                let noise: f64 = StandardNormal.sample(&mut rng);
                levels[*l as usize] + noise
            })
            .collect();
        let options = Options { seed, replicates_near: 199, ..Options::default() };
        let known = Points { lots: Some(lots), ..points(values.clone()) };
        with += usize::from(test(&known, &options).unwrap().p_value <= 0.05);
        without += usize::from(test(&points(values), &options).unwrap().p_value <= 0.05);
    }
    assert!(with <= 13, "{with} of 100 staircases called moved although lots are known");
    assert!(without > with, "{without} without lots, {with} with");
}

#[test]
fn edges_have_named_reasons() {
    let short = points(vec![1.0; 19]);
    assert_eq!(test(&short, &Options::default()).unwrap_err(), NoShape::TooFewPoints);
    let broken = points(vec![f64::NAN; 40]);
    assert_eq!(test(&broken, &Options::default()).unwrap_err(), NoShape::NotNumbers);
    let flat = test(&points(vec![0.3; 40]), &Options::default()).unwrap();
    assert_eq!(flat.best.kind, Kind::Steady);
    assert_abs(flat.p_value, 1.0, 0.0);
}
