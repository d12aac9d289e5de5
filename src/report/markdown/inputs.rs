//! The files that a page rests on, with their checksums: as many as a page has room for.

use std::fmt::Write;

use super::{header, row};
use crate::report::format::{name, text};
use crate::review::InputLine;
use crate::words::numbers::grouped;

/// Files listed one by one: a folder may hold a file for each unit.
const LISTED: usize = 100;

/// Writes the table; what follows the files listed is one row.
pub(super) fn table(page: &mut String, inputs: &[InputLine]) {
    let (listed, more) = inputs.split_at(inputs.len().min(LISTED));
    header(page, &["file", "bytes", "SHA-256"]);
    for i in listed {
        row(page, &[&name(&i.path), &grouped(i.bytes), &text(&i.sha256)]);
    }
    if !more.is_empty() {
        let files = format!("{} more files", grouped(more.len() as u64));
        let bytes = grouped(more.iter().map(|i| i.bytes).sum());
        row(page, &[&files, &bytes, "each in `results.json`"]);
    }
    line!(page);
}
