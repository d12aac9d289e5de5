//! The two lists of a report as CSV: rows not used, and units to check.
//!
//! UTF-8, comma, one header row. What could be taken for a formula is defused (see [`defused`]): the cells
//! are what somebody exported, and the files are opened in spreadsheets.

use super::format::defused;
use crate::analysis::units::what_if::Would;
use crate::review::Review;
use crate::review::limit_study::LimitsReport;
use crate::verdict::units::UnitToCheck;
use crate::words::time::time_text;

/// Every row that was not used, one line each, under the header
/// `file,sheet,row,part,kind,reason,expected,found,model,serial,tested_at`.
#[must_use]
pub fn rows_not_used_csv(review: &Review) -> String {
    let header = [
        "file",
        "sheet",
        "row",
        "part",
        "kind",
        "reason",
        "expected",
        "found",
        "model",
        "serial",
        "tested_at",
    ];
    table(
        header,
        review.not_used.iter().map(|l| {
            let (row, part) = (l.row.to_string(), l.part.to_string());
            [
                &l.file,
                &l.sheet,
                &row,
                &part,
                l.kind.words(),
                &l.reason,
                &l.expected,
                &l.found,
                &l.model,
                &l.serial,
                &l.tested_at,
            ]
            .map(|cell: &str| defused(cell).into_owned())
        }),
    )
}

/// Every unit that somebody must look at, under the header
/// `reason,model,serial,tested_at,station,reading_ma,place`; readings in mA.
#[must_use]
pub fn units_to_check_csv<'a>(units: impl IntoIterator<Item = &'a UnitToCheck>) -> String {
    let header = ["reason", "model", "serial", "tested_at", "station", "reading_ma", "place"];
    table(
        header,
        units.into_iter().map(|u| {
            let why = u.why.to_string();
            let place = match u.units {
                1 => u.place.clone(),
                n => format!("{}, {n} units", u.place),
            };
            [&why, &u.model, &u.serial, &u.tested_at, &u.station, &u.reading_ma, &place]
                .map(|cell| defused(cell).into_owned())
        }),
    )
}

/// Every unit that a limit of a study would treat otherwise, under the header
/// `series,limit_ma,would,serial,tested_at,station,reading_ma,tripped_at_ma`; currents in mA.
#[must_use]
pub fn units_affected_csv(report: &LimitsReport) -> String {
    let header = [
        "series",
        "limit_ma",
        "would",
        "serial",
        "tested_at",
        "station",
        "reading_ma",
        "tripped_at_ma",
    ];
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
    table(header, lines)
}

fn table<const N: usize>(header: [&str; N], lines: impl Iterator<Item = [String; N]>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header).expect("memory takes every row");
    for line in lines {
        writer.write_record(line).expect("all rows are as wide as the header");
    }
    let bytes = writer.into_inner().expect("memory takes every row");
    String::from_utf8(bytes).expect("text between commas is text")
}
