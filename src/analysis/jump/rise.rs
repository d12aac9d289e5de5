//! A rise that is to be explained: its time before and since, and what a cause of it must be.

use std::collections::{BTreeMap, BTreeSet};

use super::cells::{Cell, Cells, Counted, Level, Place, total};

/// A level that this share of all units of its days had is those days in other words.
const TIED: f64 = 0.95;

/// What a cause must be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demands {
    /// Failures.
    pub failures: f64,
    /// Share of the excess.
    pub share: f64,
    /// False discovery rate.
    pub false_discoveries: f64,
    /// Confidence of intervals.
    pub confidence: f64,
}

/// What is known of the change that is to be explained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Dispersion of counts over many days.
    pub dispersion: f64,
    /// Its p-value.
    pub p_value: f64,
}

/// Shares before by series, a little above zero so that a first failure is not infinitely unlikely.
pub(super) struct Before {
    shares: BTreeMap<u32, (f64, f64)>,
    pub(super) all: f64,
    all_plain: f64,
}

impl Before {
    pub(super) fn new(cells: &[&Cell], counted: Counted) -> Self {
        let mut by_series: BTreeMap<u32, (f64, f64)> = BTreeMap::new();
        for c in cells {
            let slot = by_series.entry(c.series).or_default();
            slot.0 += c.tested(counted);
            slot.1 += c.failures.of(counted);
        }
        let (units, failed) = total(cells.iter().copied(), counted);
        Self {
            shares: by_series
                .into_iter()
                .map(|(s, (n, f))| (s, ((f + 0.5) / (n + 1.0), f / n.max(1.0))))
                .collect(),
            all: (failed + 0.5) / (units + 1.0),
            all_plain: failed / units.max(1.0),
        }
    }

    /// Share expected, above zero.
    pub(super) fn at(&self, cell: &Cell) -> f64 {
        self.shares.get(&cell.series).map_or(self.all, |s| s.0)
    }

    /// Share seen.
    pub(super) fn plain(&self, cell: &Cell) -> f64 {
        self.shares.get(&cell.series).map_or(self.all_plain, |s| s.1)
    }
}

/// Levels that nearly all units of their days had, by series and day: with their days they name nothing else.
pub(super) fn tied_to_days(cells: &Cells, after: &[&Cell], counted: Counted) -> BTreeSet<Place> {
    let mut all: BTreeMap<(u32, i32), f64> = BTreeMap::new();
    for c in after {
        *all.entry((c.series, c.day)).or_default() += c.tested(counted);
    }
    let mut tied = BTreeSet::new();
    for factor in 0..cells.factors.len() {
        let mut of: BTreeMap<Level, (f64, BTreeSet<(u32, i32)>)> = BTreeMap::new();
        for c in after {
            let level = cells.level(c, factor);
            if level != 0 {
                let slot = of.entry(level).or_default();
                slot.0 += c.tested(counted);
                slot.1.insert((c.series, c.day));
            }
        }
        for (level, (units, days)) in of {
            if units >= TIED * days.iter().map(|d| all[d]).sum::<f64>() {
                tied.insert((factor, level));
            }
        }
    }
    tied
}

/// A rise that is asked about.
pub(super) struct Rise<'a> {
    pub(super) cells: &'a Cells,
    pub(super) counted: Counted,
    pub(super) change: Change,
    pub(super) demands: &'a Demands,
    /// The time before, and its shares.
    pub(super) before: &'a [&'a Cell],
    pub(super) base: Before,
    /// What is left of the time since.
    pub(super) after: Vec<&'a Cell>,
    /// Levels that are days of that time in other words.
    pub(super) tied: BTreeSet<Place>,
    /// Failures beyond those expected, in all.
    pub(super) excess: f64,
}
