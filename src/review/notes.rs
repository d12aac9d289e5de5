//! What a reader must know: why a question has no answer, and what was not examined.
//!
//! Every `null` of the contract has its reason here. A note begins with the title of its series where it is of
//! one.

use crate::analysis::Finding;
use crate::analysis::body::healthy::Healthy;
use crate::config::Config;
use crate::input::Read;
use crate::movement::stations::CannotTell;
use crate::movement::{Movement, SeriesMovement};
use crate::series::Pass;
use crate::stats::shape::NoShape;
use crate::verdict::misread::Said;

/// Said where the settings name no check load.
pub const NO_CHECK_LOADS: &str = "no check loads are named: whether the stations still trip is not known; name them under [check_loads]";

/// The note on files that look misread and are taken as they stand by the settings.
#[must_use]
pub fn believed(said: &Said) -> String {
    format!(
        "{}: taken as it stands, as the settings name it under believed: {}",
        said.place, said.what
    )
}

/// The note on names of the settings that no file has; `None` where each is met. A misspelt name is silent
/// otherwise, and a check load that is misspelt counts as product.
#[must_use]
pub fn unmatched(read: &Read, pass: &Pass, config: &Config) -> Option<String> {
    let mut unmet: Vec<String> = Vec::new();
    let mut look = |what: &str, name: &String, met: bool| {
        if !met {
            unmet.push(format!("{what} {name:?}"));
        }
    };
    let exports = || read.tables.iter().filter(|t| !t.is_tally() && !t.is_retold);
    if exports().next().is_some() {
        for (header, taken_for) in &config.columns {
            look("the column", header, exports().any(|t| t.has_header(header, taken_for)));
        }
        for unmet in &read.unmet {
            look(&format!("under {} the word", unmet.section), &unmet.word, false);
        }
        for load in config.check_loads.keys() {
            look("the check load", load, pass.plant.checks.iter().any(|c| c.load == *load));
        }
    }
    for (n, factor) in config.factors.iter().enumerate() {
        look("the factor", factor, read.tables.iter().any(|t| t.has_factor(n)));
    }
    for model in config.model.keys() {
        look(
            "the model",
            model,
            pass.series.iter().any(|s| s.key.names().contains(&model.as_str())),
        );
    }
    for station in config.open_lead_ma.keys() {
        look("the station", station, pass.plant.stations.contains(station));
    }
    for ceiling in config.ceiling.all() {
        let met = pass.series.iter().any(|s| s.key.test.key() == ceiling.test);
        look("the ceiling of", &ceiling.test, met);
    }
    (!unmet.is_empty()).then(|| {
        format!(
            "the settings name what no file has: {}; check how it is spelt, or take it out",
            unmet.join(", ")
        )
    })
}

/// Of which plants product and tester cannot be told apart: of all, or of some of several.
pub fn of_stations(cannot_tell: Option<CannotTell>, movement: &Movement) -> Vec<String> {
    match cannot_tell {
        Some(why) => vec![why.to_string()],
        None => movement.untold.iter().map(ToString::to_string).collect(),
    }
}

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
