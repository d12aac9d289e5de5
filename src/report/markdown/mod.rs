//! The pages of a report for people: what to do today, and where each number comes from.
//!
//! Takes a [`Review`] and gives its pages. A manager stops after the first screen of `summary.md`, so the incidents stand
//! there; an engineer goes on to the page of a model; an auditor follows every number to its method. Nothing is computed here and no threshold is known. All
//! names and sentences pass [`text`]: they come from exported files, and none may become markup.

/// Adds a line to a page; a `String` takes every line.
macro_rules! line {
    ($page:expr $(, $($arg:tt)*)?) => {{
        let _ = writeln!($page $(, $($arg)*)?);
    }};
}

pub mod change_note;
mod findings;
pub mod front;
mod glossary;
pub mod incidents;
mod inputs;
pub mod jumps;
pub mod limit_page;
pub mod links;
mod method;
pub mod models;
mod month;
mod plant;
pub mod plants;
pub mod readme;
mod series;
mod testers;

use std::fmt::Write;

use super::format::{Cell, address, name, text};
use crate::day::date_of;
use crate::movement::drift::Shape;
use crate::review::{First, Review, ReviewedSeries};
use crate::stats::estimate::Estimate;
use crate::verdict::cautions::{ALL, CAUTIONS};
use crate::verdict::limits::JudgedLimits;
use crate::words::currents::Currents;
use crate::words::numbers::{NONE, decimals_left, expected_share, grouped};
use crate::words::time::date;

/// A page: its path in the folder, and its text, ended by a line break.
pub type Page = (String, String);

/// All pages of a review, `summary.md` first, with links as if they were one page.
#[must_use]
pub fn pages(report: &Review) -> Vec<Page> {
    let mut all: Vec<Page> = Vec::new();
    let mut add = |path: &str, write: &dyn Fn(&mut String)| {
        let mut page = String::new();
        write(&mut page);
        all.push((path.to_owned(), page));
    };
    add("summary.md", &|page| front::page(page, report));
    add("incidents.md", &|page| {
        part(page, report, "incidents");
        incidents::section(page, report);
    });
    add("all-series.md", &|page| {
        part(page, report, "all series");
        overview(page, report);
        plant::groups(page, report);
    });
    add("month.md", &|page| {
        part(page, report, "the month");
        month::since(page, report);
        month::changes(page, report);
        month::yields(page, report);
        month::costs(page, report);
    });
    add("jumps.md", &|page| {
        part(page, report, "jumps in failures");
        jumps::section(page, report);
    });
    add("testers.md", &|page| {
        part(page, report, "testers");
        testers::stations(page, report);
        testers::checks(page, report);
        testers::calibration(page, report);
        testers::settings(page, report);
        testers::too_good(page, report);
    });
    add("record.md", &|page| {
        part(page, report, "the record");
        testers::gaps(page, report);
        plant::units(page, report);
        plant::rows(page, report);
        plant::ceilings(page, report);
        notes(page, report);
    });
    add("method.md", &|page| {
        part(page, report, "how it was computed");
        method::section(page, report);
    });
    if !report.plants.is_empty() {
        add(plants::FILE, &|page| {
            part(page, report, "plants");
            plants::section(page, report);
        });
    }
    for model in models::pages(report) {
        add(&model.path, &|page| {
            part(page, report, &model.model);
            first_cautions(page);
            for n in &model.series {
                series::section(page, &report.series[*n]);
            }
        });
    }
    all
}

/// The head of a page beside the summary: what must be read before any number, its title, the way back.
fn part(page: &mut String, report: &Review, what: &str) {
    let about = format!("{}, {}: {}", name(&report.name), text(&report.month), name(what));
    title(page, &about, &report.first);
    line!(page, "Part of [the review](summary.md).\n");
}

/// One row of a table; cells are markdown already.
fn row(page: &mut String, cells: &[&str]) {
    line!(page, "| {} |", cells.join(" | "));
}

/// Header and rule of a table.
fn header(page: &mut String, cells: &[&str]) {
    row(page, cells);
    line!(page, "|{}", "---|".repeat(cells.len()));
}

/// First tests that were stopped, in brackets; nothing where none was.
fn not_completed(report: &Review) -> String {
    match report.series.iter().map(|s| s.named.outcomes.not_completed).sum() {
        0 => String::new(),
        n => format!(" ({} not completed)", grouped(n)),
    }
}

/// The title of a page, with what is said before anything else.
fn title(page: &mut String, title: &str, first: &First) {
    // Above the title: whoever reads one line of the file has read this one.
    for misread in first.misread_lines() {
        line!(page, "**{}**\n", text(&misread));
    }
    line!(page, "# {title}\n");
    for said in &first.said_first {
        line!(page, "**{}**\n", text(said));
    }
}

/// The two cautions that stand at the head of every page.
fn first_cautions(page: &mut String) {
    line!(page, "> {} {} [More cautions](#cautions).\n", CAUTIONS[1], CAUTIONS[0]);
}

/// Inputs that could not be read, or not to the end, each on a line of its own.
fn not_read(page: &mut String, failures: &[String]) {
    for failure in failures {
        line!(page, "**Not read, or not to the end: {}**\n", text(failure));
    }
}

/// Columns of the table of all series.
pub const SERIES_COLUMNS: [&str; 6] = [
    "series",
    "verdict",
    "high limit",
    "workable band",
    "healthy units expected over the limit",
    "movement",
];

/// The cells of one series in that table, as plain text.
pub fn series_cells(s: &ReviewedSeries, show: &Currents) -> Vec<Cell> {
    let number = |x: Option<f64>| x.map_or_else(String::new, |x| x.to_string());
    let limit = s.limit.history.now.high_ma();
    let share = s.expected_reject_ppm.as_ref();
    let cell = |shown: String, sort: String| Cell { shown, sort };
    let plain = |shown: String| cell(shown.clone(), shown);
    vec![
        plain(s.named.title.clone()),
        plain(verdict_words(&s.verdict)),
        cell(limit.map_or_else(|| "not known".to_owned(), |x| show.set(x)), number(limit)),
        cell(band(&s.verdict, show), number(s.verdict.high.band_low_ma)),
        cell(
            share.map_or_else(|| NONE.to_owned(), |e| expected_share(e).to_string()),
            number(share.map(|e| e.value)),
        ),
        plain(movement(s)),
    ]
}

fn overview(page: &mut String, report: &Review) {
    line!(page, "## All series\n");
    header(page, &SERIES_COLUMNS);
    for s in &report.series {
        front::series_row(page, s);
    }
    line!(
        page,
        "\nppm: units per million; intervals are two-sided, 95 % unless said otherwise. The workable band runs from what healthy units need up to what the smallest harmful leak path, the ceiling or the tester's range allows. \"Not proven\": no leak path is stated, so a rule of thumb sets the upper end, and a limit inside the band may let a bad unit through. Of a product that rises it is the band of the time before the rise.\n"
    );
}

/// How an index is printed: with the decimals that its interval leaves, two at most.
fn index(e: &Estimate) -> impl Fn(f64) -> String + Copy {
    let decimals = decimals_left(e, 2);
    move |x| format!("{x:.decimals$}")
}

/// The verdict in words, with what softens it.
fn verdict_words(v: &JudgedLimits) -> String {
    let mut said = v.words().to_owned();
    if let Some(until) = v.high.fits_until {
        let _ = write!(said, "; the limit serves until {}", date(until.date));
    }
    if v.high.provisional {
        said.push_str(" (provisional)");
    }
    said
}

/// The workable band, as far as its ends are known.
fn band(v: &JudgedLimits, show: &Currents) -> String {
    match (v.high.band_low_ma, v.high.band_high_ma) {
        (Some(low), Some(high)) if low <= high => {
            let thumb = if v.high.high_end_is_proven() { "" } else { " (not proven)" };
            format!("{} to {}{thumb}", show.set(low), show.set(high))
        }
        (Some(low), Some(high)) => {
            format!("none: from {} on, but at most {}", show.set(low), show.set(high))
        }
        (Some(low), None) => format!("from {}, upper end not known", show.set(low)),
        (None, Some(high)) => format!("up to {}, lower end not known", show.set(high)),
        (None, None) => NONE.to_owned(),
    }
}

/// How the series moves, in a few words.
fn movement(s: &ReviewedSeries) -> String {
    let Some(shape) = s.drift.shape else {
        return "not known".to_owned();
    };
    let mut said = shape.words().to_owned();
    if let Some(since) = s.drift.since {
        let _ = write!(said, " since {}", date(date_of(since)));
    }
    if s.drift.flagged {
        said.push_str(", flagged");
    } else if shape != Shape::Steady {
        said.push_str(", not flagged");
    }
    if let Some(reached) = &s.drift.limit_reached_on {
        let _ = write!(said, "; too many rejects from {}", date(reached.date));
    }
    if let Some(since) = s.distribution.as_ref().and_then(|d| d.second_group_since) {
        let _ = write!(said, "; a second group since {}", date(since));
    }
    said
}

fn notes(page: &mut String, report: &Review) {
    line!(page, "## Notes\n");
    for note in &report.notes {
        line!(page, "- {}", text(note));
    }
    if report.notes.is_empty() {
        line!(page, "None.");
    }
    line!(page);
}

fn cautions(page: &mut String) {
    line!(page, "## Cautions\n");
    for caution in ALL {
        line!(page, "- {caution}");
    }
}
