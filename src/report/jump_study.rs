//! The command `jump`: one question asked in depth → page, charts, result file, units to check.

use std::path::PathBuf;

use chrono::NaiveDate;

use super::markdown::jumps as page;
use super::{chart, json, tables};
use crate::analysis::jump::Asked;
use crate::config::Config;
use crate::day::day_number;
use crate::review::jump_study::{JumpPage, SCHEMA};
use crate::review::{Review, ReviewedSeries};
use crate::verdict::jump::JudgedJump;
use crate::verdict::jump::said::Said;
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
    /// The question that it asks, by the settings.
    #[must_use]
    pub fn asked(&self, config: &Config) -> Asked {
        let since = self.since.map(day_number);
        Asked { since, model: self.model.clone(), ..Asked::all(config) }
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

/// The page, its charts and its lists.
#[must_use]
pub fn study(review: &Review, request: &JumpRequest, config: &Config) -> JumpStudy {
    let jumps = &review.verdicts.jumps;
    let mut notes = Vec::new();
    let mut files = Vec::new();
    let mut jump_charts = Vec::new();
    for chart in chart::jumps::drawn(review, true) {
        match chart.png {
            Ok(png) => {
                files.push((chart.shown.path.clone(), png));
                jump_charts.push(chart.shown);
            }
            Err(why) => notes.push(format!(
                "{}: no chart for \"{}\": {why}",
                jumps[chart.shown.jump].found.place.title, chart.shown.question
            )),
        }
    }
    if request.since.is_some() && jumps.is_empty() {
        notes.push("no series has tests and a failure on both sides of the date".to_owned());
    }
    let asked = request.asked(config);
    let looked: Vec<&ReviewedSeries> =
        review.series.iter().filter(|s| asked.looks_at(&s.named.key.model)).collect();
    let report = JumpPage {
        schema: SCHEMA,
        name: request.name.clone(),
        model: request.model.clone(),
        since: request.since,
        from: review.from,
        to: review.to,
        rows: review.rows.clone(),
        series: looked.iter().map(|s| s.named.title.clone()).collect(),
        jumps: jumps.clone(),
        jump_charts,
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
    let of_cause = review.verdicts.units.iter().filter(|u| u.why == WhyCheck::OfCause);
    files
        .push(("units-to-check.csv".to_owned(), tables::units_to_check_csv(of_cause).into_bytes()));
    files.sort_by(|a, b| a.0.cmp(&b.0));
    JumpStudy { report, files }
}

/// What is printed when an investigation was written.
#[must_use]
pub fn closing(report: &JumpPage, out: &std::path::Path) -> String {
    let mut text = String::new();
    let told: Vec<&JudgedJump> = report.jumps.iter().filter(|j| j.is_told()).collect();
    if told.is_empty() {
        text.push_str("no jump in failures large enough to matter\n");
    }
    for jump in told {
        let causes: Vec<String> = jump
            .found
            .explained
            .causes
            .iter()
            .map(|c| format!("{} {}", c.what.factor(), c.what.level()))
            .collect();
        let causes = if causes.is_empty() {
            String::new()
        } else {
            format!(" Explained by {}.", causes.join(", then "))
        };
        let first = jump.said.first().map_or_else(String::new, Said::to_string);
        text.push_str(&format!("{first}{causes}\n"));
    }
    text.push_str(&format!("page: {}\n", out.join("summary.md").display()));
    text
}
