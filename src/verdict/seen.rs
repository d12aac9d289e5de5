//! Where and when something was seen that somebody must act on, and how many units it is about.

use crate::day::Day;

/// Where and when.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Seen {
    /// Series, by index; none where it is of a station or the whole line.
    pub series: Vec<usize>,
    /// Stations by name.
    pub stations: Vec<String>,
    /// First day; `None` where no day is known.
    pub from: Option<Day>,
    /// Last day on which a unit or an event joined it; of what goes on, the day it began.
    pub last: Option<Day>,
    /// Whether it still goes on.
    pub open: bool,
    /// Units that somebody must look at.
    pub units: u64,
}

impl Seen {
    /// Something that ended.
    #[must_use]
    pub fn between(from: Day, to: Day) -> Self {
        Self { from: Some(from), last: Some(to), ..Self::default() }
    }

    /// Something on these days, in any order; of no day where there are none.
    #[must_use]
    pub fn on(days: impl Iterator<Item = Day> + Clone) -> Self {
        Self { from: days.clone().min(), last: days.max(), ..Self::default() }
    }

    /// Something that still goes on, where it is known since when.
    #[must_use]
    pub fn since(day: Option<Day>) -> Self {
        Self { from: day, last: day, open: true, ..Self::default() }
    }

    /// The same, of these series too.
    #[must_use]
    pub fn of(mut self, series: impl IntoIterator<Item = usize>) -> Self {
        self.series.extend(series);
        self
    }

    /// The same, at this station too.
    #[must_use]
    pub fn at(mut self, station: &str) -> Self {
        self.stations.push(station.to_owned());
        self
    }

    /// The same, about so many units.
    #[must_use]
    pub fn units(mut self, units: u64) -> Self {
        self.units = units;
        self
    }

    /// Both together: from the first to the last day, all places; units are those of both.
    #[must_use]
    pub fn with(mut self, other: &Self) -> Self {
        self.from = self.from.into_iter().chain(other.from).min();
        self.last = self.last.into_iter().chain(other.last).max();
        self.open |= other.open;
        self.units += other.units;
        for n in &other.series {
            if !self.series.contains(n) {
                self.series.push(*n);
            }
        }
        for station in &other.stations {
            if !self.stations.contains(station) {
                self.stations.push(station.clone());
            }
        }
        self
    }
}
