//! Texts that are no delimited text, told as such: JSON, fixed-width print files, XML.
//!
//! One way for all that follows: layout, dates, damage and `peek` know delimited text alone. What stands line by
//! line (JSON lines, print files) keeps its lines, so that each row is named by its own, and is told piece by piece
//! by the parsers ([`Retelling`]). A document (XML, other JSON) is told as a whole ([`document`]); its rows are
//! counted. A second reader for each format, with cells of its own, was rejected: what is known of headers in groups,
//! preambles, repeated headers and lost cells would hold for delimited text only.

mod fixed_width;
mod json;
mod lines;
mod tree;
mod xml;

pub use lines::{Damaged, Told};

use super::columns::Headers;

/// Largest document, in bytes: it is held as a whole.
pub const DOCUMENT_MOST: usize = 64 << 20;

/// How the lines of a text become delimited ones.
#[derive(Debug)]
pub enum Retelling {
    /// An object a line.
    Json(json::Lines),
    /// Columns with blanks between them.
    FixedWidth(fixed_width::Gaps),
}

impl Retelling {
    /// Of a text that says by its first bytes what it is; `None` for any other.
    #[must_use]
    pub fn of_objects(text: &[u8]) -> Option<Self> {
        json::Lines::of(text).map(Self::Json)
    }

    /// Of a text whose columns stand one below the other; `None` where they do not.
    #[must_use]
    pub fn of_columns(text: &[u8], headers: &Headers) -> Option<Self> {
        let text = String::from_utf8_lossy(text);
        fixed_width::Gaps::of(&text, headers).map(Self::FixedWidth)
    }

    /// What it is told from, in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self {
            Self::Json(_) => "JSON lines",
            Self::FixedWidth(_) => "fixed width",
        }
    }

    /// The first lines of a text, with a header where its lines have none, and the number of the first line told.
    #[must_use]
    pub fn beginning(&self, text: &[u8], headers: &Headers) -> (Told, u64) {
        match self {
            Self::Json(lines) => {
                let mut told = Told { text: lines.header(headers), damaged: Vec::new() };
                lines.tell(text, 1, headers, &mut told);
                (told, 0)
            }
            Self::FixedWidth(_) => (self.tell(text, 1, headers), 1),
        }
    }

    /// Lines further on, of which the first has this number.
    #[must_use]
    pub fn tell(&self, text: &[u8], first_line: u64, headers: &Headers) -> Told {
        let mut told = Told::default();
        match self {
            Self::Json(lines) => lines.tell(text, first_line, headers, &mut told),
            Self::FixedWidth(gaps) => {
                gaps.tell(&String::from_utf8_lossy(text), first_line, &mut told);
            }
        }
        told
    }
}

/// Whether a text begins as a document does, and then how the document is called.
#[must_use]
pub fn is_document(text: &[u8]) -> Option<&'static str> {
    let text = text.trim_ascii_start();
    let second = text.get(1);
    match text.first()? {
        b'<' if second.is_some_and(|b| b.is_ascii_alphabetic() || b"?!".contains(b)) => Some("XML"),
        b'{' => Some("JSON"),
        b'[' if text[1..].trim_ascii_start().first().is_some_and(|b| b"{[]".contains(b)) => {
            Some("JSON")
        }
        _ => None,
    }
}

/// A whole document as delimited text with a header.
///
/// # Errors
/// What is wrong with it.
pub fn document(text: &[u8], headers: &Headers) -> Result<Vec<u8>, String> {
    let root = if is_document(text) == Some("XML") { xml::tree(text) } else { json::tree(text) }?;
    tree::table(&root, headers)
}
