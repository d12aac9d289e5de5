//! What holds for the low side of every body, on simulated factories. Seeds are fixed; bands allow for the
//! number of replicates.

use leakdrift::analysis::NotDone;
use leakdrift::analysis::body::describe::{Body, Options, Which, describe};
use leakdrift::analysis::body::healthy::{Ask, healthy};
use leakdrift::analysis::body::low_side::{LowEnd, LowSide};
use leakdrift::analysis::body::offsets::ScaleError;
use leakdrift::config::Config;
use leakdrift::movement::edges::Edges;
use leakdrift::movement::readings::Reading;
use leakdrift::series::Says;
use leakdrift::stats::estimate::Estimate;
use leakdrift::stats::sample::{Grouped, Observation};
use leakdrift::stats::special::{normal_cdf, normal_quantile};

use super::body::normals;
use crate::support::numbers::assert_rel;

const STEP: f64 = 0.01;
const DAYS: usize = 40;

/// Readings spread evenly over the days, in steps of `0.01 × unit`, in the unit asked for.
fn body_in(readings: &[f64], unit: f64, groups: bool) -> Body {
    let n = readings.len();
    let step = STEP * unit;
    let data = Grouped::new(readings.iter().enumerate().map(|(i, x)| {
        let shown = (x / STEP).round();
        let o = Observation::Between { low: (shown - 0.5) * step, high: (shown + 0.5) * step };
        (i32::try_from(i * DAYS / n).expect("few days"), o, 1.0)
    }))
    .unwrap();
    let mut how = Options::default();
    if !groups {
        how.groups = None;
    }
    describe(&data, &Edges::uniform(step), &how).unwrap()
}

fn lognormal(seed: u64, n: usize) -> Vec<f64> {
    normals(seed, n).iter().map(|z| 2.0 * (0.10 * z).exp()).collect()
}

/// Two thirds around 2.0, one third around 2.4, each with a spread of 0.06.
fn two_groups(seed: u64, n: usize) -> Vec<f64> {
    let z = normals(seed, n);
    z.iter().enumerate().map(|(i, z)| if i % 3 == 0 { 2.4 } else { 2.0 } + 0.06 * z).collect()
}

fn two_groups_below(x: f64) -> f64 {
    (2.0 * normal_cdf((x - 2.0) / 0.06) + normal_cdf((x - 2.4) / 0.06)) / 3.0
}

fn both(body: &Body, limit: f64) -> (Estimate, Estimate) {
    let low = LowSide::of(body, limit);
    (low.performance.unwrap(), low.reject_share.unwrap())
}

fn brackets(e: &Estimate) -> bool {
    e.low <= e.value && e.value <= e.high
}

/// 1 000 lognormal units, 60 times: index and expected share cover the truth in 95 %.
#[test]
fn intervals_cover_the_truth() {
    let limit = 1.5;
    let reference = 2.0 * (0.10 * normal_quantile(0.001_35)).exp();
    let index = (2.0 - limit) / (2.0 - reference);
    let share = normal_cdf((limit / 2.0_f64).ln() / 0.10);
    let (mut by_index, mut by_share, mut by_bound) = (0, 0, 0);
    let x001 = 2.0 * (0.10 * normal_quantile(0.001)).exp();
    for seed in 0..60 {
        let body = body_in(&lognormal(3000 + seed, 1000), 1.0, false);
        let (a, b) = both(&body, limit);
        by_index += u32::from(a.contains(index));
        by_share += u32::from(b.contains(share));
        let bounds = LowEnd::of(&body).unwrap().bounds(0.001).unwrap();
        by_bound += u32::from(bounds.lower <= x001);
    }
    // 95 % of 60 is 57, standard deviation 1.7.
    for hits in [by_index, by_share, by_bound] {
        assert!(hits >= 52, "{by_index} {by_share} {by_bound} of 60");
    }
}

/// Where no family describes the series, the lowest readings answer: inside and beyond the data.
#[test]
fn two_groups_are_answered_by_their_lowest_readings() {
    let body = body_in(&two_groups(31, 6000), 1.0, true);
    assert!(body.families_fail());
    for limit in [1.80, 1.85, 1.90, 1.97, 2.1] {
        let (index, share) = both(&body, limit);
        let truth = two_groups_below(limit);
        assert!(share.contains(truth), "{limit}: {share:?} {truth}");
        assert!(brackets(&index) && brackets(&share));
    }
    // A limit far below every reading: next to none, and the interval says so too.
    let (_, far) = both(&body, 0.3);
    assert!(far.high < 1e-6, "{far:?}");
}

/// The low side of readings turned round is their upper side where no family answers, but for the line of
/// the tail: readings here, the scores of a law there.
#[test]
fn lowest_readings_are_the_highest_turned_round() {
    let readings = two_groups(32, 6000);
    let turned: Vec<f64> = readings.iter().map(|x| 4.0 - (x / STEP).round() * STEP).collect();
    let (body, mirror) = (body_in(&readings, 1.0, true), body_in(&turned, 1.0, true));
    assert!(body.families_fail() && mirror.families_fail());
    for limit in [2.55, 2.6, 2.7] {
        let (index, share) = both(&mirror, 4.0 - limit);
        let pairs = [
            (index, body.performance(Which::Together, limit).unwrap()),
            (share, body.reject_share(Which::Together, limit).unwrap()),
        ];
        for (low, high) in pairs {
            assert!(high.contains(low.value) && low.contains(high.value), "{low:?} {high:?}");
        }
    }
}

/// Other units, same answer; and a limit further away never raises the expected share.
#[test]
fn units_change_nothing_and_a_lower_limit_rejects_no_more() {
    for (readings, groups) in [(lognormal(33, 3000), false), (two_groups(34, 3000), true)] {
        let (body, in_ua) = (body_in(&readings, 1.0, groups), body_in(&readings, 1000.0, groups));
        let mut before = (0.0, 0.0, 0.0);
        for k in 0..60 {
            let limit = 0.9 + 0.02 * f64::from(k);
            let (index, share) = both(&body, limit);
            assert!(brackets(&index) && brackets(&share), "{limit}");
            assert!((0.0..=1.0).contains(&share.low) && share.high <= 1.0);
            // The ends may wobble by the width of the search.
            assert!(share.value >= before.0, "{limit}: {share:?} after {before:?}");
            before = (share.value, share.low, share.high);
            if k % 15 == 0 {
                let (a, b) = both(&in_ua, 1000.0 * limit);
                assert_rel(a.value, index.value, 1e-4);
                assert_rel(b.value.max(1e-30).ln(), share.value.max(1e-30).ln(), 1e-4);
            }
        }
    }
}

/// Open leads at 0.05 mA are strays below: the low side stays that of the healthy units. Counted in, they
/// alone would make the share of them that is stated.
#[test]
fn open_leads_are_no_part_of_the_low_end() {
    for (clean, groups, limit, leads) in
        [(lognormal(35, 6000), false, 1.4, 0.003), (two_groups(36, 6000), true, 1.83, 0.01)]
    {
        let mut dirty = clean.clone();
        let every = (1.0_f64 / leads).round() as usize;
        for x in dirty.iter_mut().skip(50).step_by(every) {
            *x = 0.05;
        }
        let (before, after) = (body_in(&clean, 1.0, groups), body_in(&dirty, 1.0, groups));
        assert!(after.strays.below.count >= 6000.0 * leads * 0.99);
        assert_eq!(before.families_fail(), after.families_fail());
        let ((a, share_a), (b, share_b)) = (both(&before, limit), both(&after, limit));
        assert_rel(b.value, a.value, 0.02);
        assert!(share_a.contains(share_b.value), "{share_a:?} {share_b:?}");
        assert!(share_b.high < 0.5 * leads, "{share_b:?}");
    }
}

/// A body that no answer describes gives its reason on both numbers.
#[test]
fn no_answer_gives_its_reason() {
    let mut body = body_in(&lognormal(37, 500), 1.0, false);
    body.in_use = Err(NotDone::Neither("by hand".to_owned()));
    let low = LowSide::of(&body, 1.0);
    assert_eq!(low.performance, Err(NotDone::Neither("by hand".to_owned())));
    assert_eq!(low.reject_share, Err(NotDone::Neither("by hand".to_owned())));
    assert!(LowEnd::of(&body).is_err());
}

/// A median that rises from 2.0 to 2.6 with a spread of 0.2: carried, the numbers are those of the last day.
#[test]
fn a_slope_is_carried_to_the_last_day() {
    let (limit, last) = (1.9, 59);
    let index = (2.6 - limit) / (0.2 * -normal_quantile(0.001_35));
    let share = normal_cdf((limit - 2.6) / 0.2);
    let config = Config::default();
    let (mut by_index, mut by_share) = (0, 0);
    for seed in 0..8 {
        let readings: Vec<Reading> = normals(4000 + seed, 2400)
            .iter()
            .enumerate()
            .map(|(i, z)| {
                let day = i32::try_from(i / 40).unwrap();
                let x = 2.0 + 0.6 * f64::from(day) / f64::from(last) + 0.2 * z;
                Reading {
                    day,
                    station: 0,
                    ma: (x / STEP).round() * STEP,
                    step_ma: STEP,
                    says: Says::Value,
                    count: 1.0,
                }
            })
            .collect();
        let edges = Edges::uniform(STEP);
        let ask = Ask {
            edges: edges.clone(),
            step_ma: STEP,
            limit_ma: Some(5.0),
            low_limit_ma: Some(limit),
            slope: true,
            to: last,
            horizon: last + 30,
            longest_forecast: last,
            stations: Vec::new(),
            scale_error: ScaleError::default(),
        };
        let found = healthy(&readings, &ask, &config).unwrap();
        assert!(found.lines.is_some());
        let low = found.low.unwrap();
        let (a, b) = (low.performance.unwrap(), low.reject_share.unwrap());
        by_index += u32::from(a.contains(index));
        by_share += u32::from(b.contains(share));
        // The body moves away from the low limit.
        assert!(low.reject_share_at_horizon.unwrap() < b.value, "{b:?}");
        let without = Ask { low_limit_ma: None, slope: false, ..ask.clone() };
        if seed == 0 {
            assert!(healthy(&readings, &without, &config).unwrap().low.is_none());
        }
    }
    // Design section 8: carried, 80 to 97 %.
    assert!(by_index >= 6 && by_share >= 6, "{by_index} {by_share} of 8");
}
