//! The command `jump`: one question asked in depth → page, charts, result file, units to check.

use super::markdown::{jumps as page, readme};
use super::{chart, json, tables};
use crate::analysis::jump::Asked;
use crate::day::date_of;
use crate::review::jump_study::{JumpPage, SCHEMA};
use crate::review::{Review, ReviewedSeries};
use crate::verdict::cautions::ALL;
use crate::verdict::jump::said::Said;
use crate::verdict::jump::{Answer, JudgedJump};
use crate::verdict::units::WhyCheck;

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
pub fn study(review: &Review, asked: &Asked) -> JumpStudy {
    let jumps = review.jumps.as_deref().unwrap_or_default();
    let mut notes = Vec::new();
    let mut files = Vec::new();
    let mut jump_charts = Vec::new();
    for chart in chart::jumps::drawn(review, true, chart::draw::png) {
        match chart.ink {
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
    if asked.since.is_some() && jumps.is_empty() {
        notes.push("no series has tests and a failure on both sides of the date".to_owned());
    }
    let looked: Vec<&ReviewedSeries> =
        review.series.iter().filter(|s| asked.looks_at(&s.named.key.model)).collect();
    let report = JumpPage {
        schema: SCHEMA,
        name: review.name.clone(),
        model: asked.model.clone(),
        since: asked.since.map(date_of),
        first: review.first.clone(),
        from: review.from,
        to: review.to,
        rows: review.rows.clone(),
        series: looked.iter().map(|s| s.named.title.clone()).collect(),
        jumps: jumps.to_vec(),
        jump_charts,
        habits: looked
            .iter()
            .flat_map(|s| {
                s.retests.habits.iter().map(|habit| format!("{}: {habit}", s.named.title))
            })
            .collect(),
        settings: SETTINGS.iter().filter_map(|key| setting(review, key)).collect(),
        notes,
        made: review.made.clone(),
        cautions: ALL,
    };
    files.push(("summary.md".to_owned(), page::page(&report).into_bytes()));
    files.push(("results.json".to_owned(), json::results(&report).into_bytes()));
    files.push(readme::file(&readme::JUMPS));
    let of_cause = review.units.iter().filter(|u| u.why == WhyCheck::OfCause);
    files
        .push(("units-to-check.csv".to_owned(), tables::units_to_check_csv(of_cause).into_bytes()));
    files.sort_by(|a, b| a.0.cmp(&b.0));
    JumpStudy { report, files }
}

/// Settings that an investigation rests on, as its page lists them.
const SETTINGS: [&str; 7] = [
    "jump_p",
    "jump_failures",
    "jump_ratio",
    "jump_rise",
    "cause_failures",
    "cause_share",
    "confidence",
];

fn setting(review: &Review, key: &str) -> Option<String> {
    let line = review.settings.iter().find(|line| line.name == key)?;
    Some(format!("{key} = {}", line.value))
}

/// What is printed when an investigation was written.
#[must_use]
pub fn closing(report: &JumpPage, out: &std::path::Path) -> String {
    let mut text = super::first_lines(&report.first);
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
        let causes = if jump.answer == Answer::Mix {
            " The mix changed: nothing fails more often than before.".to_owned()
        } else if causes.is_empty() {
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
