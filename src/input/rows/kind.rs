//! What is a row: a test, nothing, or the header of another table?
//!
//! Lines of no table are stepped over without a word, so a test whose cells are damaged must not pass for one. What
//! tells them apart is what still stands in its place: a date under the date, a number under the reading, a known
//! word under the outcome, a model that was met above (`in_place`). Two such cells make a test of any row; one does
//! where the row is as wide as the header and does not begin as a total does. A foot line that holds as much, such as
//! a sum without a word, is told as unreadable: too much is said then, not too little.

use super::Parser;
use crate::input::cell::Cell;
use crate::input::columns::{Field, Meaning, squeeze};
use crate::input::dates::{clock, moment};
use crate::input::numbers::number;

/// Filled cells up to which a line can be a title or a foot line, and cells that a row may have lost.
const FEW: usize = 3;

/// Words that totals and page titles begin with. Common practice, no source.
const TOTALS: [&str; 17] = [
    "total", "sum", "summe", "gesamt", "totale", "page", "seite", "pagina", "average", "mean",
    "mittel", "min", "max", "count", "anzahl", "std", "end",
];

/// What a row is.
pub(super) enum RowKind {
    /// One or more tests.
    Test,
    /// Nothing: blank, a title, a total, or the header again.
    SteppedOver,
    /// The header of another table.
    OtherHeader,
}

impl Parser<'_> {
    /// Blank lines, the header again, page titles and totals are stepped over and counted.
    pub(super) fn kind_of_row<'c>(
        &mut self,
        width: usize,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) -> RowKind {
        let first = self.layout.groups[0]
            .columns
            .get(Field::Date)
            .or_else(|| self.layout.groups[0].columns.get(Field::TestedAt))
            .map_or(0, |(c, _)| usize::from(c));
        match cell(first) {
            Cell::Text(text) if text.as_bytes()[0].is_ascii_digit() || moment(text).is_some() => {
                return RowKind::Test;
            }
            Cell::Stamp(_) => return RowKind::Test,
            Cell::Number(n) if self.layout.dates.read(&n.to_string()).is_ok() => {
                return RowKind::Test;
            }
            _ => {}
        }
        let filled: Vec<Cell<'c>> = (0..width).map(cell).filter(|c| !c.is_empty()).collect();
        if filled.is_empty() {
            return RowKind::SteppedOver;
        }
        let header = &self.layout.header;
        let same = (0..width.min(header.len()))
            .filter(|&n| matches!(cell(n), Cell::Text(t) if squeeze(t) == header[n]))
            .count();
        let named = header.iter().filter(|n| !n.is_empty()).count();
        if same == filled.len() && same == named {
            return RowKind::SteppedOver;
        }
        let units = &self.layout.units_row;
        if !units.is_empty()
            && (0..width).all(|n| cell(n).shown() == units.get(n).map_or("", |u| u.trim()))
        {
            return RowKind::SteppedOver;
        }
        if self.is_other_header(width, cell) {
            return RowKind::OtherHeader;
        }
        let is_total = matches!(filled[0], Cell::Text(t) if {
            let begins = squeeze(t);
            TOTALS.iter().any(|w| begins.starts_with(w))
        });
        let whole = width == self.layout.names.len();
        let is_title = filled.len() <= FEW || is_total;
        if !is_title && same * 2 <= filled.len() {
            return RowKind::Test;
        }
        match self.in_place(width, cell) {
            0 if is_title => RowKind::SteppedOver,
            1 if is_title && (is_total || !whole) => RowKind::SteppedOver,
            0 | 1 if same * 2 > filled.len() => RowKind::SteppedOver,
            _ => RowKind::Test,
        }
    }

    /// How many cells hold what their column is for, as far as that can be told. Where cells are lost the others
    /// moved up, nobody knows how far: then one of them must be more than a number.
    fn in_place<'c>(&mut self, width: usize, cell: &impl Fn(usize) -> Cell<'c>) -> usize {
        let layout = self.layout;
        let lost = layout.names.len().saturating_sub(width);
        let lost = if lost <= FEW { lost } else { 0 };
        let (mut seen, mut words) = (Vec::new(), false);
        for group in &layout.groups {
            for (field, _) in Field::ALL {
                let Some((column, _)) = group.columns.get(field) else { continue };
                let column = usize::from(column);
                for at in (column.saturating_sub(lost)..=column).filter(|at| *at < width) {
                    if !seen.contains(&at) && self.is_in_place(field, cell(at)) {
                        seen.push(at);
                        words |= field.quantity().is_none();
                    }
                }
            }
        }
        if width < layout.names.len() && !words { 0 } else { seen.len() }
    }

    fn is_in_place(&mut self, field: Field, cell: Cell<'_>) -> bool {
        match (field, cell) {
            (Field::TestedAt | Field::Date, Cell::Stamp(_)) | (Field::Time, Cell::Clock(_)) => true,
            (Field::TestedAt | Field::Date, Cell::Text(t)) => moment(t).is_some(),
            (Field::Time, Cell::Text(t)) => t.contains(':') && clock(t).is_some(),
            (Field::Model, Cell::Text(t)) => {
                self.texts[field.index()].get(t).is_some_and(|code| self.models.contains_key(code))
            }
            (Field::Outcome, Cell::Text(_)) => {
                let word = self.words_of(field, cell);
                self.said(&word).is_some()
            }
            (_, Cell::Number(_)) => field.quantity().is_some(),
            (_, Cell::Text(t)) => {
                field.quantity().is_some() && number(t, self.layout.sign).is_some()
            }
            _ => false,
        }
    }

    /// Whether a row that is not the header again names columns all the same: a date or a model, and a reading
    /// or an outcome, elsewhere than the header does.
    fn is_other_header<'c>(&self, width: usize, cell: &impl Fn(usize) -> Cell<'c>) -> bool {
        let (mut fields, mut moved) = (Vec::new(), false);
        for n in 0..width {
            let Cell::Text(text) = cell(n) else { continue };
            if text.len() > 60 || text.starts_with(|c: char| c.is_ascii_digit()) {
                continue;
            }
            if let Meaning::Field(field, unit) = self.words.headers.meaning(text)
                && !fields.contains(&field)
            {
                fields.push(field);
                moved |= !self.layout.groups.iter().any(|g| {
                    g.columns.get(field).is_some_and(|(at, own)| {
                        usize::from(at) == n && (unit.is_none() || own == unit)
                    })
                });
            }
        }
        let has = |any: &[Field]| any.iter().any(|f| fields.contains(f));
        moved
            && fields.len() >= 3
            && has(&[Field::TestedAt, Field::Date, Field::Model])
            && has(&[Field::Reading, Field::Outcome])
    }
}
