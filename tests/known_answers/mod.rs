//! Published values and closed forms worked by hand, one file per method.

mod autocorrelation;
mod capability;
mod censored_fits;
mod change_points;
mod empirical;
mod ewma;
mod exact_tests;
mod expected;
mod gaps;
mod goodness;
mod log_ratio;
mod log_tails;
mod low_side;
mod moments;
mod multiple;
mod physics;
mod proportion;
mod rate_change;
mod special_functions;
mod tolerance;
mod trend;
mod verdict_findings;
mod verdicts;

/// The published cases guard themselves: a test that opens one must compare each of its numbers.
#[test]
#[should_panic(expected = "never compared: {\"lag1_autocorrelation\", \"mean\", \"n\", \"sd\"}")]
fn a_number_forgotten_fails() {
    crate::support::checks::load("strd-univariate-lottery");
}
