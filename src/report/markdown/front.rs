//! `summary.md`: what to do today, in one minute, whatever the plant: at most 150 lines with 8 models or 800.

use std::fmt::Write;

use super::super::format::{address, anchor, name, text};
use super::{cautions, first_cautions, header, incidents, not_completed, plants, row};
use crate::report::format::currents_of;
use crate::review::{Review, ReviewedSeries};
use crate::verdict::VerdictKind;
use crate::verdict::month::Matters;
use crate::words::numbers::{counted, grouped, share_pct};
use crate::words::time::date;

/// Its name in the folder.
pub const FILE: &str = "summary.md";
/// Lines said before anything else that stand here; the record has them all.
const SAID_FIRST: usize = 5;
/// Series in the table of those that need attention.
const SERIES: usize = 20;
/// Series that changed this month.
const CHANGED: usize = 8;

/// A page beside this one.
#[derive(Debug, Clone, Copy)]
pub struct Beside {
    /// Its path.
    pub path: &'static str,
    /// Its title.
    pub title: &'static str,
    /// What it answers.
    pub what: &'static str,
}

const fn beside(path: &'static str, title: &'static str, what: &'static str) -> Beside {
    Beside { path, title, what }
}

/// Pages beside this one, in their order.
pub const PAGES: [Beside; 8] = [
    beside("incidents.md", "Incidents", "each incident with all its parts"),
    beside(
        "testers.md",
        "Testers",
        "stations, check loads, calibrations, settings, what is too good to be true",
    ),
    beside("jumps.md", "Jumps", "each change of the share of failures, with what explains it"),
    beside("month.md", "The month", "what changed this month, and since the last report"),
    beside("record.md", "Record", "gaps, units to check, rows not used, ceilings, notes"),
    beside("method.md", "Method", "how everything was computed, settings, words, inputs"),
    beside("all-series.md", "All series", "every series in one table"),
    beside(plants::FILE, "Plants", "the same model at several plants, side by side"),
];

/// The pages that a report has beside this one.
pub fn beside_of(report: &Review) -> impl Iterator<Item = &'static Beside> {
    let has_plants = !report.plants.is_empty();
    PAGES.iter().filter(move |page| has_plants || page.path != plants::FILE)
}

/// The whole page.
pub(super) fn page(page: &mut String, report: &Review) {
    said_first(page, report);
    state(page, report);
    if !report.made.failures.is_empty() {
        line!(
            page,
            "**{} could not be read, or not to the end: see [rows not used](#rows-not-used).**\n",
            counted(report.made.failures.len() as u64, "input")
        );
    }
    first_cautions(page);
    incidents::first_screen(page, report);
    month(page, report);
    series(page, report);
    pages(page, report);
    cautions(page);
}

/// The title, and what must be read before any number: the first few lines of each kind.
fn said_first(page: &mut String, report: &Review) {
    let misread = report.first.misread_lines();
    // Above the title: whoever reads one line of the file has read this one.
    for line in misread.iter().take(SAID_FIRST) {
        line!(page, "**{}**\n", text(line));
    }
    line!(page, "# {}: review of {}\n", name(&report.name), text(&report.month));
    for line in report.first.said_first.iter().take(SAID_FIRST) {
        line!(page, "**{}**\n", text(line));
    }
    let more = misread.len().saturating_sub(SAID_FIRST)
        + report.first.said_first.len().saturating_sub(SAID_FIRST);
    if more > 0 {
        line!(page, "**{} more lines of this kind: see [notes](#notes).**\n", grouped(more as u64));
    }
}

/// One line on the state, and one on what it rests on.
fn state(page: &mut String, report: &Review) {
    let kinds = |wanted: fn(VerdictKind) -> bool| {
        let of = report.series.iter().filter_map(|s| s.verdict.high.kind);
        of.filter(|k| wanted(*k)).count() as u64
    };
    let wrong = kinds(|k| {
        matches!(k, VerdictKind::TooLoose | VerdictKind::TooTight | VerdictKind::NoWorkableBand)
    });
    let moving = report.series.iter().filter(|s| s.drift.flagged).count() as u64;
    let units = &report.units_to_trace;
    // What never passed has not left the house, as far as the files tell: it is no part of what must be found.
    let never = match units.never_passed {
        0 => String::new(),
        n => format!(" ({} more never passed)", grouped(n)),
    };
    line!(
        page,
        "**{} wrong, {} moving, {} to hold or trace{never}; {}.**\n",
        counted(wrong, "limit"),
        counted(moving, "product"),
        counted(units.passed, "passed unit"),
        yield_of_the_month(report)
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
}

/// First-pass yield of the month, and of the time before it.
fn yield_of_the_month(report: &Review) -> String {
    let months = || report.series.iter().filter_map(|s| Some(&s.month.as_ref()?.change));
    let (units, failed) = months().fold((0, 0), |(u, f), m| (u + m.units, f + m.failed));
    let (before, failed_before) =
        months().fold((0, 0), |(u, f), m| (u + m.units_before, f + m.failed_before));
    let share = |failed: u64, units: u64| (units > 0).then(|| 1.0 - failed as f64 / units as f64);
    let Some(now) = share(failed, units) else {
        return format!("no unit was tested in {}", text(&report.month));
    };
    let was = share(failed_before, before)
        .map_or_else(String::new, |was| format!(", before it {}", share_pct(was)));
    format!("first-pass yield of {} {}{was}", text(&report.month), share_pct(now))
}

/// What changed this month: only series that did.
fn month(page: &mut String, report: &Review) {
    line!(page, "## This month\n");
    if let Some(since) = &report.since_report {
        let [new, open, closed] = match &since.incidents {
            Some(by) => [&by.new, &by.still_open, &by.closed].map(Vec::len),
            None => [&since.new, &since.still_open, &since.closed].map(Vec::len),
        };
        line!(
            page,
            "Against the review of {}: {new} new, {open} still open, {closed} closed: see [what](#since-the-last-report).\n",
            text(&since.earlier.month),
        );
    }
    let mut changed: Vec<_> = report
        .series
        .iter()
        .filter_map(|s| Some((s, s.month.as_ref()?)))
        .filter(|(_, m)| m.matters != Matters::Nothing)
        .collect();
    changed.sort_by_key(|(_, m)| m.rank);
    for (s, m) in changed.iter().take(CHANGED) {
        let link = format!("[{}](#{})", name(&s.named.title), anchor(&s.named.id));
        line!(page, "- {link}: **{}**. {}", m.matters, text(&m.sentence));
    }
    let rest = report.series.len() - changed.len().min(CHANGED);
    line!(
        page,
        "- {}: no change that is certain: see [the month](#what-changed-this-month).\n",
        counted(rest as u64, "series")
    );
}

/// Series that need attention, worst first, and a link to all.
fn series(page: &mut String, report: &Review) {
    line!(page, "## Series that need attention\n");
    let of: Vec<&ReviewedSeries> =
        report.attention.iter().filter_map(|n| report.series.get(*n)).collect();
    if report.series.is_empty() {
        line!(page, "No series was found.\n");
        return;
    }
    if !of.is_empty() {
        header(page, &super::SERIES_COLUMNS);
        for s in of.iter().take(SERIES) {
            series_row(page, s);
        }
        line!(page);
    }
    let more = report.series.len() - of.len().min(SERIES);
    if more > 0 {
        line!(
            page,
            "{} more: all stand in [models.csv](models.csv) and on the [page of all series](#all-series).\n",
            counted(more as u64, "series")
        );
    }
    for (path, question) in report.plant_charts(&["limits", "movement"]) {
        line!(page, "![{}]({})\n", text(question), address(path));
    }
}

/// One series in a row of the overview.
pub(super) fn series_row(page: &mut String, s: &ReviewedSeries) {
    let cells = super::series_cells(s, &currents_of(s));
    let link = format!("[{}](#{})", name(&s.named.title), anchor(&s.named.id));
    let rest = cells[1..].iter().map(|c| text(&c.shown));
    let all: Vec<String> = std::iter::once(link).chain(rest).collect();
    row(page, &all.iter().map(String::as_str).collect::<Vec<_>>());
}

/// Where everything else stands.
fn pages(page: &mut String, report: &Review) {
    line!(page, "## Where to look\n");
    for Beside { path, what, .. } in beside_of(report) {
        line!(page, "- [{path}]({path}): {what}");
    }
    line!(
        page,
        "- [report.html](report.html): all of it in one file to mail\n- [models.csv](models.csv), and a page for each model: its verdict, numbers, stations, months and charts"
    );
    line!(
        page,
        "- [units-to-check.csv](units-to-check.csv): {}, what to do first with each",
        counted(report.units_to_check.values().sum(), "line")
    );
    line!(page, "- [README.md](README.md): what each file and column is\n");
}
