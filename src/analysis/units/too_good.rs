//! Too good to be true: a display that stands still, a station that finds nothing, a spread that collapses.
//!
//! A run of equal readings counts where it is expected less often than the setting by the share of that
//! value among 200 neighbours; failures where they are at most a quarter of what the other stations predict
//! in the same months, and that rarer than 1 in 100 over all questions (found for a tester that reads low
//! too, and then said to be explained); a spread where the middle half of a month is under half as wide as
//! in the three months before, at 4 standard errors, while no other station's narrows. Quartiles, since a
//! few open leads widen any outer pair.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::analysis::body::by_size::BySize;
use crate::config::Config;
use crate::day::Day;
use crate::day::month_of;
use crate::movement::Movement;
use crate::movement::readings::{Reading, ma, readings};
use crate::movement::stations::Stations;
use crate::series::{NamedTest, Outcome, OutcomeLine, Pass, Says, Test, Tests};
use crate::stats::special::gamma_ln_sf;

/// Readings to either side of a run from which the share of its value is taken.
const BESIDE: usize = 200;
/// Units that the others must have tested of a series in a month to predict a station's failures.
const OTHERS: f64 = 20.0;
/// Predicted failures from which a station without any is too good…
const PREDICTED: f64 = 3.0;
/// …and chance, over all stations and stretches, below which it is.
const FEW_BY_CHANCE: f64 = 0.01;
/// A station with some failures is too good at this share of the predicted ones.
const FEW_SHARE: f64 = 0.25;
/// Months before from which a month's spread is predicted.
const MONTHS_BEFORE: usize = 3;
/// Share of the spread before at which a spread has collapsed.
const COLLAPSED: f64 = 0.5;
/// Standard errors beyond which a narrower spread is no chance.
const CLEAR: f64 = 4.0;
/// Reading steps that a spread must span to be a spread.
const STEPS: f64 = 4.0;

/// One value repeated far beyond chance.
#[derive(Debug, Clone)]
pub struct Frozen {
    /// Series.
    pub series: usize,
    /// Station.
    pub station: u16,
    /// The value, mA.
    pub reading_ma: f64,
    /// Expected number of such runs of this station and series by chance.
    pub by_chance: f64,
    /// The units, in order of time.
    pub units: Vec<NamedTest>,
}

/// A station that fails far fewer units than the others predict.
#[derive(Debug, Clone, PartialEq)]
pub struct FewFailures {
    /// Station.
    pub station: u16,
    /// First and last day of the stretch between steps of the station.
    pub days: (Day, Day),
    /// Failures at the station, and as many as it would have if it failed like all.
    pub failed: u64,
    /// The latter.
    pub predicted: f64,
    /// Chance of so few anywhere, over all stations and series.
    pub p_value: f64,
    /// The series; `None` where it is all together.
    pub series: Option<usize>,
}

/// A spread that collapsed at one station.
#[derive(Debug, Clone, PartialEq)]
pub struct Collapsed {
    /// Series.
    pub series: usize,
    /// Station.
    pub station: u16,
    /// The month, and its first and last day with readings.
    pub month: (i32, u32),
    /// Those days.
    pub days: (Day, Day),
    /// Width of the middle half of the units, mA.
    pub width_ma: f64,
    /// The same in the months before, mA.
    pub before_ma: f64,
}

/// Everything that is too good.
#[derive(Debug, Clone, Default)]
pub struct TooGood {
    /// Displays that stood still.
    pub frozen: Vec<Frozen>,
    /// Stations that find too little.
    pub few_failures: Vec<FewFailures>,
    /// Spreads that collapsed.
    pub collapsed: Vec<Collapsed>,
}

/// Looks for all three.
#[must_use]
pub fn too_good(pass: &Pass, movement: &Movement, config: &Config) -> TooGood {
    TooGood {
        frozen: (0..pass.series.len())
            .into_par_iter()
            .flat_map_iter(|n| pass.tests_of(n).flat_map(move |tests| frozen(n, tests, config)))
            .collect(),
        few_failures: few_failures(pass, movement.stations.as_ref().ok()),
        collapsed: (0..pass.series.len())
            .into_par_iter()
            .flat_map_iter(|n| collapsed(n, &readings(pass, n), config.month_units))
            .collect(),
    }
}

/// Passes of one station one after the other with one value.
///
/// Chance: `N p^(k - 1)` for a run of `k` among `N` passes, `p` the share of the value among up to 200
/// passes to either side, one added.
fn frozen(series: usize, tests: Tests<'_>, config: &Config) -> Vec<Frozen> {
    // Lines of a tally stand in the order of their readings, not of the tests.
    let passes = || tests.passes().filter(|t| t.value_pa().is_some() && !t.is_tallied());
    let shown: Vec<i64> = passes().filter_map(Test::value_pa).collect();
    let mut found = Vec::new();
    let mut start = 0;
    for run in shown.chunk_by(|a, b| a == b) {
        let (from, to) = (start, start + run.len());
        start = to;
        if run.len() < config.frozen_readings.max(2) {
            continue;
        }
        let beside = shown[from.saturating_sub(BESIDE)..from]
            .iter()
            .chain(&shown[to..(to + BESIDE).min(shown.len())]);
        let (mut all, mut same) = (2.0, 1.0);
        for other in beside {
            all += 1.0;
            same += f64::from(u8::from(*other == run[0]));
        }
        let share: f64 = same / all;
        let by_chance = shown.len() as f64 * share.powf(run.len() as f64 - 1.0);
        if by_chance < config.frozen_chance {
            found.push(Frozen {
                series,
                station: tests.station,
                reading_ma: ma(run[0]),
                by_chance,
                units: passes().skip(from).take(run.len()).map(Test::named).collect(),
            });
        }
    }
    found
}

fn is_failure(outcome: Outcome) -> bool {
    matches!(outcome, Outcome::OverLimit | Outcome::Breakdown | Outcome::Arc | Outcome::Failed)
}

/// Stations that fail far fewer units than others do of the same series in the same months: of one series, or,
/// where no series alone shows it, of all together.
///
/// Predicted: in each cell of series and month the station's share of the units times the failures of all.
/// Chance: Poisson, which is no narrower than the counts that it stands for, times the questions asked.
fn few_failures(pass: &Pass, stations: Option<&Stations>) -> Vec<FewFailures> {
    let Some((first, last)) = pass.plant.days else {
        return Vec::new();
    };
    let mut stretches: Vec<(u16, Day, Day)> = Vec::new();
    for station in pass.plant.station_days.keys() {
        let mut from = first;
        let moved = stations.map_or(&[][..], |s| &s.stations[usize::from(*station)].moved);
        for step in moved {
            stretches.push((*station, from, step.day - 1));
            from = step.day;
        }
        stretches.push((*station, from, last));
    }
    let questions = (stretches.len() * (pass.series.len() + 1)) as f64;
    let mut found = Vec::new();
    for &(station, from, to) in &stretches {
        let counts: Vec<(u64, f64)> = pass
            .series
            .iter()
            .map(|s| failed_and_predicted(&s.outcomes, station, (from, to)))
            .collect();
        let all = (counts.iter().map(|c| c.0).sum(), counts.iter().map(|c| c.1).sum());
        let asked = |series: Option<usize>, (failed, predicted): (u64, f64)| {
            if predicted < PREDICTED || failed as f64 > FEW_SHARE * predicted {
                return None;
            }
            // At most k events of a Poisson count: the upper tail of a gamma law of shape k + 1.
            let p_value = gamma_ln_sf(failed as f64 + 1.0, predicted).exp() * questions;
            (p_value < FEW_BY_CHANCE).then_some(FewFailures {
                station,
                days: (from, to),
                failed,
                predicted,
                p_value,
                series,
            })
        };
        let alone: Vec<FewFailures> =
            counts.iter().enumerate().filter_map(|(n, c)| asked(Some(n), *c)).collect();
        if alone.is_empty() {
            found.extend(asked(None, all));
        }
        found.extend(alone);
    }
    found
}

/// Failures of a station between two days, and as many as it would have if it failed like all.
fn failed_and_predicted(outcomes: &[OutcomeLine], station: u16, days: (Day, Day)) -> (u64, f64) {
    // Units and failures of the station and of all, by month.
    let mut cells: BTreeMap<(i32, u32), [f64; 4]> = BTreeMap::new();
    let inside =
        outcomes.iter().filter(|o| (days.0..=days.1).contains(&o.day) && o.outcome.is_completed());
    for o in inside {
        let cell = cells.entry(month_of(o.day)).or_default();
        let units = f64::from(o.count);
        let fails = if is_failure(o.outcome) { units } else { 0.0 };
        cell[2] += units;
        cell[3] += fails;
        if o.station == station {
            cell[0] += units;
            cell[1] += fails;
        }
    }
    let (mut failed, mut predicted) = (0.0, 0.0);
    for [own, own_failed, all, all_failed] in cells.into_values() {
        if own > 0.0 && all - own >= OTHERS {
            failed += own_failed;
            predicted += all_failed * own / all;
        }
    }
    (failed as u64, predicted)
}

/// Months in which one station's spread is far below that of its months before while the others' is not.
///
/// Standard error of the width from quartile to quartile of `n` normal readings: 1.17/√n of itself (from the
/// densities at the quartiles). Quartiles, since a few open leads in the months before widen any outer pair.
fn collapsed(series: usize, readings: &[Reading], fewest: f64) -> Vec<Collapsed> {
    struct Cell {
        days: (Day, Day),
        units: f64,
        width: f64,
        step: f64,
    }
    let mut by: BTreeMap<(u16, (i32, u32)), Vec<Reading>> = BTreeMap::new();
    for same in readings.chunk_by(|a, b| a.day == b.day && a.station == b.station) {
        let cell = by.entry((same[0].station, month_of(same[0].day))).or_default();
        cell.extend(same.iter().filter(|r| r.says == Says::Value));
    }
    let cells: BTreeMap<(u16, (i32, u32)), Cell> = by
        .into_iter()
        .filter_map(|(key, group)| {
            let units: f64 = group.iter().map(|r| r.count).sum();
            if units < fewest {
                return None;
            }
            let step = group.iter().map(|r| r.step_ma).fold(0.0, f64::max);
            let by_size = BySize::new(&group);
            let width = by_size.quantile(0.75)? - by_size.quantile(0.25)?;
            let days = (group.first()?.day, group.last()?.day);
            Some((key, Cell { days, units, width: width.max(step), step }))
        })
        .collect();
    // Width of a month against the months before at one station, with its standard error.
    let narrower = |station: u16, month: (i32, u32)| -> Option<(f64, f64, f64)> {
        let own = cells.get(&(station, month))?;
        let before: Vec<&Cell> = cells
            .range((station, (i32::MIN, 0))..(station, month))
            .rev()
            .take(MONTHS_BEFORE)
            .map(|c| c.1)
            .collect();
        if before.len() < MONTHS_BEFORE {
            return None;
        }
        let units: f64 = before.iter().map(|c| c.units).sum();
        let width = before.iter().map(|c| c.units * c.width).sum::<f64>() / units;
        let se = 1.17 * (1.0 / own.units + 1.0 / units).sqrt();
        (width >= STEPS * own.step).then_some((own.width / width, width, se))
    };
    let stations: Vec<u16> = {
        let mut all: Vec<u16> = cells.keys().map(|k| k.0).collect();
        all.dedup();
        all
    };
    cells
        .iter()
        .filter_map(|(&(station, month), cell)| {
            let (ratio, before_ma, se) = narrower(station, month)?;
            let clear = ratio < COLLAPSED && ratio.ln() < -CLEAR * se;
            // A product that narrows, narrows everywhere.
            let elsewhere = stations
                .iter()
                .filter(|s| **s != station)
                .filter_map(|s| narrower(*s, month))
                .any(|(r, ..)| r < 0.7);
            (clear && !elsewhere).then_some(Collapsed {
                series,
                station,
                month,
                days: cell.days,
                width_ma: cell.width,
                before_ma,
            })
        })
        .collect()
}
