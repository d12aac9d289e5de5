//! The command `jump`: one question asked in depth → page, charts, result file, units to check.

use std::path::PathBuf;

use chrono::NaiveDate;

use super::build::Parts;
use super::jump_model::{JumpPage, SCHEMA};
use super::markdown::jumps as page;
use super::{json, jump_pictures, tables};
use crate::analysis::jump::JumpQuestion;
use crate::day::day_number;
use crate::error::{Error, Result};
use crate::review::{Review, ReviewedSeries};
use crate::verdict::units::WhyCheck;

/// What is asked.
#[derive(Debug, Clone, Default)]
pub struct JumpRequest {
    /// Files, folders and patterns.
    pub paths: Vec<PathBuf>,
    /// Name of the report.
    pub name: String,
    /// Model looked at; all where `None`.
    pub model: Option<String>,
    /// The date, where it is known.
    pub since: Option<NaiveDate>,
}

impl JumpRequest {
    /// The question that it asks.
    #[must_use]
    pub fn question(&self) -> JumpQuestion<'_> {
        JumpQuestion { model: self.model.as_deref(), since: self.since.map(day_number) }
    }
}

/// A finished investigation, not yet written.
#[derive(Debug)]
pub struct JumpStudy {
    /// Everything its page shows.
    pub report: JumpPage,
    /// Relative path and content of each file.
    pub files: Vec<(String, Vec<u8>)>,
}

/// Checks that the model and the date asked for are in the files.
///
/// # Errors
/// No series of the model; a date with no production day before it or none from it on.
pub fn check(pass: &crate::series::Pass, request: &JumpRequest) -> Result<()> {
    if let Some(model) = &request.model
        && !pass.series.iter().any(|s| request.question().is_about(&s.key.model))
    {
        let mut known: Vec<&str> = pass.series.iter().map(|s| s.key.model.as_str()).collect();
        known.dedup();
        return Err(Error::usage(
            format!(
                "--model: expected a model of the files, found {model:?}; they hold {}",
                known.join(", ")
            ),
            "name one of them",
        ));
    }
    let (first, last) = pass.plant.days.unwrap_or((0, 0));
    let (first, last) = (crate::day::date_of(first), crate::day::date_of(last));
    match request.since {
        Some(since) if since <= first || since > last => Err(Error::usage(
            format!(
                "--since {since}: expected a date after the first day of the files, found none; they hold {first} to {last}"
            ),
            "name a date with tests on both sides of it",
        )),
        _ => Ok(()),
    }
}

/// The page, its charts and its lists.
#[must_use]
pub fn study(parts: &Parts<'_>, review: &Review, request: &JumpRequest) -> JumpStudy {
    let mut found = review.jumps.clone().unwrap_or_default();
    let mut notes = Vec::new();
    let mut files = Vec::new();
    for chart in jump_pictures::drawn(parts, &found, true) {
        match chart.png {
            Ok(png) => {
                found[chart.jump].charts.push((chart.path.clone(), chart.question));
                files.push((chart.path, png));
            }
            Err(why) => notes.push(format!(
                "{}: no chart for \"{}\": {why}",
                found[chart.jump].scope, chart.question
            )),
        }
    }
    if request.since.is_some() && found.is_empty() {
        notes.push("no series has tests and a failure on both sides of the date".to_owned());
    }
    let looked: Vec<&ReviewedSeries> =
        review.series.iter().filter(|s| request.question().is_about(&s.named.key.model)).collect();
    let config = parts.config;
    let report = JumpPage {
        schema: SCHEMA,
        name: request.name.clone(),
        model: request.model.clone(),
        since: request.since,
        from: review.from,
        to: review.to,
        rows: review.rows.clone(),
        series: looked.iter().map(|s| s.named.title.clone()).collect(),
        jumps: found,
        habits: looked
            .iter()
            .flat_map(|s| {
                s.retests.habits.iter().map(|habit| format!("{}: {habit}", s.named.title))
            })
            .collect(),
        settings: vec![
            format!("jump_p = {}", config.jump_p),
            format!("jump_failures = {}", config.jump_failures),
            format!("jump_ratio = {}", config.jump_ratio),
            format!("jump_rise = {}", config.jump_rise),
            format!("cause_failures = {}", config.cause_failures),
            format!("cause_share = {}", config.cause_share),
            format!("confidence = {}", config.confidence),
        ],
        notes,
        made: review.made.clone(),
    };
    files.push(("summary.md".to_owned(), page::page(&report).into_bytes()));
    files.push(("results.json".to_owned(), json::results(&report).into_bytes()));
    let of_cause = review.units.iter().filter(|u| u.why == WhyCheck::OfCause);
    files
        .push(("units-to-check.csv".to_owned(), tables::units_to_check_csv(of_cause).into_bytes()));
    files.sort_by(|a, b| a.0.cmp(&b.0));
    JumpStudy { report, files }
}

/// What is printed when an investigation was written.
#[must_use]
pub fn closing(report: &JumpPage, out: &std::path::Path) -> String {
    let mut text = String::new();
    let told: Vec<_> = report.jumps.iter().filter(|j| j.material || j.date_given).collect();
    if told.is_empty() {
        text.push_str("no jump in failures large enough to matter\n");
    }
    for jump in told {
        let causes: Vec<String> =
            jump.causes.iter().map(|c| format!("{} {}", c.factor, c.level)).collect();
        let causes = if causes.is_empty() {
            String::new()
        } else {
            format!(" Explained by {}.", causes.join(", then "))
        };
        text.push_str(&format!("{}{causes}\n", jump.sentences.first().map_or("", String::as_str)));
    }
    text.push_str(&format!("page: {}\n", out.join("summary.md").display()));
    text
}
