//! The calibration register against the tests: what was tested while a calibration was overdue.

use crate::day::Day;
use crate::records::{Calibration, Register};
use crate::series::Pass;

/// One calibration and the time it covers.
#[derive(Debug, Clone, PartialEq)]
pub struct Covered {
    /// The calibration.
    pub calibration: Calibration,
    /// Index into the stations; `None` where no test was made there.
    pub station: Option<u16>,
    /// Day of the next one of this instrument at this station.
    pub next_done_on: Option<Day>,
    /// First and last day of tests made after it was due and before the next one.
    pub overdue: Option<(Day, Day)>,
    /// Production days among them.
    pub days_overdue: u64,
    /// Tests made then, retests among them.
    pub tests_overdue: u64,
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
            .stations
            .iter()
            .position(|s| *s == calibration.station)
            .and_then(|n| u16::try_from(n).ok());
        let late: Vec<(Day, u64)> = match (station, calibration.due_on) {
            (Some(station), Some(due)) => pass
                .station_tests
                .range((station, due + 1)..=(station, Day::MAX))
                .filter(|((_, day), _)| next_done_on.is_none_or(|next| *day < next))
                .map(|((_, day), tests)| (*day, *tests))
                .collect(),
            _ => Vec::new(),
        };
        Covered {
            calibration: calibration.clone(),
            station,
            next_done_on,
            overdue: late.first().zip(late.last()).map(|(a, b)| (a.0, b.0)),
            days_overdue: late.len() as u64,
            tests_overdue: late.iter().map(|l| l.1).sum(),
        }
    });
    Some(covered.collect())
}
