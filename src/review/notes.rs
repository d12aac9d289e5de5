//! What a reader must know: why a question has no answer, and what was not examined.
//!
//! Every `null` of the contract has its reason here. A note begins with the title of its series where it is of
//! one.

use crate::analysis::Finding;
use crate::analysis::body::healthy::Healthy;
use crate::movement::SeriesMovement;
use crate::stats::shape::NoShape;

/// Said where the settings name no check load.
pub const NO_CHECK_LOADS: &str = "no check loads are named: whether the stations still trip is not known; name them under [check_loads]";

/// The notes of one series.
#[must_use]
pub fn of_series(title: &str, moved: &SeriesMovement, finding: &Finding) -> Vec<String> {
    let mut notes = Vec::new();
    let mut note = |what: String| notes.push(format!("{title}: {what}"));
    match &finding.healthy {
        Err(reason) => note(format!("no distribution: {reason}")),
        Ok(Healthy { in_use: Err(reason), .. }) => {
            note(format!("no answer about the tail: {reason}"));
        }
        Ok(_) => {}
    }
    // A body that is missing has its own note.
    if let Ok(Healthy { low: Some(low), .. }) = &finding.healthy {
        if let Err(reason) = &low.performance {
            note(format!("no index against the low limit: {reason}"));
        }
        if let Err(reason) = &low.reject_share {
            note(format!("no expected share below the low limit: {reason}"));
        }
    }
    if let Some(Err(_)) = &finding.observed_low {
        note("no share of results under the low limit: no unit of the period was judged at the limit in force".to_owned());
    }
    if moved.drift.shape.is_none() {
        let why = match moved.drift.no_shape {
            None => "too few points",
            Some(NoShape::TooFewPoints) => "fewer than 20 daily or weekly points",
            Some(NoShape::NotNumbers) => "the points do not allow one",
        };
        note(format!("no shape of movement: {why}"));
    }
    if moved.drift.season_possible {
        note("rise and fall within the year: a season is possible, but the history is shorter than 24 months".to_owned());
    }
    notes
}
