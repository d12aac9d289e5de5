//! A text, opened: its first piece as delimited text, whatever it was, and what comes after it.

use std::io::{Cursor, Error, Read, Result};
use std::sync::Arc;

use crate::input::columns::Headers;
use crate::input::retold::{DOCUMENT_MOST, Retelling, Told, document, is_document};
use crate::input::spare::Spare;
use crate::input::text::{Pieces, TextPiece};

/// Most bytes of a text that can be read only once held for a look ahead.
const HELD_MOST: usize = 256 << 20;

/// A text of which the first piece is read.
pub(super) struct Opened<'r> {
    /// As delimited text.
    pub(super) first: TextPiece,
    /// As they stand.
    pub(super) pieces: Pieces<Box<dyn Read + 'r>>,
    /// What makes delimited text of the pieces.
    pub(super) retelling: Option<Arc<Retelling>>,
    /// What it was, where it was no delimited text.
    pub(super) form: &'static str,
    /// Whether it was told as a whole.
    pub(super) is_document: bool,
}

/// The first lines of a text in columns.
pub(super) struct InColumns {
    pub(super) first: TextPiece,
    retelling: Retelling,
}

impl<'r> Opened<'r> {
    /// Opens a text; `None` where there is none.
    ///
    /// # Errors
    /// What reading gave, and what is wrong with a document.
    pub(super) fn of(
        reader: Box<dyn Read + 'r>,
        headers: &Headers,
        spare: &Arc<Spare<Vec<u8>>>,
    ) -> Result<Option<Self>> {
        let mut pieces = Pieces::new(reader, spare);
        let Some(first) = pieces.next()? else { return Ok(None) };
        let mut opened = Self { first, pieces, retelling: None, form: "", is_document: false };
        let Some(form) = is_document(&opened.first.bytes) else { return Ok(Some(opened)) };
        if let Some(retelling) = Retelling::of_objects(&opened.first.bytes) {
            opened.first = beginning(&retelling, &opened.first, headers);
            opened.form = retelling.words();
            opened.retelling = Some(Arc::new(retelling));
            return Ok(Some(opened));
        }
        opened.whole(form, headers).map(Some)
    }

    /// Reads a document to its end.
    fn whole(mut self, form: &'static str, headers: &Headers) -> Result<Self> {
        let mut text = std::mem::take(&mut self.first.bytes);
        while let Some(piece) = self.pieces.next()? {
            text.extend(piece.bytes);
            if text.len() > DOCUMENT_MOST {
                let what =
                    format!("more than {} MB of {form} in one document", DOCUMENT_MOST >> 20);
                return Err(Error::other(format!(
                    "{what}: write a record a line, or several files"
                )));
            }
        }
        let told =
            document(&text, headers).map_err(|what| Error::other(format!("{form}: {what}")))?;
        // The header has no line: rows are counted from 1.
        let reader: Box<dyn Read> = Box::new(Cursor::new(told));
        let mut pieces = self.pieces.after(reader).numbered_from(0);
        let first =
            pieces.next()?.ok_or_else(|| Error::other(format!("{form} without records")))?;
        Ok(Self { first, pieces, retelling: None, form, is_document: true })
    }

    /// Shows everything after the first piece as delimited text until `look` has seen enough: of `again`, the text
    /// from its start, else ahead of what is read, as far as that is held.
    pub(super) fn look_through<'a>(
        &mut self,
        again: Option<Box<dyn Read + 'a>>,
        headers: &Headers,
        look: &mut dyn FnMut(&[u8]) -> bool,
    ) {
        let retelling = self.retelling.clone();
        let mut look = |piece: &TextPiece| match &retelling {
            Some(retelling) => look(&retelling.tell(&piece.bytes, 1, headers).text),
            None => look(&piece.bytes),
        };
        match again.filter(|_| !self.is_document).map(|again| self.pieces.after(again)) {
            Some(mut rest) => {
                // The first piece was looked at.
                let _ = rest.next();
                while let Ok(Some(piece)) = rest.next()
                    && look(&piece)
                {}
            }
            None => self.pieces.look_ahead(HELD_MOST, look),
        }
    }

    /// The same as text in columns; `None` where it is none.
    pub(super) fn in_columns(&self, headers: &Headers) -> Option<InColumns> {
        if !self.form.is_empty() {
            return None;
        }
        let retelling = Retelling::of_columns(&self.first.bytes, headers)?;
        Some(InColumns { first: beginning(&retelling, &self.first, headers), retelling })
    }

    /// Goes on as that.
    pub(super) fn take(&mut self, columns: InColumns) {
        self.first = columns.first;
        self.form = columns.retelling.words();
        self.retelling = Some(Arc::new(columns.retelling));
    }
}

fn beginning(retelling: &Retelling, piece: &TextPiece, headers: &Headers) -> TextPiece {
    let (Told { text, damaged }, first_line) = retelling.beginning(&piece.bytes, headers);
    TextPiece { bytes: text, first_line, damaged }
}
