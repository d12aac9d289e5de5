//! One row of any table → the tests it holds, or what is wrong with it.

use std::collections::HashSet;
use std::rc::Rc;
use std::sync::Arc;

use hashbrown::HashMap;

use self::kind::RowKind;
use self::test::ModelFacts;
use super::cell::Cell;
use super::columns::{Field, Headers};
use super::layout::{Layout, MOST_COLUMNS};
use super::outcomes::Said;
use super::words::Words;
use crate::records::{
    Batch, Book, FactorSet, Limits, Marks, Outcome, Record, Setup, SourceAt, TestKind, Unreadable,
};

pub use self::test::LEAKAGE_ALONE;

mod beside;
mod kind;
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
    /// What was said of unreadable rows.
    told: HashSet<Arc<str>>,
}

/// What is wrong with a row.
struct Wrong {
    column: String,
    expected: String,
    found: String,
}

impl<'a> Parser<'a> {
    /// A parser for rows of `source` laid out as `layout`.
    #[must_use]
    pub fn new(words: &'a Words, book: &'a Book, layout: &'a Layout, source: SourceAt) -> Self {
        Self {
            words,
            book,
            layout,
            source,
            batch: Batch::default(),
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
            told: HashSet::new(),
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

    /// Keeps, of the tests of a row that failed as a whole, those whose readings say that they did: of the others
    /// nobody knows.
    fn keep_those_that_failed(&mut self, from: usize, line: u32) {
        let is_no_failure =
            |r: &Record| [Outcome::Pass, Outcome::NotCompleted].contains(&r.outcome);
        if self.batch.records[from..].iter().all(is_no_failure) {
            return;
        }
        let records = self.batch.records.split_off(from);
        let judged = records.iter().filter(|r| !r.marks.has(Marks::OTHER_TEST)).count();
        for record in records {
            let derived = record.marks.has(Marks::DERIVED);
            let by_reading = [Outcome::OverLimit, Outcome::UnderLimit].contains(&record.outcome);
            // A word such as breakdown is about the one test that can have it.
            if derived && by_reading || !derived && judged == 1 {
                self.batch.records.push(record);
            } else {
                let expected = "an outcome for each test of the row";
                self.unreadable(line, Field::Outcome.name(), expected, "one for all, a failure");
            }
        }
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
        let from = self.batch.records.len();
        for (part, group) in (0..=u8::MAX).zip(&layout.groups) {
            if !group.own.is_empty() && group.own.iter().all(|&c| cell(usize::from(c)).is_empty()) {
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
        if layout.shares_outcome {
            self.keep_those_that_failed(from, line);
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
