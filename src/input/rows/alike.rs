//! Rows that say the same but for what is each row's own: its time, serial and reading, the air of the room, the
//! measured voltage.
//!
//! In nearly all rows of a table everything else (model, station, settings, limits, outcome, factors) was said before in
//! the same words. What those words gave is kept by the bytes of their cells, and a row of text with the same bytes there
//! is made of that and of its own few cells. Whatever is not plain (a row of another width, a title, a cell that cannot be
//! understood) is read as if nothing were known, so there is one way to read and one to say what is wrong. Rejected:
//! the last text of each column and its code, which asks as often as there are columns.

use std::rc::Rc;

use super::Parser;
use super::test::{Measured, ModelFacts, NOTHING, Own};
use crate::input::cell::Cell;
use crate::input::columns::Field;
use crate::input::layout::Layout;
use crate::input::outcomes::Said;
use crate::records::{Limits, Marks, Outcome, Place, Record};

/// What each row has of its own.
const OWN: [Field; 8] = [
    Field::TestedAt,
    Field::Date,
    Field::Time,
    Field::Serial,
    Field::Reading,
    Field::Humidity,
    Field::Temperature,
    Field::MeasuredV,
];

/// Most different ones that a parser keeps: where rows have remarks of their own there is no end of them.
const MOST: usize = 4096;

/// What stands behind each cell of a key: no byte of UTF-8.
const NO_TEXT: u8 = 0xff;

/// What rows say that differ in nothing but what is their own.
pub(super) struct Alike {
    pub(super) facts: Rc<ModelFacts>,
    pub(super) model: u32,
    pub(super) place: Place,
    /// Code of the setup.
    pub(super) setup: u32,
    pub(super) factors: u32,
    pub(super) limits: Limits,
    pub(super) said: Option<Said>,
    pub(super) marks: Marks,
    pub(super) count: u32,
    /// Whether the voltage is asked of the column of measured ones.
    pub(super) asks_volts: bool,
}

/// Where rows of a layout say what others say too.
pub(super) struct Common {
    columns: Vec<usize>,
    date: usize,
    width: usize,
}

impl Common {
    /// `None` where a row holds several tests, or stands for several units.
    pub(super) fn of(layout: &Layout) -> Option<Self> {
        let [group] = &layout.groups[..] else { return None };
        let at = |field| group.columns.get(field).map(|(column, _)| usize::from(column));
        if !group.own.is_empty() || !layout.units_beside.is_empty() || at(Field::Count).is_some() {
            return None;
        }
        let fields = Field::ALL.iter().filter(|(field, _)| !OWN.contains(field));
        let factors = group.columns.factors.iter().flatten().map(|column| usize::from(*column));
        let mut columns: Vec<usize> = fields.filter_map(|(f, _)| at(*f)).chain(factors).collect();
        columns.sort_unstable();
        columns.dedup();
        let date = at(Field::Date).or_else(|| at(Field::TestedAt))?;
        Some(Self { columns, date, width: layout.names.len() })
    }
}

impl Parser<'_> {
    /// Reads one row of text whose `width` cells have these bytes.
    pub fn text_row<'c>(&mut self, line: u64, width: usize, bytes: &impl Fn(usize) -> &'c [u8]) {
        let cell = |n: usize| if n < width { Cell::from_bytes(bytes(n)) } else { Cell::Empty };
        if !self.keep_key(width, bytes) {
            return self.row(line, width, &cell);
        }
        if let Some(alike) = self.alike.get(&self.key[..]).cloned()
            && let Ok(line) = u32::try_from(line)
            && let Some(record) = self.record_like(&alike, line, &cell)
        {
            self.batch.records.push(record);
            self.look_later(line, self.batch.records.len() - 1, &cell);
            return;
        }
        self.row_alike = None;
        self.row(line, width, &cell);
        if let Some(alike) = self.row_alike.take()
            && self.alike.len() < MOST
        {
            self.alike.insert(self.key.clone().into(), Rc::new(alike));
        }
    }

    /// Whether a row is a test without doubt, as wide as the header; then the key of what it may share with others
    /// is kept.
    fn keep_key<'c>(&mut self, width: usize, bytes: &impl Fn(usize) -> &'c [u8]) -> bool {
        let Some(common) = &self.common else { return false };
        if width != common.width
            || self.batch.other_table.is_some()
            || !bytes(common.date).first().is_some_and(u8::is_ascii_digit)
        {
            return false;
        }
        self.key.clear();
        for &column in &common.columns {
            self.key.extend_from_slice(bytes(column));
            self.key.push(NO_TEXT);
        }
        true
    }

    /// The record of a row that says the same as others; `None` where it needs a closer look.
    fn record_like<'c>(
        &mut self,
        alike: &Alike,
        line: u32,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) -> Option<Record> {
        let columns = &self.layout.groups[0].columns;
        let get =
            |field: Field| columns.get(field).map_or(Cell::Empty, |(c, _)| cell(usize::from(c)));
        let time = self.time(columns, &get).ok()?;
        let mut measured = NOTHING;
        let other = alike.marks.has(Marks::OTHER_TEST);
        if !other {
            let failed = alike.said.is_some_and(|said| said != Said::Class(Outcome::Pass));
            let (shown, reading_pa) = self.reading(columns, &get, failed).ok()?;
            measured = Measured { shown, reading_pa, limits: alike.limits };
        }
        let outcome = self.outcome(columns, &get, alike.said, (!other).then_some(measured)).ok()?;
        let own = Own { line, part: 0, time, measured, outcome };
        self.record(columns, &get, alike, own).ok()
    }
}
