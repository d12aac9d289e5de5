//! What reading steps leave open: where they are wider than half the spread, readings do not tell where inside a step
//! currents lie, and intervals reach to its edges.
//!
//! In: a [`Body`]. Out: ends of intervals moved out. The families alone would tell: of bodies that are none of them the
//! median of 20 000 units lay outside its interval in every series, and of flat-topped ones X99.

use crate::analysis::body::answer::UPPER_REFERENCE;
use crate::analysis::body::describe::{Body, Which};
use crate::stats::empirical::Cell;
use crate::stats::estimate::Estimate;

/// A step so many spreads wide tells nothing of where inside it currents lie.
const WIDE: f64 = 0.5;

/// The method of an interval that reaches to the edges of steps.
fn to_edges(method: &str) -> String {
    format!("{method}, out to the edges of a reading step")
}

impl Body {
    /// An interval of the reading that a share `p` stays under, out to the edges of wide steps.
    pub(super) fn out_to_edges(
        &self,
        e: Estimate,
        which: Which,
        p: f64,
        confidence: f64,
    ) -> Estimate {
        let (low, high) = self.to_edges_of_steps((e.low, e.high), which, p, confidence);
        let moved = low < e.low || high > e.high;
        let method = if moved { to_edges(&e.method) } else { e.method };
        Estimate { low, high, method, ..e }
    }

    /// The ends of an interval of the reading that a share `p` stays under, moved out to the edges of the reading steps
    /// they lie in where steps are wide.
    pub(super) fn to_edges_of_steps(
        &self,
        (low, high): (f64, f64),
        which: Which,
        p: f64,
        confidence: f64,
    ) -> (f64, f64) {
        let p = self.of_all(which, p);
        let wide = |p: f64| self.empirical.cell_with(p).filter(|cell| self.is_wide(cell));
        let Some(cell) = wide(p) else { return (low, high) };
        let (t, error) = self.share_error(f64::midpoint(cell.low, cell.high), confidence);
        let lowest = wide((p - t * error).max(1e-9)).map_or(cell.low, |cell| cell.low);
        let highest = wide(p + t * error).map_or(cell.high, |cell| cell.high);
        (low.min(lowest), high.max(highest))
    }

    /// How far `upper`, the `U` of the accepted share by [`Body::bounds`], was moved out to the edge of a reading step; 0
    /// where steps are not wide.
    #[must_use]
    pub fn moved_out(&self, which: Which, accepted: f64, upper: f64) -> f64 {
        if !self.has_wide_steps() {
            return 0.0;
        }
        let answers = [Some(which), self.not_told_from(which)].into_iter().flatten();
        let fitted = answers.filter_map(|which| self.bounds_as_fitted(which, accepted).ok());
        let reach = fitted.map(|b| b.upper).fold(f64::NEG_INFINITY, f64::max);
        let moved = upper - reach;
        if moved.is_finite() { moved.max(0.0) } else { 0.0 }
    }

    /// Whether a reading step is wide beside the spread.
    fn is_wide(&self, step: &Cell) -> bool {
        let spread = (self.average.quantile(0.841) - self.average.quantile(0.159)) / 2.0;
        step.high - step.low > WIDE * spread
    }

    /// Whether the typical reading or the upper reference reading lies in a step that is wide.
    #[must_use]
    pub fn has_wide_steps(&self) -> bool {
        let wide = |p| self.empirical.cell_with(p).is_some_and(|cell| self.is_wide(cell));
        [0.5, UPPER_REFERENCE].into_iter().any(wide)
    }

    /// The share above a limit that lies inside a wide step: its interval reaches to what lies above either edge.
    pub(super) fn over_the_step(&self, share: Estimate, limit: f64) -> Estimate {
        let Some(step) = self.empirical.cell_about(limit).filter(|cell| self.is_wide(cell)) else {
            return share;
        };
        let end = |x: f64, sign: f64| {
            let (t, error) = self.share_error(x, 0.5 + self.level / 2.0);
            (self.empirical.sf(x) + sign * t * error).clamp(0.0, 1.0)
        };
        Estimate {
            low: share.low.min(end(step.high, -1.0)),
            high: share.high.max(end(step.low, 1.0)),
            method: to_edges(&share.method),
            ..share
        }
    }
}
