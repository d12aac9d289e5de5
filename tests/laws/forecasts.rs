//! Whether a forecast holds the day on which rejects pass the accepted share: a few series of known truth. The full table
//! is that of `cargo bench --bench calibration -- --what drift --cell forecast`.

use leakdrift::analysis::body::healthy::{Ask, Crossing, healthy};
use leakdrift::analysis::body::offsets::ScaleError;
use leakdrift::config::Config;
use leakdrift::movement::edges::Edges;
use leakdrift::movement::readings::Reading;
use leakdrift::series::Says;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use rayon::prelude::*;

const DAYS: i32 = 120;
const A_DAY: usize = 20;
const STEP_MA: f64 = 0.001;
/// Spread on the first day, of the level then, and the rise by the last day.
const SPREAD: f64 = 0.05;
const RISE: f64 = 0.4;
/// Days ahead on which one healthy unit in a thousand lies above the limit.
const AHEAD: i32 = 60;

fn level(day: i32) -> f64 {
    1.0 + RISE * f64::from(day) / f64::from(DAYS - 1)
}

/// A product that rises to 1.4 times its level; its spread grows in proportion, or stands still.
fn crossing(seed: u64, in_proportion: bool) -> Option<Crossing> {
    let mut chance = Pcg64::seed_from_u64(seed);
    let spread = |day: i32| SPREAD * if in_proportion { level(day) } else { 1.0 };
    let mut readings: Vec<Reading> = (0..DAYS)
        .flat_map(|day| (0..A_DAY).map(move |_| day))
        .map(|day| {
            let z: f64 = StandardNormal.sample(&mut chance);
            let ma = ((level(day) + spread(day) * z) / STEP_MA).round() * STEP_MA;
            Reading { day, station: 0, ma, step_ma: STEP_MA, says: Says::Value, count: 1.0 }
        })
        .collect();
    readings.sort_by(|a, b| a.day.cmp(&b.day).then(a.ma.total_cmp(&b.ma)));
    let to = DAYS - 1;
    let then = to + AHEAD;
    let ask = Ask {
        edges: Edges::uniform(STEP_MA),
        step_ma: STEP_MA,
        limit_ma: Some(level(then) + 3.090_232 * spread(then)),
        low_limit_ma: None,
        slope: true,
        to,
        horizon: to + 90,
        longest_forecast: to,
        stations: Vec::new(),
        scale_error: ScaleError::default(),
    };
    healthy(&readings, &ask, &Config::default()).ok()?.crossing
}

/// The forecast holds its day however the spread goes with the level: 3 of 4 series each; more are
/// in the table. With a spread taken as constant where its own line is not certain, those in proportion held in about half.
#[test]
fn a_forecast_holds_its_day_however_the_spread_grows() {
    for in_proportion in [true, false] {
        let held = (0..4_u64)
            .into_par_iter()
            .filter_map(|seed| crossing(700 + seed, in_proportion))
            .filter(|c| c.low <= DAYS - 1 + AHEAD && c.high.is_none_or(|h| h >= DAYS - 1 + AHEAD))
            .count();
        assert!(held >= 3, "in proportion {in_proportion}: {held} of 4");
    }
}
