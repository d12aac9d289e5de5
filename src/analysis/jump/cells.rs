//! What a jump is looked for in: first attempts counted by day, series and combination of factor levels.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::series::{Outcome, OutcomeLine};
use crate::stats::rate_change::DayCount;

/// Which first attempts count as failures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Counted {
    /// Over limit, under limit, breakdown and failures of no known class together.
    Failed,
    /// Over limit.
    OverLimit,
    /// Under limit.
    UnderLimit,
    /// Breakdown, arcs among them.
    Breakdown,
    /// Not completed.
    NotCompleted,
}

impl Counted {
    /// All of them, failures together first.
    pub const ALL: [Self; 5] =
        [Self::Failed, Self::OverLimit, Self::UnderLimit, Self::Breakdown, Self::NotCompleted];

    /// Whether an outcome counts.
    #[must_use]
    pub fn counts(self, outcome: Outcome) -> bool {
        match outcome {
            Outcome::OverLimit => matches!(self, Self::Failed | Self::OverLimit),
            Outcome::UnderLimit => matches!(self, Self::Failed | Self::UnderLimit),
            Outcome::Breakdown | Outcome::Arc => matches!(self, Self::Failed | Self::Breakdown),
            Outcome::NotCompleted => self == Self::NotCompleted,
            Outcome::Failed => self == Self::Failed,
            Outcome::Pass => false,
        }
    }
}

/// Failures by kind.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Failures {
    /// Over limit.
    pub over: f64,
    /// Of these, tripped while a direct voltage still rose: charging current.
    pub charging: f64,
    /// Under limit.
    pub under: f64,
    /// Breakdown, arcs among them.
    pub breakdown: f64,
    /// Failed, and nothing tells by what.
    pub unclassed: f64,
    /// Not completed.
    pub not_completed: f64,
}

impl Failures {
    /// So many units with one outcome.
    #[must_use]
    pub fn of_line(line: &OutcomeLine) -> Self {
        let n = f64::from(line.count);
        let mut f = Self::default();
        match line.outcome {
            Outcome::OverLimit => f.over = n,
            Outcome::UnderLimit => f.under = n,
            Outcome::Breakdown | Outcome::Arc => f.breakdown = n,
            Outcome::NotCompleted => f.not_completed = n,
            Outcome::Failed => f.unclassed = n,
            Outcome::Pass => {}
        }
        f.charging = if line.in_ramp { n } else { 0.0 };
        f
    }

    /// Each kind so many times.
    #[must_use]
    pub fn times(&self, by: f64) -> Self {
        Self {
            over: by * self.over,
            charging: by * self.charging,
            under: by * self.under,
            breakdown: by * self.breakdown,
            unclassed: by * self.unclassed,
            not_completed: by * self.not_completed,
        }
    }

    /// Those that count.
    #[must_use]
    pub fn of(&self, counted: Counted) -> f64 {
        match counted {
            Counted::Failed => self.over + self.under + self.breakdown + self.unclassed,
            Counted::OverLimit => self.over,
            Counted::UnderLimit => self.under,
            Counted::Breakdown => self.breakdown,
            Counted::NotCompleted => self.not_completed,
        }
    }

    /// Adds others.
    pub fn add(&mut self, other: &Self) {
        self.over += other.over;
        self.charging += other.charging;
        self.under += other.under;
        self.breakdown += other.breakdown;
        self.unclassed += other.unclassed;
        self.not_completed += other.not_completed;
    }
}

/// Units of one day, series and combination of levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Production day.
    pub day: i32,
    /// Series.
    pub series: u32,
    /// Station.
    pub station: u16,
    /// Combination of levels: a place in [`Cells::sets`].
    pub set: u32,
    /// Units: first tests that were completed.
    pub units: f64,
    /// Failures among them; and first tests that were not completed, which are none of them.
    pub failures: Failures,
}

impl Cell {
    /// Adds first tests of one outcome.
    pub fn add(&mut self, line: &OutcomeLine) {
        self.units += completed(line);
        self.failures.add(&Failures::of_line(line));
    }

    /// What a share of those that count is a share of: units, and all first tests where what was not completed counts.
    #[must_use]
    pub fn tested(&self, counted: Counted) -> f64 {
        match counted {
            Counted::NotCompleted => self.units + self.failures.not_completed,
            _ => self.units,
        }
    }
}

/// Units among first tests of one outcome.
pub(super) fn completed(line: &OutcomeLine) -> f64 {
    if line.outcome.is_completed() { f64::from(line.count) } else { 0.0 }
}

/// A level of a factor: `0` where unknown, else a place in the factor's levels plus 1.
pub type Level = u32;

/// A factor, by its place, with one of its levels.
pub type Place = (usize, Level);

/// A factor and its levels.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Factor {
    /// Its name, for example `lot`.
    pub name: String,
    /// Its levels.
    pub levels: Vec<String>,
}

/// Everything a jump is looked for in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cells {
    /// Factors: station, model, then those of the units.
    pub factors: Vec<Factor>,
    /// Combinations of levels, one level of each factor.
    pub sets: Vec<Vec<Level>>,
    /// The counts, sorted by day.
    pub cells: Vec<Cell>,
    /// Station and shift of operators who worked on one station and shift only.
    pub posts: BTreeMap<String, Stood>,
}

/// Where an operator stood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stood {
    /// Station.
    pub station: String,
    /// Shift.
    pub shift: String,
}

impl Cells {
    /// The place of a level by its names; `None` where there is none such.
    #[must_use]
    pub fn place(&self, factor: &str, level: &str) -> Option<Place> {
        let f = self.factors.iter().position(|known| known.name == factor)?;
        let l = self.factors[f].levels.iter().position(|known| known == level)?;
        Some((f, Level::try_from(l + 1).ok()?))
    }

    /// The level of a cell.
    #[must_use]
    pub fn level(&self, cell: &Cell, factor: usize) -> Level {
        self.sets[cell.set as usize][factor]
    }

    /// Whether a cell has all these levels.
    #[must_use]
    pub fn is_of(&self, cell: &Cell, places: &[Place]) -> bool {
        places.iter().all(|(f, l)| self.level(cell, *f) == *l)
    }

    /// The name of a level; empty where unknown.
    #[must_use]
    pub fn name(&self, factor: usize, level: Level) -> &str {
        match level {
            0 => "",
            n => &self.factors[factor].levels[n as usize - 1],
        }
    }
}

/// Counts by day. With `expected`, units are those of the day times the expected share of each over the mean
/// one: days with more units of a model that fails more often do not look like a rise.
#[must_use]
pub fn by_day<'a>(
    cells: impl IntoIterator<Item = &'a Cell>,
    counted: Counted,
    expected: Option<&dyn Fn(&Cell) -> f64>,
) -> Vec<DayCount> {
    let mut days: BTreeMap<i32, (f64, f64, f64)> = BTreeMap::new();
    for cell in cells {
        let slot = days.entry(cell.day).or_default();
        let tested = cell.tested(counted);
        slot.0 += tested;
        slot.1 += cell.failures.of(counted);
        slot.2 += expected.map_or(tested, |e| tested * e(cell));
    }
    let units: f64 = days.values().map(|d| d.0).sum();
    let weighted: f64 = days.values().map(|d| d.2).sum();
    let scale = if weighted > 0.0 { units / weighted } else { 0.0 };
    days.into_iter()
        .map(|(day, (units, failed, weighted))| DayCount {
            day,
            units: if scale > 0.0 { (weighted * scale).max(failed) } else { units },
            failed,
        })
        .filter(|d| d.units > 0.0)
        .collect()
}

/// Units and failures of many cells.
#[must_use]
pub fn total<'a>(cells: impl IntoIterator<Item = &'a Cell>, counted: Counted) -> (f64, f64) {
    cells
        .into_iter()
        .fold((0.0, 0.0), |(n, failed), c| (n + c.tested(counted), failed + c.failures.of(counted)))
}
