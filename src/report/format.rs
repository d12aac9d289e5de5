//! Names and other text made safe for a page, an address or a cell; how numbers are worded is `words`' part.

use std::borrow::Cow;

use serde::Serialize;

use crate::review::ReviewedSeries;
use crate::verdict::incident::Evidence;
use crate::words::currents::Currents;
use crate::words::is_unseen;

/// How the currents of a series are printed: its median decides on the unit, or the latest month's, or its limit.
#[must_use]
pub fn currents_of(series: &ReviewedSeries) -> Currents {
    let body = series.distribution.as_ref().and_then(|d| d.x50_ma.as_ref());
    let typical = body
        .map(|e| e.value)
        .or_else(|| series.months.iter().rev().find_map(|m| m.x50_ma))
        .or(series.limit.history.now.high_ma())
        .filter(|x| x.is_finite())
        .unwrap_or(1.0);
    Currents::new(typical, series.reading_step_ma)
}

/// A cell, and what it is sorted by.
#[derive(Debug, Serialize)]
pub struct Cell {
    /// As shown.
    pub shown: String,
    /// A number without its unit, or the text; empty where there is none.
    pub sort: String,
}

/// A machine word for people: `slope_and_step` as `slope and step`.
#[must_use]
pub fn words(key: &str) -> String {
    key.replace('_', " ")
}

/// Any text, safe in one line of markdown, also in a table cell: no sign of it is taken for markup.
///
/// Line breaks, control signs and signs that turn the direction of writing become spaces; the rest is kept.
#[must_use]
pub fn text(raw: &str) -> String {
    let mut out = String::with_capacity(raw.len() + 8);
    let signs: Vec<char> = raw.trim().chars().collect();
    let number = signs.iter().take_while(|c| c.is_ascii_digit()).count();
    for (n, &c) in signs.iter().enumerate() {
        let beside =
            |m: Option<usize>| m.and_then(|m| signs.get(m)).is_some_and(|c| c.is_alphanumeric());
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            c if is_unseen(c) => out.push(' '),
            '\\' | '|' | '`' | '[' | ']' | '*' | '#' | '~' | '$' => out.extend(['\\', c]),
            // Inside a word it is no emphasis: file names stay readable.
            '_' if !(beside(n.checked_sub(1)) && beside(Some(n + 1))) => out.extend(['\\', c]),
            // What would start a list or a rule.
            '-' | '+' | '=' if n == 0 => out.extend(['\\', c]),
            '.' | ')' if n > 0 && n == number && !beside(Some(n + 1)) => out.extend(['\\', c]),
            // What some readers of markdown make a link by itself.
            ':' if signs.get(n + 1) == Some(&'/') => out.push_str("\\:"),
            '.' if n >= 3 && signs[n - 3..n].iter().all(|c| c.eq_ignore_ascii_case(&'w')) => {
                out.push_str("\\.")
            }
            c => out.push(c),
        }
    }
    out
}

/// A name for a page: as [`text`], and in words where it is blank.
#[must_use]
pub fn name(raw: &str) -> String {
    let shown = text(raw);
    if shown.trim().is_empty() { "(no name)".to_owned() } else { shown }
}

/// The address of a file beside the page, or of a place on it: all but letters, digits and `-._/` as `%XX`.
#[must_use]
pub fn address(path: &str) -> String {
    let mut out = String::with_capacity(path.len());
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

/// The place on the page that belongs to a series: letters, digits, `-` and `_` only.
#[must_use]
pub fn anchor(id: &str) -> String {
    Evidence::Series(id.to_owned()).anchor()
}

/// A cell that no spreadsheet takes for a formula: what begins like one gets a `'` before it.
#[must_use]
pub fn defused(cell: &str) -> Cow<'_, str> {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) {
        Cow::Owned(format!("'{cell}"))
    } else {
        Cow::Borrowed(cell)
    }
}
