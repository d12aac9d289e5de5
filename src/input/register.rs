//! The events file, the calibration register and the decisions that the settings name.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use sha2::{Digest, Sha256};

use super::same::hex;
use crate::config::Config;
use crate::day::{Day, day_number};
use crate::error::{Error, Place, Result};
use crate::records::{Calibration, Decision, Event, Register};

/// Reads the files that the settings name, if there are any.
///
/// # Errors
/// Where one is named but cannot be read, lacks a column, or holds a date or number that is none.
pub fn register(config: &Config) -> Result<Register> {
    let read = |path: &Option<std::path::PathBuf>| path.as_ref().map(|p| config.resolve(p));
    Ok(Register {
        events: read(&config.events).map(|p| events(&p)).transpose()?,
        calibrations: read(&config.calibration).map(|p| calibrations(&p)).transpose()?,
        decisions: read(&config.decisions).map(|p| decisions(&p)).transpose()?,
    })
}

/// A file that the settings name, or the settings themselves, as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SideFile {
    /// Its name, without its folder.
    pub name: PathBuf,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256.
    pub sha256: String,
}

/// Settings, events, register and decisions with their checksums; what cannot be read any more is left out.
#[must_use]
pub fn side_files(config: &Config) -> Vec<SideFile> {
    let paths = config.path.clone().into_iter().chain(config.side_files());
    let file = |path: PathBuf| {
        let bytes = std::fs::read(&path).ok()?;
        let sha256 = hex(&Sha256::digest(&bytes));
        Some(SideFile { name: path.file_name()?.into(), bytes: bytes.len() as u64, sha256 })
    };
    paths.filter_map(file).collect()
}

/// One small table with its header, for messages that name the place.
struct Side<'a> {
    path: &'a Path,
    headers: Vec<String>,
    rows: Vec<(u64, csv::StringRecord)>,
}

impl<'a> Side<'a> {
    fn read(path: &'a Path, doing: &'static str, columns: &[&str]) -> Result<Self> {
        let bytes = std::fs::read(path).map_err(|e| Error::io(doing, path, e))?;
        let text = String::from_utf8_lossy(&bytes);
        let text = text.trim_start_matches('\u{feff}');
        let first = text.lines().next().unwrap_or("");
        let delimiter = if first.contains(';') { b';' } else { b',' };
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .flexible(true)
            .from_reader(text.as_bytes());
        let broken = |row: u64, e: &csv::Error| {
            let place = Place::file(path).row(row);
            Error::input(place, "a row", e.to_string(), "save it as CSV")
        };
        let headers: Vec<String> = reader
            .headers()
            .map_err(|e| broken(1, &e))?
            .iter()
            .map(|h| h.trim().to_lowercase())
            .collect();
        // The first two columns are needed; the others may be left out.
        if columns[..2].iter().any(|c| !headers.iter().any(|h| h == c)) {
            return Err(Error::input(
                Place::file(path).row(1),
                format!("columns {}", columns.join(", ")),
                headers.join(", "),
                "name its columns so",
            ));
        }
        let mut rows = Vec::new();
        for (n, record) in reader.records().enumerate() {
            let row = n as u64 + 2;
            let record = record.map_err(|e| broken(row, &e))?;
            if record.iter().any(|c| !c.trim().is_empty()) {
                rows.push((row, record));
            }
        }
        Ok(Self { path, headers, rows })
    }

    fn text(&self, record: &csv::StringRecord, column: &str) -> String {
        let at = self.headers.iter().position(|h| h == column);
        at.and_then(|c| record.get(c)).unwrap_or("").trim().to_owned()
    }

    fn wrong(&self, row: u64, column: &str, expected: &str, found: &str) -> Error {
        Error::input(
            Place::file(self.path).row(row).column(column),
            expected,
            format!("{found:?}"),
            "correct the row",
        )
    }

    fn date(&self, row: u64, record: &csv::StringRecord, column: &str) -> Result<Day> {
        let shown = self.text(record, column);
        NaiveDate::parse_from_str(&shown, "%Y-%m-%d")
            .map(day_number)
            .map_err(|_| self.wrong(row, column, "a date like 2026-05-11", &shown))
    }
}

fn events(path: &Path) -> Result<Vec<Event>> {
    let side = Side::read(path, "read the events file", &["date", "what", "station", "model"])?;
    let mut events = Vec::with_capacity(side.rows.len());
    for (row, record) in &side.rows {
        events.push(Event {
            day: side.date(*row, record, "date")?,
            what: side.text(record, "what"),
            station: side.text(record, "station"),
            model: side.text(record, "model"),
        });
    }
    events.sort_by(|a, b| (a.day, &a.what).cmp(&(b.day, &b.what)));
    Ok(events)
}

fn decisions(path: &Path) -> Result<Vec<Decision>> {
    let columns = ["incident", "decision", "who", "when", "remark"];
    let side = Side::read(path, "read the decisions", &columns)?;
    let mut all = Vec::with_capacity(side.rows.len());
    for (row, record) in &side.rows {
        let text = |column: &str| side.text(record, column);
        let (incident, decision) = (text("incident"), text("decision"));
        if !incident.starts_with("i-") {
            let expected = "the id of an incident, as incidents.md names it, like i-k7q2mx";
            return Err(side.wrong(*row, "incident", expected, &incident));
        }
        // An empty one would close an incident that nobody decided on.
        if decision.is_empty() {
            return Err(side.wrong(*row, "decision", "what was decided", &decision));
        }
        all.push(Decision {
            when: side.date(*row, record, "when")?,
            who: text("who"),
            remark: text("remark"),
            incident,
            decision,
        });
    }
    all.sort_by(|a, b| (&a.incident, a.when).cmp(&(&b.incident, b.when)));
    Ok(all)
}

fn calibrations(path: &Path) -> Result<Vec<Calibration>> {
    let side = Side::read(
        path,
        "read the calibration register",
        &["station", "done_on", "instrument", "due_on", "error_pct"],
    )?;
    let mut all = Vec::with_capacity(side.rows.len());
    for (row, record) in &side.rows {
        let due = side.text(record, "due_on");
        let error = side.text(record, "error_pct");
        let done_on = side.date(*row, record, "done_on")?;
        let due_on = if due.is_empty() { None } else { Some(side.date(*row, record, "due_on")?) };
        if due_on.is_some_and(|due| due < done_on) {
            return Err(side.wrong(*row, "due_on", "a date not before done_on", &due));
        }
        let error_pct = match error.replace(',', ".").parse::<f64>() {
            _ if error.is_empty() => None,
            Ok(pct) if pct.is_finite() && pct > -100.0 => Some(pct),
            _ => {
                let expected = "per cent of the reading, above -100";
                return Err(side.wrong(*row, "error_pct", expected, &error));
            }
        };
        all.push(Calibration {
            instrument: side.text(record, "instrument"),
            station: side.text(record, "station"),
            done_on,
            due_on,
            error_pct,
        });
    }
    all.sort_by(|a, b| {
        (&a.station, &a.instrument, a.done_on).cmp(&(&b.station, &b.instrument, b.done_on))
    });
    Ok(all)
}
