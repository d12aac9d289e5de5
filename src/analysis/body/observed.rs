//! Which units a body is made of, and where each stands among them: what is known of its reading, whether it is a
//! stray, and its rank.
//!
//! In: a [`Body`]. Out: points of the non-parametric estimate, and units by kind. Readings in mA, shares of 1.

use crate::analysis::body::describe::{Body, Which};
use crate::movement::edges::place;
use crate::stats::empirical::Cell;
use crate::stats::sample::Observation;
use crate::words::numbers::whole;

/// What is known of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// That it lies between two edges, half a step to either side of what was shown.
    Within,
    /// Only that it lies above: a trip.
    Above,
    /// Only that it lies below half a step: the instrument showed zero.
    Zero,
    /// Only that it lies below: the low limit rejected the unit.
    Below,
}

impl Known {
    /// Of an observation, the steps of the instruments being at most `step_ma`.
    fn new(observation: Observation, step_ma: f64) -> Self {
        match observation {
            Observation::Above(_) => Self::Above,
            Observation::Below(x) if x <= step_ma * (1.0 + 1e-9) => Self::Zero,
            Observation::Below(_) => Self::Below,
            Observation::Between { .. } | Observation::Exact(_) => Self::Within,
        }
    }
}

/// One point of the estimate without a family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    /// Lower edge of what is known; the limit where only one end is known.
    pub low: f64,
    /// Upper edge of what is known; the limit where only one end is known.
    pub high: f64,
    /// Share of units at or below it: halfway through those that lie between the edges.
    pub p: f64,
    /// What is known of them.
    pub known: Known,
    /// True where they are strays: no part of what was fitted.
    pub stray: bool,
}

impl Observed {
    /// The middle of what is known.
    #[must_use]
    pub fn reading(&self) -> f64 {
        f64::midpoint(self.low, self.high)
    }
}

/// How many units of one kind there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Units {
    /// What is known of their readings.
    pub known: Known,
    /// Whether they are strays.
    pub stray: bool,
    /// How many.
    pub count: u64,
}

impl Body {
    /// Units by what is known of them, the steps of the instruments being at most `step_ma`; together all units.
    #[must_use]
    pub fn units_by_kind(&self, step_ma: f64) -> Vec<Units> {
        let mut sums: Vec<(Known, bool, f64)> = Vec::new();
        for line in self.observed() {
            let known = Known::new(line.observation, step_ma);
            let stray = self.strays.has(line.observation);
            match sums.iter_mut().find(|s| (s.0, s.1) == (known, stray)) {
                Some(sum) => sum.2 += line.count,
                None => sums.push((known, stray, line.count)),
            }
        }
        sums.into_iter()
            .map(|(known, stray, count)| Units { known, stray, count: whole(count) })
            .collect()
    }

    /// Shares of strays below and above that are kept apart: none where all readings count.
    pub(super) fn shares_apart(&self) -> (f64, f64) {
        if matches!(self.which(), Ok(Which::Apart)) {
            let share = |count: f64| count / self.units;
            (share(self.strays.below.count), share(self.strays.above.count))
        } else {
            (0.0, 0.0)
        }
    }

    /// Where a share of all units lies among those that count: strays kept apart are no part of the body, so that
    /// its readings are ranked without them.
    fn ranked(&self, p: f64) -> f64 {
        let (below, above) = self.shares_apart();
        (p - below) / (1.0 - below - above)
    }

    /// Every reading with its rank: halfway through the units of each cell of the non-parametric estimate, whose
    /// edges say what is known of them; readings known at one end only, at that end.
    #[must_use]
    pub fn ranks(&self, step_ma: f64) -> Vec<Observed> {
        let cells = self.empirical.cells().iter();
        let within = cells
            .filter(|cell| cell.low.is_finite() && cell.high.is_finite())
            .filter(|cell| !self.above_a_trip_alone(cell))
            .map(|cell| {
                let stray = self.strays.has(if cell.low < cell.high {
                    Observation::Between { low: cell.low, high: cell.high }
                } else {
                    Observation::Exact(cell.high)
                });
                let middle = cell.below - cell.mass / 2.0;
                Observed {
                    low: cell.low,
                    high: cell.high,
                    p: if stray { middle } else { self.ranked(middle) },
                    known: Known::Within,
                    stray,
                }
            });
        let beyond = self.observed().filter_map(|line| {
            let (Observation::Above(edge) | Observation::Below(edge)) = line.observation else {
                return None;
            };
            let stray = self.strays.has(line.observation);
            let p = self.empirical.cdf(edge);
            let p = if stray { p } else { self.ranked(p) };
            // A trip's mark stands where the readings below its limit end.
            let highest = 1.0 - 0.5 / self.units;
            let known = Known::new(line.observation, step_ma);
            Some(Observed { low: edge, high: edge, p: p.min(highest), known, stray })
        });
        within.chain(beyond).collect()
    }

    /// Whether a cell lies above a limit that tripped and holds only the upper half of a passed reading's step.
    ///
    /// A reading shown as the limit itself reaches half a step above it, where the non-parametric estimate
    /// puts trips too; no unit is known to lie there.
    fn above_a_trip_alone(&self, cell: &Cell) -> bool {
        let tiny = 1e-9 * cell.low.abs();
        let trip = self
            .observed()
            .filter_map(|line| match line.observation {
                Observation::Above(limit) if limit <= cell.low + tiny => Some(limit),
                _ => None,
            })
            .fold(f64::NEG_INFINITY, f64::max);
        trip.is_finite()
            && !self.observed().any(|line| match line.observation {
                Observation::Between { low, high } => {
                    place(line.observation) > trip + tiny && low < cell.high && high > cell.low
                }
                Observation::Exact(x) => x > trip && x == cell.high,
                _ => false,
            })
    }
}
