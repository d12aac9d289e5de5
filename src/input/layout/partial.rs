//! What can be told of a table that cannot be used as it stands: its columns, as far as they are understood, and
//! what it lacks.
//!
//! Such a table has a layout too, only an incomplete one: whoever shows it needs no second way to do so. Where no
//! row names two columns, the header is taken to be the first row as wide as most; where that row holds values
//! already, the table has no header, and its columns are called by their places.

use std::collections::BTreeMap;

use super::{Columns, DateWay, DecimalSign, Field, Group, HEADER_WITHIN, Layout, Undecided};
use crate::input::columns::{Meaning, squeeze};
use crate::input::taken::{Sure, Taken};

/// Of a row that is no header: so many cells are shown, of each so many characters.
const CELLS_SHOWN: usize = 12;
const CELL_SHOWN: usize = 30;

/// From so many known columns on, a row is a header that lacks something.
pub(super) const KNOWN: usize = 2;

/// What a table cannot be used without.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lack {
    /// When a test was made.
    Date,
    /// Which model was tested.
    Model,
    /// What came of it.
    ReadingOrOutcome,
    /// What came of it, where a name in its path may say it.
    Outcome,
    /// Which number of its dates is the day.
    DateOrder,
    /// On which clock its times are laid.
    Clock,
    /// Which sign of its numbers is the decimal one.
    DecimalSign,
    /// The unit of a column.
    Unit,
}

impl Lack {
    /// In words, as something that is not there.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Date => "a date",
            Self::Model => "a model",
            Self::ReadingOrOutcome => "a reading or an outcome",
            Self::Outcome => "a column of outcomes",
            Self::DateOrder => "dates that show which number is the day",
            Self::Clock => "times on one clock",
            Self::DecimalSign => "numbers that show which sign is the decimal one",
            Self::Unit => "a unit that can be read",
        }
    }
}

/// A table that cannot be used as it stands.
#[derive(Debug, Clone)]
pub struct Partial {
    /// Its columns, as far as they are understood.
    pub layout: Layout,
    /// What it lacks.
    pub lacks: Vec<Lack>,
    /// How many of its columns are understood.
    pub known: usize,
    /// Where all is there and two answers are possible: what must be decided.
    pub undecided: Option<Undecided>,
    /// What stands where a header should be, with what it lacks where it comes near to one.
    pub found: String,
}

impl Partial {
    /// Of a row that names some columns.
    pub(super) fn of(layout: Layout, known: usize) -> Self {
        let groups = layout.groups.iter().map(|g| lacks(&g.columns, &layout.fixed));
        let lacks = groups.min_by_key(Vec::len).unwrap_or_default();
        let words: Vec<&str> = lacks.iter().map(|l| l.words()).collect();
        let found = format!(
            "row {} of those with cells, {}, without {}",
            layout.header_rows,
            cells_shown(&layout.names),
            words.join(" and ")
        );
        Self { layout, lacks, known, found, undecided: None }
    }

    /// How much it says, for choosing between ways to split a text: the more of its columns are understood, and
    /// the more there are.
    #[must_use]
    pub fn says(&self) -> (usize, usize) {
        (self.known, filled(&self.layout.names))
    }
}

/// What a test cannot be used without that neither these columns nor the fixed values have.
pub(super) fn lacks(columns: &Columns, fixed: &BTreeMap<Field, String>) -> Vec<Lack> {
    let has =
        |any: &[Field]| any.iter().any(|f| columns.get(*f).is_some() || fixed.contains_key(f));
    let needed: [(Lack, &[Field]); 3] = [
        (Lack::Date, &[Field::TestedAt, Field::Date]),
        (Lack::Model, &[Field::Model]),
        (Lack::ReadingOrOutcome, &[Field::Reading, Field::Outcome]),
    ];
    needed.iter().filter(|(_, any)| !has(any)).map(|(lack, _)| *lack).collect()
}

/// The layout of a table in which no row names two columns: each column under what stands in the row that is
/// taken for the header, else under its place.
pub(super) fn unnamed(rows: &[Vec<String>], fixed: &BTreeMap<Field, String>) -> Partial {
    let rows = &rows[..rows.len().min(HEADER_WITHIN)];
    let usual = usual_width(rows);
    let at = rows.iter().position(|row| filled(row) == usual && usual > 0);
    let (names, header_rows) = match at {
        Some(at) if rows[at].iter().filter(|c| is_value(c)).count() * 3 < usual => {
            (rows[at].clone(), at + 1)
        }
        Some(at) => ((1..=rows[at].len()).map(place_name).collect(), at),
        None => (Vec::new(), 0),
    };
    let unknown = Taken { meaning: Meaning::Unknown, sure: Sure::NotUsed, why: None };
    let found = at.map_or_else(
        || "none".to_owned(),
        |at| {
            let row =
                format!("none; row {} of those with cells is {}", at + 1, cells_shown(&rows[at]));
            let placed = names.first().filter(|name| **name == place_name(1));
            placed.map_or(row.clone(), |name| {
                format!("{row}, so that its columns are called by their places, {name:?} and so on")
            })
        },
    );
    Partial {
        lacks: lacks(&Columns::default(), fixed),
        known: 0,
        undecided: None,
        found,
        layout: Layout {
            header_rows,
            header: names.iter().map(|c| squeeze(c)).collect(),
            taken: vec![unknown; names.len()],
            names,
            told: Vec::new(),
            quiet: Vec::new(),
            groups: vec![Group::default()],
            shares_outcome: false,
            fixed: fixed.clone(),
            titled: Vec::new(),
            units_beside: BTreeMap::new(),
            units_row: Vec::new(),
            odd_units: Vec::new(),
            sign: DecimalSign::Point,
            dates: DateWay::default(),
            trims: false,
        },
    }
}

/// How many cells of a row hold something.
pub(super) fn filled(row: &[String]) -> usize {
    row.iter().filter(|c| !c.trim().is_empty()).count()
}

/// How many cells most rows hold; 0 where none holds two.
pub(super) fn usual_width(rows: &[Vec<String>]) -> usize {
    let rows = &rows[..rows.len().min(HEADER_WITHIN)];
    let wide: Vec<usize> = rows.iter().map(|row| filled(row)).filter(|n| *n >= 2).collect();
    let often = |n: usize| wide.iter().filter(|w| **w == n).count();
    wide.iter().copied().max_by_key(|n| (often(*n), *n)).unwrap_or(0)
}

/// What the column at a place is called where there is no header.
pub(super) fn place_name(place: usize) -> String {
    format!("column {place}")
}

/// Whether a cell holds a number, a date or a time, and so is no header's.
fn is_value(cell: &str) -> bool {
    let digits = cell.chars().filter(char::is_ascii_digit).count();
    digits > 0 && digits * 2 >= cell.trim().chars().count()
}

/// The first cells of a row, each cut short, as a reader can find them again.
fn cells_shown(row: &[String]) -> String {
    let short = |cell: &String| {
        let flat: String = cell.trim().chars().filter(|c| !c.is_control()).collect();
        match flat.char_indices().nth(CELL_SHOWN) {
            Some((end, _)) => format!("{:?}…", &flat[..end]),
            None => format!("{flat:?}"),
        }
    };
    let filled: Vec<&String> = row.iter().filter(|c| !c.trim().is_empty()).collect();
    let mut shown: Vec<String> = filled.iter().take(CELLS_SHOWN).map(|c| short(c)).collect();
    if filled.len() > CELLS_SHOWN {
        shown.push(format!("and {} more", filled.len() - CELLS_SHOWN));
    }
    shown.join(" ")
}
