//! Verdict → pages: no statistics, no thresholds.
//!
//! Takes what was found and decided, gives one [`Review`] and renders it for people (markdown,
//! PNG), for machines (JSON) and for lists (CSV). Every page reads the same values.

pub mod chart;
pub mod charts;
pub mod format;
pub mod html;
pub mod json;
pub mod jump_study;
pub mod limit_study;
pub mod markdown;
pub mod origin;
pub mod peek;
pub mod tables;
pub mod write;

use std::collections::HashMap;
use std::fmt::Write;
use std::path::Path;

use self::chart::draw::Inked;

use self::markdown::readme;
use crate::progress::Tell;
use crate::review::{First, Review};

/// A file of a report: its path relative to it, and its content.
pub type File = (String, Vec<u8>);

/// A review with its files, not yet written.
#[derive(Debug)]
pub struct Rendered {
    /// What the pages show, with what was noted while charts were drawn.
    pub review: Review,
    /// Its files.
    pub files: Vec<File>,
}

/// All files of a review; `tell` hears of each chart. A chart that has nothing to show is a note. Series that need no
/// attention have no charts, unless `all_charts` are asked for.
#[must_use]
pub fn render(mut review: Review, all_charts: bool, tell: &Tell<'_>) -> Rendered {
    let ((drawn, of_jumps), (rows_not_used, units_to_check)) = rayon::join(
        || {
            let drawn = charts::drawn(&review, all_charts, tell);
            (drawn, chart::jumps::drawn(&review, false, chart::draw::inked))
        },
        || (tables::rows_not_used_csv(&review), tables::units_to_check_csv(&review.units)),
    );
    let mut files = Vec::new();
    let mut strokes: HashMap<String, String> = HashMap::new();
    for chart in drawn {
        match (chart.ink, chart.series) {
            (Ok(Inked { png, svg }), series) => {
                strokes.insert(chart.path.clone(), svg);
                let shown = (chart.path.clone(), chart.question.to_owned());
                match series {
                    Some(n) => review.series[n].charts.push(shown),
                    None => review.charts.push(shown),
                }
                files.push((chart.path, png));
            }
            (Err(why), series) => {
                let of = series.map_or_else(
                    || "all series".to_owned(),
                    |n| review.series[n].named.title.clone(),
                );
                review.notes.push(format!("{of}: no chart for \"{}\": {why}", chart.question));
            }
        }
    }
    for chart in of_jumps {
        match chart.ink {
            Ok(Inked { png, svg }) => {
                strokes.insert(chart.shown.path.clone(), svg);
                files.push((chart.shown.path.clone(), png));
                review.jump_charts.push(chart.shown);
            }
            Err(why) => {
                review.notes.push(format!("no chart for \"{}\": {why}", chart.shown.question));
            }
        }
    }
    review.notes.extend(
        json::not_finite(&review).iter().map(|at| format!("{at} came out as no number: left out")),
    );
    review.notes.sort();
    let pages = markdown::pages(&review);
    let (whole, results) =
        rayon::join(|| html::page(&review, &pages, &strokes), || json::results(&review));
    files.push((html::FILE.to_owned(), whole.into_bytes()));
    let pages = markdown::links::linked(pages).into_iter();
    files.extend(pages.map(|(path, page)| (path, page.into_bytes())));
    files.push(("models.csv".to_owned(), tables::models_csv(&review).into_bytes()));
    files.push(("results.json".to_owned(), results.into_bytes()));
    files.push(readme::file(&readme::REVIEW));
    files.push(("rows-not-used.csv".to_owned(), rows_not_used.into_bytes()));
    files.push(("units-to-check.csv".to_owned(), units_to_check.into_bytes()));
    files.sort_by(|a, b| a.0.cmp(&b.0));
    Rendered { review, files }
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

/// What is said before anything else, on the terminal.
fn first_lines(first: &First) -> String {
    first.said_first.iter().map(|line| format!("{line}\n")).collect()
}

/// What is printed when a report was written.
#[must_use]
pub fn closing(report: &Review, out: &Path, verbose: bool) -> String {
    let mut text = first_lines(&report.first);
    let rows = &report.rows;
    let _ = writeln!(
        text,
        "{}; {} series",
        crate::words::numbers::row_sum(
            rows.read,
            rows.used,
            rows.set_aside_in_all(),
            rows.unreadable
        ),
        report.series.len(),
    );
    let shown = if verbose { report.incidents.len() } else { 5 };
    for (n, incident) in report.incidents.iter().take(shown).enumerate() {
        let _ = writeln!(text, "  {}. {}: {}", n + 1, incident.places.join("; "), incident.what);
    }
    if report.incidents.len() > shown {
        let _ = writeln!(text, "  and {} more", report.incidents.len() - shown);
    }
    let _ = writeln!(text, "report: {}", out.join("summary.md").display());
    text
}
