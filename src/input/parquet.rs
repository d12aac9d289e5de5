//! Parquet: tallies and rows saved by this tool or made by any SQL engine, and plain tables.

use std::fs::File;
use std::path::Path;

use polars::prelude::*;

use super::cell::Cell;
use super::columns::Field;
use super::first_read::{Place, are_of_rows, results_of};
use super::layout::header_text;
use super::rows::Parser;

/// Name under which a tally keeps what was said first of its files, beside its columns.
pub const SAID_FIRST: &str = "leakdrift.said_first";
/// The same of the files that it was made of, by their checksums.
pub const MADE_OF: &str = "leakdrift.made_of";

/// Column names of a file.
///
/// # Errors
/// What polars says is wrong with it.
pub fn names(path: &Path) -> Result<Vec<String>, String> {
    let schema = reader(path)?.schema().map_err(|e| e.to_string())?;
    Ok(schema.iter_names().map(ToString::to_string).collect())
}

/// Whether a file is a tally or a file of rows: its units stand in other files too.
pub fn is_of_others(path: &Path) -> bool {
    are_of(path, |names| are_of_a_tally(names) || are_of_rows(names))
}

/// Whether it is a file of rows.
pub fn is_of_rows(path: &Path) -> bool {
    are_of(path, are_of_rows)
}

fn are_of(path: &Path, these: impl Fn(&[String]) -> bool) -> bool {
    let parquet = path.extension().is_some_and(|e| e == "parquet" || e == "pq");
    parquet && names(path).is_ok_and(|names| these(&names))
}

/// Whether columns are those of a tally that this program wrote.
pub fn are_of_a_tally(names: &[String]) -> bool {
    names.iter().any(|name| name == Field::TallyPart.name())
}

/// What the tally of this program was told first of the files that it was made from; nothing of other files.
pub fn said_first(path: &Path) -> Vec<String> {
    kept(path, SAID_FIRST)
}

/// Checksums of the files that a tally of this program was made of; nothing of other files.
pub fn made_of(path: &Path) -> Vec<String> {
    kept(path, MADE_OF)
}

fn kept(path: &Path, name: &str) -> Vec<String> {
    let told = || {
        let mut reader = reader(path).ok()?;
        let beside = reader.get_metadata().ok()?.key_value_metadata.clone()?;
        let said = beside.into_iter().find(|pair| pair.key == name)?.value?;
        serde_json::from_str(&said).ok()
    };
    told().unwrap_or_default()
}

fn reader(path: &Path) -> Result<ParquetReader<File>, String> {
    File::open(path).map(ParquetReader::new).map_err(|e| e.to_string())
}

/// `height` rows from row `from` on. Groups of rows before and after them are not decoded.
fn rows(reader: ParquetReader<File>, from: usize, height: usize) -> Result<DataFrame, String> {
    let some = reader.with_slice(Some((from, height)));
    some.read_parallel(ParallelStrategy::RowGroups).finish().map_err(|e| e.to_string())
}

/// The first rows as a reader would see them.
///
/// # Errors
/// What polars says is wrong with the file.
pub fn first_rows(path: &Path, height: usize) -> Result<Vec<Vec<String>>, String> {
    let mut frame = rows(reader(path)?, 0, height)?;
    let names: Vec<String> =
        frame.get_column_names_owned().iter().map(ToString::to_string).collect();
    if are_of_rows(&names) {
        frame = results_of(&frame);
    }
    let columns = all_ready(&frame)?;
    let cells = |row| columns.iter().map(move |c: &Ready| header_text(&c.cell(row).shown()));
    Ok((0..frame.height()).map(|row| cells(row).collect()).collect())
}

/// Hands the groups of rows of a file to `each`, in order, until it says stop.
///
/// # Errors
/// What polars says is wrong with it.
pub fn stream(path: &Path, mut each: impl FnMut(DataFrame) -> bool) -> Result<(), String> {
    // What stands at the end of the file is of all groups: it is read once.
    let metadata = reader(path)?.get_metadata().map_err(|e| e.to_string())?.clone();
    let mut from = 0;
    for height in metadata.row_groups.iter().map(|group| group.num_rows()) {
        let mut group = reader(path)?;
        group.set_metadata(metadata.clone());
        if height > 0 && !each(rows(group, from, height)?) {
            break;
        }
        from += height;
    }
    Ok(())
}

/// One column, ready to give cells.
enum Ready {
    Numbers(Float64Chunked),
    Stamps(Int64Chunked),
    Clocks(Int64Chunked),
    Texts(StringChunked),
}

/// Parses the rows of a frame; the first of them is row `first_row` of the file, unless `places` says where each was
/// read first.
///
/// # Errors
/// Where a column has a type that holds neither numbers, times nor text.
pub fn parse(
    frame: &DataFrame,
    first_row: u64,
    places: &[Place],
    parser: &mut Parser<'_>,
) -> Result<(), String> {
    let columns = all_ready(frame)?;
    for row in 0..frame.height() {
        let get = |n: usize| columns.get(n).map_or(Cell::Empty, |c| c.cell(row));
        match places.get(row) {
            Some((line, part)) => parser.row_as((*line).into(), *part, columns.len(), &get),
            None => parser.row(first_row + row as u64 + 1, columns.len(), &get),
        }
    }
    Ok(())
}

impl Ready {
    fn cell(&self, row: usize) -> Cell<'_> {
        match self {
            Self::Numbers(c) => c.get(row).map_or(Cell::Empty, Cell::Number),
            Self::Stamps(c) => c.get(row).map_or(Cell::Empty, Cell::Stamp),
            Self::Clocks(c) => c.get(row).map_or(Cell::Empty, Cell::Clock),
            Self::Texts(c) => c.get(row).map_or(Cell::Empty, Cell::from_text),
        }
    }
}

fn all_ready(frame: &DataFrame) -> Result<Vec<Ready>, String> {
    let each = |c: &Column| ready(c).map_err(|e| format!("column {:?}: {e}", c.name().as_str()));
    frame.columns().iter().map(each).collect()
}

fn ready(column: &Column) -> PolarsResult<Ready> {
    let per_second = |unit: &TimeUnit| match unit {
        TimeUnit::Nanoseconds => 1_000_000_000,
        TimeUnit::Microseconds => 1_000_000,
        TimeUnit::Milliseconds => 1_000,
    };
    let whole = |c: &Column| c.cast(&DataType::Int64);
    Ok(match column.dtype() {
        DataType::Date => Ready::Stamps(whole(column)?.i64()?.apply_values(|d| d * 86_400)),
        DataType::Datetime(unit, _) => {
            let per = per_second(unit);
            Ready::Stamps(whole(column)?.i64()?.apply_values(|t| t.div_euclid(per)))
        }
        DataType::Time => Ready::Clocks(whole(column)?.i64()?.apply_values(|t| t / 1_000_000_000)),
        dtype if dtype.is_primitive_numeric() => {
            Ready::Numbers(column.cast(&DataType::Float64)?.f64()?.clone())
        }
        _ => Ready::Texts(column.cast(&DataType::String)?.str()?.clone()),
    })
}
