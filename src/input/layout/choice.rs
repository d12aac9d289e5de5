//! Which column is taken for what: by its header, and where that does not decide by its values.
//!
//! Takes the headings of a plain table and its first rows. A header that says clearly what it is stays what it says,
//! unless its values can be nothing of the kind; one that says it as a rule gives way to values that contradict; of
//! one that may be several things, the values decide. What no header names is looked for among the values. Whatever
//! rests on values alone is told on every page, and where they leave a choice that changes numbers the table is
//! refused with the setting that decides: the first of two columns was taken without a word before.

use std::collections::{BTreeMap, HashMap};

use super::values::Values;
use super::{Columns, Layout, place};
use crate::input::columns::{By, Field, Headers, Heading, Meaning, squeeze};
use crate::input::taken::{Sure, Taken};
use crate::note::Note;
use crate::records::Quantity;

mod limits;
mod outcome;
mod quiet;
mod turns;
mod units;

pub(in crate::input) use outcome::is_code;

/// Columns whose meaning decides numbers: of two that may be one of these, none is taken.
const DECIDING: [Field; 11] = [
    Field::TestedAt,
    Field::Date,
    Field::Model,
    Field::Reading,
    Field::Outcome,
    Field::HighLimit,
    Field::LowLimit,
    Field::Serial,
    Field::Test,
    Field::AppliedV,
    Field::Count,
];
/// What is told where no column says what came of a test.
pub(super) const DERIVED: &str = "no column says outcomes: they are derived from readings and limits, a reading at the limit or beyond is a failure and any other a pass, so breakdowns are not seen; if a column says them, name it under [columns], \"HEADER\" = \"outcome\", and its words under [outcomes]";

/// Why a table is not used although its columns are known: two answers are possible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undecided {
    /// What should be there.
    pub expected: String,
    /// What is there.
    pub found: String,
    /// The setting that decides.
    pub next: String,
    /// The column that is asked for, where it is one of outcomes.
    pub asked: Option<AskedOutcome>,
}

/// A column that may say what came of each test, and its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskedOutcome {
    /// Its header.
    pub header: String,
    /// What it says that is not known, each with what it likely means.
    pub words: Vec<AskedWord>,
}

/// A word whose meaning is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskedWord {
    /// The word.
    pub word: String,
    /// What it likely means; `…` where nothing tells.
    pub meant: &'static str,
}

/// A column that is not used and always says the same in the rows looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quiet {
    /// The column.
    pub column: u16,
    /// What it says; empty where it says nothing.
    pub value: String,
    /// Whether other codes in it might be outcomes.
    pub may_be_code: bool,
    /// Whether its header says that it is about another matter.
    pub is_other: bool,
}

/// What was chosen.
#[derive(Debug, Default)]
pub(super) struct Chosen {
    pub(super) columns: Columns,
    pub(super) taken: Vec<Taken>,
    pub(super) told: Vec<Note>,
    /// Columns of numbers, each with the column that holds their units.
    pub(super) units_beside: BTreeMap<u16, u16>,
    pub(super) quiet: Vec<Quiet>,
    pub(super) undecided: Option<Undecided>,
}

/// The choice as it is made.
struct Choice<'a> {
    names: &'a [String],
    headings: Vec<Heading>,
    values: Vec<Values<'a>>,
    headers: &'a Headers,
    fixed: &'a BTreeMap<Field, String>,
    /// Whether its header may mean the outcome, of each column.
    may_be_outcome: Vec<bool>,
    /// Columns whose headers name a limit and whose values are measured.
    measured: Vec<usize>,
    chosen: Chosen,
}

/// Chooses the columns of a plain table whose rows below the header are `body`.
pub(super) fn choose(
    names: &[String],
    headings: Vec<Heading>,
    body: &[Vec<String>],
    headers: &Headers,
    fixed: &BTreeMap<Field, String>,
) -> Chosen {
    let mut choice = Choice::of(names, headings, body, headers, fixed);
    choice.contradicted();
    choice.units_beside();
    choice.by_headers();
    choice.by_headers_and_values();
    choice.strange_units();
    // A tally's columns carry canonical names, and its rows are no single tests.
    if !choice.has(Field::Count) {
        choice.by_values();
        choice.in_turn();
        choice.quiet(body.len());
    }
    choice.chosen
}

/// What is said of a table of several tests a row, some of which say no outcome: its columns are chosen by their
/// titles alone.
pub(super) fn without_outcome(
    layout: &Layout,
    headings: Vec<Heading>,
    body: &[Vec<String>],
    headers: &Headers,
    fixed: &BTreeMap<Field, String>,
) -> Chosen {
    let mut choice = Choice::of(&layout.names, headings, body, headers, fixed);
    choice.chosen.taken.clone_from(&layout.taken);
    choice.chosen.columns = layout.groups[0].columns.clone();
    let suspects = choice.suspects();
    choice.ask_or_derive(&suspects);
    choice.chosen
}

impl<'a> Choice<'a> {
    fn of(
        names: &'a [String],
        headings: Vec<Heading>,
        body: &'a [Vec<String>],
        headers: &'a Headers,
        fixed: &'a BTreeMap<Field, String>,
    ) -> Self {
        let filled = |row: &&Vec<String>| {
            row.iter().filter(|c| !c.trim().is_empty()).count() * 2 > names.len()
        };
        let is_header =
            |row: &&Vec<String>| row.iter().zip(names).all(|(a, b)| a.trim() == b.trim());
        let rows: Vec<&Vec<String>> =
            body.iter().filter(filled).filter(|r| !is_header(r)).collect();
        let column = |n: usize| {
            let cells = rows.iter().map(|row| row.get(n).map_or("", |c| c.trim()));
            Values::of(
                cells.map(|c| if ["-", "–", "—"].contains(&c) { "" } else { c }).collect(),
                headers,
            )
        };
        let may_be_outcome = |h: &Heading| {
            matches!(h.meaning, Meaning::Field(Field::Outcome, _))
                || h.may_be.contains(&Field::Outcome)
        };
        let unused = Taken { meaning: Meaning::Unknown, sure: Sure::NotUsed, why: None };
        Self {
            names,
            values: (0..names.len()).map(column).collect(),
            may_be_outcome: headings.iter().map(may_be_outcome).collect(),
            headings,
            headers,
            fixed,
            measured: Vec::new(),
            chosen: Chosen { taken: vec![unused; names.len()], ..Chosen::default() },
        }
    }
}

impl Choice<'_> {
    fn has(&self, field: Field) -> bool {
        self.chosen.columns.get(field).is_some() || self.fixed.contains_key(&field)
    }

    fn column(&self, field: Field) -> Option<(usize, Option<Quantity>)> {
        self.chosen.columns.get(field).map(|(column, unit)| (usize::from(column), unit))
    }

    /// Whether no header names a column, and nothing is known of it by its values yet.
    fn is_free(&self, at: usize) -> bool {
        self.headings[at].meaning == Meaning::Unknown
            && self.chosen.taken[at].meaning == Meaning::Unknown
            && self.headings[at].by < By::Name
            && self.values[at].filled > 0
    }

    /// Columns that no header names whose values fit.
    fn free_columns(&self, fit: impl Fn(&Values<'_>) -> bool) -> Vec<usize> {
        (0..self.names.len()).filter(|at| self.is_free(*at) && fit(&self.values[*at])).collect()
    }

    fn quoted(&self, columns: &[usize]) -> String {
        let names: Vec<String> =
            columns.iter().map(|n| format!("{:?}", super::header_text(&self.names[*n]))).collect();
        names.join(" and ")
    }

    /// A line of `[columns]`.
    fn line(&self, at: usize, field: Field) -> String {
        format!("{:?} = {:?}", self.names[at], field.name())
    }

    fn take(&mut self, at: usize, field: Field, sure: Sure, why: Option<String>) {
        let unit =
            self.headings[at].unit.filter(|u| field.quantity().is_some_and(|q| q.same_kind(*u)));
        let meaning = Meaning::Field(field, unit);
        let Ok(column) = u16::try_from(at) else { return };
        if place(&mut self.chosen.columns, &meaning, column) {
            self.chosen.taken[at] = Taken { meaning, sure, why };
        }
    }

    fn leave(&mut self, at: usize, why: String) {
        self.chosen.taken[at] =
            Taken { meaning: Meaning::Unknown, sure: Sure::NotUsed, why: Some(why) };
    }

    fn undecided(&mut self, expected: String, found: String, next: String) {
        let asked = None;
        self.chosen.undecided.get_or_insert(Undecided { expected, found, next, asked });
    }

    /// Whether another column than this may be the reading.
    fn is_other_reading(&self, at: usize) -> bool {
        let may_be = |n: &usize| {
            let heading = &self.headings[*n];
            matches!(heading.meaning, Meaning::Field(Field::Reading | Field::Current, _))
                || heading.may_be.contains(&Field::Reading)
        };
        (0..self.names.len())
            .filter(|n| *n != at && self.values[*n].are_numbers())
            .any(|n| may_be(&n))
    }

    /// Lets go of what headers say where the values are nothing of the kind.
    fn contradicted(&mut self) {
        for at in 0..self.names.len() {
            let Meaning::Field(field, _) = self.headings[at].meaning else { continue };
            let (by, values) = (self.headings[at].by, &self.values[at]);
            // `time` is a canonical name and what many call a date with its time.
            let is_word = field == Field::Time && values.are_dates();
            if by >= By::Settings || (by == By::Name && !is_word) || values.filled < 3 {
                continue;
            }
            let is_usual = by == By::UsualWords;
            let (wrong, may_be): (bool, &[Field]) = match field {
                Field::Outcome if values.are_outcomes() => (false, &[]),
                Field::Outcome if values.are_numbers() => {
                    let is_code = self.headings[at].unit.is_none()
                        && outcome::are_codes(values, self.is_other_reading(at));
                    (!is_code, &[Field::Reading])
                }
                Field::Outcome => (is_usual, &[]),
                Field::Time if values.are_dates() => (true, &[Field::TestedAt]),
                Field::Time => (is_usual && values.are_numbers(), &[Field::Dwell]),
                Field::Test => (
                    is_usual && !values.are_kinds(),
                    &[Field::Outcome, Field::TestedAt, Field::Date],
                ),
                Field::Model => (is_usual && values.never_repeat(), &[Field::Serial]),
                Field::HighLimit | Field::LowLimit if self.changes_with_tests(at) => {
                    self.measured.push(at);
                    (true, if is_usual { &[Field::Reading] } else { &[] })
                }
                Field::HighLimit | Field::LowLimit => {
                    (is_usual && (values.are_many_numbers() || !values.are_numbers()), &[])
                }
                _ => (is_usual && field.quantity().is_some() && !values.are_numbers(), &[]),
            };
            if wrong {
                let heading = &mut self.headings[at];
                heading.meaning = Meaning::Unknown;
                heading.by = By::Nothing;
                heading.may_be = may_be.to_vec();
                let why = match self.measured.last() == Some(&at) {
                    true => limits::MEASURED.to_owned(),
                    false => format!("its values are nothing of a {}", field.name()),
                };
                self.leave(at, why);
            }
        }
    }

    /// Takes columns for what their headers say.
    fn by_headers(&mut self) {
        let mut claims: BTreeMap<Field, Vec<usize>> = BTreeMap::new();
        for at in 0..self.names.len() {
            match self.headings[at].meaning.clone() {
                Meaning::Field(field, _) => claims.entry(field).or_default().push(at),
                Meaning::Factor(n) => {
                    let Ok(column) = u16::try_from(at) else { return };
                    let meaning = Meaning::Factor(n);
                    place(&mut self.chosen.columns, &meaning, column);
                    self.chosen.taken[at] = Taken { meaning, sure: Sure::Sure, why: None };
                }
                Meaning::Unknown => {}
            }
        }
        // A lone column of currents whose header asks for the kind of current holds the reading.
        if !claims.contains_key(&Field::Reading)
            && let Some(current) = claims.remove(&Field::Current)
        {
            claims.insert(Field::Reading, current);
        }
        for (field, claimed) in claims {
            let by = |at: usize| self.headings[at].by;
            let most = claimed.iter().map(|at| by(*at)).max().unwrap_or(By::Nothing);
            let best: Vec<usize> = claimed.iter().copied().filter(|at| by(*at) == most).collect();
            let (first, others) = (best[0], claimed.iter().copied().filter(|at| *at != best[0]));
            let others: Vec<usize> = others.collect();
            let usual = most == By::UsualWords;
            let why = usual.then(|| "as a rule a header like this means it".to_owned());
            self.take(first, field, if usual { Sure::Likely } else { Sure::Sure }, why);
            if others.is_empty() {
                continue;
            }
            let rivals: Vec<usize> =
                best.into_iter().filter(|at| !self.say_the_same(field, first, *at)).collect();
            let both = self.quoted(&claimed);
            if rivals.len() > 1 && DECIDING.contains(&field) {
                let name = &self.names[first];
                let is_named_alike = squeeze(name) == squeeze(&self.names[rivals[1]]);
                self.undecided(
                    format!("one column that is the {}", field.name()),
                    format!("{both}, which differ"),
                    if is_named_alike || most == By::Settings {
                        "rename one of them in the export, or name only one under [columns]"
                            .to_owned()
                    } else {
                        let each =
                            rivals.iter().map(|at| self.line(*at, field)).collect::<Vec<_>>();
                        format!("say which under [columns]: {}", each.join(" or "))
                    },
                );
            }
            if most < By::Settings {
                self.chosen.told.push(Note::new(format!(
                "columns {both} may all be {}: {:?} is taken; a line under [columns], {:?} = {:?}, takes another",
                field.name(),
                self.names[first],
                self.names[others[0]],
                field.name(),
            )));
            }
            for other in others {
                let why = format!("column {:?} is taken for {}", self.names[first], field.name());
                self.leave(other, why);
            }
        }
    }

    /// Whether two columns come to the same: equal numbers, or texts that stand for one another.
    fn say_the_same(&self, field: Field, one: usize, other: usize) -> bool {
        if one == other {
            return false;
        }
        let (a, b) = (&self.values[one], &self.values[other]);
        let rows = 0..a.cells.len();
        if field.quantity().is_some() || [Field::Outcome, Field::Count].contains(&field) {
            let unit = |at: usize| self.headings[at].unit;
            return rows.into_iter().all(|row| {
                a.cells[row] == b.cells[row]
                    || a.ma(row, unit(one)).is_some_and(|x| Some(x) == b.ma(row, unit(other)))
            });
        }
        let (mut to, mut from) = (HashMap::new(), HashMap::new());
        rows.into_iter().all(|row| {
            let (x, y) = (a.cells[row], b.cells[row]);
            *to.entry(x).or_insert(y) == y && *from.entry(y).or_insert(x) == x
        })
    }

    /// Takes columns whose headers leave a choice for what their values fit.
    fn by_headers_and_values(&mut self) {
        // Limits are known by the readings: once more when these are.
        for at in (0..self.names.len()).chain(0..self.names.len()) {
            let may_be = self.headings[at].may_be.clone();
            let is_taken = self.chosen.taken[at].meaning != Meaning::Unknown;
            let is_strange = self.headings[at].strange.is_some();
            let is_unit = self.values[at].are_units();
            if may_be.is_empty() || is_taken || is_strange || is_unit || self.values[at].filled == 0
            {
                continue;
            }
            let words: Vec<&str> = may_be.iter().map(|f| f.name()).collect();
            let fit: Vec<Field> =
                may_be.iter().copied().filter(|f| !self.has(*f) && self.fits(at, *f)).collect();
            match fit[..] {
                [field] => {
                    let why =
                        format!("its header may mean {}, its values decide", words.join(" or "));
                    if self.measured.contains(&at) {
                        self.chosen.told.push(Note::first(format!(
                            "column {} is taken for {}: {}",
                            self.quoted(&[at]),
                            field.name(),
                            limits::MEASURED,
                        )));
                    }
                    self.take(at, field, Sure::Likely, Some(why));
                }
                [] if self.chosen.taken[at].why.is_some() => {}
                _ => self.leave(
                    at,
                    format!("it may be {}: say which under [columns]", words.join(" or ")),
                ),
            }
        }
    }

    /// Refuses a table whose only column of a number that decides is in a unit that cannot be read.
    fn strange_units(&mut self) {
        for at in 0..self.names.len() {
            let Some(strange) = self.headings[at].strange.clone() else { continue };
            self.leave(at, format!("{strange:?} in brackets is neither a unit nor a known word"));
            let numbers = self.headings[at].may_be.iter().filter(|f| f.quantity().is_some());
            let numbers: Vec<Field> = numbers.filter(|f| DECIDING.contains(f)).copied().collect();
            if let [field, ..] = numbers[..]
                && !self.has(field)
                && self.values[at].are_numbers()
            {
                self.undecided(
                    format!("a unit, or known words, in the brackets of {:?}", self.names[at]),
                    format!("{strange:?}"),
                    format!(
                        "say which it is under [columns]: {:?} = {:?} where its numbers are in the unit of that name, another unit behind the name as in \"reading_ua\"",
                        self.names[at],
                        field.name()
                    ),
                );
            }
        }
    }

    /// Whether values can be those of a field that the header leaves open.
    fn fits(&self, at: usize, field: Field) -> bool {
        let values = &self.values[at];
        let is_text = !values.are_numbers() && !values.are_dates() && !values.are_clocks();
        match field {
            Field::TestedAt => values.are_stamps(),
            Field::Date => values.are_dates() && !values.are_stamps() && !self.has(Field::TestedAt),
            Field::Time => values.are_clocks() && !values.are_dates(),
            Field::Dwell => {
                values.are_numbers() && !values.are_dates() && !values.are_many_numbers()
            }
            Field::Outcome => values.are_outcomes(),
            Field::Test => values.are_kinds(),
            Field::Reading => {
                let unit = self.headings[at].unit.unwrap_or(Quantity::Current(-3));
                values.are_numbers()
                    && values.distinct > 1
                    && matches!(unit, Quantity::Current(_))
                    && !values.are_dates()
            }
            Field::HighLimit => self.beside_readings(at).is_some_and(|b| b.below > b.beyond),
            Field::LowLimit => self.beside_readings(at).is_some_and(|b| b.beyond > b.below),
            Field::Serial => values.never_repeat() && !values.are_dates(),
            Field::Model => values.repeat() && !values.are_dates() && !values.are_clocks(),
            Field::Lot | Field::Instrument => values.repeat() && self.has(Field::Model),
            Field::Reason => is_text && self.has(Field::Outcome),
            Field::Remark => is_text && self.has(Field::Model),
            _ => false,
        }
    }

    /// Looks among the values of columns that no header names for what is missing.
    fn by_values(&mut self) {
        if !self.has(Field::TestedAt) && !self.has(Field::Date) {
            let dates = self.those(|v| v.are_dates());
            let stamps = dates.first().is_some_and(|at| self.values[*at].are_stamps());
            let field = if stamps { Field::TestedAt } else { Field::Date };
            self.only(field, &dates, "dates");
            if dates.is_empty() {
                let seconds = self.those(|v| v.are_seconds_since_1970());
                self.only(Field::TestedAt, &seconds, "seconds since 1970");
            }
        }
        if self.has(Field::Date) && !self.has(Field::TestedAt) && !self.has(Field::Time) {
            let (at, _) = self.column(Field::Date).unzip();
            if at.is_some_and(|at| !self.values[at].are_stamps()) {
                let clocks = self.those(|v| v.are_clocks() && !v.are_dates());
                self.only(Field::Time, &clocks, "times of day");
            }
        }
        self.outcome();
        if !self.has(Field::Test) {
            // `Mode` names much else, unless its values are kinds of test.
            let kinds = self.free_columns(|v| {
                let in_every_row = v.filled * 10 >= v.cells.len() * 9;
                v.are_kinds() && v.filled >= 3 && v.repeat() && in_every_row && !v.are_outcomes()
            });
            let own = |at: &usize| !self.headings[*at].is_other || self.values[*at].distinct > 1;
            let kinds: Vec<usize> = kinds.into_iter().filter(own).collect();
            self.only(Field::Test, &kinds, "kinds of test");
        }
        if !self.has(Field::Serial) {
            let serials = self.those(|v| v.are_serials());
            self.only(Field::Serial, &serials, "texts that do not repeat");
        }
        if !self.has(Field::Reading) {
            self.reading_by_values();
        }
        if !self.has(Field::HighLimit) && !self.headers.has_model_limits {
            self.limit_by_values();
        }
    }

    /// Columns that no header names whose values fit; one that says it is another matter may only be an outcome.
    fn those(&self, fit: impl Fn(&Values<'_>) -> bool) -> Vec<usize> {
        let own = self.free_columns(fit);
        own.into_iter().filter(|at| !self.headings[*at].is_other).collect()
    }

    /// Takes the only column that fits, and tells it; of several none.
    fn only(&mut self, field: Field, fit: &[usize], what: &str) {
        let name = field.name();
        match fit {
            [] => {}
            [at] => {
                let why = format!("by its values alone, which are {what}");
                self.take(*at, field, Sure::Likely, Some(why));
                self.chosen.told.push(Note::first(format!(
                    "column {} is taken for {name} by its values, which are {what}: say so, or what it is, under [columns]",
                    self.quoted(fit),
                )));
            }
            several => {
                self.chosen.told.push(Note::first(format!(
                    "columns {} may each be {name}, as they hold {what}; none is used: say which under [columns], \"HEADER\" = {name:?}",
                    self.quoted(several),
                )));
            }
        }
    }

    /// The reading is the column of many different numbers that lie below the limit.
    fn reading_by_values(&mut self) {
        let Some((limit, limit_unit)) = self.column(Field::HighLimit) else { return };
        let fit: Vec<usize> = self
            .those(|v| v.are_numbers() && v.distinct > 5 && !v.are_dates())
            .into_iter()
            .filter(|at| {
                let unit = self.headings[*at].unit;
                let both = |row: usize| {
                    self.values[*at].ma(row, unit).zip(self.values[limit].ma(row, limit_unit))
                };
                let pairs: Vec<_> = (0..self.values[*at].cells.len()).filter_map(both).collect();
                let below = pairs
                    .iter()
                    .filter(|(x, limit)| x < limit && *x > limit / limits::LIMIT_WITHIN);
                !pairs.is_empty() && below.count() * 10 >= pairs.len() * 8
            })
            .collect();
        self.only(Field::Reading, &fit, "numbers below the limit");
    }
}
