//! Testers and their record: stations, check loads, calibrations, settings, gaps, what is too good.

use std::fmt::Write;

use super::super::format::{
    Currents, NONE, change_pct, counted, date, grouped, name, p_value, text, with_interval, words,
};
use super::super::model::{CheckReport, Report};
use super::series::change;
use super::{header, row};
use crate::words::capital;

/// Settings and findings shown on the page; results.json holds them all.
const SHOWN: usize = 40;

/// Stations against each other, and when one moved.
pub(super) fn stations(page: &mut String, report: &Report) {
    line!(page, "## Stations\n");
    if report.stations.is_empty() {
        line!(page, "No station is named in the files: product and tester cannot be told apart.\n");
        return;
    }
    if let Some(why) = &report.cannot_tell {
        line!(page, "**{}.**\n", text(&capital(why)));
    }
    let nothing = report.stations.iter().all(|s| s.offset_pct.is_none() && s.doubts.is_empty());
    if nothing {
        return;
    }
    line!(
        page,
        "Each station against the others, in its latest state. A movement of one station on every model is the tester's, not the product's.\n"
    );
    header(
        page,
        &["station", "reads differently by", "flagged", "acts as", "at 1000 V", "passes in doubt"],
    );
    for s in &report.stations {
        let offset = s.offset_pct.as_ref().map_or_else(
            || "not known".to_owned(),
            |e| {
                if e.method == "reference" {
                    "none: it is what the others are held against".to_owned()
                } else {
                    change(e)
                }
            },
        );
        let offset = s.hint.map_or_else(|| offset.clone(), |h| format!("{offset}; {}", text(h)));
        let acts = match s.acts_as {
            Some("per_cent") => "the same per cent on every model: meter or voltage",
            Some("ma") => "the same current on every model: leads and fixture",
            _ => NONE,
        };
        let ma = s
            .offset_ma
            .as_ref()
            .filter(|e| e.method != "reference")
            .map_or_else(|| NONE.to_owned(), |e| with_interval(e, |x| format!("{x:+.4} mA")));
        let doubt = s.passes_in_doubt.map_or_else(|| "not known".to_owned(), grouped);
        row(
            page,
            &[
                &name(&s.station),
                &offset,
                if s.flagged { "**yes**" } else { "no" },
                acts,
                &ma,
                &doubt,
            ],
        );
    }
    line!(page);
    for s in &report.stations {
        for m in &s.moved {
            line!(page, "- {}", text(&m.sentence));
        }
        for d in &s.doubts {
            line!(page, "- {}", text(&d.sentence));
        }
    }
    if report.stations.iter().any(|s| !s.moved.is_empty() || !s.doubts.is_empty()) {
        line!(page);
    }
    if report.stations.iter().any(|s| !s.months.is_empty()) {
        line!(page, "![How does each station read against the others?](charts/stations.png)\n");
    }
}

/// Production days on which a station has no row though its habit predicts some; nothing where there are none.
pub(super) fn gaps(page: &mut String, report: &Report) {
    let Some(gaps) = report.gaps.as_ref().filter(|g| !g.is_empty()) else {
        return;
    };
    line!(page, "## Gaps in the record\n");
    line!(
        page,
        "Production days without one row of a station that works on nearly all: an export may be missing, and what was tested then is in no number of this report.\n"
    );
    header(page, &["station", "from", "to", "production days"]);
    for g in gaps {
        row(page, &[&name(&g.station), &date(g.from), &date(g.to), &grouped(g.days)]);
    }
    line!(page);
}

/// Whether the stations still trip, and still pass.
pub(super) fn checks(page: &mut String, report: &Report) {
    line!(page, "## Check loads\n");
    let Some(checks) = &report.checks else {
        line!(page, "No check loads are named: whether the stations still trip is not known.\n");
        return;
    };
    if checks.is_empty() {
        line!(page, "Check loads are named, but none was tested.\n");
        return;
    }
    header(page, &["station", "production days without a check", "checks with the wrong answer"]);
    for c in checks {
        row(page, &[&name(&c.station), &grouped(c.days_without), &grouped(c.wrong.len() as u64)]);
    }
    line!(page);
    loads(page, checks);
    if checks.iter().all(|c| c.wrong.is_empty()) {
        return;
    }
    header(
        page,
        &[
            "station",
            "tested at",
            "load",
            "expected",
            "found",
            "units tested since the last right answer",
        ],
    );
    for c in checks {
        for w in &c.wrong {
            row(
                page,
                &[
                    &name(&c.station),
                    &text(&w.tested_at),
                    &name(&w.load),
                    &text(&w.expected),
                    &text(&w.found),
                    &grouped(w.units_since_last_good),
                ],
            );
        }
    }
    line!(page);
}

/// What the loads that must pass read over time.
fn loads(page: &mut String, checks: &[CheckReport]) {
    if checks.iter().all(|c| c.loads.is_empty()) {
        return;
    }
    line!(
        page,
        "What each load that must pass reads: it moves with the tester and with nothing else.\n"
    );
    header(
        page,
        &[
            "station",
            "load",
            "days",
            "reads now",
            "should read",
            "movement",
            "smallest step that would have been found",
            "passes at an odd reading",
        ],
    );
    for c in checks {
        for l in &c.loads {
            let show = Currents::new(l.x50_ma.or(l.expected_ma).unwrap_or(1.0), 0.0);
            let ma = |x: Option<f64>| x.map_or_else(|| NONE.to_owned(), |x| show.estimate(x));
            let mut moved = l.shape.map_or_else(|| "not known".to_owned(), words);
            for s in &l.steps {
                let _ = write!(
                    moved,
                    "; {} on {} ({} to {})",
                    with_interval(&s.size_pct, change_pct),
                    date(s.date),
                    date(s.date_low),
                    date(s.date_high)
                );
            }
            if let Some(p) = l.p_value.filter(|_| l.shape != Some("steady")) {
                let _ = write!(moved, "; {}", p_value(p));
            }
            let odd: Vec<String> = l
                .odd
                .iter()
                .take(3)
                .map(|o| format!("{} on {}", show.reading(o.reading_ma), &o.tested_at[..10]))
                .collect();
            let odd = match (odd.is_empty(), l.odd.len().saturating_sub(3)) {
                (true, _) => "none".to_owned(),
                (false, 0) => odd.join(", "),
                (false, more) => format!("{} and {more} more", odd.join(", ")),
            };
            row(
                page,
                &[
                    &name(&c.station),
                    &name(&l.load),
                    &grouped(l.days),
                    &ma(l.x50_ma),
                    &ma(l.expected_ma),
                    &text(&moved),
                    &ma(l.smallest_step_ma),
                    &text(&odd),
                ],
            );
        }
    }
    line!(page, "\n![What did the check loads read?](charts/check-loads.png)\n");
}

/// The calibration register against the tests.
pub(super) fn calibration(page: &mut String, report: &Report) {
    line!(page, "## Calibration\n");
    let Some(all) = &report.calibration else {
        line!(
            page,
            "No calibration register is named: whether tests were made overdue is not known.\n"
        );
        return;
    };
    header(
        page,
        &["station", "instrument", "done on", "due on", "error found", "tests made overdue"],
    );
    for c in all {
        let late = match (c.overdue_from, c.overdue_to) {
            (Some(from), Some(to)) => format!(
                "**{}** on {}, {} to {}",
                grouped(c.tests_overdue),
                counted(c.production_days_overdue, "production day"),
                date(from),
                date(to)
            ),
            _ => "none".to_owned(),
        };
        let error = c.error_pct.map_or_else(
            || NONE.to_owned(),
            |e| {
                if c.beyond_accuracy {
                    format!("**{}**, beyond the stated accuracy", change_pct(e))
                } else {
                    change_pct(e)
                }
            },
        );
        row(
            page,
            &[
                &name(&c.station),
                &name(&c.instrument),
                &date(c.done_on),
                &c.due_on.map_or_else(|| NONE.to_owned(), date),
                &error,
                &late,
            ],
        );
    }
    line!(page);
}

/// Settings that changed, differ or fall short.
pub(super) fn settings(page: &mut String, report: &Report) {
    line!(page, "## Settings\n");
    let changes = &report.settings_changes;
    if changes.is_empty() && report.settings_differ.is_empty() && report.settings_short.is_empty() {
        line!(
            page,
            "Voltage, frequency, dwell, ramp and limits: as far as the files give them, none changed, and none differs between stations.\n"
        );
        return;
    }
    if !changes.is_empty() {
        header(page, &["date", "model", "station", "what", "before", "since", "event"]);
        for c in changes.iter().take(SHOWN) {
            let since = if c.words[2].is_empty() {
                text(&c.words[1])
            } else {
                format!("{} {}", text(&c.words[1]), text(&c.words[2]))
            };
            row(
                page,
                &[
                    &date(c.date),
                    &name(&c.model),
                    &name(&c.station),
                    c.what,
                    &text(&c.words[0]),
                    &since,
                    &c.event.as_ref().map_or_else(|| "**none recorded**".to_owned(), |e| text(e)),
                ],
            );
        }
        more(page, changes.len());
    }
    for d in &report.settings_differ {
        let values: Vec<String> =
            d.values.iter().map(|(s, v)| format!("{} {}", name(s), text(v))).collect();
        line!(
            page,
            "- the {} of {} differs between stations: {}",
            d.what,
            name(&d.model),
            values.join(", ")
        );
    }
    for s in &report.settings_short {
        line!(
            page,
            "- {} of {} at {} from {} to {} were made at a {} below the required {} {} (lowest {} {})",
            counted(s.tests, "test"),
            name(&s.model),
            name(&s.station),
            date(s.from),
            date(s.to),
            s.what,
            s.required,
            s.unit,
            s.lowest,
            s.unit
        );
    }
    if !report.settings_differ.is_empty() || !report.settings_short.is_empty() {
        line!(page);
    }
}

fn more(page: &mut String, all: usize) {
    if all > SHOWN {
        line!(page, "\nAnd {} more, in results.json.", all - SHOWN);
    }
    line!(page);
}

/// What is too good to be true.
pub(super) fn too_good(page: &mut String, report: &Report) {
    line!(page, "## Too good to be true\n");
    if report.too_good.is_empty() {
        line!(
            page,
            "Nothing was found: no display that stood still, no station that finds far fewer failures than the others predict, no spread that collapsed, no pass at the reading of an unconnected lead.\n"
        );
        return;
    }
    header(page, &["station", "from", "to", "what"]);
    for t in report.too_good.iter().take(SHOWN) {
        let what = t.explained_by.as_ref().map_or_else(
            || text(&t.what),
            |why| format!("{} Explained: {}.", text(&t.what), text(why)),
        );
        row(page, &[&name(&t.station), &text(&t.from), &text(&t.to), &what]);
    }
    more(page, report.too_good.len());
}
