//! On which edges of the instrument's steps a cut or a threshold may lie.

use crate::stats::sample::Observation;

/// The edges between readings of the coarsest step in use, by size of reading.
///
/// Readings are multiples of the step, so edges lie halfway between them. Cuts and thresholds lie on
/// such edges: a cut inside a coarse step would count its readings on one side only.
#[derive(Debug, Clone, PartialEq)]
pub struct Edges {
    /// From which reading on, and the step there; ascending. Empty: any place is an edge.
    ranges: Vec<(f64, f64)>,
}

impl Edges {
    /// The same step everywhere.
    pub fn uniform(step: f64) -> Self {
        Self::by_size(vec![(f64::NEG_INFINITY, step)])
    }

    /// Pairs of the reading from which a step holds, and the step; ranges without a usable step are
    /// left out.
    pub fn by_size(ranges: Vec<(f64, f64)>) -> Self {
        let mut ranges: Vec<(f64, f64)> = ranges
            .into_iter()
            .filter(|&(from, step)| !from.is_nan() && step.is_finite() && step > 0.0)
            .collect();
        ranges.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { ranges }
    }

    /// Any place is an edge: for readings that were carried and lie on no instrument's steps.
    pub fn anywhere() -> Self {
        Self { ranges: Vec::new() }
    }

    /// Whether `x` lies on an edge, up to rounding.
    pub fn contains(&self, x: f64) -> bool {
        match self.step_at(x) {
            None => x.is_finite(),
            Some(step) => {
                let places = x / step - 0.5;
                (places - places.round()).abs() < 1e-3
            }
        }
    }

    /// The highest edge at or below `x`.
    pub fn at_or_below(&self, x: f64) -> f64 {
        self.step_at(x).map_or(x, |step| ((x / step - 0.5 + 1e-6).floor() + 0.5) * step)
    }

    /// The lowest edge at or above `x`.
    pub fn at_or_above(&self, x: f64) -> f64 {
        self.step_at(x).map_or(x, |step| ((x / step - 0.5 - 1e-6).ceil() + 0.5) * step)
    }

    /// The step at a reading; `None` where any place is an edge.
    pub fn step_at(&self, x: f64) -> Option<f64> {
        self.ranges
            .iter()
            .rev()
            .find(|&&(from, _)| x >= from)
            .or(self.ranges.first())
            .map(|&(_, step)| step)
    }
}

/// The place of an observation among others: a trip at its limit, an interval at its middle.
pub fn place(observation: Observation) -> f64 {
    match observation {
        Observation::Between { low, high } => low + (high - low) / 2.0,
        Observation::Exact(x) | Observation::Above(x) | Observation::Below(x) => x,
    }
}
