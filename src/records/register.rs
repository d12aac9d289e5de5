//! What happened around the tests: events and calibrations, as somebody recorded them.

use serde::Serialize;

use crate::day::{Day, as_date};

/// Something that happened on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// The day.
    pub day: Day,
    /// In words.
    pub what: String,
    /// The station it concerns; empty where it concerns all.
    pub station: String,
    /// The model it concerns; empty where it concerns all.
    pub model: String,
}

/// One calibration of an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// The instrument.
    pub instrument: String,
    /// The station where it is used.
    pub station: String,
    /// Day of the calibration.
    pub done_on: Day,
    /// Last day before the next one is overdue.
    pub due_on: Option<Day>,
    /// Error found before any adjustment, per cent of the reading: negative where it read too low.
    pub error_pct: Option<f64>,
}

/// What somebody decided about an incident.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Decision {
    /// Id of the incident.
    pub incident: String,
    /// The decision.
    pub decision: String,
    /// Who decided.
    pub who: String,
    /// On which day.
    #[serde(serialize_with = "as_date")]
    pub when: Day,
    /// A remark; empty where there is none.
    pub remark: String,
}

/// What the side files hold.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Register {
    /// Events, in order of day; `None` without an events file.
    pub events: Option<Vec<Event>>,
    /// Calibrations, in order of station, instrument and day; `None` without a register.
    pub calibrations: Option<Vec<Calibration>>,
    /// Decisions, in order of incident and day; `None` without a file of them.
    pub decisions: Option<Vec<Decision>>,
}

impl Register {
    /// The last decision about an incident.
    #[must_use]
    pub fn decision_about(&self, incident: &str) -> Option<&Decision> {
        self.decisions.iter().flatten().rfind(|d| d.incident == incident)
    }

    /// Events that concern a station and a model by one of its names, or all of them, in order of day; `None` and no
    /// name ask for any.
    pub fn events_about<'a>(
        &'a self,
        station: Option<&'a str>,
        models: &[&str],
    ) -> impl Iterator<Item = &'a Event> + use<'a> {
        let models: Vec<String> = models.iter().map(|m| (*m).to_owned()).collect();
        let at = move |e: &Event| e.station.is_empty() || station.is_none_or(|s| s == e.station);
        let of =
            move |e: &Event| e.model.is_empty() || models.is_empty() || models.contains(&e.model);
        self.events.iter().flatten().filter(move |e| at(e) && of(e))
    }
}
