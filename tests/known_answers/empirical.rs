//! The non-parametric distribution against published survival tables and by hand.

use leakdrift::stats::empirical::Empirical;
use leakdrift::stats::sample::{Observation, Sample};

use crate::support::checks::{assert_case, load};
use crate::support::numbers::assert_abs;
use crate::support::samples::straight;

/// Gehan (1965), the 6-MP arm; values as in Cox & Oakes (1984).
#[test]
fn kaplan_meier_6mp() {
    let case = load("km-6mp");
    let pairs = case["data"]["time_status"].as_array().unwrap();
    let sample = Sample::new(pairs.iter().map(|pair| {
        let time = pair[0].as_f64().unwrap();
        let event = pair[1].as_i64().unwrap() == 1;
        (if event { Observation::Exact(time) } else { Observation::Above(time) }, 1.0)
    }))
    .unwrap();
    let empirical = Empirical::of(&sample);
    for time in [6, 7, 10, 13, 16, 22, 23] {
        assert_case(&case, &format!("S[{time}]"), empirical.sf(f64::from(time)));
    }
    assert!(straight(&empirical, 0.9).is_none(), "beyond the last event nothing is known");
    assert_abs(straight(&empirical, 0.5).unwrap(), 23.0, 0.0);
}

/// By hand: (0,2], (1,3], (2,4] once each. Cells (1,2] and (2,3] carry the mass; (0,2] lies in the first,
/// (2,4] in the second, (1,3] in both, so each has a half.
#[test]
fn turnbull_overlapping_intervals_by_hand() {
    let between = |low, high| (Observation::Between { low, high }, 1.0);
    let sample = Sample::new([between(0.0, 2.0), between(1.0, 3.0), between(2.0, 4.0)]).unwrap();
    let empirical = Empirical::of(&sample);
    let cells = empirical.cells();
    assert_eq!(cells.len(), 2);
    assert_eq!((cells[0].low, cells[0].high, cells[1].low, cells[1].high), (1.0, 2.0, 2.0, 3.0));
    assert_abs(cells[0].mass, 0.5, 1e-9);
    assert_abs(straight(&empirical, 0.25).unwrap(), 1.5, 1e-9);
}

/// By hand: steps of 1, counts 1, 2, 1 and one trip above 2.5 of the last reading's edge.
#[test]
fn tally_with_trips_by_hand() {
    let between = |x: f64, count| (Observation::Between { low: x - 0.5, high: x + 0.5 }, count);
    let sample = Sample::new([
        between(1.0, 1.0),
        between(2.0, 2.0),
        (Observation::Above(2.5), 1.0),
        (Observation::Below(0.5), 1.0),
    ])
    .unwrap();
    let empirical = Empirical::of(&sample);
    assert_abs(empirical.cdf(0.5), 0.2, 1e-12);
    assert_abs(empirical.cdf(1.5), 0.4, 1e-12);
    assert_abs(empirical.cdf(2.5), 0.8, 1e-12);
    assert_abs(empirical.cdf(9.0), 0.8, 1e-12);
    assert!(straight(&empirical, 0.1).is_none());
    assert_abs(straight(&empirical, 0.6).unwrap(), 2.0, 1e-12);
}
