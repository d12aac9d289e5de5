//! A series' tally in milliamperes, each reading with the step of the instrument that made it.

use crate::day::Day;
use crate::movement::edges::Edges;
use crate::series::{Pass, Says};
use crate::stats::sample::{Grouped, Observation, SampleError};

/// So many units of one day and station with one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Production day.
    pub day: Day,
    /// Index into the pass's stations.
    pub station: u16,
    /// Reading, or the limit it lies above or below, mA.
    pub ma: f64,
    /// Reading step there, mA.
    pub step_ma: f64,
    /// What it says.
    pub says: Says,
    /// Units.
    pub count: f64,
}

impl Reading {
    /// What one row says about the unit's current (design section 4).
    pub fn observation(&self) -> Observation {
        match self.says {
            Says::Above => Observation::Above(self.ma),
            Says::Below => Observation::Below(self.ma),
            Says::Value => value(self.ma, self.step_ma),
        }
    }
}

/// A shown value as an interval of half a step to either side; zero says only "below half a step".
pub fn value(ma: f64, step_ma: f64) -> Observation {
    let half = step_ma / 2.0;
    if ma <= half {
        Observation::Below(ma + half)
    } else {
        Observation::Between { low: ma - half, high: ma + half }
    }
}

pub use crate::series::pa_to_ma as ma;

/// All readings of series `n` as shown, by day. Made when they are asked for: those of all series at once would be as
/// large as all tallies.
pub fn readings(pass: &Pass, n: usize) -> Vec<Reading> {
    let lines = &pass.series[n].tally;
    let mut all = Vec::with_capacity(lines.len());
    // A day's readings of a station stand together.
    for lines in lines.chunk_by(|a, b| a.station == b.station) {
        let steps = pass.plant.steps.of_one(n, lines[0].station);
        all.extend(lines.iter().map(|line| Reading {
            day: line.day,
            station: line.station,
            ma: ma(line.value_pa),
            step_ma: ma(steps.at(line.value_pa)),
            says: line.says,
            count: f64::from(line.count),
        }));
    }
    all
}

/// Readings of chosen days as a grouped sample.
///
/// # Errors
/// Where there is none.
pub fn grouped<'a>(readings: impl Iterator<Item = &'a Reading>) -> Result<Grouped, SampleError> {
    Grouped::new(readings.map(|r| (r.day, r.observation(), r.count)))
}

/// Edges of the coarsest step, by size of reading, among `stations`: those that tested series `n`.
pub fn edges(pass: &Pass, n: usize, stations: &[u16]) -> Edges {
    let steps = &pass.plant.steps;
    let mut starts: Vec<i64> =
        stations.iter().flat_map(|s| steps.of(n, *s).iter().map(|r| r.from_pa)).collect();
    starts.sort_unstable();
    starts.dedup();
    Edges::by_size(
        starts
            .into_iter()
            .map(|from| {
                let step = stations.iter().map(|s| steps.at(n, *s, from)).max().unwrap_or(1);
                (ma(from), ma(step))
            })
            .collect(),
    )
}

/// The coarsest step, in mA, among the stations of series `n` at this reading.
pub fn coarsest_step(pass: &Pass, n: usize, stations: &[u16], at_ma: f64) -> f64 {
    let pa = crate::series::ma_to_pa(at_ma).unwrap_or(0);
    let steps = stations.iter().map(|s| pass.plant.steps.at(n, *s, pa));
    ma(steps.max().unwrap_or(1))
}

/// Stations that made readings, each once, in order.
pub fn stations(readings: &[Reading]) -> Vec<u16> {
    let mut stations: Vec<u16> = readings.iter().map(|r| r.station).collect();
    stations.sort_unstable();
    stations.dedup();
    stations
}
