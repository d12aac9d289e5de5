//! Where the rows of a file of rows were read first: such a file (`leakdrift tally --rows`) holds tests of many files,
//! and the order of a file's rows, and equal rows of two files, decide what counts. So each of its rows is taken as
//! the row of that file it once was; what stands beside the results for that is no column of results.

use std::ops::Range;
use std::path::PathBuf;

use polars::prelude::{Column, DataFrame, DataType, StringChunked};

use crate::records::Source;

/// The file that a row was read from first.
pub const SOURCE_FILE: &str = "source_file";
/// Its sheet, in a workbook.
pub const SOURCE_SHEET: &str = "source_sheet";
/// Its line or row there, counted from 1.
pub const SOURCE_ROW: &str = "source_row";
/// Which test of that row it is, where one row holds several.
pub const SOURCE_PART: &str = "source_part";
/// Its place in the order in which all files were read.
pub const SOURCE_ORDER: &str = "source_order";
/// Why it was set aside; not read back.
pub const SET_ASIDE: &str = "set_aside";

/// All of them.
const BESIDE: [&str; 6] =
    [SOURCE_FILE, SOURCE_SHEET, SOURCE_ROW, SOURCE_PART, SOURCE_ORDER, SET_ASIDE];

/// The place of one row in its first file: its line or row, and which test of it.
pub type Place = (u32, u8);

/// Rows that follow one another and are of one table.
pub(super) struct Stretch {
    pub(super) source: Source,
    pub(super) rows: Range<usize>,
    pub(super) places: Vec<Place>,
}

/// Whether columns are those of a file of rows.
pub(super) fn are_of_rows(names: &[String]) -> bool {
    [SOURCE_FILE, SOURCE_SHEET, SOURCE_ROW, SOURCE_PART]
        .iter()
        .all(|c| names.iter().any(|n| n == c))
}

/// Of the columns of a file of rows, those that hold results.
pub(super) fn results(mut names: Vec<String>) -> Vec<String> {
    names.retain(|name| !BESIDE.contains(&name.as_str()));
    names
}

/// The same of a frame.
pub(super) fn results_of(frame: &DataFrame) -> DataFrame {
    frame.drop_many(BESIDE)
}

/// The rows of a frame, table by table; `from` is the number of rows before it.
///
/// # Errors
/// What polars says of its columns.
pub(super) fn stretches(frame: &DataFrame, from: u64) -> Result<Vec<Stretch>, String> {
    let broken = |e: polars::prelude::PolarsError| e.to_string();
    let column = |name: &str| frame.column(name).map_err(broken);
    let texts = |name: &str| -> Result<StringChunked, String> {
        let cast = column(name)?.cast(&DataType::String).map_err(broken)?;
        cast.str().cloned().map_err(broken)
    };
    let whole = |column: &Column| -> Result<Vec<Option<i64>>, String> {
        let cast = column.cast(&DataType::Int64).map_err(broken)?;
        Ok(cast.i64().map_err(broken)?.iter().collect())
    };
    let (files, sheets) = (texts(SOURCE_FILE)?, texts(SOURCE_SHEET)?);
    let (lines, parts) = (whole(column(SOURCE_ROW)?)?, whole(column(SOURCE_PART)?)?);
    let table = |n: usize| (files.get(n).unwrap_or(""), sheets.get(n).filter(|s| !s.is_empty()));
    let mut found: Vec<Stretch> = Vec::new();
    for n in 0..frame.height() {
        let here = (from + n as u64).try_into().unwrap_or(i64::MAX).saturating_add(1);
        let line = u32::try_from(lines[n].unwrap_or(here)).unwrap_or(u32::MAX);
        let part = u8::try_from(parts[n].unwrap_or(0)).unwrap_or(u8::MAX);
        match found.last_mut().filter(|last| table(last.rows.start) == table(n)) {
            Some(last) => {
                last.rows.end = n + 1;
                last.places.push((line, part));
            }
            None => {
                let (file, sheet) = table(n);
                let source = Source { file: PathBuf::from(file), sheet: sheet.map(str::to_owned) };
                found.push(Stretch { source, rows: n..n + 1, places: vec![(line, part)] });
            }
        }
    }
    Ok(found)
}
