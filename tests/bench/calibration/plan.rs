//! Which series are simulated.

use rand::SeedableRng;
use rand_distr::{Distribution, Open01, StandardNormal};
use rand_pcg::Pcg64;

use leakdrift::movement::readings::value;
use leakdrift::stats::sample::{Grouped, Observation};

use crate::truth::Truth;

/// Lag-1 correlation of the daily levels.
const CORRELATION: f64 = 0.5;
/// Standard deviation of the daily levels, in spreads of the readings within a day.
const LEVELS: f64 = 0.6;

/// How the series of one row of the table are made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Units in a series.
    pub units: usize,
    /// Production days they are spread over.
    pub days: usize,
    /// Whether the days have levels of their own.
    pub levels: bool,
    /// Reading steps in a spread.
    pub steps: f64,
    /// Share of strays.
    pub strays: f64,
    /// Share of healthy units above the limit; 0: nothing trips.
    pub trips: f64,
}

impl Cell {
    /// Standard deviation of the daily levels.
    pub fn level_sd(&self, law: &Truth) -> f64 {
        if self.levels { LEVELS * law.spread() } else { 0.0 }
    }

    /// The reading step, mA.
    pub fn step(&self, law: &Truth) -> f64 {
        law.spread() / self.steps
    }

    /// The limit in force, mA, on an edge of the reading step; infinite where nothing trips.
    pub fn limit(&self, law: &Truth) -> f64 {
        if self.trips == 0.0 {
            return f64::INFINITY;
        }
        let x = law.upper_quantile_with_levels(self.trips, self.level_sd(law));
        let step = self.step(law);
        ((x / step).floor() + 0.5) * step
    }

    /// In words.
    pub fn words(&self) -> String {
        let mut parts = vec![format!("{} units, {} days", self.units, self.days)];
        if self.steps < 4.0 {
            parts.push("coarse step".to_owned());
        }
        if self.levels {
            parts.push("daily levels".to_owned());
        }
        if self.strays > 0.0 {
            parts.push(format!("{} % strays", 100.0 * self.strays));
        }
        if self.trips > 0.0 {
            parts.push(format!("{} % trip", 100.0 * self.trips));
        }
        parts.join(", ")
    }
}

/// The cells of the table.
pub fn cells() -> Vec<Cell> {
    let sizes = [(200, 40), (2_000, 60), (20_000, 120)];
    let mut cells = Vec::new();
    for (units, days) in sizes {
        let plain = Cell { units, days, levels: false, steps: 25.0, strays: 0.0, trips: 0.0 };
        cells.push(plain);
        cells.push(Cell { steps: 1.5, ..plain });
        cells.push(Cell { levels: true, ..plain });
        cells.push(Cell { strays: 0.003, ..plain });
        cells.push(Cell { strays: 0.01, ..plain });
        cells.push(Cell { trips: 0.005, ..plain });
    }
    // The hard cases together.
    cells.push(Cell {
        units: 2_000,
        days: 60,
        levels: true,
        steps: 1.5,
        strays: 0.003,
        trips: 0.005,
    });
    cells
}

/// Days and currents of one simulated series, not yet shown in steps or cut by a limit.
pub fn draw(law: &Truth, cell: &Cell, made: &Made, chance: &mut Pcg64) -> Vec<(i32, f64)> {
    let mut level: f64 = StandardNormal.sample(chance);
    let mut today = usize::MAX;
    (0..cell.units)
        .map(|unit| {
            let day = unit * cell.days / cell.units;
            if day != today {
                today = day;
                let news: f64 = StandardNormal.sample(chance);
                level = CORRELATION * level + (1.0 - CORRELATION * CORRELATION).sqrt() * news;
            }
            let stray: f64 = Open01.sample(chance);
            let mut reading = law.draw(chance) + made.level_sd * level;
            if stray < cell.strays {
                let how_far: f64 = Open01.sample(chance);
                // From the end of the healthy tail to six times as far.
                reading = made.median + (made.tail_end - made.median) * (1.0 + 5.0 * how_far);
            }
            (i32::try_from(day).expect("few days"), reading)
        })
        .collect()
}

/// One simulated series.
pub fn series(law: &Truth, cell: &Cell, made: &Made, chance: &mut Pcg64) -> Grouped {
    let lines = draw(law, cell, made, chance).into_iter().map(|(day, reading)| {
        let observation = if reading > made.limit {
            Observation::Above(made.limit)
        } else {
            value((reading / made.step).round().max(0.0) * made.step, made.step)
        };
        (day, observation, 1.0)
    });
    Grouped::new(lines).expect("finite readings")
}

/// Numbers of a law and cell that every series needs.
#[derive(Debug, Clone, Copy)]
pub struct Made {
    /// Standard deviation of the daily levels, mA.
    pub level_sd: f64,
    /// Reading step, mA.
    pub step: f64,
    /// Limit in force, mA.
    pub limit: f64,
    /// True median, mA.
    pub median: f64,
    /// The reading that 0.1 % of the healthy units exceed, mA.
    pub tail_end: f64,
}

impl Made {
    pub fn new(law: &Truth, cell: &Cell) -> Self {
        let level_sd = cell.level_sd(law);
        Self {
            level_sd,
            step: cell.step(law),
            limit: cell.limit(law),
            median: law.upper_quantile_with_levels(0.5, level_sd),
            tail_end: law.upper_quantile_with_levels(0.001, level_sd),
        }
    }
}

/// The generator of one replicate: the same whatever else is run.
pub fn chance(seed: u64, law: &str, cell: &Cell, replicate: u64) -> Pcg64 {
    let mut mixed = seed;
    let mut mix = |x: u64| {
        mixed = (mixed ^ x).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(29);
    };
    law.bytes().for_each(|b| mix(u64::from(b)));
    cell.words().bytes().for_each(|b| mix(u64::from(b)));
    mix(replicate);
    Pcg64::seed_from_u64(mixed)
}
