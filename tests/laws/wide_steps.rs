//! Reading steps wider than half the spread: what lies inside a step is not known, and intervals say so.

use leakdrift::analysis::body::approximate::Approximate;
use leakdrift::analysis::body::describe::{Body, Options, describe};
use leakdrift::movement::edges::Edges;
use leakdrift::stats::numeric::increasing_root;
use leakdrift::stats::sample::Observation;
use rand::RngExt;

use super::estimators::grouped;
use super::families::generator;

const UNITS: usize = 3000;
/// Two thirds of the spread of the currents, 0.21 mA.
const STEP: f64 = 0.14;

/// Share at or below `1 + t` mA of a body that no family is: it ends at 2 mA. The second smallest of four even numbers
/// has that distribution, `t^2 (6 - 8 t + 3 t^2)`.
fn below(t: f64) -> f64 {
    t * t * (6.0 - 8.0 * t + 3.0 * t * t)
}

/// Such currents shown in steps; on 30 days alike.
fn body(seed: u64, step: f64) -> Body {
    let mut rng = generator(seed);
    let lines = (0..UNITS).map(|n| {
        let mut four: [f64; 4] = std::array::from_fn(|_| rng.random());
        four.sort_by(f64::total_cmp);
        let middle = ((1.0 + four[1]) / step).round() * step;
        let day = i32::try_from(n * 30 / UNITS).unwrap();
        let shown = Observation::Between { low: middle - step / 2.0, high: middle + step / 2.0 };
        (day, shown, 1.0)
    });
    describe(&grouped(&lines.collect()), &Edges::uniform(step), &Options::default()).unwrap()
}

/// Where inside a step the currents lie only the families would say, and this body is none of them.
#[test]
fn intervals_reach_to_the_edges_of_wide_steps() {
    let bodies: Vec<Body> = (400..430).map(|seed| body(seed, STEP)).collect();
    for p in [0.5, 0.95, 0.99] {
        let truth = 1.0 + increasing_root(|t| below(t) - p, 0.0, 1.0).unwrap();
        let holds = |body: &&Body| {
            let interval = body.quantile(body.which().unwrap(), p).unwrap();
            interval.low <= truth && truth <= interval.high
        };
        let held = bodies.iter().filter(holds).count();
        assert!(held >= 28, "{p}: {held} of 30");
    }
    let first = &bodies[0];
    // How far `U` went for it is known, and no further than a reading step of its own and one of the share's error.
    let (which, a) = (first.which().unwrap(), 0.01);
    let upper = first.bounds(which, a).unwrap().upper;
    let out = first.moved_out(which, a, upper);
    assert!(out > 0.0 && out <= 2.0 * STEP, "{out}");
    assert!(upper - out >= first.quantile_value(which, 1.0 - a).unwrap());
    assert!(first.approximate(0.001).contains(&Approximate::WideSteps));
    let (share, above) =
        (first.reject_share(first.which().unwrap(), 1.75).unwrap(), 1.0 - below(0.75));
    assert!(share.low <= above && above <= share.high, "{share:?}");
}

#[test]
fn fine_steps_are_left_alone() {
    let body = body(400, 0.01);
    assert!(!body.has_wide_steps());
    let which = body.which().unwrap();
    let upper = body.bounds(which, 0.001).unwrap().upper;
    assert!(body.moved_out(which, 0.001, upper).abs() < f64::MIN_POSITIVE);
    assert!(!body.approximate(0.001).contains(&Approximate::WideSteps));
    let half = body.quantile(body.which().unwrap(), 0.5).unwrap();
    assert!(half.high - half.low < 0.05, "{half:?}");
}
