//! What holds for the charts of a jump in failures.

use super::chart_inputs::{assert_drawn, estimate};
use leakdrift::report::chart::jump_causes::{self, Bar, Causes};
use leakdrift::report::chart::jump_readings::{self, Readings, Side};
use leakdrift::report::chart::jump_split::{self, Part, Split};
use leakdrift::report::chart::{Chart, Layer};

fn causes_input() -> Causes {
    let bar = |words: &str, failures, expected, named| Bar {
        words: words.into(),
        failures,
        expected,
        named,
    };
    Causes {
        scope: "EM520".into(),
        period: "first tests of 2026-09-14 to 2026-10-09".into(),
        answer: "lot HE-26-31 explains 42 of the 45 failures beyond those expected".into(),
        rises: true,
        bars: vec![
            bar("lot HE-26-31\n180 units", 43.0, 0.3, true),
            bar("all other units", 8.0, 5.2, false),
        ],
    }
}

fn readings_input() -> Readings {
    let side = |words: &str, shift: f64, units: f64, tripped: f64, limit: f64| Side {
        words: words.into(),
        readings: (0..20).map(|i| (1.2 + 0.01 * f64::from(i) + shift, units)).collect(),
        tripped,
        limit: Some(limit),
    };
    Readings {
        scope: "EM520".into(),
        unit: "mA".into(),
        step: 0.01,
        moved: Some(1.012),
        before: side("before", 0.0, 250.0, 3.0, 1.45),
        after: side("since", 0.02, 20.0, 36.0, 1.45),
    }
}

/// Whether every level bar is in full colour, not a shade.
fn in_full_colour(chart: &Chart) -> bool {
    chart.layers().all(|l| !matches!(l, Layer::Span { shaded: true, .. }))
}

#[test]
fn a_cause_shows_failures_beside_those_expected_on_one_axis() {
    let input = causes_input();
    let chart = jump_causes::chart(&input).unwrap();
    assert!(in_full_colour(&chart));
    let ends: Vec<(f64, f64)> = chart
        .layers()
        .filter_map(|l| match l {
            Layer::Span { from, to, .. } => Some((*from, *to)),
            _ => None,
        })
        .collect();
    assert_eq!(ends, [(0.0, 0.3), (0.0, 43.0), (0.0, 5.2), (0.0, 8.0)]);
    assert!(ends.iter().all(|e| chart.x.holds(e.1)));
    let beside: Vec<&str> = chart.panels[0].beside.iter().map(|t| t.label.as_str()).collect();
    assert_eq!(beside, ["43 failed, 0.3 expected", "8 failed, 5.2 expected"]);
    assert_drawn(&chart);
    // Where fewer fail since the date, the failures are those of the time before.
    let fewer = jump_causes::chart(&Causes { rises: false, ..input }).unwrap();
    let names: Vec<&str> = fewer.layers().filter_map(Layer::name).collect();
    assert!(names.contains(&"expected by the share since"), "{names:?}");
    assert!(names.contains(&"failed before, explained"), "{names:?}");
}

#[test]
fn readings_before_and_since_lie_on_one_axis_and_trips_at_their_limit() {
    let chart = jump_readings::chart(&readings_input()).unwrap();
    let [panel] = chart.panels.as_slice() else { panic!("{} panels", chart.panels.len()) };
    let mut tops = Vec::new();
    for layer in &panel.layers {
        match layer {
            Layer::Bars { bars, .. } => tops.extend(bars.iter().map(|b| b.top)),
            Layer::Line { points, .. } => tops.extend(points.iter().map(|p| p.y)),
            Layer::Points { points, .. } => {
                assert!(points.iter().all(|p| p.x == 1.45), "trips at their limit");
                tops.extend(points.iter().map(|p| p.y));
            }
            _ => {}
        }
    }
    assert!(tops.iter().all(|t| panel.y.holds(*t)), "{tops:?}");
    // By hand: 36 of 436 units tripped.
    assert!(tops.iter().any(|t| (t - 3600.0 / 436.0).abs() < 1e-9), "{tops:?}");
    assert_drawn(&chart);
}

#[test]
fn parts_of_a_jump_say_their_unit_and_are_in_full_colour() {
    let part = |words: &str, value: f64| Part {
        words: words.into(),
        size: estimate(value, value - 0.01, value + 0.01, 0.95),
    };
    let chart = jump_split::chart(&Split {
        scope: "EM520".into(),
        period: "change of the share of failures".into(),
        parts: vec![
            part("another limit", 0.0),
            part("breakdowns", -0.014),
            part("together", 0.077),
        ],
    })
    .unwrap();
    assert!(in_full_colour(&chart));
    let beside: Vec<&str> = chart.panels[0].beside.iter().map(|t| t.label.as_str()).collect();
    assert_eq!(beside, ["none", "\u{2212}1.4 of 100", "+7.7 of 100"]);
    assert_drawn(&chart);
}
