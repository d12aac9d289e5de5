//! Parts of the evidence that verdicts are reached from, made by hand.

use leakdrift::verdict::evidence::Tail;

/// The end of the healthy body: `L`, the estimate and `U`.
pub fn tail(lower: f64, quantile: f64, upper: f64) -> Tail {
    Tail { quantile_ma: quantile, lower_ma: lower, upper_ma: upper, upper_at_horizon_ma: None }
}
