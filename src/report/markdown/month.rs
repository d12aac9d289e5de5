//! What changed this month, and since an earlier report.

use std::fmt::Write;

use super::super::format::{address, anchor, name, text};
use super::{header, row};
use crate::analysis::month::yields::Cost;
use crate::day::date_of;
use crate::review::{Review, ReviewedSeries};
use crate::verdict::month::Matters;
use crate::verdict::month::MonthJudged;
use crate::verdict::since::{OpenAction, OpenIncident};
use crate::words::numbers::{
    NONE, grouped, measured, share_pct, signed_percent, three_digits, value,
};
use crate::words::time::{date, month_text};

/// Rows of each table of yields and costs; results.json holds them all.
const YIELDS: usize = 60;
/// Actions of an earlier report listed on the page.
const LISTED: usize = 12;

/// What is new, open and closed since an earlier report; nothing where none is known.
pub(super) fn since(page: &mut String, report: &Review) {
    let Some(s) = &report.since_report else {
        return;
    };
    line!(page, "## Since the last report\n");
    line!(
        page,
        "Against the review of {} ({} to {}).\n",
        text(&s.earlier.month),
        date(s.earlier.from),
        date(s.earlier.to),
    );
    for change in &s.verdicts {
        line!(
            page,
            "- verdict of [{}](#{}): {} → **{}**",
            name(&change.title),
            anchor(&change.series),
            text(&change.before),
            text(&change.now)
        );
    }
    if !s.verdicts.is_empty() {
        line!(page);
    }
    match &s.incidents {
        Some(by) => {
            let told = |i: &OpenIncident| {
                format!("`{}` {}: {}", text(&i.id), name(&i.places.join("; ")), text(&i.what))
            };
            list(page, "New", &by.new, told);
            list(page, "Ended, or no longer found", &by.ended, told);
            list(page, "Closed by decision", &by.closed, told);
            list(page, "Still open", &by.still_open, told);
        }
        // The earlier report is of a version that knew no incidents.
        None => {
            let told = |a: &OpenAction| format!("{}: {}", name(&a.subject), text(&a.sentence));
            list(page, "New", &s.new, told);
            list(page, "Closed", &s.closed, told);
            list(page, "Still open", &s.still_open, told);
        }
    }
}

fn list<T>(page: &mut String, head: &str, all: &[T], told: impl Fn(&T) -> String) {
    if all.is_empty() {
        return;
    }
    line!(page, "{head}:\n");
    for one in all.iter().take(LISTED) {
        line!(page, "- {}", told(one));
    }
    if all.len() > LISTED {
        line!(page, "- and {} more, in results.json", all.len() - LISTED);
    }
    line!(page);
}

/// The month under review against the time before it, what matters most first.
pub(super) fn changes(page: &mut String, report: &Review) {
    line!(page, "## What changed this month\n");
    let happened = of_the_month(report);
    for (day, sentence) in &happened {
        line!(page, "- {}: {sentence}", date(*day));
    }
    if !happened.is_empty() {
        line!(page);
    }
    let mut months: Vec<(&ReviewedSeries, &MonthJudged)> =
        report.series.iter().filter_map(|s| Some((s, s.month.as_ref()?))).collect();
    months.sort_by_key(|(_, m)| m.rank);
    if months.is_empty() {
        line!(page, "No unit was tested in {}.\n", text(&report.month));
        return;
    }
    line!(
        page,
        "{} against the time before it since the last established step, at most half a year; what matters most comes first. A change counts only where its interval excludes none.\n",
        text(&report.month)
    );
    header(page, &["series", "what matters", "level", "spread", "failed"]);
    for (s, judged) in &months {
        let m = &judged.change;
        let level =
            m.level_pct.as_ref().map_or_else(|| NONE.to_owned(), |e| measured(e, signed_percent));
        let spread = m
            .spread_ratio
            .as_ref()
            .map_or_else(|| NONE.to_owned(), |e| format!("× {}", measured(e, three_digits)));
        let failed = m.failure_share.as_ref().map_or_else(
            || NONE.to_owned(),
            |e| {
                format!("{} of {}: {}", grouped(m.failed), grouped(m.units), measured(e, share_pct))
            },
        );
        let before = m.failure_share_before.as_ref().map_or_else(String::new, |e| {
            let (failed, units) = (grouped(m.failed_before), grouped(m.units_before));
            format!("; before {failed} of {units}: {}", measured(e, share_pct))
        });
        let matters = match judged.matters {
            Matters::Nothing => NONE.to_owned(),
            matters => format!("**{matters}**"),
        };
        row(
            page,
            &[
                &format!("[{}](#{})", name(&s.named.title), anchor(&s.named.id)),
                &matters,
                &level,
                &spread,
                &format!("{failed}{before}"),
            ],
        );
    }
    line!(page);
    for (s, m) in &months {
        line!(page, "- {}: {}", name(&s.named.title), text(&m.sentence));
    }
    line!(page);
    for (path, question) in report.plant_charts(&["movement"]) {
        line!(page, "![{}]({})\n", text(question), address(path));
    }
}

/// First-pass yield by family, station and month.
pub(super) fn yields(page: &mut String, report: &Review) {
    if report.yields.is_empty() {
        return;
    }
    line!(page, "## First-pass yield\n");
    line!(
        page,
        "Completed first tests that passed; intervals pay for days that vary more than single units would.\n"
    );
    for (kind, head) in [("family", "model family"), ("station", "station"), ("month", "month")] {
        header(page, &[head, "completed first tests", "passed", "first-pass yield"]);
        for y in report.yields.iter().filter(|y| y.of.kind() == kind).take(YIELDS) {
            let share =
                y.share.as_ref().map_or_else(|| NONE.to_owned(), |e| measured(e, share_pct));
            row(page, &[&name(&y.of.name()), &grouped(y.units), &grouped(y.passed), &share]);
        }
        line!(page);
    }
}

/// What rejected good units cost, in the months that the yields tell.
pub(super) fn costs(page: &mut String, report: &Review) {
    let of_month: Vec<&Cost> =
        report.costs.iter().filter(|c| month_text(c.month) == report.month).collect();
    line!(page, "## What rejected good units cost\n");
    if of_month.is_empty() {
        line!(page, "No unit that failed first was tested again in {}.\n", text(&report.month));
        return;
    }
    line!(
        page,
        "Units of {} that failed first and passed a later test of the same series, and the time at the station from the first test to the last of one shift; every month is in `results.json`.\n",
        text(&report.month)
    );
    header(page, &["model", "good units rejected", "retests", "minutes", "money"]);
    for c in of_month.iter().take(YIELDS) {
        row(
            page,
            &[
                &name(&c.model),
                &grouped(c.good_rejected),
                &grouped(c.retests),
                &format!("{:.0}", c.minutes),
                &c.money.map_or_else(|| NONE.to_owned(), |m| format!("{m:.2}")),
            ],
        );
    }
    line!(page);
}

/// Dated happenings of the month under review, in order: movements, changes of settings, recorded events.
fn of_the_month(report: &Review) -> Vec<(chrono::NaiveDate, String)> {
    let mut all: Vec<(chrono::NaiveDate, String)> = report
        .movement
        .iter()
        .map(|m| {
            let size = value(&m.size_pct, crate::words::numbers::change_pct);
            (date_of(m.day), format!("{} {} moved by {size}", m.what, name(&m.name)))
        })
        .collect();
    let changes = || report.settings_changes.iter().map(|c| &c.change);
    all.extend(changes().map(|c| {
        (
            date_of(c.day),
            format!(
                "{} of {} at {}: {} → {}",
                c.what.words(),
                name(&c.series.model),
                name(&c.stations.join(", ")),
                text(&c.what.value_words(c.from)),
                text(&c.what.value_words(c.to))
            ),
        )
    }));
    for s in &report.series {
        // The first day of a series is no change.
        for day in s.limit.history.changes.iter().skip(1).map(|c| date_of(c.day)) {
            // One change of a limit that the settings record tells is not told twice.
            let told =
                changes().any(|c| date_of(c.day) == day && c.series.model == s.named.key.model);
            if !told {
                all.push((day, format!("limit of {} changed", name(&s.named.title))));
            }
        }
    }
    all.extend(report.register.events.iter().flatten().map(|e| {
        let about: Vec<String> =
            [&e.model, &e.station].into_iter().filter(|n| !n.is_empty()).map(|n| name(n)).collect();
        let about =
            if about.is_empty() { String::new() } else { format!(" ({})", about.join(", ")) };
        (date_of(e.day), format!("event: {}{about}", text(&e.what)))
    }));
    all.retain(|(day, _)| day.format("%Y-%m").to_string() == report.month);
    all.sort();
    all
}
