//! One row of any table → the tests it holds, or what is wrong with it.

use std::collections::{BTreeMap, HashSet};
use std::rc::Rc;
use std::sync::Arc;

use hashbrown::HashMap;

use self::alike::{Alike, Common};
use self::kind::RowKind;
use self::later::Watched;
use self::shared::Made;
use self::test::ModelFacts;
use super::cell::Cell;
use super::columns::{Field, Headers};
use super::layout::{Layout, MOST_COLUMNS};
use super::outcomes::Said;
use super::words::Words;
use crate::records::{
    Batch, Book, FactorSet, Limits, Outcome, Quantity, Setup, SourceAt, TestKind, Unreadable,
};

pub use self::test::LEAKAGE_ALONE;

mod alike;
mod beside;
mod kind;
mod later;
mod shared;
mod test;
mod values;

/// Factor levels every record has, before the config's own.
pub const BUILT_IN_FACTORS: [(Field, &str); 4] = [
    (Field::Lot, "lot"),
    (Field::Operator, "operator"),
    (Field::Shift, "shift"),
    (Field::Fixture, "fixture"),
];

/// What is said to be expected where an outcome cannot be read.
pub const OUTCOME_EXPECTED: &str = "an outcome word (map it under [outcomes])";

/// Reads the rows of one piece of a table into a [`Batch`].
pub struct Parser<'a> {
    words: &'a Words,
    book: &'a Book,
    layout: &'a Layout,
    source: SourceAt,
    batch: Batch,
    texts: Vec<HashMap<String, u32>>,
    blank: [Option<u32>; Field::COUNT],
    said: HashMap<String, Option<Said>>,
    outcomes: HashMap<String, Said>,
    tests: HashMap<String, TestKind>,
    models: HashMap<u32, Rc<ModelFacts>>,
    setups: HashMap<Setup, u32>,
    factors: HashMap<FactorSet, u32>,
    limits: HashMap<Limits, u32>,
    levels: FactorSet,
    plain: String,
    date: (String, Option<i64>),
    /// What the outcome column of the test at hand says.
    row_said: Option<Said>,
    /// What that test shows beside its record.
    row_made: Option<Made>,
    /// The units that stand beside the numbers of the row at hand, by column; `None` where it is none.
    row_units: BTreeMap<u16, Option<Quantity>>,
    /// What was said of unreadable rows.
    told: HashSet<Arc<str>>,
    /// Where rows may say what others say too.
    common: Option<Common>,
    /// What the row at hand says there, in bytes.
    key: Vec<u8>,
    /// What rows that said the same are known to say.
    alike: HashMap<Box<[u8]>, Rc<Alike>>,
    /// What the test at hand says that others may say too.
    row_alike: Option<Alike>,
    /// What columns that are not used say.
    watched: Watched,
}

/// What is wrong with a row.
struct Wrong {
    column: String,
    expected: String,
    found: String,
}

impl<'a> Parser<'a> {
    /// A parser for rows of `source` laid out as `layout`, which puts them into an empty `batch`.
    #[must_use]
    pub fn new(
        words: &'a Words,
        book: &'a Book,
        layout: &'a Layout,
        source: SourceAt,
        batch: Batch,
    ) -> Self {
        Self {
            words,
            book,
            layout,
            source,
            batch,
            blank: [None; Field::COUNT],
            texts: vec![HashMap::new(); Field::COUNT + words.factor_values.len()],
            said: HashMap::new(),
            outcomes: HashMap::new(),
            tests: HashMap::new(),
            models: HashMap::new(),
            setups: HashMap::new(),
            factors: HashMap::new(),
            limits: HashMap::new(),
            levels: FactorSet(Vec::new()),
            plain: String::new(),
            date: (String::new(), None),
            row_said: None,
            row_made: None,
            row_units: BTreeMap::new(),
            told: HashSet::new(),
            common: Common::of(layout),
            key: Vec::new(),
            alike: HashMap::new(),
            row_alike: None,
            watched: Watched::default(),
        }
    }

    /// What reads its headers.
    #[must_use]
    pub fn headers(&self) -> &'a Headers {
        &self.words.headers
    }

    /// What its rows are laid out as.
    #[must_use]
    pub fn layout(&self) -> &'a Layout {
        self.layout
    }

    /// Makes room for the tests of so many lines.
    pub fn expect(&mut self, lines: u64) {
        self.batch.records.reserve(usize::try_from(lines).unwrap_or(0));
    }

    /// What the rows gave.
    #[must_use]
    pub fn finish(self) -> Batch {
        self.batch
    }

    /// Notes a row that could not even be split into cells.
    pub fn damaged(&mut self, line: u64, expected: &str, found: &str) {
        self.unreadable(u32::try_from(line).unwrap_or(u32::MAX), "", expected, found);
    }

    fn unreadable(&mut self, line: u32, column: &str, expected: &str, found: &str) {
        let row = Unreadable {
            source: self.source,
            line,
            column: self.shared(column),
            expected: self.shared(expected),
            found: self.shared(&shorten(found)),
            outcome: self.row_said.take().map(|said| match said {
                Said::Class(outcome) => outcome,
                Said::Fail => Outcome::Failed,
            }),
        };
        self.batch.unreadable.push(row);
    }

    /// One copy of a text for all rows that say it.
    fn shared(&mut self, text: &str) -> Arc<str> {
        if let Some(known) = self.told.get(text) {
            return known.clone();
        }
        let told: Arc<str> = text.into();
        self.told.insert(told.clone());
        told
    }

    /// Reads one row of `width` cells.
    pub fn row<'c>(&mut self, line: u64, width: usize, cell: &impl Fn(usize) -> Cell<'c>) {
        let Ok(line) = u32::try_from(line) else {
            self.damaged(line, "at most 4 294 967 295 rows in a table", "a row after them");
            return;
        };
        let layout = self.layout;
        match self.kind_of_row(width.min(MOST_COLUMNS), cell) {
            RowKind::Test => {}
            RowKind::SteppedOver => {
                self.batch.stepped_over += 1;
                return;
            }
            RowKind::OtherHeader => {
                self.batch.other_table = Some((self.source, line));
                self.batch.stepped_over += 1;
                return;
            }
        }
        if let Some((source, header)) = self.batch.other_table {
            let refused = match self.batch.unreadable.last() {
                Some(last) if last.line > header && last.source == source => {
                    Unreadable { line, ..last.clone() }
                }
                _ => Unreadable::below_other_table(source, line, header),
            };
            self.batch.unreadable.push(refused);
            return;
        }
        if let Some(expected) = layout.misfit(width, |n| cell(n).is_empty()) {
            self.damaged(line.into(), &expected, &format!("{width} cells"));
            return;
        }
        for (number, unit) in &layout.units_beside {
            let found = match cell(usize::from(*unit)) {
                Cell::Text(text) | Cell::Broken(text) => Quantity::from_bracketed(text),
                _ => None,
            };
            self.row_units.insert(*number, found);
        }
        let first = self.batch.records.len();
        if layout.shares_outcome {
            self.tests_of_one_outcome(line, cell);
        } else {
            self.tests(line, cell);
        }
        self.look_later(line, first, cell);
    }

    /// Reads one row of `width` cells that was the test `part` of its row when it was read first.
    pub fn row_as<'c>(
        &mut self,
        line: u64,
        part: u8,
        width: usize,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) {
        let first = self.batch.records.len();
        self.row(line, width, cell);
        self.batch.records[first..].iter_mut().for_each(|record| record.part = part);
    }

    /// Reads the tests of a row, each with an outcome of its own.
    fn tests<'c>(&mut self, line: u32, cell: &impl Fn(usize) -> Cell<'c>) {
        let (layout, before) = (self.layout, self.batch.records.len());
        for (part, group) in (0..=u8::MAX).zip(&layout.groups) {
            if group.is_blank(|c| cell(c).is_empty()) {
                continue;
            }
            // A sequence ends with the test that stops it: those after it have their names and limits, and no result.
            let stopped = self.batch.records[before..].iter().any(|r| r.outcome != Outcome::Pass);
            if stopped && group.is_silent(|c| cell(c).is_empty()) {
                continue;
            }
            self.row_said = None;
            match self.test(line, part, group, cell) {
                Ok(record) => {
                    self.row_said = None;
                    self.batch.records.push(record);
                }
                Err(wrong) => {
                    self.unreadable(line, &wrong.column, &wrong.expected, &wrong.found);
                }
            }
        }
    }
}

/// At most 80 characters of what was found, on one line.
fn shorten(text: &str) -> String {
    let flat: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if flat.chars().count() <= 80 {
        flat
    } else {
        format!("{}…", flat.chars().take(79).collect::<String>())
    }
}
