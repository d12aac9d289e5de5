//! Where a table's header is and what each of its columns means.
//!
//! A row is as wide as its header, or it has lost or gained a cell, nobody knows which: unreadable. Blank
//! cells too many are none; where one row in ten is short it is the exporter's manner to leave blank ends
//! away (`Layout::trims`).

use std::collections::BTreeMap;

use super::columns::{Field, Headers, Heading, Meaning, squeeze};
use super::dates::DateWay;
use super::taken::{Sure, Taken};
use crate::config::DecimalSign;
use crate::note::Note;
use crate::records::Quantity;

mod choice;
mod partial;
mod steps;
mod title_lines;
mod values;

use title_lines::preamble;

pub(super) use choice::is_code;
pub use choice::{AskedOutcome, AskedWord, Quiet, Undecided};
pub use partial::{Lack, Partial};
pub use title_lines::titles;
pub(super) use values::is_often_something_else;

/// How many lines are searched for a header.
pub const HEADER_WITHIN: usize = 100;

/// How many rows are looked at, from the first: what stands below a header may tell what its columns are.
pub const LOOKED_AT: usize = 500;

/// Most cells of a row, as many as a spreadsheet can hold.
pub const MOST_COLUMNS: usize = 16_384;

/// How many rows below the header are kept to be shown.
pub const FIRST_ROWS: usize = 3;

/// Columns that a header names at least.
const LEAST_KNOWN: usize = 3;

/// Most groups of columns of a row.
const MOST_GROUPS: usize = 256;

/// As much of a cell as a header or a value looked at for the layout can be: 256 characters. A title is copied
/// to every column it spans.
#[must_use]
pub fn header_text(cell: &str) -> String {
    cell.chars().take(256).collect()
}

/// The columns of one test: where each canonical column stands, and its unit.
#[derive(Debug, Clone)]
pub struct Columns {
    /// By [`Field::index`]: column and unit.
    pub at: [Option<(u16, Option<Quantity>)>; Field::COUNT],
    /// By place in the config's factors.
    pub factors: Vec<Option<u16>>,
}

impl Default for Columns {
    fn default() -> Self {
        Self { at: [None; Field::COUNT], factors: Vec::new() }
    }
}

impl Columns {
    /// The column and unit of a field.
    #[must_use]
    pub fn get(&self, field: Field) -> Option<(u16, Option<Quantity>)> {
        self.at[field.index()]
    }
}

/// One test of each row: a plain table has one, a table with a group of columns per test has several.
#[derive(Debug, Clone, Default)]
pub struct Group {
    /// Title above its columns; names the test.
    pub title: Option<String>,
    /// The kind of test that the title names.
    pub kind: Option<String>,
    /// The step that the title numbers.
    pub step: Option<String>,
    /// The conductors that the title names as its measuring point.
    pub point: Option<String>,
    /// Its columns and those common to all tests of the row.
    pub columns: Columns,
    /// The columns that are its own; where all are blank, the test was not made.
    pub own: Vec<u16>,
}

impl Group {
    /// Whether the columns that are its own are all blank: the test was not made.
    #[must_use]
    pub fn is_blank(&self, is_empty: impl Fn(usize) -> bool) -> bool {
        !self.own.is_empty() && self.own.iter().all(|&column| is_empty(usize::from(column)))
    }
}

/// What is known of a table before its rows are read.
#[derive(Debug, Clone)]
pub struct Layout {
    /// Rows up to and with the header, counted among the rows looked at.
    pub header_rows: usize,
    /// The header's cells, for recognising it when it comes again.
    pub header: Vec<String>,
    /// What to call each column in messages.
    pub names: Vec<String>,
    /// What each column is taken for.
    pub taken: Vec<Taken>,
    /// What a reader must know of how they were chosen.
    pub told: Vec<Note>,
    /// Columns not used that always say the same in the rows looked at, where there are more rows.
    pub quiet: Vec<Quiet>,
    /// The tests of a row.
    pub groups: Vec<Group>,
    /// Whether several tests of a row have one outcome: where it is a failure, it is not known of which.
    pub shares_outcome: bool,
    /// Values that hold for the whole table: from lines before the header, names and config.
    pub fixed: BTreeMap<Field, String>,
    /// Those of them that lines before the header state, with the units named there.
    pub titled: Vec<(Field, Option<Quantity>)>,
    /// Columns of numbers, each with the column that holds their units.
    pub units_beside: BTreeMap<u16, u16>,
    /// A row of units below the header, for recognising it when it comes again.
    pub units_row: Vec<String>,
    /// Columns whose unit in that row is none, or is not that of the header: what stands there.
    pub odd_units: Vec<OddUnit>,
    /// Decimal sign.
    pub sign: DecimalSign,
    /// How its dates are read.
    pub dates: DateWay,
    /// Whether blank cells at the end of a row are left away, as some exporters do: rows may be shorter
    /// than the header then. Else a short row has lost a cell, nobody knows which.
    pub trims: bool,
}

impl Layout {
    /// Why a row of `width` cells does not fit under the header; `None` where it does. Blank cells too many
    /// are none.
    #[must_use]
    pub fn misfit(&self, width: usize, is_empty: impl Fn(usize) -> bool) -> Option<String> {
        let header = self.names.len();
        let unnamed = |n: usize| self.names[n].trim().is_empty();
        let fits = match width.cmp(&header) {
            std::cmp::Ordering::Equal => true,
            std::cmp::Ordering::Greater => width <= MOST_COLUMNS && (header..width).all(is_empty),
            std::cmp::Ordering::Less => self.trims || (width..header).all(unnamed),
        };
        (!fits).then(|| format!("{header} cells, as the header has"))
    }

    /// A cell of a field as it is understood: numbers in the field's own unit, dates with the year first, the
    /// rest as written; `None` where it cannot be understood.
    #[must_use]
    pub fn understood(&self, field: Field, unit: Option<Quantity>, cell: &str) -> Option<String> {
        let cell = cell.trim();
        if cell.is_empty() || cell == "-" {
            return Some(String::new());
        }
        if let Some(own) = field.quantity() {
            let written = super::numbers::number(cell, self.sign)?;
            let from = written.unit.or(unit).unwrap_or(own);
            if !from.same_kind(own) {
                return None;
            }
            let side = ["<", "", ">"][usize::try_from(written.side + 1).ok()?];
            let mut number = written.number;
            number.exponent = number.exponent.checked_add(from.exponent() - own.exponent())?;
            return Some(format!("{side}{}", number.to_f64()));
        }
        if matches!(field, Field::TestedAt | Field::Date) {
            let (day_s, second) = self.dates.read(cell).ok()?;
            let at = chrono::DateTime::from_timestamp(day_s + second.unwrap_or(0), 0)?;
            let format = if second.is_some() { "%Y-%m-%d %H:%M:%S" } else { "%Y-%m-%d" };
            return Some(at.format(format).to_string());
        }
        Some(cell.to_owned())
    }

    /// Whether every test of a row has something that says its outcome.
    #[must_use]
    pub fn says_outcomes(&self) -> bool {
        let has = |g: &Group| g.columns.get(Field::Outcome).is_some();
        self.fixed.contains_key(&Field::Outcome) || self.groups.iter().all(has)
    }

    /// The column that holds the time of day beside a date.
    #[must_use]
    pub fn time_column(&self) -> Option<usize> {
        let (column, _) = self.groups.first()?.columns.get(Field::Time)?;
        Some(usize::from(column))
    }

    /// Whether a column holds remarks, or nothing that is used: there a cell may run over lines.
    #[must_use]
    pub fn is_prose(&self, column: usize) -> bool {
        let is_it = |c: u16| usize::from(c) == column;
        !self.groups.iter().map(|g| &g.columns).any(|columns| {
            let fields = columns.at.iter().enumerate();
            let mut used = fields.filter(|(field, _)| *field != Field::Remark.index());
            used.any(|(_, at)| at.is_some_and(|(c, _)| is_it(c)))
                || columns.factors.iter().flatten().any(|c| is_it(*c))
        })
    }

    /// The column that holds the date.
    #[must_use]
    pub fn date_column(&self) -> Option<usize> {
        let columns = &self.groups.first()?.columns;
        let (column, _) = columns.get(Field::TestedAt).or_else(|| columns.get(Field::Date))?;
        Some(usize::from(column))
    }

    /// Fixes what holds for the whole table: what its own lines before the header say, then `fixed`.
    pub fn settle(
        &mut self,
        rows: &[Vec<String>],
        headers: &Headers,
        fixed: &BTreeMap<Field, String>,
    ) {
        let before = self.header_rows.saturating_sub(1).min(rows.len());
        self.fixed.clear();
        self.titled.clear();
        for (field, (value, unit)) in preamble(&rows[..before], headers) {
            self.fixed.insert(field, value);
            self.titled.push((field, unit));
        }
        for (field, value) in fixed {
            self.fixed.entry(*field).or_insert_with(|| value.clone());
        }
    }
}

/// A unit below the header that is none, or not the one in the header.
#[derive(Debug, Clone)]
pub struct OddUnit {
    /// Meaning of the column.
    pub field: Field,
    /// The column.
    pub column: u16,
    /// What stands there.
    pub found: String,
}

/// A title that spans several columns of one row.
#[derive(Debug, Clone, Copy)]
pub struct Span {
    /// Row, among the rows looked at.
    pub row: usize,
    /// First column.
    pub from: usize,
    /// Last column.
    pub to: usize,
}

/// Finds the header among the first rows of a table, with how many columns it explains.
///
/// Every row, and every pair of rows as group titles over names, is scored by how many columns it
/// explains; the best wins, the earlier of equals.
///
/// # Errors
/// Where no row says enough: what could be understood all the same, and what is lacking.
pub fn find(
    rows: &[Vec<String>],
    spans: &[Span],
    headers: &Headers,
    fixed: &BTreeMap<Field, String>,
) -> Result<(usize, Layout), Box<Partial>> {
    let mut best: Option<Candidate> = None;
    let mut nearest: Option<Candidate> = None;
    for top in 0..rows.len().min(HEADER_WITHIN) {
        for two in [false, true] {
            let Some(candidate) = candidate(rows, spans, headers, fixed, top, two) else {
                continue;
            };
            let complete = |g: &Group| partial::lacks(&g.columns, fixed).is_empty();
            // Titles over columns of which none says what came of a test are no tests of a row.
            let tests = !two || candidate.layout.groups[0].title.is_some();
            let usable = tests
                && candidate.score >= LEAST_KNOWN
                && candidate.layout.groups.iter().any(complete);
            let place = if usable { &mut best } else { &mut nearest };
            // A line over a header that lacks something makes no group titles of it.
            let is_plainer = |c: &Candidate| !usable && c.two && !two && candidate.score == c.score;
            if place.as_ref().is_none_or(|c| candidate.score > c.score || is_plainer(c)) {
                *place = Some(candidate);
            }
        }
    }
    // A row of units below the header names some columns, too, but not half of them.
    let is_wide = |names: &[String]| 2 * partial::filled(names) >= partial::usual_width(rows);
    let nearest = nearest
        .filter(|c| c.score >= partial::KNOWN && !c.is_a_row(rows) && is_wide(&c.layout.names));
    match best.or(nearest) {
        Some(candidate) => candidate.settled(rows, headers, fixed),
        None => nameless(rows, headers, fixed),
    }
}

/// A table in which no row names two columns: what its values say of each is a guess to be looked at. Used where it
/// has no header and the settings name its columns by their places.
fn nameless(
    rows: &[Vec<String>],
    headers: &Headers,
    fixed: &BTreeMap<Field, String>,
) -> Result<(usize, Layout), Box<Partial>> {
    let mut partial = partial::unnamed(rows, fixed);
    let names = partial.layout.names.clone();
    let Some(mut candidate) = candidate(&[names], &[], headers, fixed, 0, false) else {
        return Err(Box::new(partial));
    };
    candidate.layout.header_rows = partial.layout.header_rows;
    candidate.settled(rows, headers, fixed).map_err(|guessed| {
        partial.layout.taken = guessed.layout.taken;
        for taken in &mut partial.layout.taken {
            if taken.meaning != Meaning::Unknown {
                taken.sure = Sure::Doubtful;
                taken.why.get_or_insert_with(|| "no row names it".to_owned());
            }
        }
        Box::new(partial)
    })
}

/// A row, or two, that may be the header.
struct Candidate {
    /// Columns that it explains.
    score: usize,
    /// Whether it is a pair of titles and names.
    two: bool,
    layout: Layout,
    headings: Vec<Heading>,
}

impl Candidate {
    /// Whether it is a row of the table itself: another row agrees with it in several cells and not in all.
    fn is_a_row(&self, rows: &[Vec<String>]) -> bool {
        let names = &self.layout.names;
        let filled = names.iter().filter(|n| !n.trim().is_empty()).count();
        rows.iter().skip(self.layout.header_rows).take(FIRST_ROWS).any(|row| {
            let pairs = row.iter().zip(names).filter(|(a, _)| !a.trim().is_empty());
            let same = pairs.filter(|(a, b)| a.trim() == b.trim()).count();
            same >= 2 && same < filled
        })
    }

    /// With its columns chosen by what stands below it too.
    fn settled(
        self,
        rows: &[Vec<String>],
        headers: &Headers,
        fixed: &BTreeMap<Field, String>,
    ) -> Result<(usize, Layout), Box<Partial>> {
        let Self { score, mut layout, headings, .. } = self;
        let mut undecided = None;
        if layout.groups[0].title.is_none() {
            let (above, below) = rows.split_at(layout.header_rows.min(rows.len()));
            let mut known = titles(above, headers);
            known.extend(fixed.iter().map(|(k, v)| (*k, v.clone())));
            let chosen = choice::choose(&layout.names, headings, below, headers, &known);
            layout.groups[0].columns = chosen.columns;
            (layout.taken, layout.told, layout.quiet) = (chosen.taken, chosen.told, chosen.quiet);
            layout.units_beside = chosen.units_beside;
            undecided = chosen.undecided;
        } else {
            let below = rows.get(layout.header_rows..).unwrap_or_default();
            steps::units_beside(&mut layout, below);
            if !layout.says_outcomes() {
                let chosen = choice::without_outcome(&layout, headings, below, headers, fixed);
                (layout.told, undecided) = (chosen.told, chosen.undecided);
            }
        }
        let complete = |g: &Group| partial::lacks(&g.columns, fixed).is_empty();
        if undecided.is_none() && score >= LEAST_KNOWN && layout.groups.iter().any(complete) {
            return Ok((score, layout));
        }
        Err(Box::new(Partial { undecided, ..Partial::of(layout, score) }))
    }
}

fn candidate(
    rows: &[Vec<String>],
    spans: &[Span],
    headers: &Headers,
    fixed: &BTreeMap<Field, String>,
    top: usize,
    two: bool,
) -> Option<Candidate> {
    let names_row = if two { rows.get(top + 1)? } else { &rows[top] };
    let parts = if two { Vec::new() } else { steps::in_names(names_row, headers) };
    let titles = if two {
        group_titles(&rows[top], names_row.len(), spans, top)
    } else {
        parts.iter().map(|p| p.as_ref().map(|p| p.title.clone())).collect()
    };
    // A header over its row of units is no pair of titles and names: each unit would make a test of its own.
    let is_no_title = || !preamble(&rows[top..=top], headers).is_empty();
    if two && (holds_only_units(names_row) || titles.iter().all(Option::is_none) || is_no_title()) {
        return None;
    }
    let mut common = Columns::default();
    let mut own: Vec<(String, Columns, Vec<u16>)> = Vec::new();
    let mut names = Vec::new();
    let mut taken = Vec::new();
    let mut headings = Vec::new();
    let mut score = 0;
    for (n, name) in names_row.iter().enumerate() {
        let column = u16::try_from(n).ok()?;
        let bare = if name.trim().is_empty() && two {
            rows[top].get(n).cloned().unwrap_or_default()
        } else {
            name.clone()
        };
        let title = titles[n].as_ref().filter(|_| !name.trim().is_empty());
        let part = parts.get(n).and_then(Option::as_ref);
        let joined = match title {
            Some(title) if two => format!("{title} {bare}"),
            _ => bare.clone(),
        };
        names.push(joined.clone());
        let mut heading = headers.heading(part.map_or(&joined, |p| &p.bare));
        if heading.meaning == Meaning::Unknown && title.is_some() {
            heading = headers.heading(&bare);
        }
        let meaning = heading.meaning.clone();
        score += usize::from(!heading.may_be.is_empty());
        headings.push(heading);
        let target = match title {
            Some(title) => {
                if !own.iter().any(|(t, _, _)| t == title) {
                    if own.len() == MOST_GROUPS {
                        return None;
                    }
                    own.push((title.clone(), Columns::default(), Vec::new()));
                }
                let group = own.iter_mut().find(|(t, _, _)| t == title)?;
                group.2.push(column);
                &mut group.1
            }
            None => &mut common,
        };
        taken.push(if place(target, &meaning, column) {
            score += 1;
            Taken { meaning, sure: Sure::Sure, why: None }
        } else {
            let twice = "another column has that meaning".to_owned();
            let why = (meaning != Meaning::Unknown).then_some(twice);
            Taken { meaning: Meaning::Unknown, sure: Sure::NotUsed, why }
        });
    }
    for columns in [&mut common].into_iter().chain(own.iter_mut().map(|(_, columns, _)| columns)) {
        if let Some((column, unit)) = current_is_a_reading(columns) {
            taken[usize::from(column)].meaning = Meaning::Field(Field::Reading, unit);
        }
    }
    let (groups, shares_outcome) = grouped(common, own);
    let layout = Layout {
        header_rows: top + 1 + usize::from(two),
        header: names_row.iter().map(|c| squeeze(c)).collect(),
        names,
        taken,
        told: Vec::new(),
        quiet: Vec::new(),
        groups,
        shares_outcome,
        fixed: fixed.clone(),
        titled: Vec::new(),
        units_beside: BTreeMap::new(),
        units_row: Vec::new(),
        odd_units: Vec::new(),
        sign: DecimalSign::Point,
        dates: DateWay::default(),
        trims: false,
    };
    Some(Candidate { score, two, layout, headings })
}

/// Whether a row of a table names nothing but units.
fn holds_only_units(row: &[String]) -> bool {
    let filled = row.iter().map(|c| c.trim()).filter(|c| !c.is_empty());
    filled.into_iter().all(|c| c == "-" || Quantity::from_bracketed(c).is_some())
}

/// The tests of a row from the columns that are common to them and those of each title, and whether they share an
/// outcome.
fn grouped(common: Columns, own: Vec<(String, Columns, Vec<u16>)>) -> (Vec<Group>, bool) {
    let tests = |c: &Columns| c.get(Field::Reading).is_some() || c.get(Field::Outcome).is_some();
    let shares_outcome = own.len() > 1
        && common.get(Field::Outcome).is_some()
        && own.iter().any(|(_, c, _)| c.get(Field::Outcome).is_none());
    let mut groups: Vec<Group> = own
        .into_iter()
        .filter(|(_, columns, _)| tests(columns))
        .map(|(title, columns, own)| {
            let steps::Told { kind, step, point } = steps::of_title(&title);
            let columns = merged(&common, columns);
            Group { title: Some(title), kind, step, point, columns, own }
        })
        .collect();
    if groups.is_empty() {
        groups.push(Group { columns: common, ..Group::default() });
    }
    (groups, shares_outcome)
}

/// A lone column called "current" holds the reading; beside a reading it says which current is meant.
/// That column, where there is one.
fn current_is_a_reading(columns: &mut Columns) -> Option<(u16, Option<Quantity>)> {
    if columns.get(Field::Reading).is_some() {
        return None;
    }
    let current = columns.at[Field::Current.index()].take();
    columns.at[Field::Reading.index()] = current;
    current
}

/// Puts a column at its field; the first of two with the same meaning stays.
fn place(target: &mut Columns, meaning: &Meaning, column: u16) -> bool {
    match meaning {
        Meaning::Field(field, unit) => {
            let slot = &mut target.at[field.index()];
            if slot.is_some() {
                return false;
            }
            *slot = Some((column, *unit));
            true
        }
        Meaning::Factor(n) => {
            if target.factors.len() <= *n {
                target.factors.resize(n + 1, None);
            }
            target.factors[*n] = Some(column);
            true
        }
        Meaning::Unknown => false,
    }
}

fn merged(common: &Columns, own: Columns) -> Columns {
    let mut all = common.clone();
    for (slot, mine) in all.at.iter_mut().zip(own.at) {
        *slot = mine.or(*slot);
    }
    if all.factors.len() < own.factors.len() {
        all.factors.resize(own.factors.len(), None);
    }
    for (slot, mine) in all.factors.iter_mut().zip(own.factors) {
        *slot = mine.or(*slot);
    }
    all
}

/// The group title above each column: from merged cells where they are known, else each title runs
/// to the right until the next one.
fn group_titles(top: &[String], width: usize, spans: &[Span], row: usize) -> Vec<Option<String>> {
    let mut titles = vec![None; width];
    let here: Vec<&Span> = spans.iter().filter(|s| s.row == row && s.to > s.from).collect();
    if !here.is_empty() {
        for span in here {
            let text = top.get(span.from).map_or("", |t| t.trim());
            if text.is_empty() || span.to + 1 - span.from >= width {
                continue;
            }
            for title in titles.iter_mut().take(span.to + 1).skip(span.from) {
                *title = Some(text.to_owned());
            }
        }
        return titles;
    }
    let mut current: Option<String> = None;
    for (n, title) in titles.iter_mut().enumerate() {
        if let Some(text) = top.get(n).map(|t| t.trim()).filter(|t| !t.is_empty()) {
            current = Some(text.to_owned());
        }
        title.clone_from(&current);
    }
    // A lone title is a page title, not a group.
    let distinct: std::collections::BTreeSet<_> = titles.iter().flatten().collect();
    if distinct.len() < 2 {
        return vec![None; width];
    }
    titles
}
