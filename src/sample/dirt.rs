//! The dirt of real exports, planted in the finished rows: exact, and all of it known.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::calendar::{self, Shift, day};
use super::chance::Chance;
use super::schedule::{Spoiled, Test};
use super::stations::Station;
use super::testing::Outcome;

/// One file of a station: its name and its rows, by their places in the station's list. A row that
/// an earlier file holds already is marked as repeated.
#[derive(Clone, Debug)]
pub struct PlannedFile {
    /// Whose file.
    pub station: Station,
    /// Name inside the station's folder.
    pub name: String,
    /// The first and last day it covers, as the plan has it.
    pub month: String,
    /// Its rows in order.
    pub rows: Vec<PlannedRow>,
}

/// One row of a file.
#[derive(Clone, Copy, Debug)]
pub struct PlannedRow {
    /// Place in the station's list of tests.
    pub test: usize,
    /// Whether an earlier file holds it too.
    pub repeated: bool,
}

/// Plants everything that is wrong with single rows.
pub(super) fn soil(seed: u64, rows: &mut BTreeMap<Station, Vec<Test>>) {
    for (station, tests) in rows.iter_mut() {
        tests.retain(|t| exported(*station, t));
    }
    typed_retests(rows);
    for (station, tests) in rows.iter_mut() {
        match station {
            Station::A1 => {
                let nameless = day(2026, 1, 20);
                for t in tests.iter_mut().filter(|t| !t.is_check()) {
                    if t.instant.date() == nameless && t.shift == Shift::Early {
                        t.serial = "0000".to_string();
                    }
                }
                spoil_a1(seed, tests);
            }
            Station::A2 => {}
            Station::B1 => wrong_clock(tests),
            Station::B2 => {
                for (n, t) in tests.iter_mut().filter(|t| !t.is_check()).enumerate() {
                    if (n + 1) % 125 == 0 {
                        t.serial.clear();
                    }
                }
                if let Some(t) = tests.iter_mut().rfind(|t| t.month() == "2026-03") {
                    t.spoiled = Some(Spoiled::Cut);
                }
            }
        }
    }
}

/// Whether the station exported the row at all.
fn exported(station: Station, test: &Test) -> bool {
    let date = test.instant.date();
    let within = |from: NaiveDate, to: NaiveDate| (from..=to).contains(&date);
    match station {
        Station::A1 => !within(day(2026, 5, 18), day(2026, 5, 20)),
        Station::A2 => !(test.is_check() && within(day(2026, 9, 7), day(2026, 9, 9))),
        Station::B1 | Station::B2 => true,
    }
}

/// Every third retest is typed by hand: `vc 2541 00317`.
fn typed_retests(rows: &mut BTreeMap<Station, Vec<Test>>) {
    let mut retests = 0;
    for tests in rows.values_mut() {
        let mut last = None;
        for t in tests.iter_mut() {
            if t.attempt == 1 || t.fault_locating || t.is_check() {
                continue;
            }
            let visit = Some((t.unit, t.attempt, t.instant.date()));
            // The second step of a visit is no retest of its own.
            if visit != last {
                retests += 1;
                last = visit;
            }
            if retests % 3 == 0 {
                t.serial = t.serial.to_lowercase().replace('-', " ");
            }
        }
    }
}

fn wrong_clock(tests: &mut [Test]) {
    for t in tests {
        let shown = match t.instant.date() {
            d if d == day(2026, 6, 15) => day(2000, 1, 1),
            d if d == day(2026, 6, 16) => day(2000, 1, 2),
            _ => continue,
        };
        t.printed = shown.and_time(t.printed.time());
        t.clock_wrong = true;
    }
}

/// Three rows of A1 that cannot be read, all of kettle bases that passed at once.
fn spoil_a1(seed: u64, tests: &mut [Test]) {
    let mut chance = Chance::new(seed, "unreadable");
    let plain = |tests: &[Test], month: &str| -> Vec<usize> {
        (0..tests.len())
            .filter(|&i| {
                let t = &tests[i];
                t.model == "KB120"
                    && t.month() == month
                    && t.attempt == 1
                    && t.outcome == Outcome::Pass
                    && t.serial != "0000"
            })
            .collect()
    };
    for (month, how) in [("2025-11", Spoiled::Reading), ("2026-06", Spoiled::Outcome)] {
        let there = plain(tests, month);
        for i in chance.pick(&there, 1) {
            tests[i].spoiled = Some(how);
        }
    }
    // After the last day of February comes a 31st.
    if let Some(&i) = plain(tests, "2026-02").last() {
        tests[i].spoiled = Some(Spoiled::Date);
    }
}

/// The files of every station, in the order of their names.
pub(super) fn files(rows: &BTreeMap<Station, Vec<Test>>) -> Vec<PlannedFile> {
    let mut files = Vec::new();
    for (&station, tests) in rows {
        let mut months: BTreeMap<String, Vec<PlannedRow>> = BTreeMap::new();
        for (test, t) in tests.iter().enumerate() {
            months
                .entry(file_month(station, &t.month()))
                .or_default()
                .push(PlannedRow { test, repeated: false });
        }
        for (month, mut rows) in months {
            if station == Station::A2 && month == "2026-07" {
                rows.splice(0..0, end_of_june(tests));
            }
            let copy = (station == Station::A2 && month == "2026-02").then(|| PlannedFile {
                station,
                name: "a2-2026-02_2.csv".to_string(),
                month: month.clone(),
                rows: rows.iter().map(|r| PlannedRow { repeated: true, ..*r }).collect(),
            });
            files.push(PlannedFile { station, name: file_name(station, &month), month, rows });
            files.extend(copy);
        }
    }
    files
}

fn end_of_june(tests: &[Test]) -> Vec<PlannedRow> {
    let days = day(2026, 6, 29)..=day(2026, 6, 30);
    tests
        .iter()
        .enumerate()
        .filter(|(_, t)| days.contains(&t.instant.date()))
        .map(|(test, _)| PlannedRow { test, repeated: true })
        .collect()
}

/// B1 writes a workbook a quarter, the others a file a month.
fn file_month(station: Station, month: &str) -> String {
    if station != Station::B1 {
        return month.to_string();
    }
    let quarter = match &month[5..] {
        "01" | "02" | "03" => 1,
        "04" | "05" | "06" => 2,
        "07" | "08" | "09" => 3,
        _ => 4,
    };
    format!("{}-Q{quarter}", &month[..4])
}

fn file_name(station: Station, month: &str) -> String {
    match station {
        Station::A1 => format!("A1_{month}.csv"),
        Station::A2 => format!("a2-{month}.csv"),
        Station::B1 => format!("B1 {month}.xlsx"),
        Station::B2 => format!("b2_{}.txt.gz", month.replace('-', "_")),
    }
}

/// The first weekday after `month`, on which a monthly export was made.
pub(super) fn exported_on(month: &str) -> NaiveDate {
    let year = month[..4].parse().unwrap_or(2026);
    let number: u32 = month[5..7].parse().unwrap_or(1);
    let next = if number == 12 { day(year + 1, 1, 1) } else { day(year, number + 1, 1) };
    next.iter_days().take(20).find(|d| calendar::is_production_day(*d)).unwrap_or(next)
}
