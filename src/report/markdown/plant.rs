//! What belongs to no single series: shared limits, units to check, rows not used.

use std::fmt::Write;

use super::super::format::{currents_of, name, text};
use super::{header, row};
use crate::review::Review;
use crate::verdict::cautions::CAUTIONS;
use crate::words::currents::Currents;
use crate::words::numbers::{NONE, counted, grouped};

/// Inputs that could not be read and are listed: a folder may hold a damaged file for each unit.
const FAILURES_SHOWN: usize = 100;
/// Unreadable rows shown on the page; the file holds them all.
const UNREADABLE_SHOWN: usize = 10;

/// Models that share one limit; nothing where none do.
pub(super) fn groups(page: &mut String, report: &Review) {
    if report.limit_groups.is_empty() {
        return;
    }
    line!(page, "## Models that share one limit\n");
    header(page, &["shared by", "band of all", "lower end set by", "upper end set by", ""]);
    for g in &report.limit_groups {
        let of = |n: &Option<String>| n.as_ref().map_or_else(|| NONE.to_owned(), |n| name(n));
        // Of the series that set an end, the one with the finest step says how its currents are printed.
        let setter = report
            .series
            .iter()
            .filter(|s| {
                [&g.low_set_by, &g.high_set_by]
                    .into_iter()
                    .flatten()
                    .any(|n| *n == s.named.key.model)
            })
            .min_by(|a, b| a.reading_step_ma.total_cmp(&b.reading_step_ma));
        let show =
            setter.map_or_else(|| Currents::new(g.band_low_ma.unwrap_or(1.0), 0.0), currents_of);
        let set = |x: Option<f64>| x.map_or_else(|| "not known".to_owned(), |x| show.set(x));
        let band = if g.band_low_ma.is_none() && g.band_high_ma.is_none() {
            "none".to_owned()
        } else {
            format!("{} to {}", set(g.band_low_ma), set(g.band_high_ma))
        };
        row(
            page,
            &[
                &name(&g.group),
                &band,
                &of(&g.low_set_by),
                &of(&g.high_set_by),
                &text(&g.sentence()),
            ],
        );
    }
    line!(page);
}

/// Units that somebody must look at, by reason.
pub(super) fn units(page: &mut String, report: &Review) {
    line!(page, "## Units to check\n");
    if report.units_to_check.is_empty() {
        line!(page, "None.\n");
        return;
    }
    line!(
        page,
        "Every one is listed in [units-to-check.csv](units-to-check.csv). {}\n",
        CAUTIONS[5]
    );
    header(page, &["reason", "units"]);
    for (reason, n) in &report.units_to_check {
        row(page, &[&text(&reason.to_string()), &grouped(*n)]);
    }
    line!(page);
}

/// What each ceiling rests on, for an audit; nothing where none is stated.
pub(super) fn ceilings(page: &mut String, report: &Review) {
    if report.ceilings.is_empty() {
        return;
    }
    line!(page, "## Ceilings\n");
    let who = report.made_by.as_deref().map_or_else(|| "not stated".to_owned(), name);
    line!(page, "The highest limits that the settings allow; the report's maker: {who}.\n");
    header(page, &["test", "ceiling", "standard", "clause"]);
    let stated = |words: &Option<String>| words.as_deref().map_or("not stated".to_owned(), name);
    for c in &report.ceilings {
        let ma = Currents::new(c.ma, 0.0).set(c.ma);
        row(page, &[&name(&c.test), &ma, &stated(&c.standard), &stated(&c.clause)]);
    }
    line!(page);
}

/// Where every row went.
pub(super) fn rows(page: &mut String, report: &Review) {
    let rows = &report.rows;
    line!(page, "## Rows not used\n");
    line!(
        page,
        "{} read = {} used + {} set aside + {} unreadable. Those not used are listed in [rows-not-used.csv](rows-not-used.csv).\n",
        counted(rows.read, "row"),
        grouped(rows.used),
        grouped(rows.set_aside_in_all()),
        grouped(rows.unreadable)
    );
    if !report.made.failures.is_empty() {
        line!(page, "Files and sheets that could not be read, or not to the end:\n");
        let (listed, more) =
            report.made.failures.split_at(report.made.failures.len().min(FAILURES_SHOWN));
        for failure in listed {
            line!(page, "- {}", text(failure));
        }
        if !more.is_empty() {
            line!(page, "- {} more, each in `results.json`", grouped(more.len() as u64));
        }
        line!(page);
    }
    if rows.unreadable > 0 || !rows.set_aside.is_empty() {
        header(page, &["reason", "rows"]);
        for (reason, n) in rows.set_aside_by_words() {
            row(page, &[&format!("set aside: {}", text(reason)), &grouped(n)]);
        }
        row(page, &["unreadable", &grouped(rows.unreadable)]);
        line!(page);
    }
    let unreadable: Vec<_> =
        report.not_used.iter().filter(|l| l.is_unreadable()).take(UNREADABLE_SHOWN).collect();
    if unreadable.is_empty() {
        return;
    }
    if rows.unreadable > unreadable.len() as u64 {
        line!(page, "The first {} unreadable rows:\n", unreadable.len());
    } else {
        line!(page, "The unreadable rows:\n");
    }
    header(page, &["file", "row", "column", "expected", "found"]);
    for l in unreadable {
        let file = if l.sheet().is_empty() {
            name(&l.file())
        } else {
            format!("{}, sheet {}", name(&l.file()), name(l.sheet()))
        };
        row(
            page,
            &[&file, &l.row.to_string(), &text(l.reason()), &text(l.expected()), &text(&l.found())],
        );
    }
    line!(page);
}
