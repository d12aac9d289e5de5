//! Parts of the evidence that verdicts are reached from, made by hand.

use chrono::NaiveDate;
use leakdrift::verdict::evidence::Tail;

/// A date such as `2026-10-30`.
pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// The end of the healthy body: `L`, the estimate and `U`.
pub fn tail(lower: f64, quantile: f64, upper: f64) -> Tail {
    Tail { quantile_ma: quantile, lower_ma: lower, upper_ma: upper, upper_at_horizon_ma: None }
}
