//! The lists of a report as CSV: series, units to check, rows not used.
//!
//! UTF-8, comma, one header row. What could be taken for a formula is defused (see [`defused`]): the cells
//! are what somebody exported, and the files are opened in spreadsheets.

use super::format::defused;
use crate::analysis::units::what_if::Would;
use crate::review::Review;
use crate::review::limit_study::LimitsReport;
use crate::stats::estimate::Estimate;
use crate::verdict::incident::Evidence;
use crate::verdict::units::UnitToCheck;
use crate::words::one_line;
use crate::words::time::time_text;

/// A column of a list, and what it is.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Its header.
    pub name: &'static str,
    /// What it holds.
    pub what: &'static str,
}

const fn column(name: &'static str, what: &'static str) -> Column {
    Column { name, what }
}

/// Columns of `rows-not-used.csv`.
pub const ROWS_NOT_USED: [Column; 11] = [
    column("file", "file as found"),
    column("sheet", "sheet of a workbook; empty elsewhere"),
    column("row", "line or row in it, the first is 1"),
    column("part", "which test of the row, where a row holds several"),
    column("kind", "set aside, or unreadable"),
    column("reason", "why it was set aside, or the column that could not be read"),
    column("expected", "what was expected there; empty for rows set aside"),
    column("found", "what was found; for rows set aside, what the row says"),
    column("model", "model as exported"),
    column("serial", "serial as exported"),
    column("tested_at", "local time as exported"),
];

/// Every row that was not used, one line each.
#[must_use]
pub fn rows_not_used_csv(review: &Review) -> String {
    table(
        &ROWS_NOT_USED,
        review.not_used.iter().map(|l| {
            let (row, part) = (l.row.to_string(), l.part.to_string());
            [
                &l.file(),
                l.sheet(),
                &row,
                &part,
                l.kind().words(),
                l.reason(),
                l.expected(),
                &l.found(),
                l.model(),
                l.serial(),
                &l.tested_at(),
            ]
            .map(|cell: &str| defused(cell).into_owned())
        }),
    )
}

/// Columns of `models.csv`.
pub const MODELS: [Column; 20] = [
    column("model", "model as exported"),
    column("series", "the series: model, kind of test and its conditions"),
    column("verdict", "the verdict on the high limit; empty where no limit is known"),
    column("limit_ma", "high limit in force, mA"),
    column("low_limit_ma", "low limit in force, mA; empty where there is none"),
    column("band_low_ma", "lower end of the workable band, mA"),
    column("band_high_ma", "its upper end, mA"),
    column(
        "band_high_basis",
        "what sets that end: leak_path, ceiling, range, or rule_of_thumb, which proves nothing",
    ),
    column("suggested_ma", "limit suggested, mA; empty where none is"),
    column("low_limit_suggested_ma", "low limit suggested, mA; empty where none is"),
    column("units", "units of the whole history"),
    column("x50_ma", "typical reading of a healthy unit, mA"),
    column("x99_865_ma", "99.865 % of the healthy units stay under, mA"),
    column("rejects_seen_ppm", "units seen over the limit in the period judged, per million"),
    column(
        "rejects_expected_ppm",
        "healthy units expected over the limit, per million; empty where they are fewer than the units can tell",
    ),
    column("rejects_expected_high_ppm", "the upper end of its interval"),
    column(
        "movement",
        "how it moved: steady, slope, step, slope_and_step or season; empty where not known",
    ),
    column("moves", "yes where the movement is certain and large enough to matter"),
    column(
        "limit_reached_on",
        "when healthy rejects pass the accepted share; empty where that is not foreseen",
    ),
    column("incidents", "ids of the incidents that are about it"),
];

/// One line a series, to sort; currents in mA.
#[must_use]
pub fn models_csv(review: &Review) -> String {
    let number =
        |x: Option<f64>| x.filter(|x| x.is_finite()).map_or_else(String::new, |x| x.to_string());
    table(
        &MODELS,
        review.series.iter().map(|s| {
            let (high, low) = (&s.verdict.high, &s.verdict.low);
            let body = s.distribution.as_ref();
            let value = |e: Option<&Estimate>| number(e.map(|e| e.value));
            let anchor = Evidence::Series(s.named.id.clone());
            let about = review.incidents.iter().filter(|i| i.evidence.contains(&anchor));
            let ids: Vec<&str> = about.map(|i| i.id.as_str()).collect();
            let expected = s.expected_reject_ppm.as_ref();
            let basis = high.band.as_ref().filter(|_| high.band_high_ma.is_some());
            [
                s.named.key.model.clone(),
                s.named.title.clone(),
                high.kind.map_or_else(String::new, |k| k.key().to_owned()),
                number(s.limit.history.now.high_ma()),
                number(s.limit.history.now.low_ma()),
                number(high.band_low_ma),
                number(high.band_high_ma),
                basis.map_or_else(String::new, |b| b.upper_set_by.basis().to_owned()),
                number(high.suggested_ma()),
                number(low.suggested_ma),
                s.named.units.to_string(),
                value(body.and_then(|d| d.x50_ma.as_ref())),
                value(body.and_then(|d| d.x99_865_ma.as_ref())),
                value(s.observed_reject_ppm.as_ref()),
                number(expected.filter(|e| e.value >= e.least()).map(|e| e.value)),
                number(expected.map(|e| e.high.max(e.least()))),
                s.drift.shape.map_or_else(String::new, |shape| shape.key().to_owned()),
                if s.drift.flagged { "yes" } else { "no" }.to_owned(),
                s.drift.limit_reached_on.map_or_else(String::new, |f| f.date.to_string()),
                ids.join(" "),
            ]
            .map(|cell| defused(&cell).into_owned())
        }),
    )
}

/// Columns of `units-to-check.csv`.
pub const UNITS_TO_CHECK: [Column; 12] = [
    column("first_step", "what to do with it first"),
    column("incident", "id of the incident that it belongs to; empty where none names it"),
    column("reason", "why somebody must look at it"),
    column("outcome", "how the test that gives the reason ended"),
    column("model", "model as exported"),
    column("serial", "serial as first written"),
    column("station", "where that test was made"),
    column("lot", "its lot; empty where none is known"),
    column("reading_ma", "what it read, mA; `>` where only a bound is known"),
    column("limit_ma", "the high limit it was tested against, mA; empty where none is known"),
    column("tested_at", "local time of that test"),
    column("place", "file and row of that test"),
];

/// Every unit that somebody must look at; readings in mA.
#[must_use]
pub fn units_to_check_csv<'a>(units: impl IntoIterator<Item = &'a UnitToCheck>) -> String {
    table(
        &UNITS_TO_CHECK,
        units.into_iter().map(|u| {
            let why = u.why.to_string();
            let place = match u.units {
                1 => u.place.clone(),
                n => format!("{}, {n} units", u.place),
            };
            [
                &u.why.first_step(),
                &u.incident,
                &why,
                &u.outcome.words().to_owned(),
                &u.model,
                &u.serial,
                &u.station,
                &u.lot,
                &u.reading_ma,
                &u.limit_ma,
                &u.tested_at,
                &place,
            ]
            .map(|cell| defused(cell).into_owned())
        }),
    )
}

/// What the page that searches units shows of each.
pub const UNITS_IN_PAGE: [&str; 8] =
    ["serial", "model", "station", "lot", "reading, mA", "limit, mA", "tested at", "incident"];

/// The same of one unit.
#[must_use]
pub fn unit_in_page(u: &UnitToCheck) -> [&str; UNITS_IN_PAGE.len()] {
    [&u.serial, &u.model, &u.station, &u.lot, &u.reading_ma, &u.limit_ma, &u.tested_at, &u.incident]
}

/// Columns of `units-affected.csv`.
pub const UNITS_AFFECTED: [Column; 8] = [
    column("series", "the series"),
    column("limit_ma", "the limit looked at, mA"),
    column("would", "what it would have done with the unit"),
    column("serial", "serial as first written"),
    column("tested_at", "local time of its first test"),
    column("station", "where"),
    column("reading_ma", "what it read, mA; empty where it tripped"),
    column("tripped_at_ma", "the limit that it tripped at, mA; empty where it passed"),
];

/// Every unit that a limit of a study would treat otherwise; currents in mA.
#[must_use]
pub fn units_affected_csv(report: &LimitsReport) -> String {
    let lines = report.series.iter().flat_map(|s| {
        s.study.candidates.iter().flat_map(move |c| {
            c.units.iter().map(move |u| {
                let ma = u.ma.to_string();
                let (reading, tripped) = match u.would {
                    Would::BeRejected => (ma.as_str(), ""),
                    Would::MightPass => ("", ma.as_str()),
                };
                [
                    s.series.named.title.as_str(),
                    &c.limit_ma.to_string(),
                    u.would.words(),
                    &u.serial,
                    &time_text(u.time),
                    &u.station,
                    reading,
                    tripped,
                ]
                .map(|cell: &str| defused(cell).into_owned())
            })
        })
    });
    table(&UNITS_AFFECTED, lines)
}

fn table<const N: usize>(
    columns: &[Column; N],
    lines: impl Iterator<Item = [String; N]>,
) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(columns.iter().map(|c| c.name)).expect("memory takes every row");
    for line in lines {
        let cells = line.iter().map(|cell| one_line(cell).into_owned());
        writer.write_record(cells).expect("all rows are as wide as the header");
    }
    let bytes = writer.into_inner().expect("memory takes every row");
    String::from_utf8(bytes).expect("text between commas is text")
}
