//! Passes in doubt: units that passed while a tester read too low, counted again at the corrected reading.
//!
//! A tester's step up says that its readings before were too low, back to its previous step; a step down
//! with no calibration within three days says so of those since; an error found by a calibration beyond the
//! stated accuracy, where no step shows it, back to the calibration before. Each pass, retests too, is
//! counted again at its own limit, with the ends of the step's interval.

use crate::analysis::units::calibration::Covered;
use crate::day::Day;
use crate::movement::readings::ma;
use crate::movement::stations::Stations;
use crate::series::{NamedTest, Outcome, Pass, SetAside};
use crate::stats::estimate::Estimate;

/// Days about a step within which a calibration is the one that made it.
const BESIDE: Day = 3;

/// What showed that a tester read too low.
#[derive(Debug, Clone, PartialEq)]
pub enum Shows {
    /// Its readings stepped up: those before were too low.
    StepUp {
        /// First day at the new level.
        day: Day,
        /// The calibration at that time.
        calibrated: bool,
    },
    /// Its readings stepped down with no calibration at that time: those since may be too low.
    StepDown {
        /// First day at the new level.
        day: Day,
    },
    /// A calibration found it so.
    Calibration {
        /// The instrument.
        instrument: String,
        /// Day of the calibration.
        day: Day,
        /// Error found, per cent.
        error_pct: f64,
    },
}

/// A stretch of one station, counted again.
#[derive(Debug, Clone)]
pub struct Doubt {
    /// Index into the stations.
    pub station: u16,
    /// First day counted again.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// What the readings of the stretch must be raised by, per cent.
    pub raised_pct: Estimate,
    /// What showed it.
    pub shows: Shows,
    /// Passes with a reading and a known limit that were counted again.
    pub passes: u64,
    /// Passes above their own limit when raised by the lower and the upper end of the interval.
    pub ends: (u64, u64),
    /// Passes above their own limit when raised, in order of time.
    pub units: Vec<NamedTest>,
}

/// Every stretch in which a tester read too low: by a step of it, or by the register.
///
/// A calibration beside a step is the step's: its size was measured on the products. Retests that passed are
/// counted like first passes, since the unit went out on them. An error found within the stated accuracy
/// (`accuracy_pct`, per cent of the reading) is none.
#[must_use]
pub fn doubts(
    pass: &Pass,
    stations: Option<&Stations>,
    covered: Option<&[Covered]>,
    accuracy_pct: f64,
) -> Vec<Doubt> {
    let Some((first, last)) = pass.plant.days else {
        return Vec::new();
    };
    let covered = covered.unwrap_or_default();
    let mut found: Vec<Doubt> = Vec::new();
    let mut add = |station: u16, from: Day, to: Day, raised_pct: Estimate, shows: Shows| {
        if from <= to {
            found.push(Doubt {
                station,
                from,
                to,
                raised_pct,
                shows,
                passes: 0,
                ends: (0, 0),
                units: Vec::new(),
            });
        }
    };
    let mut explained: Vec<(u16, Day)> = Vec::new();
    for (n, station) in stations.iter().flat_map(|s| s.stations.iter().enumerate()) {
        let Ok(number) = u16::try_from(n) else {
            continue;
        };
        for (k, step) in station.moved.iter().enumerate() {
            let calibration = covered.iter().find(|c| {
                c.station == pass.plant.stations[n]
                    && (step.day_low - BESIDE..=step.day_high + BESIDE).contains(&c.done_on)
            });
            explained.extend(calibration.map(|c| (number, c.done_on)));
            let before = k.checked_sub(1).map_or(first, |b| station.moved[b].day);
            let after = station.moved.get(k + 1).map_or(last, |s| s.day - 1);
            if step.size_pct.value > 0.0 {
                let shows = Shows::StepUp { day: step.day, calibrated: calibration.is_some() };
                add(number, before, step.day - 1, step.size_pct.clone(), shows);
            } else if calibration.is_none()
                && let Some(raised) = inverse(&step.size_pct)
            {
                add(number, step.day, after, raised, Shows::StepDown { day: step.day });
            }
        }
    }
    for c in covered {
        let number = pass.plant.stations.iter().position(|s| *s == c.station);
        let (Some(station), Some(error)) =
            (number.and_then(|n| u16::try_from(n).ok()), c.error_pct)
        else {
            continue;
        };
        if error >= -accuracy_pct.max(0.0) || explained.contains(&(station, c.done_on)) {
            continue;
        }
        let previous = covered
            .iter()
            .filter(|p| {
                (&p.station, &p.instrument) == (&c.station, &c.instrument) && p.done_on < c.done_on
            })
            .map(|p| p.done_on)
            .max();
        let from = previous.map_or(first, |d| d.max(first));
        let raised = 100.0 * (1.0 / (1.0 + error / 100.0) - 1.0);
        let method = "error found by the calibration, as stated";
        if let Some(raised) = Estimate::new(raised, raised, raised, 0.95, method) {
            let shows = Shows::Calibration {
                instrument: c.instrument.clone(),
                day: c.done_on,
                error_pct: error,
            };
            add(station, from, (c.done_on - 1).min(last), raised, shows);
        }
    }
    count(pass, &mut found);
    found
}

/// What a fall by so many per cent is made good with.
fn inverse(fall: &Estimate) -> Option<Estimate> {
    let back = |pct: f64| 100.0 * (1.0 / (1.0 + pct / 100.0) - 1.0);
    Estimate::new(back(fall.value), back(fall.high), back(fall.low), fall.level, &fall.method)
}

fn count(pass: &Pass, found: &mut [Doubt]) {
    for doubt in found {
        let of_station = pass.tests().filter(|t| t.station == doubt.station && t.series.is_some());
        for test in of_station.flat_map(|t| t.within(doubt.from, doubt.to).all()) {
            let product =
                matches!(test.set_aside(), None | Some(SetAside::Retest | SetAside::Returned));
            if !product || test.outcome() != Outcome::Pass {
                continue;
            }
            let Some((value, limit)) = test.value_pa().zip(test.limits().high_pa) else {
                continue;
            };
            let above = |pct: f64| ma(value) * (1.0 + pct / 100.0) > ma(limit);
            let n = u64::from(test.count());
            doubt.passes += n;
            doubt.ends.0 += if above(doubt.raised_pct.low) { n } else { 0 };
            doubt.ends.1 += if above(doubt.raised_pct.high) { n } else { 0 };
            if above(doubt.raised_pct.value) {
                doubt.units.push(test.named());
            }
        }
        // Series before serial, as the counts by series are told.
        doubt.units.sort_by(|a, b| {
            (a.time, a.series, &a.serial, a.line).cmp(&(b.time, b.series, &b.serial, b.line))
        });
    }
}
