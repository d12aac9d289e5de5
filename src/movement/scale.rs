//! One scale for each series: every reading as the series' middle station, in its latest state, would have shown it.
//!
//! Before units are judged, what a tester adds is taken off, for products and days alike: lasting offsets that are
//! certain, and steps that are certain and surely the tester's, which are those that two or more series show, or one
//! and a calibration or event of the station in the step's dates. On one series alone a line that builds in a wrong
//! part looks like a tester, and a rise of the product must not be taken off: such a step stays in the readings. So
//! does all that moves every station alike. A series of one station is in that station's latest scale, its lasting
//! offset never taken off. A limit stays as it was typed: it is of the middle station's scale, and carried to each
//! other station's.
//!
//! The middle station is the one at half the series' units, in order of what they read: numbers stay near to those
//! shown, and no station's own step or leads move them, as they would a mean.
//!
//! **What is uncertain.** A step's size is an estimate, so the delta method: the log of a pooled quantile moves by the
//! error of each offset times the share of units that it was taken off from, errors of different origin being
//! independent; [`OneScale::error`] is their root sum of squares, and widens every interval. Bracketing (the body again
//! at both ends of each step) says the same to a hundredth of a spread, at three times the work per step. Both hold
//! while an error is small beside the spread of the body: a shift of `e` spreads of half the units lengthens the far
//! tail by `0.4 e²`. So a step whose interval reaches further than a quarter of the spread ([`KNOWN_TO`]) cuts the
//! history instead, as one of the product does.

use std::collections::BTreeMap;

use crate::day::Day;
use crate::movement::edges::Edges;
use crate::movement::readings::Reading;
use crate::movement::stations::{Correction, Stations};
use crate::series::Says;

/// A step is taken off where its interval reaches no further than this part of the body's spread.
pub const KNOWN_TO: f64 = 0.25;
/// Ends of carried readings are rounded to this part of the coarsest reading step, so that a tally stays short.
const PARTS_OF_A_STEP: f64 = 8.0;
/// Fewest units of a station and day that say how much readings scatter.
const SPREAD_UNITS: f64 = 5.0;
/// Mean distance from the middle to standard deviation, normal data: `sqrt(pi / 2)`.
const DISTANCE_TO_SD: f64 = 1.253_314_137_315_500_3;

/// How a reading of one station and time comes to the one scale: `times` what is shown, and `plus`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carry {
    /// Ratio of gains.
    pub times: f64,
    /// What leads add less or more, mA.
    pub plus_ma: f64,
}

impl Carry {
    /// Readings are as they were shown.
    pub const AS_SHOWN: Self = Self { times: 1.0, plus_ma: 0.0 };

    /// A current that the station shows, on the one scale, mA.
    #[must_use]
    pub fn on_scale(self, shown_ma: f64) -> f64 {
        (shown_ma * self.times + self.plus_ma).max(0.0)
    }

    /// A current on the one scale as the station shows it, mA.
    #[must_use]
    pub fn at_station(self, ma: f64) -> f64 {
        (ma - self.plus_ma) / self.times
    }
}

/// A step that was taken off, or left in since it is known too badly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Station.
    pub station: u16,
    /// First day at the new level.
    pub day: Day,
    /// Standard error of its size, on the scale of logs.
    error: f64,
    /// Half the width of its interval, likewise.
    reach: f64,
}

/// The one scale of a series.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OneScale {
    /// The station whose latest state it is; `None` where nothing is taken off.
    pub of: Option<u16>,
    /// By station, from the first day on: since when, and how readings are carried.
    stretches: BTreeMap<u16, Vec<(Day, Carry)>>,
    steps: Vec<Step>,
    /// Standard error of each station's lasting offset, on the scale of logs.
    lasting: BTreeMap<u16, f64>,
}

impl OneScale {
    /// The scale of series `n` by what stations add.
    #[must_use]
    pub fn new(stations: Option<&Stations>, n: usize, readings: &[Reading]) -> Self {
        let mut units: BTreeMap<u16, f64> = BTreeMap::new();
        for r in readings {
            *units.entry(r.station).or_default() += r.count;
        }
        let (Some(known), false) = (stations, units.is_empty()) else { return Self::default() };
        let c = &known.correction;
        let total: f64 = readings.iter().map(|r| r.count).sum();
        let typical =
            readings.iter().filter(|r| r.says == Says::Value).map(|r| r.ma * r.count).sum::<f64>()
                / total;
        // Latest states, in order of what a typical unit reads there.
        let shows = |s: u16| {
            let s = usize::from(s);
            (typical + c.lead_ma(n, s)) * c.gain(s, Day::MAX)
        };
        let mut order: Vec<u16> = units.keys().copied().collect();
        order.sort_by(|a, b| shows(*a).total_cmp(&shows(*b)));
        let mut below = 0.0;
        let of = order.into_iter().find(|s| {
            below += units[s];
            2.0 * below >= total
        });
        let Some(of) = of else { return Self::default() };
        let (mut stretches, mut steps, mut lasting) =
            (BTreeMap::new(), Vec::new(), BTreeMap::new());
        for station in units.keys() {
            let s = usize::from(*station);
            let of_day = |day: Day| carry(c, n, s, usize::from(of), day);
            let mut own = vec![(Day::MIN, of_day(Day::MIN))];
            for step in c.steps(s) {
                own.push((step.day, of_day(step.day)));
                let (day, error, reach) = (step.day, step.error, step.reach);
                steps.push(Step { station: *station, day, error, reach });
            }
            own.sort_by_key(|stretch| stretch.0);
            stretches.insert(*station, own);
            lasting.insert(*station, c.lasting_error(n, s, typical));
        }
        Self { of: Some(of), stretches, steps, lasting }
    }

    /// How readings of a station and day are carried.
    #[must_use]
    pub fn carry(&self, station: u16, day: Day) -> Carry {
        self.stretches(station)
            .iter()
            .rfind(|stretch| stretch.0 <= day)
            .map_or(Carry::AS_SHOWN, |stretch| stretch.1)
    }

    /// How readings of a station are carried in its latest state.
    #[must_use]
    pub fn latest(&self, station: u16) -> Carry {
        self.carry(station, Day::MAX)
    }

    /// The steps that are taken off.
    #[must_use]
    pub fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// The stretches of a station, since when each.
    #[must_use]
    pub fn stretches(&self, station: u16) -> &[(Day, Carry)] {
        self.stretches.get(&station).map_or(&[], Vec::as_slice)
    }

    /// A reading on the one scale.
    #[must_use]
    pub fn carried(&self, r: &Reading) -> Reading {
        let carry = self.carry(r.station, r.day);
        let half = r.step_ma / 2.0;
        if carry.plus_ma != 0.0 && r.says == Says::Value && r.ma <= half {
            // A display at zero says only "below half a step".
            return Reading { ma: carry.on_scale(r.ma + half), says: Says::Below, ..*r };
        }
        Reading { ma: carry.on_scale(r.ma), step_ma: r.step_ma * carry.times, ..*r }
    }

    /// Readings on the one scale and on the edges of the coarsest step, on which cuts and thresholds must lie.
    ///
    /// A carried reading may lie across an edge; its units then go to either side as their parts of the interval
    /// lie, whole units and in order of day. Snapped to the nearest edge, a station that differs by less than half
    /// a step would not be carried at all; left across, a cut counts half a step of a station on the wrong side.
    #[must_use]
    pub fn on_edges(&self, readings: &[Reading], edges: &Edges) -> Vec<Reading> {
        let mut owed: BTreeMap<(u16, u64, u64), f64> = BTreeMap::new();
        let mut out = Vec::with_capacity(readings.len());
        for r in readings {
            let carry = self.carry(r.station, r.day);
            let moved = self.carried(r);
            if carry == Carry::AS_SHOWN || moved.says != Says::Value {
                out.push(moved);
                continue;
            }
            let grid = edges.step_at(moved.ma).unwrap_or(moved.step_ma) / PARTS_OF_A_STEP;
            let round = |x: f64| if grid > 0.0 { (x / grid).round() * grid } else { x };
            let (mut low, mut high) =
                (round(moved.ma - moved.step_ma / 2.0), round(moved.ma + moved.step_ma / 2.0));
            if high - low < grid {
                // A finer step than the grid: the cell that holds the reading.
                low = if grid > 0.0 { (moved.ma / grid).floor() * grid } else { low };
                high = low + grid;
            }
            let part = |low: f64, high: f64, count: f64| Reading {
                ma: low + (high - low) / 2.0,
                step_ma: high - low,
                count,
                ..moved
            };
            let edge = edges.at_or_above(low + grid / 2.0);
            if edge >= high - grid / 2.0 {
                out.push(part(low, high, r.count));
                continue;
            }
            let key = (r.station, r.ma.to_bits(), carry.times.to_bits());
            let owed = owed.entry(key).or_insert(0.5);
            *owed += r.count * (edge - low) / (high - low);
            let below = owed.floor().min(r.count);
            *owed -= below;
            out.extend((below > 0.0).then(|| part(low, edge, below)));
            out.extend((below < r.count).then(|| part(edge, high, r.count - below)));
        }
        out
    }

    /// What pooled readings may be wrong by since offsets and steps are estimates: standard error on the scale of
    /// logs.
    #[must_use]
    pub fn error(&self, readings: &[Reading]) -> f64 {
        self.error_by(|of| share(readings.iter(), of), |station| self.of == Some(station))
    }

    /// What the difference of two groups may be wrong by: an error that both have in the same share of their units is
    /// none of it.
    #[must_use]
    pub fn error_between<'a>(
        &self,
        one: impl Iterator<Item = &'a Reading> + Clone,
        other: impl Iterator<Item = &'a Reading> + Clone,
    ) -> f64 {
        self.error_by(|of| share(one.clone(), of) - share(other.clone(), of), |_| false)
    }

    /// Root sum of squares of every offset's and step's error times the part of the units that has it.
    fn error_by(
        &self,
        part: impl Fn(&dyn Fn(&Reading) -> bool) -> f64,
        is_reference: impl Fn(u16) -> bool,
    ) -> f64 {
        let steps =
            self.steps.iter().map(|s| s.error * part(&|r| r.station == s.station && r.day < s.day));
        let lasting = self.lasting.iter().map(|(station, error)| {
            let reference = f64::from(u8::from(is_reference(*station)));
            error * (part(&|r| r.station == *station) - reference)
        });
        let all = steps.chain(lasting).filter(|e| e.is_finite());
        all.map(|e| e * e).sum::<f64>().sqrt()
    }
}

impl Step {
    /// Whether its size is known well enough, beside a spread of the body on the scale of logs, for readings before
    /// and after it to be judged together.
    #[must_use]
    pub fn is_known(&self, spread: f64) -> bool {
        self.reach <= KNOWN_TO * spread
    }

    /// Half the width of the interval of its size, per cent.
    #[must_use]
    pub fn reach_pct(&self) -> f64 {
        100.0 * self.reach.exp_m1()
    }
}

/// The share of units that are such; 0 of none.
fn share<'a>(readings: impl Iterator<Item = &'a Reading>, of: &dyn Fn(&Reading) -> bool) -> f64 {
    let (such, all) = readings.fold((0.0, 0.0), |(such, all), r| {
        (such + if of(r) { r.count } else { 0.0 }, all + r.count)
    });
    if all > 0.0 { such / all } else { 0.0 }
}

/// How station `s` of a day comes to the latest state of station `of`.
fn carry(c: &Correction, n: usize, s: usize, of: usize, day: Day) -> Carry {
    let gain = c.gain(of, Day::MAX);
    Carry { times: gain / c.gain(s, day), plus_ma: gain * (c.lead_ma(n, of) - c.lead_ma(n, s)) }
}

/// Standard deviation of log readings about the middle of their station and day; 0 where no day has enough.
#[must_use]
pub fn log_spread(readings: &[Reading]) -> f64 {
    let (mut distance, mut units) = (0.0, 0.0);
    for cell in readings.chunk_by(|a, b| (a.day, a.station) == (b.day, b.station)) {
        let mut values: Vec<(f64, f64)> = cell
            .iter()
            .filter(|r| r.says == Says::Value && r.ma > 0.0)
            .map(|r| (r.ma.ln(), r.count))
            .collect();
        values.sort_by(|a, b| a.0.total_cmp(&b.0));
        let n: f64 = values.iter().map(|v| v.1).sum();
        if n < SPREAD_UNITS {
            continue;
        }
        let mut seen = 0.0;
        let middle = values.iter().find(|v| {
            seen += v.1;
            2.0 * seen >= n
        });
        let middle = middle.map_or(0.0, |m| m.0);
        // The middle is of the same units: as the mean of n takes one of n degrees of freedom.
        let small = (n / (n - 1.0)).sqrt();
        distance += small * values.iter().map(|v| v.1 * (v.0 - middle).abs()).sum::<f64>();
        units += n;
    }
    if units > 0.0 { DISTANCE_TO_SD * distance / units } else { 0.0 }
}
