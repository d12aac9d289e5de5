//! Which charts a review has, and the question each answers; drawn in parallel.

use rayon::prelude::*;

use super::chart::draw::Inked;
use super::chart::one_series::OneSeries;
use super::chart::{
    Chart, ChartError, distribution, draw, drift, failures, ladder, months, over_time, plants,
    probability, room_used,
};
use crate::progress::{Stage, Tell, Things};
use crate::review::Review;

/// A chart of a review: its file, what it answers, and its ink.
#[derive(Debug)]
pub struct Drawn {
    /// The series it belongs to; `None` for the whole plant.
    pub series: Option<usize>,
    /// Path relative to the report.
    pub path: String,
    /// What it answers, for its alternative text.
    pub question: &'static str,
    /// Its ink, or why there is none.
    pub ink: Result<Inked, ChartError>,
}

/// Makes one chart of the whole plant.
type OfPlant = fn(&Review) -> Result<Chart, ChartError>;

/// Makes one chart of a series.
type OfSeries = fn(&OneSeries<'_>) -> Result<Chart, ChartError>;

/// The charts of the whole plant: name, question and maker.
const OF_PLANT: [(&str, &str, OfPlant); 5] = [
    ("limits", "Where does each limit lie?", |review| {
        ladder::chart(&ladder::of_worst(review, &worst(review)))
    }),
    ("movement", "How did each series move?", |review| room_used::chart(&room_used::from(review))),
    ("stations", "How does each station read against the others?", |review| {
        over_time::chart(&over_time::of_stations(review))
    }),
    ("check-loads", "What did the check loads read?", |review| {
        over_time::chart(&over_time::of_check_loads(review))
    }),
    ("plants", "Does the same model read the same at every plant?", |review| {
        plants::chart(&plants::from(review))
    }),
];

/// The charts of every series: name, question and maker.
const OF_SERIES: [(&str, &str, OfSeries); 5] = [
    ("distribution", "What do healthy units read, and where is the limit?", |series| {
        distribution::chart(&distribution::from(series))
    }),
    ("probability", "How well does the fitted body describe the readings?", |series| {
        probability::chart(&probability::from(series)?)
    }),
    ("months", "What changed from month to month?", |series| months::chart(&months::from(series))),
    ("drift", "Is it moving, and when will it matter?", |series| {
        drift::chart(&drift::from(series))
    }),
    ("failures", "How often does it fail, and since when?", |series| {
        failures::chart(&failures::from(series, series.largest_jump))
    }),
];

/// The series of the ladder, in their order: all, or those that need most attention first where they are many.
fn worst(review: &Review) -> Vec<usize> {
    let mut chosen: Vec<usize> = review.by_attention().take(ladder::ROWS).collect();
    chosen.sort_unstable();
    chosen
}

/// One chart to be made.
enum Job {
    Series(usize, OfSeries),
    Plant(OfPlant),
}

/// Draws the charts of the plant and of the series that need attention, or of `all`; in parallel.
#[must_use]
pub fn drawn(review: &Review, all: bool, tell: &Tell<'_>) -> Vec<Drawn> {
    let mut jobs: Vec<(String, &'static str, Job)> = OF_PLANT
        .into_iter()
        .filter(|(name, ..)| asked_for(name, review))
        .map(|(name, question, make)| (format!("charts/{name}.png"), question, Job::Plant(make)))
        .collect();
    for (n, series) in review.series.iter().enumerate() {
        if !all && !review.attention.contains(&n) {
            continue;
        }
        jobs.extend(OF_SERIES.map(|(name, question, make)| {
            (format!("charts/{}-{name}.png", series.named.id), question, Job::Series(n, make))
        }));
    }
    let each = Things::new(tell, Stage::Draw, jobs.len());
    jobs.into_par_iter()
        .map(|(path, question, job)| {
            let (series, chart) = match job {
                Job::Series(n, make) => (Some(n), make(&OneSeries::new(review, n))),
                Job::Plant(make) => (None, make(review)),
            };
            Drawn { series, path, question, ink: chart.and_then(|c| draw::inked(&c)) }
        })
        .inspect(|_| each.one_more())
        .collect()
}

/// Whether the plant has what a chart of it shows: one station has no others, and no load no record.
fn asked_for(name: &str, review: &Review) -> bool {
    match name {
        "stations" => review.stations.iter().any(|s| !s.months.is_empty()),
        "check-loads" => review.checks.iter().flatten().any(|c| !c.loads.is_empty()),
        "plants" => !review.plants.is_empty(),
        _ => true,
    }
}
