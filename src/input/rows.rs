//! One row of any table → the tests it holds, or what is wrong with it.

use std::collections::HashSet;
use std::rc::Rc;
use std::sync::Arc;

use hashbrown::HashMap;

use self::test::ModelFacts;
use super::cell::Cell;
use super::columns::{Field, Meaning, squeeze};
use super::dates::moment;
use super::layout::{Layout, MOST_COLUMNS};
use super::outcomes::Said;
use super::words::Words;
use crate::records::{Batch, Book, FactorSet, Limits, Outcome, Setup, TestKind, Unreadable};

pub use self::test::LEAKAGE_ALONE;

mod beside;
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
    source: u16,
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

/// What a row is.
enum RowKind {
    /// One or more tests.
    Test,
    /// Nothing: blank, a title, a total, or the header again.
    SteppedOver,
    /// The header of another table.
    OtherHeader,
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
    pub fn new(words: &'a Words, book: &'a Book, layout: &'a Layout, source: u16) -> Self {
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

    /// Cells of a whole row.
    #[must_use]
    pub fn width(&self) -> usize {
        self.layout.names.len()
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
    }

    /// Blank lines, the header again, page titles and totals are stepped over and counted.
    fn kind_of_row<'c>(&self, width: usize, cell: &impl Fn(usize) -> Cell<'c>) -> RowKind {
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
        let total = |c: &Cell<'c>| {
            matches!(c, Cell::Text(t) if ["total", "sum", "summe", "gesamt", "totale", "page"]
                .iter().any(|w| squeeze(t).starts_with(w)))
        };
        if same * 2 > filled.len() || filled.len() <= 3 || total(&filled[0]) {
            RowKind::SteppedOver
        } else {
            RowKind::Test
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

/// At most 80 characters of what was found, on one line.
fn shorten(text: &str) -> String {
    let flat: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if flat.chars().count() <= 80 {
        flat
    } else {
        format!("{}…", flat.chars().take(79).collect::<String>())
    }
}
