//! The curves that the numbers about a body come from: its own where strays are kept apart, its tail's beyond the
//! threshold where all readings count, the groups' where there are two.
//!
//! In: a [`Body`]. Out: readings by share with their intervals, and densities by reading. Readings in mA.

use crate::analysis::body::describe::{Body, Which};
use crate::stats::estimate::Estimate;
use crate::stats::mixture::{Component, TwoGroups};
use crate::stats::tail::Tail;

/// Points along a density.
const POINTS: u32 = 240;
/// Share at which a curve ends, at both sides.
const END: f64 = 1e-4;

/// What a curve is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The body that the numbers come from.
    Body,
    /// The tail that the numbers come from.
    Tail,
    /// Two groups together.
    Groups,
    /// The lower of two groups, in shares of its own units.
    Lower,
    /// The upper of two groups, in shares of its own units.
    Upper,
    /// A body that was fitted and is not used.
    Unused,
    /// The readings themselves, of which only the intervals count.
    Readings,
}

/// One point of a curve: the reading that a share of units stays under.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// The share.
    pub p: f64,
    /// The reading.
    pub reading: f64,
    /// The same with its interval, where there is one.
    pub estimate: Option<Estimate>,
}

/// A curve of a body.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedCurve {
    /// What it is.
    pub kind: Kind,
    /// Its points, ascending; at least two.
    pub points: Vec<Fitted>,
}

/// Density at a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Density {
    /// The reading, mA.
    pub ma: f64,
    /// Share of units per mA.
    pub per_ma: f64,
}

/// Shares from the lower end to the upper end `1 - q`, evenly on a logit scale.
fn shares(from: f64, q: f64) -> Vec<f64> {
    let logit = |p: f64, q: f64| (p / q).ln();
    let (a, b) = (logit(from, 1.0 - from), logit(1.0 - q, q));
    (0..=24).map(|k| a + (b - a) * f64::from(k) / 24.0).map(|z| 1.0 / (1.0 + (-z).exp())).collect()
}

impl Body {
    /// The tail that the numbers come from; `None` where the body answers.
    fn tail_in_use(&self) -> Option<&Tail> {
        match (self.which(), &self.tail) {
            (Ok(Which::Together), Ok(tail)) => Some(tail),
            _ => None,
        }
    }

    /// Readings at these shares, by one answer.
    fn along(&self, which: Which, shares: &[f64], with_interval: bool) -> Vec<Fitted> {
        let tail = self.tail_in_use();
        shares
            .iter()
            .filter_map(|&p| {
                // The fitted line is the families', up to where a tail has its say.
                let beyond = |share: f64| 1.0 - p <= share;
                let of_families = which == Which::Apart
                    && (tail.is_some() || !self.local.as_ref().is_ok_and(|t| beyond(t.share)));
                let q = if of_families {
                    self.family_quantile(p)?
                } else {
                    self.quantile(which, p).ok()?
                };
                let ok = q.value.is_finite() && q.low.is_finite() && q.high.is_finite();
                ok.then(|| Fitted { p, reading: q.value, estimate: with_interval.then_some(q) })
            })
            .collect()
    }

    /// The curves by share of units, to beyond the share `accepted` at the upper end.
    #[must_use]
    pub fn curves(&self, accepted: f64) -> Vec<FittedCurve> {
        let end = END.min(accepted / 3.0);
        let tail = self.tail_in_use();
        let mut curves = Vec::new();
        let mut add = |kind, points: Vec<Fitted>| {
            if points.len() > 1 {
                curves.push(FittedCurve { kind, points });
            }
        };
        let top = tail.map_or(end, |t| t.share);
        if self.families_fail() && tail.is_some() {
            // The numbers below the threshold are those of the readings: so is their band.
            let of_readings = shares(0.02, top * 1.000_001);
            add(Kind::Readings, self.along(Which::Together, &of_readings, true));
        }
        if let Some(two) = &self.groups {
            let [all, lower, upper] = self.group_shares(two, end);
            add(Kind::Groups, all);
            add(Kind::Lower, lower);
            add(Kind::Upper, upper);
        } else if self.families_fail() {
            add(Kind::Unused, self.along(Which::Apart, &shares(END, end), false));
        } else {
            add(Kind::Body, self.along(Which::Apart, &shares(END, top), true));
        }
        if let Some(tail) = tail {
            let q: Vec<f64> = (0..=14)
                .map(|k| tail.share * (end / tail.share).powf(f64::from(k) / 14.0))
                // The threshold itself belongs to the body.
                .map(|q| 1.0 - q.min(tail.share * (1.0 - 1e-9)))
                .collect();
            add(Kind::Tail, self.along(Which::Together, &q, true));
        }
        curves
    }

    /// Shares along the readings of two groups: of both together among all units, and of each alone among
    /// its own.
    fn group_shares(&self, two: &TwoGroups, end: f64) -> [Vec<Fitted>; 3] {
        // The groups were found without strays; where strays are ranked too, the shares make room for them.
        let room = |count: f64, kept: f64| count / self.units - kept;
        let (kept_below, kept_above) = self.shares_apart();
        let low = room(self.strays.below.count, kept_below);
        let high = room(self.strays.above.count, kept_above);
        let readings = group_readings(two);
        let line = |share: &dyn Fn(f64) -> f64| -> Vec<Fitted> {
            readings
                .iter()
                .map(|&x| (x, share(x)))
                .filter(|(_, p)| *p > END && *p < 1.0 - end)
                .map(|(reading, p)| Fitted { p, reading, estimate: None })
                .collect()
        };
        let alone = |i: usize| line(&|x| two.below(i, x) / two.groups[i].share);
        let both = |x: f64| low + (1.0 - low - high) * (two.below(0, x) + two.below(1, x));
        [line(&both), alone(0), alone(1)]
    }

    /// Density of the body along its readings.
    #[must_use]
    pub fn densities(&self) -> Vec<Density> {
        let readings: Vec<f64> = match &self.groups {
            Some(two) => group_readings(two),
            None => {
                let (low, high) = (self.average.quantile(1e-5), self.average.upper_quantile(1e-5));
                // A long tail needs few points, and must not take them from the body.
                let bend = self.average.upper_quantile(0.005).clamp(low, high);
                let along = |from: f64, to: f64, n: u32| {
                    (0..n).map(move |k| from + (to - from) * f64::from(k) / f64::from(n))
                };
                along(low, bend, POINTS)
                    .chain(along(bend, high, POINTS / 2))
                    .chain([high])
                    .collect()
            }
        };
        densities(&readings, |x| self.density(x))
    }

    /// Densities of the two groups, the lower first, each times its share; `None` where there is one.
    #[must_use]
    pub fn group_densities(&self) -> Option<[Vec<Density>; 2]> {
        let two = self.groups.as_ref()?;
        let readings = group_readings(two);
        Some([0, 1].map(|i| densities(&readings, |x| two.density(i, x))))
    }

    /// Density of the tail in use, among the units that the body's density stands for; empty where the body answers.
    #[must_use]
    pub fn tail_densities(&self) -> Vec<Density> {
        let Some(tail) = self.tail_in_use() else {
            return Vec::new();
        };
        let Some(high) = tail.upper_quantile(tail.share.min(1e-5)) else {
            return Vec::new();
        };
        let readings: Vec<f64> = (0..=60)
            .map(|k| tail.threshold + (high - tail.threshold) * f64::from(k) / 60.0)
            .collect();
        let share = self.units / self.units_of_density();
        // The mean density between two neighbouring places stands for the place between them.
        readings
            .windows(2)
            .filter_map(|w| {
                let fall = tail.sf(w[0])? - tail.sf(w[1])?;
                let per_ma = fall / (w[1] - w[0]) * share;
                per_ma.is_finite().then(|| Density { ma: f64::midpoint(w[0], w[1]), per_ma })
            })
            .collect()
    }

    /// Units that the density stands for: strays are none of them.
    #[must_use]
    pub fn units_of_density(&self) -> f64 {
        if self.groups.is_some() {
            (self.units - self.strays.above.count - self.strays.below.count).max(1.0)
        } else {
            let below = self.average.truncated_above.map_or(1.0, |cut| self.average.cdf(cut));
            self.fitted().sample().total() / below.max(1e-9)
        }
    }
}

fn densities(readings: &[f64], density: impl Fn(f64) -> f64) -> Vec<Density> {
    readings
        .iter()
        .map(|&ma| Density { ma, per_ma: density(ma) })
        .filter(|d| d.ma.is_finite() && d.per_ma.is_finite())
        .collect()
}

/// Readings, mA, from the lowest to the highest that two groups reach.
fn group_readings(two: &TwoGroups) -> Vec<f64> {
    let back = |z: f64| match two.component {
        Component::Normal => z,
        Component::Lognormal => z.exp(),
    };
    let ends = two.groups.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |e, g| {
        (e.0.min(g.mean - 4.5 * g.sd), e.1.max(g.mean + 4.5 * g.sd))
    });
    (0..=POINTS)
        .map(|k| back(ends.0 + (ends.1 - ends.0) * f64::from(k) / f64::from(POINTS)))
        .collect()
}
