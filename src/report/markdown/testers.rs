//! Testers and their record: stations, check loads, calibrations, settings, gaps, what is too good.

use std::fmt::Write;

use super::super::format::{address, name, text};
use super::series::change;
use super::{header, row};
use crate::analysis::units::checks::StationChecks;
use crate::analysis::units::settings::SettingChange;
use crate::movement::check_record::LoadRecord;
use crate::movement::drift::Shape;
use crate::movement::stations::{ActsAs, TesterStep};
use crate::review::Review;
use crate::verdict::tester::StationVerdict;
use crate::words::capital;
use crate::words::currents::Currents;
use crate::words::numbers::{NONE, change_pct, counted, grouped, p_value, with_interval};
use crate::words::time::{day_of_time, day_text, time_text};

/// Settings and findings shown on the page; results.json holds them all.
const SHOWN: usize = 40;

/// Stations against each other, and when one moved.
pub(super) fn stations(page: &mut String, report: &Review) {
    line!(page, "## Stations\n");
    if report.stations.is_empty() {
        line!(page, "No station is named in the files: product and tester cannot be told apart.\n");
        return;
    }
    if let Some(why) = report.cannot_tell {
        line!(page, "**{}.**\n", text(&capital(&why.to_string())));
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
        let doubt = s.passes_in_doubt.map_or_else(|| "not known".to_owned(), grouped);
        row(
            page,
            &[
                &name(&s.station),
                &offset(s),
                if s.flagged { "**yes**" } else { "no" },
                match s.acts_as {
                    Some(ActsAs::PerCent) => "the same per cent on every model: meter or voltage",
                    Some(ActsAs::Milliampere) => {
                        "the same current on every model: leads and fixture"
                    }
                    None => NONE,
                },
                &s.offset_ma.as_ref().filter(|_| !s.is_reference).map_or_else(
                    || NONE.to_owned(),
                    |e| with_interval(e, |x| format!("{x:+.4} mA")),
                ),
                &doubt,
            ],
        );
    }
    line!(page);
    for s in &report.stations {
        for m in &s.moved {
            line!(page, "- {}", text(&m.sentence(&s.station)));
        }
        for d in &s.doubts {
            line!(page, "- {}", text(&d.sentence));
        }
    }
    if report.stations.iter().any(|s| !s.moved.is_empty() || !s.doubts.is_empty()) {
        line!(page);
    }
    for (path, question) in report.plant_charts(&["stations"]) {
        line!(page, "![{}]({})\n", text(question), address(path));
    }
}

/// By how much a station reads differently, and what that points to.
fn offset(s: &StationVerdict) -> String {
    let offset = match &s.offset_pct {
        None => "not known".to_owned(),
        Some(_) if s.is_reference => "none: it is what the others are held against".to_owned(),
        Some(e) => change(e),
    };
    s.hint.map_or_else(|| offset.clone(), |h| format!("{offset}; {h}"))
}

/// Production days on which a station has no row though its habit predicts some; nothing where there are none.
pub(super) fn gaps(page: &mut String, report: &Review) {
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
        row(page, &[&name(&g.station), &day_text(g.from), &day_text(g.to), &grouped(g.days)]);
    }
    line!(page);
}

/// Whether the stations still trip, and still pass.
pub(super) fn checks(page: &mut String, report: &Review) {
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
        let (without, wrong) = (c.days_without.len() as u64, c.wrong.len() as u64);
        row(page, &[&name(&c.station), &grouped(without), &grouped(wrong)]);
    }
    line!(page);
    loads(page, report, checks);
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
                    &time_text(w.time),
                    &name(&w.load),
                    &text(&w.expected),
                    w.found.words(),
                    &grouped(w.units_since_last_good),
                ],
            );
        }
    }
    line!(page);
}

/// What the loads that must pass read over time.
fn loads(page: &mut String, report: &Review, checks: &[StationChecks]) {
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
            "should read with its leads",
            "movement",
            "smallest step that would have been found",
            "passes at an odd reading",
        ],
    );
    for c in checks {
        for l in &c.loads {
            let show = Currents::new(l.latest_ma.or(l.expected_ma).unwrap_or(1.0), 0.0);
            let ma = |x: Option<f64>| x.map_or_else(|| NONE.to_owned(), |x| show.estimate(x));
            row(
                page,
                &[
                    &name(&c.station),
                    &name(&l.load),
                    &grouped(l.points.len() as u64),
                    &ma(l.latest_ma),
                    &match (l.with_leads_ma, l.expected_ma) {
                        (None, Some(load)) => format!("{}, leads not known", show.estimate(load)),
                        (read, _) => ma(read),
                    },
                    &text(&load_movement(l)),
                    &ma(l.smallest_step_ma),
                    &text(&odd_readings(l, &show)),
                ],
            );
        }
    }
    line!(page);
    for (path, question) in report.plant_charts(&["check-loads"]) {
        line!(page, "![{}]({})\n", text(question), address(path));
    }
}

/// Shape and steps of a load's reading.
fn load_movement(l: &LoadRecord) -> String {
    let mut moved = l.shape.map_or("not known", Shape::words).to_owned();
    for TesterStep { day, day_low, day_high, size_pct, .. } in &l.steps {
        let size = with_interval(size_pct, change_pct);
        let (on, low, high) = (day_text(*day), day_text(*day_low), day_text(*day_high));
        let _ = write!(moved, "; {size} on {on} ({low} to {high})");
    }
    if let Some(p) = l.p_value.filter(|_| l.shape != Some(Shape::Steady)) {
        let _ = write!(moved, "; {}", p_value(p));
    }
    moved
}

/// The first three readings that do not belong to a load.
fn odd_readings(l: &LoadRecord, show: &Currents) -> String {
    let shown: Vec<String> = l
        .odd
        .iter()
        .take(3)
        .map(|o| format!("{} on {}", show.reading(o.reading_ma), day_of_time(o.time)))
        .collect();
    match (shown.is_empty(), l.odd.len().saturating_sub(3)) {
        (true, _) => "none".to_owned(),
        (false, 0) => shown.join(", "),
        (false, more) => format!("{} and {more} more", shown.join(", ")),
    }
}

/// The calibration register against the tests.
pub(super) fn calibration(page: &mut String, report: &Review) {
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
    for verdict in all {
        let c = &verdict.covered;
        let late = match (c.overdue_from, c.overdue_to) {
            (Some(from), Some(to)) => format!(
                "**{}** on {}, {} to {}",
                grouped(c.tests_overdue),
                counted(c.production_days_overdue, "production day"),
                day_text(from),
                day_text(to)
            ),
            _ => "none".to_owned(),
        };
        let error = match c.error_pct.map(change_pct) {
            None => NONE.to_owned(),
            Some(e) if verdict.beyond_accuracy => format!("**{e}**, beyond the stated accuracy"),
            Some(e) => e,
        };
        row(
            page,
            &[
                &name(&c.station),
                &name(&c.instrument),
                &day_text(c.done_on),
                &c.due_on.map_or_else(|| NONE.to_owned(), day_text),
                &error,
                &late,
            ],
        );
    }
    line!(page);
}

/// Settings that changed, differ or fall short.
pub(super) fn settings(page: &mut String, report: &Review) {
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
        for verdict in changes.iter().take(SHOWN) {
            let c = &verdict.change;
            row(
                page,
                &[
                    &day_text(c.day),
                    &name(&c.series.model),
                    &name(&c.stations.join(", ")),
                    c.what.words(),
                    &text(&c.what.value_words(c.from)),
                    &since(c),
                    &verdict
                        .event
                        .as_ref()
                        .map_or_else(|| "**none recorded**".to_owned(), |e| text(e)),
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
            d.what.words(),
            name(&d.series.model),
            values.join(", ")
        );
    }
    for s in &report.settings_short {
        line!(
            page,
            "- {} of {} at {} from {} to {} were made at a {} below the required {} {} (lowest {} {})",
            counted(s.tests, "test"),
            name(&s.series.model),
            name(&s.station),
            day_text(s.from),
            day_text(s.to),
            s.what.words(),
            s.required,
            s.what.unit(),
            s.lowest,
            s.what.unit()
        );
    }
    if !report.settings_differ.is_empty() || !report.settings_short.is_empty() {
        line!(page);
    }
}

/// The value since a change, and whether it was taken back.
fn since(c: &SettingChange) -> String {
    format!("{} {}", text(&c.what.value_words(c.to)), text(&c.back_words())).trim_end().to_owned()
}

fn more(page: &mut String, all: usize) {
    if all > SHOWN {
        line!(page, "\nAnd {} more, in results.json.", all - SHOWN);
    }
    line!(page);
}

/// What is too good to be true.
pub(super) fn too_good(page: &mut String, report: &Review) {
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
            || text(&t.sentence),
            |why| format!("{} Explained: {}.", text(&t.sentence), text(why)),
        );
        row(page, &[&name(&t.station), &t.from, &t.to, &what]);
    }
    more(page, report.too_good.len());
}
