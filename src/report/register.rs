//! The events file: what happened when, drawn on charts and named at steps.

use std::path::Path;

use chrono::NaiveDate;

use super::model::EventLine;
use crate::config::Config;
use crate::error::{Error, Place, Result};

/// What the side files hold.
#[derive(Debug, Clone, Default)]
pub struct Register {
    /// Events, in order of date.
    pub events: Vec<EventLine>,
    /// What a reader must know.
    pub notes: Vec<String>,
}

impl Register {
    /// Reads the events file of the settings, if there is one.
    ///
    /// # Errors
    /// Where it is named but cannot be read, or a row of it has no date.
    pub fn read(config: &Config) -> Result<Self> {
        let mut register = Self::default();
        if let Some(path) = &config.events {
            register.events = events(&config.resolve(path))?;
        }
        Ok(register)
    }
}

fn events(path: &Path) -> Result<Vec<EventLine>> {
    let bytes = std::fs::read(path).map_err(|e| Error::io("read the events file", path, e))?;
    let text = String::from_utf8_lossy(&bytes);
    let text = text.trim_start_matches('\u{feff}');
    let first = text.lines().next().unwrap_or("");
    let delimiter = if first.contains(';') { b';' } else { b',' };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .from_reader(text.as_bytes());
    let headers: Vec<String> = reader
        .headers()
        .map_err(|e| {
            Error::input(
                Place::file(path),
                "a table",
                e.to_string(),
                "save it as CSV",
            )
        })?
        .iter()
        .map(|h| h.trim().to_lowercase())
        .collect();
    let column = |name: &str| headers.iter().position(|h| h == name);
    let (Some(date), Some(what)) = (column("date"), column("what")) else {
        return Err(Error::input(
            Place::file(path).row(1),
            "columns date, what, station, model",
            headers.join(", "),
            "name its columns so",
        ));
    };
    let mut events = Vec::new();
    for (n, record) in reader.records().enumerate() {
        let row = n as u64 + 2;
        let record = record.map_err(|e| {
            Error::input(
                Place::file(path).row(row),
                "a row",
                e.to_string(),
                "correct the row",
            )
        })?;
        let get = |c: Option<usize>| {
            c.and_then(|c| record.get(c))
                .unwrap_or("")
                .trim()
                .to_owned()
        };
        if record.iter().all(|c| c.trim().is_empty()) {
            continue;
        }
        let shown = get(Some(date));
        let date = NaiveDate::parse_from_str(&shown, "%Y-%m-%d").map_err(|_| {
            Error::input(
                Place::file(path).row(row).column("date"),
                "a date like 2026-05-11",
                format!("{shown:?}"),
                "correct the row",
            )
        })?;
        events.push(EventLine {
            date,
            what: get(Some(what)),
            station: get(column("station")),
            model: get(column("model")),
        });
    }
    events.sort_by(|a, b| (a.date, &a.what).cmp(&(b.date, &b.what)));
    Ok(events)
}
