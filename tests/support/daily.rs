//! Daily medians of known truth: levels that hang together, lots, a room, and one planted movement.

use leakdrift::config::Config;
use leakdrift::movement::drift::{DayPoint, Drift, Shape as Found};
use leakdrift::movement::material::numbers_of;
use leakdrift::movement::material::{DriftNumbers, flag};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// Typical reading, mA.
pub const TYPICAL_MA: f64 = 1.0;
/// Standard deviation of the daily medians of a steady series, mA.
pub const DAILY_SD_MA: f64 = 0.01;
/// Monday, 2025-09-01, in days since 1970: the first production day.
const FIRST: i32 = 20_332;
/// Units behind each median.
const UNITS: f64 = 24.0;

/// The limit, mA: a room of a tenth of the typical reading.
const LIMIT_MA: f64 = 1.1 * TYPICAL_MA;
/// Reading step, mA.
const STEP_MA: f64 = 0.001;

/// Bought-in lots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lots {
    /// Production days of a lot.
    pub days: usize,
    /// Standard deviation of their levels, in that of the daily medians.
    pub sd: f64,
    /// Whether the points say which lot they are of.
    pub known: bool,
}

/// What moves. Sizes in standard deviations of the daily medians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moves {
    /// Nothing.
    Nothing,
    /// The level, on one production day.
    Step {
        /// Production day, from 0.
        at: usize,
        /// Change.
        size: f64,
    },
    /// A straight line from one production day to the end.
    Slope {
        /// Last production day at the old level.
        from: usize,
        /// Change by the last day.
        size: f64,
    },
    /// A straight line through the whole history, and a step on one production day.
    Both {
        /// Production day of the step, from 0.
        at: usize,
        /// Its size.
        step: f64,
        /// Change of the line by the last day.
        slope: f64,
    },
}

/// How a series is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Daily {
    /// Production days, Monday to Friday.
    pub days: usize,
    /// Lag-1 correlation of the daily levels.
    pub rho: f64,
    /// Lots, where it is made of lots.
    pub lots: Option<Lots>,
    /// Whether the level follows humidity, which is then recorded: 0.3 standard deviations a point, on a
    /// yearly wave of 16.5 points with 4 points of weather.
    pub humid: bool,
    /// The movement.
    pub moves: Moves,
}

/// Calendar day of a production day, in days since 1970.
pub fn calendar(day: usize) -> i32 {
    let day = i32::try_from(day).expect("few days");
    FIRST + day / 5 * 7 + day % 5
}

impl Daily {
    /// A steady series of so many days and lag-1 correlation.
    pub fn steady(days: usize, rho: f64) -> Self {
        Self { days, rho, lots: None, humid: false, moves: Moves::Nothing }
    }

    /// Change of the true level by a production day, mA.
    pub fn moved_ma(&self, day: usize) -> f64 {
        let size = match self.moves {
            Moves::Nothing => 0.0,
            Moves::Step { at, size } => {
                if day >= at {
                    size
                } else {
                    0.0
                }
            }
            Moves::Slope { from, size } => {
                let (now, start) = (f64::from(calendar(day)), f64::from(calendar(from)));
                let end = f64::from(calendar(self.days - 1));
                size * ((now - start) / (end - start)).max(0.0)
            }
            Moves::Both { at, step, slope } => {
                let done =
                    f64::from(calendar(day) - FIRST) / f64::from(calendar(self.days - 1) - FIRST);
                slope * done + if day >= at { step } else { 0.0 }
            }
        };
        DAILY_SD_MA * size
    }

    /// True change a month of 30.44 days on the last days, mA.
    pub fn per_month_ma(&self) -> f64 {
        match self.moves {
            Moves::Slope { from, size } => {
                let span = f64::from(calendar(self.days - 1) - calendar(from));
                DAILY_SD_MA * size / span * 30.44
            }
            Moves::Both { slope, .. } => {
                DAILY_SD_MA * slope / f64::from(calendar(self.days - 1) - FIRST) * 30.44
            }
            _ => 0.0,
        }
    }

    /// One series.
    pub fn points(&self, chance: &mut Pcg64) -> Vec<DayPoint> {
        let mut normal = || -> f64 { StandardNormal.sample(chance) };
        let mut level = normal();
        let mut lot_level = 0.0;
        (0..self.days)
            .map(|n| {
                if n > 0 {
                    level = self.rho * level + (1.0 - self.rho * self.rho).sqrt() * normal();
                }
                if let Some(lots) = self.lots.filter(|l| n % l.days == 0) {
                    lot_level = lots.sd * normal();
                }
                let day = calendar(n);
                let humidity = self.humid.then(|| {
                    let turn = std::f64::consts::TAU * f64::from(day + 31 - FIRST) / 365.25;
                    52.5 + 16.5 * turn.cos() + 4.0 * normal()
                });
                let from_room = humidity.map_or(0.0, |h| 0.3 * (h - 52.5));
                DayPoint {
                    day,
                    value_ma: TYPICAL_MA
                        + DAILY_SD_MA * (level + lot_level + from_room)
                        + self.moved_ma(n),
                    units: UNITS,
                    humidity,
                    temperature: None,
                    lot: self.lots.filter(|l| l.known).and_then(|l| u32::try_from(n / l.days).ok()),
                }
            })
            .collect()
    }
}

/// Certain and flagged in a plant of one series, with a limit a tenth above the typical reading.
pub fn flagged(drift: &Drift) -> (bool, bool) {
    let rules = Config::default();
    let numbers = DriftNumbers {
        x50_ma: TYPICAL_MA,
        high_limit_ma: Some(LIMIT_MA),
        reading_step_ma: STEP_MA,
        ..numbers_of(drift, drift.p_value, &rules)
    };
    let flag = flag(&numbers, &rules);
    let moved = drift.shape.is_some_and(|s| s != Found::Season);
    (flag.certain && moved, flag.flagged)
}

/// The generator of one replicate: the same whatever else is run.
pub fn generator(seed: u64, words: &str, replicate: u64) -> Pcg64 {
    let mut mixed = seed;
    let mut mix = |x: u64| {
        mixed = (mixed ^ x).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(29);
    };
    words.bytes().for_each(|b| mix(u64::from(b)));
    mix(replicate);
    Pcg64::seed_from_u64(mixed)
}
