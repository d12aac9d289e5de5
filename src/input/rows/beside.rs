//! What stands beside the reading of a row: the factors, the air of the room and the serial.

use std::borrow::Cow;

use super::{BUILT_IN_FACTORS, Parser, Wrong};
use crate::input::cell::{Cell, is_invisible, tidy};
use crate::input::columns::{Field, squeeze};
use crate::input::layout::Columns;
use crate::records::{AirSums, Place};

impl Parser<'_> {
    pub(super) fn factor_set<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) -> std::result::Result<u32, Wrong> {
        let mut levels = std::mem::take(&mut self.levels);
        levels.0.clear();
        for (field, _) in BUILT_IN_FACTORS {
            levels.0.push(self.text(columns, field, get(field))?);
        }
        for n in 0..self.words.factor_values.len() {
            let column = columns.factors.get(n).copied().flatten().map(usize::from);
            let found = column.map_or(Cell::Empty, cell);
            if let (Cell::Broken(found), Some(column)) = (found, column) {
                return Err(Wrong {
                    column: self.layout.names[column].clone(),
                    expected: "text".to_owned(),
                    found: found.to_owned(),
                });
            }
            let shown: Cow<'_, str> = match found {
                Cell::Text(t) => Cow::Borrowed(t),
                other => Cow::Owned(other.shown()),
            };
            let slot = Field::COUNT + n;
            let code = match self.texts[slot].get(&*shown) {
                Some(&code) => code,
                None => {
                    let mapped = self.words.factor_values[n].get(&squeeze(&shown));
                    let tidied = tidy(&shown).into_owned();
                    let code = self.book.texts.code(mapped.map_or(&tidied, |to| to.met()));
                    self.texts[slot].insert(shown.into_owned(), code);
                    code
                }
            };
            levels.0.push(code);
        }
        let code = match self.factors.get(&levels) {
            Some(&code) => code,
            None => {
                let code = self.book.factors.code(&levels);
                self.factors.insert(levels.clone(), code);
                code
            }
        };
        self.levels = levels;
        Ok(code)
    }

    pub(super) fn air<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        place: Place,
        time: i64,
    ) {
        if columns.get(Field::Humidity).is_none() && columns.get(Field::Temperature).is_none() {
            return;
        }
        let read = |field| {
            self.written(columns, field, get(field)).ok().flatten().map(|w| w.number.to_f64())
        };
        let (humidity, temperature) = (read(Field::Humidity), read(Field::Temperature));
        let sums = AirSums {
            humidity: humidity.map_or((0.0, 0), |h| (h, 1)),
            temperature: temperature.map_or((0.0, 0), |t| (t, 1)),
        };
        let day = crate::day::day_of(time, self.words.day_starts_s);
        self.batch.air.entry((place, day)).or_default().add(&sums);
    }

    /// Keeps the serial as written and gives it as it is compared.
    pub(super) fn serial(&mut self, cell: Cell<'_>) -> String {
        let mut plain = std::mem::take(&mut self.plain);
        plain.clear();
        let mapped;
        let written = match cell {
            Cell::Text(t) if !self.words.values.contains_key(&Field::Serial) => t,
            other => {
                mapped = self.words_of(Field::Serial, other);
                &mapped
            }
        };
        let is_plain = |b: u8| b.is_ascii_digit() || b.is_ascii_lowercase();
        if written.bytes().all(is_plain) {
            self.batch.serials.push_str(written);
            self.batch.serials.push('\n');
            plain.push_str(written);
            return plain;
        }
        for c in written.chars() {
            self.batch.serials.push(if c == '\n' { ' ' } else { c });
            if c.is_ascii() {
                if !c.is_ascii_whitespace() && c != '-' && c != '_' {
                    plain.push(c.to_ascii_lowercase());
                }
            } else if !c.is_whitespace() && !"–—".contains(c) && !is_invisible(c) {
                plain.extend(c.to_lowercase());
            }
        }
        self.batch.serials.push('\n');
        plain
    }
}
