//! Whether the sheet of an Open Document workbook (ODS) can be opened without harm: the workbook reader looks
//! for the end of a table for ever where it does not come, and makes room for every cell that is said to be
//! repeated.
//!
//! The same XML reader splits `content.xml` here as there, so both see the same elements. Elements and attributes
//! from memory of the published format (OASIS OpenDocument 1.2, part 1, sections 6.1.3 and 9.1); held against
//! sheets in `tests/pipeline/workbooks.rs` and by fuzzing.

use std::io::{BufReader, Cursor};

use quick_xml::Reader;
use quick_xml::errors::{Error, IllFormedError};
use quick_xml::events::{BytesStart, Event};

use super::workbook::spans_too_far;

/// Spaces that one element may stand for: what a cell can hold.
const SPACES_MOST: u64 = 32_767;
/// Columns that a sheet can have; the workbook reader goes no further.
const COLUMNS: u64 = 16_384;
/// Rows that a sheet can have.
const ROWS: u64 = 1_048_576;

/// What is wrong with a workbook, and where.
#[derive(Debug, PartialEq, Eq)]
pub struct Unsound {
    /// The sheet.
    pub sheet: Option<String>,
    /// The row of the sheet, counted from 1.
    pub row: Option<u64>,
    /// What a reader expects there.
    pub expected: String,
    /// What stands there.
    pub found: String,
}

/// How far a table reaches, while it is gone through.
#[derive(Debug, Default)]
struct Table {
    name: Option<String>,
    /// Rows before the one gone through, repeated ones too.
    rows: u64,
    /// The last row that holds anything, and the widest.
    filled_to: u64,
    widest: u64,
    /// Cells that hold something, as written and as repeated along their row.
    written: u64,
    along: u64,
    /// Of the row gone through: how often it stands, columns before the cell, the last that is filled.
    times: u64,
    columns: u64,
    row_filled: u64,
    /// Of the cell gone through: how often it stands; whether it holds anything.
    repeated: u64,
    filled: bool,
}

impl Table {
    fn end_cell(&mut self) {
        let before = self.columns;
        self.columns = COLUMNS.min(before.saturating_add(self.repeated));
        if self.filled {
            self.written += 1;
            self.along += self.columns - self.row_filled;
            self.row_filled = self.columns;
        }
    }

    fn end_row(&mut self) {
        self.rows = ROWS.min(self.rows.saturating_add(self.times));
        if self.row_filled > 0 {
            self.filled_to = self.rows;
            self.widest = self.widest.max(self.row_filled);
        }
    }

    /// Room for all of it, in cells: more than it should take for what is written.
    fn too_far(&self) -> Option<String> {
        let rows = spans_too_far(self.filled_to, self.widest, self.written);
        rows.or_else(|| spans_too_far(1, self.along, self.written))
    }
}

fn times(element: &BytesStart<'_>, name: &str) -> u64 {
    let value = element.try_get_attribute(name).ok().flatten();
    value.map_or(1, |v| v.value.trim().parse().unwrap_or(u64::MAX))
}

/// Whether the attributes of a cell alone make it hold something.
fn holds_value(cell: &BytesStart<'_>) -> bool {
    cell.attributes().with_checks(false).flatten().any(|a| {
        a.key.as_ref().starts_with("office:") && a.key.as_ref().ends_with("value")
            || a.key.as_ref() == "table:formula"
    })
}

fn is_cell(name: &str) -> bool {
    ["table:table-cell", "table:covered-table-cell"].contains(&name)
}

/// Whether every element of `content.xml` is closed, and no sheet spans far more cells than it holds. A zip
/// without `content.xml`, or one that cannot be unpacked, is left to the workbook reader.
///
/// # Errors
/// The first place that is not as it should be.
pub fn is_sound(bytes: &[u8]) -> Result<(), Unsound> {
    let Ok(mut archive) = zip::ZipArchive::new(Cursor::new(bytes)) else {
        return Ok(());
    };
    let Ok(content) = archive.by_name("content.xml") else {
        return Ok(());
    };
    let mut reader = Reader::from_reader(BufReader::new(content));
    reader.config_mut().expand_empty_elements = true;
    let (mut open, mut buffer, mut table) = (Vec::new(), Vec::new(), Table::default());
    let unsound = |table: &Table, expected: String, found: String| Unsound {
        sheet: table.name.clone(),
        row: table.name.as_ref().map(|_| table.rows + 1),
        expected,
        found,
    };
    loop {
        buffer.clear();
        match reader.read_event_into(&mut buffer) {
            Ok(Event::Start(element)) => {
                let name = element.name().as_ref().to_owned();
                match name.as_str() {
                    "table:table" => {
                        let named = element.try_get_attribute("table:name").ok().flatten();
                        table =
                            Table { name: named.map(|n| n.value.into_owned()), ..Table::default() };
                    }
                    "table:table-row" => {
                        table.times = times(&element, "table:number-rows-repeated");
                        (table.columns, table.row_filled) = (0, 0);
                    }
                    cell if is_cell(cell) => {
                        table.repeated = times(&element, "table:number-columns-repeated");
                        table.filled = holds_value(&element);
                    }
                    "text:s" => {
                        let spaces = times(&element, "text:c");
                        if spaces > SPACES_MOST {
                            return Err(unsound(
                                &table,
                                format!("at most {SPACES_MOST} characters in a cell"),
                                format!("{spaces} spaces"),
                            ));
                        }
                    }
                    _ => {}
                }
                open.push(name);
            }
            Ok(Event::End(element)) => {
                open.pop();
                match element.name().as_ref() {
                    cell if is_cell(cell) => table.end_cell(),
                    "table:table-row" => table.end_row(),
                    "table:table" => {
                        if let Some(found) = table.too_far() {
                            let expected = "a table of what it holds".to_owned();
                            return Err(unsound(&table, expected, found));
                        }
                        table = Table::default();
                    }
                    _ => {}
                }
            }
            Ok(Event::Text(_) | Event::CData(_) | Event::GeneralRef(_)) => table.filled = true,
            Ok(Event::Eof) => {
                let Some(name) = open.pop() else {
                    return Ok(());
                };
                let found = "the end of content.xml".to_owned();
                return Err(unsound(&table, format!("</{name}>"), found));
            }
            Ok(_) => {}
            Err(Error::IllFormed(IllFormedError::MismatchedEndTag { expected, found })) => {
                return Err(unsound(&table, format!("</{expected}>"), format!("</{found}>")));
            }
            Err(error) => {
                let expected = "elements that can be told apart".to_owned();
                return Err(unsound(&table, expected, error.to_string()));
            }
        }
    }
}
