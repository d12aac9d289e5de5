//! A small workbook of binary records (XLSB), written by hand: no library here writes them.
//!
//! Record numbers and bodies from memory of the published format [MS-XLSB], sections 2.3 (records), 2.4 and
//! 2.5.168 (texts).

use std::io::{Cursor, Write as _};

/// What stands in a cell.
#[derive(Debug, Clone)]
pub enum Held {
    /// Nothing: the cell is left out.
    Blank,
    /// A text, in the cell itself.
    Text(String),
    /// A number.
    Number(f64),
    /// A day as spreadsheets count them, shown as a date.
    Day(f64),
    /// An error by its number: 7 for a division by zero, 42 for a value that is not available.
    Error(u8),
}

/// A sheet: its name, whether it is hidden, and its rows.
pub type Sheet<'a> = (&'a str, bool, Vec<Vec<Held>>);

/// Seven bits a byte, the lowest first; all but the last byte are marked.
fn number(mut n: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    loop {
        let byte = (n & 0x7f) as u8;
        n >>= 7;
        bytes.push(if n == 0 { byte } else { byte | 0x80 });
        if n == 0 {
            return bytes;
        }
    }
}

fn record(kind: usize, body: &[u8]) -> Vec<u8> {
    [&number(kind), &number(body.len()), body].concat()
}

/// Its length in units of UTF-16, then those.
fn wide(text: &str) -> Vec<u8> {
    let units: Vec<u16> = text.encode_utf16().collect();
    let mut bytes = u32::try_from(units.len()).expect("a short text").to_le_bytes().to_vec();
    bytes.extend(units.iter().flat_map(|u| u.to_le_bytes()));
    bytes
}

fn words(numbers: &[u32]) -> Vec<u8> {
    numbers.iter().flat_map(|n| n.to_le_bytes()).collect()
}

/// Two formats of cells: number 0 is general, number 1 a date (the built-in format 14).
fn styles() -> Vec<u8> {
    let format = |number: u16| {
        let mut body = [0_u8; 16];
        body[2..4].copy_from_slice(&number.to_le_bytes());
        record(47, &body)
    };
    [
        record(278, &[]),
        record(617, &words(&[2])),
        format(0),
        format(14),
        record(618, &[]),
        record(279, &[]),
    ]
    .concat()
}

fn sheet(rows: &[Vec<Held>]) -> Vec<u8> {
    let (height, width) = (rows.len(), rows.iter().map(Vec::len).max().unwrap_or(0));
    let last = |n: usize| u32::try_from(n.max(1) - 1).expect("a small sheet");
    let mut bytes = [
        record(129, &[]),
        record(148, &words(&[0, last(height), 0, last(width)])),
        record(145, &[]),
    ]
    .concat();
    for (r, row) in (0_u32..).zip(rows) {
        // Row, format, height and marks, and no spans of columns.
        bytes.extend(record(0, &[words(&[r, 0]), vec![0; 5], words(&[0])].concat()));
        for (c, held) in (0_u32..).zip(row) {
            let (kind, style, value) = match held {
                Held::Blank => continue,
                Held::Error(code) => (3, 0, vec![*code]),
                Held::Number(x) => (5, 0, x.to_le_bytes().to_vec()),
                Held::Day(x) => (5, 1, x.to_le_bytes().to_vec()),
                Held::Text(text) => (6, 0, wide(text)),
            };
            bytes.extend(record(kind, &[words(&[c, style]), value].concat()));
        }
    }
    bytes.extend([record(146, &[]), record(130, &[])].concat());
    bytes
}

/// The workbook of these sheets.
pub fn xlsb(sheets: &[Sheet<'_>]) -> Vec<u8> {
    let mut book = [record(131, &[]), record(143, &[])].concat();
    let mut relations = String::new();
    let mut parts = vec![("xl/styles.bin".to_owned(), styles())];
    for (n, (name, hidden, rows)) in (1_u32..).zip(sheets) {
        let id = format!("rId{n}");
        let state = words(&[u32::from(*hidden), n]);
        book.extend(record(156, &[state, wide(&id), wide(name)].concat()));
        relations += &format!(
            "<Relationship Id=\"{id}\" Type=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet\" Target=\"worksheets/sheet{n}.bin\"/>"
        );
        parts.push((format!("xl/worksheets/sheet{n}.bin"), sheet(rows)));
    }
    // 157: how it is calculated; readers look for names up to there.
    book.extend([record(144, &[]), record(157, &[0; 26]), record(132, &[])].concat());
    parts.push(("xl/workbook.bin".to_owned(), book));
    let around = |inside: &str| {
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?><Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">{inside}</Relationships>"
        )
    };
    for (name, text) in [
        (
            "[Content_Types].xml",
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?><Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"bin\" ContentType=\"application/vnd.ms-excel.sheet.binary.macroEnabled.main\"/></Types>".to_owned(),
        ),
        (
            "_rels/.rels",
            around("<Relationship Id=\"rId1\" Type=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument\" Target=\"xl/workbook.bin\"/>"),
        ),
        ("xl/_rels/workbook.bin.rels", around(&relations)),
    ] {
        parts.push((name.to_owned(), text.into_bytes()));
    }
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        archive
            .start_file(name, zip::write::SimpleFileOptions::default())
            .expect("memory takes every entry");
        archive.write_all(&bytes).expect("memory takes every byte");
    }
    archive.finish().expect("memory takes the end").into_inner()
}
