//! One cell of a table, whatever file it came from.

use std::borrow::Cow;

/// A cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell<'a> {
    /// Nothing there.
    Empty,
    /// Text, trimmed.
    Text(&'a str),
    /// A true number.
    Number(f64),
    /// A true date or date and time: seconds since 1970-01-01.
    Stamp(i64),
    /// A true time of day: seconds since midnight.
    Clock(i64),
    /// A formula error.
    Broken(&'a str),
}

impl<'a> Cell<'a> {
    /// A text cell from raw bytes, trimmed; empty where nothing is left. Bytes that are no UTF-8 are
    /// a broken cell.
    #[must_use]
    pub fn from_bytes(bytes: &'a [u8]) -> Self {
        let trimmed = bytes.trim_ascii();
        if trimmed.is_empty() {
            return Self::Empty;
        }
        match std::str::from_utf8(trimmed) {
            Ok(text) => Self::from_text(unquoted(text)),
            Err(_) => Self::Broken("bytes that are no text"),
        }
    }

    /// A text cell, trimmed; broken where it is the error of a spreadsheet's formula, as some formats and
    /// spreadsheets saved as text hold it.
    #[must_use]
    pub fn from_text(text: &'a str) -> Self {
        let ends_plainly = |b: Option<&u8>| b.is_some_and(u8::is_ascii_alphanumeric);
        let text = match text.as_bytes() {
            bytes if ends_plainly(bytes.first()) && ends_plainly(bytes.last()) => text,
            _ => text.trim_matches(|c: char| c.is_whitespace() || is_invisible(c)),
        };
        if text.is_empty() {
            Self::Empty
        } else if is_formula_error(text) {
            Self::Broken(text)
        } else {
            Self::Text(text)
        }
    }

    /// Whether nothing is there.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        matches!(self, Self::Empty)
    }

    /// The cell as a reader would see it.
    #[must_use]
    pub fn shown(&self) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Text(t) | Self::Broken(t) => (*t).to_owned(),
            Self::Number(x) => format!("{x}"),
            Self::Stamp(s) => chrono::DateTime::from_timestamp(*s, 0)
                .map_or_else(|| s.to_string(), |d| d.format("%Y-%m-%d %H:%M:%S").to_string()),
            Self::Clock(s) => format!("{:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60),
        }
    }
}

/// Signs of no width: they would make another model or station of a name that looks the same.
#[must_use]
pub fn is_invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2064}' | '\u{feff}')
}

/// A text with single plain spaces for runs of blanks of any kind, and without signs of no width.
#[must_use]
pub fn tidy(text: &str) -> Cow<'_, str> {
    if text.is_ascii() && !text.contains("  ") && !text.contains(|c: char| c.is_ascii_control()) {
        return Cow::Borrowed(text);
    }
    let seen = text.replace(is_invisible, "");
    Cow::Owned(seen.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// `#DIV/0!`, `#N/A`, `#NAME?` … in any language of a spreadsheet: capitals between a hash and a mark, or one of
/// the few without a mark (from memory).
fn is_formula_error(text: &str) -> bool {
    let Some(inside) = text.strip_prefix('#') else {
        return false;
    };
    ["N/A", "N/D", "NV"].contains(&inside)
        || inside.strip_suffix(['!', '?']).is_some_and(|word| {
            let capital = |c: char| c.is_uppercase() || "/0¡¿".contains(c);
            !word.is_empty() && word.chars().all(capital)
        })
}

/// A cell of delimited text without quotes that stand around it still: a stray one, or a pair of the other kind,
/// would make another model or serial of it.
fn unquoted(text: &str) -> &str {
    if !matches!(text.as_bytes(), [b'"' | b'\'', ..] | [.., b'"']) {
        return text;
    }
    let text = text.trim_matches('"');
    let inside = text.strip_prefix('\'').and_then(|t| t.strip_suffix('\''));
    inside.unwrap_or(text)
}
