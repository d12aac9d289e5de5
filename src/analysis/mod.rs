//! Tallies → findings: one question per file.
//!
//! Takes a [`crate::series::Pass`], what moved and settings, gives findings with intervals: [`findings()`]
//! asks everything of every series, in parallel. Nothing here compares with a threshold of design
//! section 16: that is the verdict's.

pub mod body;
mod finding;
pub mod jump;
pub mod month;
mod questions;
pub mod units;

pub use finding::{Asked, Finding, Findings, Known, asked, findings};
pub use questions::{Questions, no_such_model};

/// Fewer readings than this make no body.
const FEWEST: f64 = 20.0;
/// Fewer distinct readings below the cut than this make no body.
const FEWEST_DISTINCT: usize = 3;

/// Why a question about the body has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotDone {
    /// Too few readings.
    #[error("{found} readings below the cut, {FEWEST} needed")]
    TooFewReadings {
        /// How many there are.
        found: f64,
    },
    /// The readings differ by too few steps to fit a distribution.
    #[error(
        "{found} distinct readings below the cut, {FEWEST_DISTINCT} needed: the reading step is too coarse"
    )]
    TooFewDistinct {
        /// How many there are.
        found: usize,
    },
    /// No family could be fitted.
    #[error("no distribution could be fitted: {0}")]
    NoFit(String),
    /// The series is too small, or too much of it tripped, for a tail of its own.
    #[error("no tail fitted: {0}")]
    NoTail(String),
    /// The body does not describe the series, and it has no tail.
    #[error("neither answer counts: the body does not describe the series, and {0}")]
    Neither(String),
    /// A number did not come out finite.
    #[error("the estimate of {0} is not a finite number")]
    NotFinite(&'static str),
}
