//! `summary.md`: the report for people, from what needs action down to how each number was made.
//!
//! Takes a [`Review`] and gives one text. A manager stops after the first screen, so the actions stand there;
//! an auditor follows every number to its method. Nothing is computed here and no threshold is known. All
//! names and sentences pass [`text`]: they come from exported files, and none may become markup.

/// Adds a line to a page; a `String` takes every line.
macro_rules! line {
    ($page:expr $(, $($arg:tt)*)?) => {{
        let _ = writeln!($page $(, $($arg)*)?);
    }};
}

pub mod change_note;
mod findings;
mod glossary;
mod inputs;
pub mod jumps;
pub mod limit_page;
mod method;
mod month;
mod plant;
pub mod readme;
mod series;
mod testers;

use std::fmt::Write;

use super::format::{anchor, currents_of, name, text};
use crate::day::date_of;
use crate::movement::drift::Shape;
use crate::review::{First, Review, ReviewedSeries};
use crate::stats::estimate::Estimate;
use crate::verdict::action::Action;
use crate::verdict::cautions::{ALL, CAUTIONS};
use crate::verdict::limits::JudgedLimits;
use crate::words::currents::Currents;
use crate::words::numbers::{NONE, counted, decimals_left, expected_share, grouped};
use crate::words::time::date;

/// Lines of the action table on the first screen; with what stands above they stay within 40 lines.
const ACTIONS_AT_THE_TOP: usize = 25;
/// So many of them at least, whatever is said before them.
const ACTIONS_AT_LEAST: usize = 10;

/// The whole page, ended by a line break.
#[must_use]
pub fn summary(report: &Review) -> String {
    let mut page = String::new();
    head(&mut page, report);
    actions(&mut page, report);
    month::since(&mut page, report);
    month::changes(&mut page, report);
    overview(&mut page, report);
    jumps::section(&mut page, report);
    line!(page, "## Each series\n");
    if report.series.is_empty() {
        line!(page, "No series was found.\n");
    }
    for of in &report.series {
        series::section(&mut page, of);
    }
    further_actions(&mut page, report);
    plant::groups(&mut page, report);
    testers::stations(&mut page, report);
    testers::gaps(&mut page, report);
    testers::checks(&mut page, report);
    testers::calibration(&mut page, report);
    testers::settings(&mut page, report);
    testers::too_good(&mut page, report);
    plant::units(&mut page, report);
    plant::rows(&mut page, report);
    method::section(&mut page, report);
    notes(&mut page, report);
    cautions(&mut page);
    page
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

fn head(page: &mut String, report: &Review) {
    title(
        page,
        &format!("{}: review of {}", name(&report.name), text(&report.month)),
        &report.first,
    );
    let rows = &report.rows;
    line!(
        page,
        "{} to {}: {}{} of {} on {}; {} read, {} used, {} set aside, {} unreadable.\n",
        date(report.from),
        date(report.to),
        counted(report.series.iter().map(|s| s.named.units).sum(), "completed first test"),
        not_completed(report),
        counted(report.series.len() as u64, "series"),
        counted(report.stations.len() as u64, "station"),
        counted(rows.read, "row"),
        grouped(rows.used),
        grouped(rows.set_aside_in_all()),
        grouped(rows.unreadable)
    );
    if !report.made.failures.is_empty() {
        line!(
            page,
            "**{} could not be read, or not to the end: see [rows not used](#rows-not-used).**\n",
            counted(report.made.failures.len() as u64, "input")
        );
    }
    first_cautions(page);
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

fn actions(page: &mut String, report: &Review) {
    line!(page, "## What needs action\n");
    if report.actions.is_empty() {
        line!(
            page,
            "Nothing was found that needs action. What was not examined is said under [notes](#notes).\n"
        );
        return;
    }
    let top = at_the_top(report);
    action_table(page, report, &report.actions[..top]);
    line!(page);
    if report.actions.len() > top {
        line!(
            page,
            "And {} more, less urgent: see [further actions](#further-actions).\n",
            grouped((report.actions.len() - top) as u64)
        );
    }
}

/// How many actions stand on the first screen: each line said before them takes the place of two.
fn at_the_top(report: &Review) -> usize {
    let first = &report.first;
    let said = 2 * (first.said_first.len() + first.misread_lines().len());
    report.actions.len().min(ACTIONS_AT_THE_TOP.saturating_sub(said).max(ACTIONS_AT_LEAST))
}

fn action_table(page: &mut String, report: &Review, actions: &[Action]) {
    header(page, &["", "where", "what", "what to do"]);
    for action in actions {
        let about = subject(report, &action.subject);
        row(
            page,
            &[&action.rank.to_string(), &about, &text(&action.sentence), &text(&action.next_step)],
        );
    }
}

fn further_actions(page: &mut String, report: &Review) {
    let top = at_the_top(report);
    if report.actions.len() > top {
        line!(page, "## Further actions\n");
        action_table(page, report, &report.actions[top..]);
        line!(page);
    }
}

/// The subject of an action, with a link to its section where it has one of its own.
fn subject(report: &Review, what: &str) -> String {
    let series = report.series.iter().find(|s| s.named.title == what).or_else(|| {
        let mut of_model = report.series.iter().filter(|s| s.named.key.model == what);
        of_model.next().filter(|_| of_model.next().is_none())
    });
    match series {
        Some(s) => format!("[{}](#{})", name(what), anchor(&s.named.id)),
        None if report.stations.iter().any(|s| s.station == what) => {
            format!("[{}](#stations)", name(what))
        }
        None => name(what),
    }
}

fn overview(page: &mut String, report: &Review) {
    line!(page, "## All series\n");
    header(
        page,
        &[
            "series",
            "verdict",
            "high limit",
            "workable band",
            "healthy units expected over the limit",
            "movement",
        ],
    );
    for s in &report.series {
        let show = currents_of(s);
        row(
            page,
            &[
                &format!("[{}](#{})", name(&s.named.title), anchor(&s.named.id)),
                &verdict_words(&s.verdict),
                &s.limit
                    .history
                    .now
                    .high_ma()
                    .map_or_else(|| "not known".to_owned(), |x| show.set(x)),
                &band(&s.verdict, &show),
                &s.expected_reject_ppm
                    .as_ref()
                    .map_or_else(|| NONE.to_owned(), |e| expected_share(e).to_string()),
                &movement(s),
            ],
        );
    }
    line!(
        page,
        "\nppm: units per million; intervals are two-sided, 95 % unless said otherwise. The workable band runs from what healthy units need up to what the smallest harmful leak path, the ceiling or the tester's range allows. \"Not proven\": no leak path is stated, so a rule of thumb sets the upper end, and a limit inside the band may let a bad unit through. Of a product that rises it is the band of the time before the rise.\n"
    );
    // Drawn together with the charts of the series.
    if report.series.iter().any(|s| !s.charts.is_empty()) {
        line!(page, "![Where does each limit lie?](charts/limits.png)\n");
    }
}

/// How an index is printed: with the decimals that its interval leaves, two at most.
fn index(e: &Estimate) -> impl Fn(f64) -> String + Copy {
    let decimals = decimals_left(e, 2);
    move |x| format!("{x:.decimals$}")
}

/// The verdict in words, with what softens it.
fn verdict_words(v: &JudgedLimits) -> String {
    let mut said = text(v.words());
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
        said = format!("**{said}**");
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
