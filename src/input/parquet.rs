//! Parquet: tallies saved by this tool or made by any SQL engine, and plain tables.

use std::path::Path;

use polars::prelude::*;

use super::cell::Cell;
use super::rows::Parser;

/// Column names of a file.
///
/// # Errors
/// What polars says is wrong with it.
pub fn names(path: &Path) -> Result<Vec<String>, String> {
    let schema = scan(path)?.collect_schema().map_err(|e| e.to_string())?;
    Ok(schema.iter_names().map(ToString::to_string).collect())
}

fn scan(path: &Path) -> Result<LazyFrame, String> {
    let text = path.to_str().ok_or("a path that is no text")?;
    LazyFrame::scan_parquet(PlRefPath::new(text), ScanArgsParquet::default())
        .map_err(|e| e.to_string())
}

/// Hands the frames of a file to `each`, in order, until it says stop.
///
/// # Errors
/// What polars says is wrong with it.
pub fn stream(
    path: &Path,
    each: impl Fn(DataFrame) -> bool + Send + Sync + 'static,
) -> Result<(), String> {
    let callback = PlanCallback::new(move |frame| Ok(!each(frame)));
    scan(path)?
        .sink_batches(callback, true, None)
        .and_then(LazyFrame::collect)
        .map(|_| ())
        .map_err(|e| e.to_string())
}

/// One column, ready to give cells.
enum Ready {
    Numbers(Float64Chunked),
    Stamps(Int64Chunked),
    Clocks(Int64Chunked),
    Texts(StringChunked),
}

/// Parses the rows of a frame; the first of them is row `first_row` of the file.
///
/// # Errors
/// Where a column has a type that holds neither numbers, times nor text.
pub fn parse(frame: &DataFrame, first_row: u64, parser: &mut Parser<'_>) -> Result<(), String> {
    let columns = frame
        .columns()
        .iter()
        .map(|c| ready(c).map_err(|e| format!("column {:?}: {e}", c.name().as_str())))
        .collect::<Result<Vec<_>, _>>()?;
    for row in 0..frame.height() {
        let get = |n: usize| match columns.get(n) {
            None => Cell::Empty,
            Some(Ready::Numbers(c)) => c.get(row).map_or(Cell::Empty, Cell::Number),
            Some(Ready::Stamps(c)) => c.get(row).map_or(Cell::Empty, Cell::Stamp),
            Some(Ready::Clocks(c)) => c.get(row).map_or(Cell::Empty, Cell::Clock),
            Some(Ready::Texts(c)) => c.get(row).map_or(Cell::Empty, Cell::from_text),
        };
        let line = u32::try_from(first_row + row as u64 + 1).unwrap_or(u32::MAX);
        parser.row(line, columns.len(), &get);
    }
    Ok(())
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
