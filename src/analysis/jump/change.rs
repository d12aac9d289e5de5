//! Where a change is looked for, its date, and the two sides that it parts.

use std::collections::BTreeSet;

use serde::{Serialize, Serializer};

use super::cells::Failures;
use crate::day::{Day, date_of};
use crate::series::{Called, Pass};
use crate::stats::estimate::Estimate;

/// Where a change is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// One series.
    Series(u32),
    /// One station, all its series.
    Station(u16),
    /// The whole line.
    Overall,
}

impl Scope {
    /// Whether a series is asked about.
    #[must_use]
    pub fn has_series(self, series: usize) -> bool {
        !matches!(self, Self::Series(n) if n as usize != series)
    }

    /// Whether a station is.
    #[must_use]
    pub fn has_station(self, station: u16) -> bool {
        !matches!(self, Self::Station(s) if s != station)
    }

    /// Whether units of a series at a station are.
    #[must_use]
    pub fn has(self, series: usize, station: u16) -> bool {
        self.has_series(series) && self.has_station(station)
    }

    /// Whether units of these series are among its own; those of any may be a station's or the line's.
    #[must_use]
    pub fn holds_any_of(self, series: &BTreeSet<usize>) -> bool {
        match self {
            Self::Series(n) => series.contains(&(n as usize)),
            Self::Station(_) | Self::Overall => !series.is_empty(),
        }
    }
}

impl Serialize for Scope {
    /// Its kind alone: which series or station it is, names tell.
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(match self {
            Self::Series(_) => "series",
            Self::Station(_) => "station",
            Self::Overall => "overall",
        })
    }
}

/// The names of a scope.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// For people: the series' title, the station, or the line.
    pub title: String,
    /// Identity of the series, where it is one.
    pub series: Option<String>,
    /// What an action is about: shorter where that says enough.
    pub subject: String,
}

impl Place {
    /// The names of a scope of the pass.
    #[must_use]
    pub fn new(pass: &Pass, scope: Scope) -> Self {
        match scope {
            Scope::Series(n) => {
                let Called { id, title, subject } = pass.called[n as usize].clone();
                Self { title, series: Some(id), subject }
            }
            Scope::Station(s) => {
                let name = &pass.plant.stations[usize::from(s)];
                Self { title: format!("station {name}"), series: None, subject: name.clone() }
            }
            Scope::Overall => Self {
                title: "whole line".to_owned(),
                series: None,
                subject: "whole line".to_owned(),
            },
        }
    }
}

/// Days from the first to the last, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
}

impl Window {
    /// Whether the day lies inside.
    #[must_use]
    pub fn has(&self, day: Day) -> bool {
        (self.from..=self.to).contains(&day)
    }
}

impl std::fmt::Display for Window {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let to = |f: &mut std::fmt::Formatter<'_>| write!(f, " to {}", date_of(self.to));
        write!(f, "{}", date_of(self.from))?;
        if self.to == self.from { Ok(()) } else { to(f) }
    }
}

/// A date with the days that the data allow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dated {
    /// First day of the new share.
    pub day: Day,
    /// First day allowed.
    pub low: Day,
    /// Last day allowed.
    pub high: Day,
}

impl Dated {
    /// Whether the data allow one day for both.
    #[must_use]
    pub fn meets(self, other: Self) -> bool {
        self.low <= other.high && other.low <= self.high
    }
}

/// Units and failures of one side.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Its days.
    pub window: Window,
    /// Units; first tests, where those not completed count.
    pub units: f64,
    /// Failures by kind.
    pub failures: Failures,
    /// Share of those that count.
    pub share: Estimate,
}
