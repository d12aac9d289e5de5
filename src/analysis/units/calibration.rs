//! The calibration register against the tests: what was tested while a calibration was overdue.

use serde::Serialize;

use crate::day::{Day, as_date, as_date_if_any};
use crate::series::{Calibration, Pass, Register};

/// One calibration and the time it covers.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Covered {
    /// Instrument.
    pub instrument: String,
    /// Station; no test may have been made there.
    pub station: String,
    /// Last day that it covers.
    #[serde(serialize_with = "as_date_if_any")]
    pub due_on: Option<Day>,
    /// Day of the calibration.
    #[serde(serialize_with = "as_date")]
    pub done_on: Day,
    /// Tests made after it was due and before the next one, retests among them.
    pub tests_overdue: u64,
    /// Error found before any adjustment, per cent of the reading.
    pub error_pct: Option<f64>,
    /// Day of the next one of this instrument at this station.
    #[serde(serialize_with = "as_date_if_any")]
    pub next_done_on: Option<Day>,
    /// First day of tests made overdue.
    #[serde(serialize_with = "as_date_if_any")]
    pub overdue_from: Option<Day>,
    /// Last day.
    #[serde(serialize_with = "as_date_if_any")]
    pub overdue_to: Option<Day>,
    /// Production days among them.
    pub production_days_overdue: u64,
}

/// Every calibration of the register with the tests made while the next one was overdue; `None` without a
/// register.
///
/// The day on which it is due is the last one covered; on the day of the next calibration nothing is overdue,
/// since the register does not tell the hour.
#[must_use]
pub fn calibrations(pass: &Pass, register: &Register) -> Option<Vec<Covered>> {
    let all = register.calibrations.as_ref()?;
    let covered = all.iter().map(|calibration| {
        let same = |c: &&Calibration| {
            (&c.station, &c.instrument) == (&calibration.station, &calibration.instrument)
        };
        let next_done_on =
            all.iter().filter(same).map(|c| c.done_on).filter(|d| *d > calibration.done_on).min();
        let station = pass
            .plant
            .stations
            .iter()
            .position(|s| *s == calibration.station)
            .and_then(|n| u16::try_from(n).ok());
        let late: Vec<(Day, u64)> = match (station, calibration.due_on) {
            (Some(station), Some(due)) => pass
                .plant
                .station_tests
                .range((station, due + 1)..=(station, Day::MAX))
                .filter(|((_, day), _)| next_done_on.is_none_or(|next| *day < next))
                .map(|((_, day), tests)| (*day, *tests))
                .collect(),
            _ => Vec::new(),
        };
        Covered {
            instrument: calibration.instrument.clone(),
            station: calibration.station.clone(),
            due_on: calibration.due_on,
            done_on: calibration.done_on,
            tests_overdue: late.iter().map(|l| l.1).sum(),
            error_pct: calibration.error_pct,
            next_done_on,
            overdue_from: late.first().map(|l| l.0),
            overdue_to: late.last().map(|l| l.0),
            production_days_overdue: late.len() as u64,
        }
    });
    Some(covered.collect())
}
