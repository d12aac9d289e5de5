//! What is told: lines of cells, and headers for the keys of records.

use crate::input::columns::{Headers, Meaning};

/// Between the cells of what is told.
const DELIMITER: u8 = b'\t';
/// Between the names on the way down to a nested value.
pub const DOWN: char = '\u{1f}';
/// Most columns: each line told has all of them, so that short lines of many columns would fill the memory.
pub const COLUMNS_MOST: usize = 512;
/// Delimited text, and the lines that could not be told.
#[derive(Debug, Default)]
pub struct Told {
    /// A line for each line.
    pub text: Vec<u8>,
    /// What is no row.
    pub damaged: Vec<Damaged>,
}

/// A line that cannot be told.
#[derive(Debug)]
pub struct Damaged {
    /// Counted from 1 in its file.
    pub line: u64,
    /// What a reader expects there.
    pub expected: &'static str,
    /// What stands there.
    pub found: String,
}

/// Adds a line; a cell may hold anything, but lines end where they should.
pub fn push_line<'c>(text: &mut Vec<u8>, cells: impl IntoIterator<Item = &'c str>) {
    for (n, cell) in cells.into_iter().enumerate() {
        if n > 0 {
            text.push(DELIMITER);
        }
        let quoted = cell.contains('"');
        text.extend(quoted.then_some(b'"'));
        for b in cell.bytes() {
            match b {
                b'"' => text.extend(b"\"\""),
                0..b' ' => text.push(b' '),
                _ => text.push(b),
            }
        }
        text.extend(quoted.then_some(b'"'));
    }
    text.push(b'\n');
}

/// A key of a record, the names on the way down to it, as a header: its last name alone, and words that are written
/// together taken apart, where that is what a header is known by.
pub fn header_of(key: &str, headers: &Headers) -> String {
    let names: Vec<&str> = key.split(DOWN).filter(|n| !n.is_empty()).collect();
    let (whole, Some((last, before))) = (names.join(" "), names.split_last()) else {
        return key.to_owned();
    };
    let is_numbered = names.iter().any(|n| n.bytes().all(|b| b.is_ascii_digit()));
    let mut tried = vec![whole.clone(), apart(&whole)];
    if !is_numbered {
        // What is called name or number is that of what holds it.
        let called = ["name", "id", "no", "nr", "number", "value"].contains(last);
        let bare = if called { before.join(" ") } else { (*last).to_owned() };
        tried.extend([bare.clone(), apart(&bare)]);
    }
    let is_known = |t: &String| headers.meaning(t) != Meaning::Unknown;
    tried.into_iter().find(is_known).unwrap_or(whole)
}

/// `highLimitMa` as `high limit ma`.
fn apart(name: &str) -> String {
    let mut words = String::new();
    let mut small = false;
    for c in name.chars() {
        if c.is_uppercase() && small {
            words.push(' ');
        }
        small = c.is_lowercase() || c.is_ascii_digit();
        if words.ends_with(' ') || small {
            words.extend(c.to_lowercase());
        } else {
            words.push(c);
        }
    }
    words
}

/// Keys as a header in which each column has another name.
pub fn header_line<'k>(keys: impl IntoIterator<Item = &'k str>, headers: &Headers) -> Vec<u8> {
    let mut names: Vec<String> = Vec::new();
    for key in keys {
        let name = header_of(key, headers);
        names.push(if names.contains(&name) { key.replace(DOWN, " ") } else { name });
    }
    let mut text = Vec::new();
    push_line(&mut text, names.iter().map(String::as_str));
    text
}
