//! Verdict → pages: no statistics, no thresholds.
//!
//! Takes what was found and decided, gives one [`model::Report`] and renders it for people (markdown,
//! PNG), for machines (JSON) and for lists (CSV). Every page reads the same values.

pub mod body_pictures;
pub mod build;
pub mod chart;
pub mod format;
pub mod json;
pub mod jump_model;
mod jump_pictures;
pub mod jump_study;
mod jumps;
pub mod limit_model;
pub mod limit_study;
pub mod markdown;
pub mod model;
pub mod peek;
pub mod pictures;
mod plant_pictures;
pub mod since;
pub mod tables;
mod testers;
pub mod write;

use std::fmt::Write;
use std::path::Path;

use build::{Parts, month_text};
use model::Report;

use crate::error::{Error, Result};
use crate::series::Pass;

/// A finished review: the report's model and its files, not yet written.
#[derive(Debug)]
pub struct Review {
    /// Everything the pages show.
    pub report: Report,
    /// Relative path and content of each file.
    pub files: Vec<(String, Vec<u8>)>,
}

/// The month under review: the one asked for, else the last with products.
///
/// # Errors
/// Where the month asked for holds no test.
pub fn month_under_review(pass: &Pass, asked: Option<(i32, u32)>) -> Result<(i32, u32)> {
    use crate::day::month_of;
    let (first, last) = pass.days.unwrap_or((0, 0));
    let Some(month) = asked else {
        return Ok(month_of(last));
    };
    let tested = pass.station_days.values().flatten().any(|d| month_of(*d) == month);
    if tested {
        return Ok(month);
    }
    Err(Error::usage(
        format!(
            "--month {}: expected a month with tests, found none; the files hold {} to {}",
            month_text(month),
            month_text(month_of(first)),
            month_text(month_of(last)),
        ),
        "name one of them",
    ))
}

/// All files of a report; where an earlier one is known, with what changed since.
///
/// # Errors
/// Never for a chart that has nothing to show: that is a note.
pub fn render(parts: &Parts<'_>, earlier: Option<model::Earlier>) -> Result<Review> {
    let mut report = build::build(parts);
    report.since_report = earlier.map(|earlier| since::since(&report, earlier));
    let mut files = Vec::new();
    for picture in pictures::pictures(parts, &report) {
        match (picture.png, picture.series) {
            (Ok(png), series) => {
                if let Some(n) = series {
                    report.series[n].charts.push((picture.path.clone(), picture.question));
                }
                files.push((picture.path, png));
            }
            (Err(why), series) => {
                let of = series
                    .map_or_else(|| "all series".to_owned(), |n| report.series[n].title.clone());
                report.notes.push(format!("{of}: no chart for \"{}\": {why}", picture.question));
            }
        }
    }
    for chart in jump_pictures::drawn(parts, report.jumps.as_deref().unwrap_or_default(), false) {
        match chart.png {
            Ok(png) => {
                if let Some(jump) = report.jumps.as_mut().and_then(|j| j.get_mut(chart.jump)) {
                    jump.charts.push((chart.path.clone(), chart.question));
                }
                files.push((chart.path, png));
            }
            Err(why) => report.notes.push(format!("no chart for \"{}\": {why}", chart.question)),
        }
    }
    report.notes.sort();
    files.push(("summary.md".to_owned(), markdown::summary(&report).into_bytes()));
    files.push(("results.json".to_owned(), json::results(&report).into_bytes()));
    files.push(("rows-not-used.csv".to_owned(), tables::rows_not_used_csv(&report).into_bytes()));
    files.push(("units-to-check.csv".to_owned(), tables::units_to_check_csv(&report).into_bytes()));
    files.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(Review { report, files })
}

/// A folder name for a report's name: nothing that a file system could take for a path.
#[must_use]
pub fn folder_name(name: &str) -> String {
    let safe: String = name
        .chars()
        .map(|c| if c.is_alphanumeric() || "-_. ".contains(c) { c } else { '-' })
        .take(80)
        .collect();
    let safe = safe.trim_matches(['.', ' ']).to_owned();
    if safe.is_empty() { "review".to_owned() } else { safe }
}

/// Whether `--gate` stops on this report.
#[must_use]
pub fn needs_action(report: &Report) -> bool {
    let verdict = |v: &str| matches!(v, "too_tight" | "too_loose" | "no_workable_band");
    report
        .series
        .iter()
        .any(|s| s.verdict.verdict.as_deref().is_some_and(verdict) || s.drift.flagged)
        || report.actions.iter().any(|a| matches!(a.kind, "tester_moved" | "station_differs"))
        || report.jumps.iter().flatten().any(|j| j.flagged)
}

/// What is printed when a report was written.
#[must_use]
pub fn closing(report: &Report, out: &Path, verbose: bool) -> String {
    let mut text = String::new();
    let rows = &report.rows;
    let _ = writeln!(
        text,
        "{}; {} series",
        format::row_sum(rows.read, rows.used, rows.set_aside.values().sum(), rows.unreadable),
        report.series.len(),
    );
    let shown = if verbose { report.actions.len() } else { 5 };
    for action in report.actions.iter().take(shown) {
        let _ = writeln!(text, "  {}. {}: {}", action.rank, action.subject, action.sentence);
    }
    if report.actions.len() > shown {
        let _ = writeln!(text, "  and {} more", report.actions.len() - shown);
    }
    let _ = writeln!(text, "report: {}", out.join("summary.md").display());
    text
}
