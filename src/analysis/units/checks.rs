//! Check loads: the tester's own record.

use crate::config::Config;
use crate::day::Day;
use crate::movement::check_record::right;
use crate::series::{CheckReading, Pass, SetAside, Use};

/// Check loads of one station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationChecks {
    /// Index into the stations.
    pub station: u16,
    /// Production days without any check.
    pub days_without: Vec<Day>,
    /// Checks with the wrong answer.
    pub wrong: Vec<WrongCheck>,
}

/// A check with the wrong answer.
#[derive(Debug, Clone, PartialEq)]
pub struct WrongCheck {
    /// The check.
    pub check: CheckReading,
    /// What the load must give, as in the config.
    pub expected: String,
    /// Product tests at the station from the last right answer of this load to this one.
    pub units_since_last_good: u64,
    /// Time of that last right answer; `None` where there is none.
    pub last_good: Option<i64>,
    /// Time of the next right answer.
    pub next_good: Option<i64>,
}

/// The record of every station's check loads; empty where the config names none.
#[must_use]
pub fn checks(pass: &Pass, config: &Config) -> Vec<StationChecks> {
    if config.check_loads.is_empty() {
        return Vec::new();
    }
    pass.station_days
        .iter()
        .map(|(station, days)| {
            let own: Vec<&CheckReading> =
                pass.checks.iter().filter(|c| c.station == *station).collect();
            let checked: std::collections::BTreeSet<Day> = own.iter().map(|c| c.day).collect();
            let wrong = own
                .iter()
                .filter_map(|check| {
                    let expected = &config.check_loads.get(&check.load)?.expect;
                    if right(check.outcome, expected) {
                        return None;
                    }
                    let good =
                        |c: &&&CheckReading| c.load == check.load && right(c.outcome, expected);
                    let last_good = own
                        .iter()
                        .filter(|c| c.time < check.time)
                        .filter(good)
                        .map(|c| c.time)
                        .max();
                    let next_good = own
                        .iter()
                        .filter(|c| c.time > check.time)
                        .filter(good)
                        .map(|c| c.time)
                        .min();
                    Some(WrongCheck {
                        check: (*check).clone(),
                        expected: expected.clone(),
                        units_since_last_good: tests_between(pass, *station, last_good, check.time),
                        last_good,
                        next_good,
                    })
                })
                .collect();
            StationChecks {
                station: *station,
                days_without: days.difference(&checked).copied().collect(),
                wrong,
            }
        })
        .collect()
}

fn tests_between(pass: &Pass, station: u16, from: Option<i64>, to: i64) -> u64 {
    pass.rows
        .iter()
        .filter(|row| {
            let product = !matches!(
                row.used,
                Use::SetAside(
                    SetAside::CheckLoad
                        | SetAside::OtherTest
                        | SetAside::Repeated
                        | SetAside::Clock
                )
            );
            product
                && pass.station_of_setup[row.record.setup as usize] == station
                && row.record.time < to
                && from.is_none_or(|f| row.record.time > f)
        })
        .count() as u64
}
