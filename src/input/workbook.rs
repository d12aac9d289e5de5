//! Workbooks: every visible sheet is a table.
//!
//! The workbook reader panics on some damaged files: it works on a thread of its own
//! ([`super::WORKBOOK_THREAD`]), whose panic the program keeps quiet. Cells are collected singly and made a
//! rectangle only where it holds at least one cell in sixteen (`dense`): sizes that a sheet states are not
//! trusted.

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{CellErrorType, Data, DataRef, Range, Reader, SheetVisible, Sheets};

use super::cell::Cell;
use super::columns::{Field, Headers};
use super::conventions::Seen;
use super::layout::{LOOKED_AT, Layout, Partial, Span, find, header_text};
use super::rows::Parser;

/// The last row a spreadsheet can hold, in the usual format and in the old one.
const LAST_ROWS: [usize; 2] = [1_048_576, 65_536];

/// A sheet as read, with its place.
#[derive(Debug)]
pub struct Sheet {
    /// Its cells.
    pub cells: Range<Data>,
    /// Merged cells, counted from the first used row.
    pub spans: Vec<Span>,
}

impl Sheet {
    /// Whether it ends on the last row a spreadsheet can hold.
    #[must_use]
    pub fn is_cut_off(&self) -> bool {
        self.cells.end().is_some_and(|(row, _)| LAST_ROWS.contains(&(row as usize + 1)))
    }

    /// The first rows below the header, as a reader would see them.
    #[must_use]
    pub fn first_rows(&self, header_rows: usize) -> Vec<Vec<String>> {
        (header_rows..self.cells.height())
            .take(super::layout::FIRST_ROWS)
            .map(|n| self.text_row(n))
            .collect()
    }

    fn text_row(&self, row: usize) -> Vec<String> {
        (0..self.cells.width())
            .map(|n| {
                self.cells.get((row, n)).map_or_else(String::new, |d| header_text(&cell(d).shown()))
            })
            .collect()
    }
}

/// Name of the threads in which workbooks are opened: what the reader says when it panics on a damaged
/// one is told as an error of that file.
pub const THREAD: &str = "opening a workbook";

/// The last day a spreadsheet can name, 31 December 9999, as it counts days.
const LAST_DAY: f64 = 2_958_466.0;

/// A sheet may span this many cells in any case, and beyond that as many times the cells it holds: one
/// stray cell in a far corner would else be a sheet of 17 000 million.
const SPAN_ALWAYS: u64 = 4 << 20;
const SPAN_PER_CELL: u64 = 16;

/// A workbook, opened.
pub struct Workbook(Sheets<Cursor<Vec<u8>>>);

/// Lets the workbook reader work on a thread of its own: on some damaged files it panics.
fn guarded<T: Send>(work: impl FnOnce() -> Result<T, String> + Send) -> Result<T, String> {
    std::thread::scope(|scope| {
        std::thread::Builder::new()
            .name(THREAD.to_owned())
            .spawn_scoped(scope, work)
            .map_err(|e| e.to_string())?
            .join()
            .unwrap_or_else(|_| Err("parts that contradict each other".to_owned()))
    })
}

impl Workbook {
    /// Opens a workbook of any of the formats.
    ///
    /// # Errors
    /// What the reader says is wrong with it.
    pub fn open(bytes: Vec<u8>) -> Result<Self, String> {
        guarded(|| {
            calamine::open_workbook_auto_from_rs(Cursor::new(bytes))
                .map(Self)
                .map_err(|e| e.to_string())
        })
    }

    /// Names of the visible sheets, in order; and of the hidden ones.
    #[must_use]
    pub fn sheets(&self) -> (Vec<String>, Vec<String>) {
        let (mut visible, mut hidden) = (Vec::new(), Vec::new());
        for sheet in self.0.sheets_metadata() {
            if sheet.visible == SheetVisible::Visible {
                visible.push(sheet.name.clone());
            } else {
                hidden.push(sheet.name.clone());
            }
        }
        (visible, hidden)
    }

    /// Reads one sheet.
    ///
    /// # Errors
    /// What the reader says is wrong with it, or that it spans far more cells than it holds.
    pub fn sheet(&mut self, name: &str) -> Result<Sheet, String> {
        guarded(|| self.read_sheet(name))
    }

    fn read_sheet(&mut self, name: &str) -> Result<Sheet, String> {
        let cells = match &mut self.0 {
            Sheets::Xlsx(book) => {
                let mut reader = book.worksheet_cells_reader(name).map_err(|e| e.to_string())?;
                let mut cells = Vec::new();
                while let Some(cell) = reader.next_cell().map_err(|e| e.to_string())? {
                    keep(&mut cells, cell.get_position(), cell.get_value());
                }
                dense(cells)?
            }
            Sheets::Xlsb(book) => {
                let mut reader = book.worksheet_cells_reader(name).map_err(|e| e.to_string())?;
                let mut cells = Vec::new();
                while let Some(cell) = reader.next_cell().map_err(|e| e.to_string())? {
                    keep(&mut cells, cell.get_position(), cell.get_value());
                }
                dense(cells)?
            }
            // Both read all their sheets when opened, and bound them there.
            Sheets::Xls(_) | Sheets::Ods(_) => {
                self.0.worksheet_range(name).map_err(|e| e.to_string())?
            }
        };
        let (top, left) = cells.start().unwrap_or((0, 0));
        let merged = match &mut self.0 {
            Sheets::Xlsx(book) => book.merge_cells_by_sheet_name(name).unwrap_or_default(),
            Sheets::Xls(book) => book.merge_cells_by_sheet_name(name).unwrap_or_default(),
            Sheets::Xlsb(_) | Sheets::Ods(_) => Vec::new(),
        };
        let spans = merged
            .iter()
            .filter(|d| {
                d.start.0 >= top
                    && d.start.1 >= left
                    && d.end.0 >= d.start.0
                    && d.end.1 >= d.start.1
            })
            .map(|d| Span {
                row: (d.start.0 - top) as usize,
                from: (d.start.1 - left) as usize,
                to: (d.end.1 - left) as usize,
            })
            .collect();
        Ok(Sheet { cells, spans })
    }
}

fn keep(cells: &mut Vec<calamine::Cell<Data>>, at: (u32, u32), value: &DataRef<'_>) {
    if !matches!(value, DataRef::Empty) {
        cells.push(calamine::Cell::new(at, value.clone().into()));
    }
}

/// Single cells as a filled rectangle.
fn dense(cells: Vec<calamine::Cell<Data>>) -> Result<Range<Data>, String> {
    let places = || cells.iter().map(calamine::Cell::get_position);
    let span = |of: fn((u32, u32)) -> u32| {
        let (low, high) = (places().map(of).min(), places().map(of).max());
        low.zip(high).map_or(0, |(l, h)| u64::from(h - l) + 1)
    };
    match spans_too_far(span(|p| p.0), span(|p| p.1), cells.len() as u64) {
        Some(what) => Err(what),
        None => Ok(Range::from_sparse(cells)),
    }
}

/// What is wrong with a sheet of so many rows and columns, of whose cells so many hold something; `None` where
/// it may take that room.
#[must_use]
pub fn spans_too_far(rows: u64, columns: u64, cells: u64) -> Option<String> {
    let most = SPAN_ALWAYS.max(SPAN_PER_CELL.saturating_mul(cells));
    (rows.saturating_mul(columns) > most).then(|| {
        format!(
            "{cells} cells spread over {rows} rows and {columns} columns: one of them stands far outside the table"
        )
    })
}

/// A cell of a workbook as any other cell.
fn cell(data: &Data) -> Cell<'_> {
    match data {
        Data::Empty => Cell::Empty,
        #[expect(
            clippy::cast_precision_loss,
            reason = "spreadsheets hold no whole numbers beyond 2^53"
        )]
        Data::Int(n) => Cell::Number(*n as f64),
        Data::Float(x) => Cell::Number(*x),
        Data::String(s) => Cell::from_text(s),
        Data::Bool(true) => Cell::Text("true"),
        Data::Bool(false) => Cell::Text("false"),
        Data::DateTimeIso(s) | Data::DurationIso(s) => Cell::from_text(s),
        Data::Error(error) => Cell::Broken(match error {
            CellErrorType::Div0 => "#DIV/0!",
            CellErrorType::NA => "#N/A",
            CellErrorType::Name => "#NAME?",
            CellErrorType::Null => "#NULL!",
            CellErrorType::Num => "#NUM!",
            CellErrorType::Ref => "#REF!",
            CellErrorType::Value => "#VALUE!",
            CellErrorType::GettingData => "#GETTING_DATA",
        }),
        Data::DateTime(d) => {
            let days = d.as_f64();
            // Beyond the year 9999 the conversion panics.
            if !(0.0..=LAST_DAY).contains(&days) {
                return Cell::Broken("a date out of range");
            }
            if (0.0..1.0).contains(&days) {
                #[expect(clippy::cast_possible_truncation, reason = "below 86 400")]
                return Cell::Clock(((days * 86_400.0).round() as i64).min(86_399));
            }
            match d.as_datetime() {
                Some(t) => {
                    // Fractions of a day are not exact: to the nearest second.
                    let t = t + chrono::TimeDelta::milliseconds(500);
                    Cell::Stamp(t.and_utc().timestamp())
                }
                None => Cell::Broken("a date out of range"),
            }
        }
    }
}

/// The layout of a sheet, with what its numbers and dates show.
///
/// # Errors
/// Where no row is a usable header: what was understood of the sheet all the same.
pub fn understand(
    sheet: &Sheet,
    headers: &Headers,
    fixed: &BTreeMap<Field, String>,
) -> Result<(Layout, Seen), Box<Partial>> {
    let rows: Vec<Vec<String>> =
        (0..sheet.cells.height().min(LOOKED_AT)).map(|n| sheet.text_row(n)).collect();
    let (_, mut layout) = find(&rows, &sheet.spans, headers, fixed).map_err(|mut partial| {
        partial.layout.settle(&rows, headers, fixed);
        partial
    })?;
    layout.settle(&rows, headers, fixed);
    layout.take_units_row(&rows);
    let mut seen = Seen::default();
    let (date, time) = (layout.date_column(), layout.time_column());
    for row in layout.header_rows..sheet.cells.height() {
        let text = |n: usize| match sheet.cells.get((row, n)) {
            Some(Data::String(s)) => Some(s.as_str()),
            _ => None,
        };
        layout.look_at_numbers(&mut seen.signs, text);
        if let Some(text) = date.and_then(text) {
            seen.dates.look(text.trim());
        } else if let Some(Data::Float(count)) = date.and_then(|n| sheet.cells.get((row, n))) {
            seen.dates.look(&count.to_string());
        }
        if let Some(text) = time.and_then(text) {
            seen.dates.look_at_time(text.trim());
        }
    }
    Ok((layout, seen))
}

/// Parses the rows of a sheet below its header.
pub fn parse(sheet: &Sheet, skip: usize, parser: &mut Parser<'_>) {
    let first = sheet.cells.start().map_or(0, |(row, _)| row);
    for row in skip..sheet.cells.height() {
        let get = |n: usize| sheet.cells.get((row, n)).map_or(Cell::Empty, cell);
        parser.row(u64::from(first) + row as u64 + 1, sheet.cells.width(), &get);
    }
}
