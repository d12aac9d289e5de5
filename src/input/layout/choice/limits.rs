//! Which column is the limit, where its header does not say so alone: by how the readings lie beside it.
//!
//! A limit is set: it holds for many tests. A column that changes with nearly every test of one model is measured,
//! whatever its header says: `Max leakage` is the highest reading of a test as often as it is the limit, and taken for
//! it every unit would lie just below its own. Of two columns that only a number tells apart neither is taken.

use std::collections::HashMap;

use super::Choice;
use crate::input::columns::{Field, Meaning, squeeze};
use crate::input::layout::partial::place_name;
use crate::input::layout::values::ENOUGH;
use crate::input::outcomes::Said;
use crate::input::taken::Sure;
use crate::note::Note;
use crate::records::{Outcome, Quantity};

/// A limit lies within so many times the typical reading.
pub(super) const LIMIT_WITHIN: f64 = 200.0;
/// Why a column is no limit.
pub(super) const MEASURED: &str =
    "it changes with nearly every test, as what is measured does and a limit does not";
/// Tests that follow one of the same kind, different values, and changes in a hundred from which on a column is measured.
const FOLLOWING: usize = 8;
const DIFFERENT: usize = 5;
const CHANGES: usize = 60;
/// What may change the limit of a test.
const SETUP: [Field; 8] = [
    Field::Model,
    Field::Station,
    Field::Test,
    Field::TestPoint,
    Field::Step,
    Field::Current,
    Field::AppliedV,
    Field::Frequency,
];

/// Readings beside what may be a limit.
pub(super) struct Beside {
    /// Below it, and not so far that it is none.
    pub(super) below: usize,
    pub(super) beyond: usize,
    passed_beyond: usize,
}

impl Choice<'_> {
    /// Whether the numbers of a column change with nearly every test of one kind.
    pub(super) fn changes_with_tests(&self, at: usize) -> bool {
        let tells = |n: &usize| {
            let heading = &self.headings[*n];
            let named = matches!(heading.meaning, Meaning::Field(f, _) if SETUP.contains(&f));
            *n != at && (named || heading.may_be.contains(&Field::Model))
        };
        let keys: Vec<usize> = (0..self.names.len()).filter(tells).collect();
        let values = &self.values[at];
        if values.distinct < DIFFERENT || (keys.is_empty() && !self.has(Field::Model)) {
            return false;
        }
        let mut before: HashMap<Vec<&str>, &str> = HashMap::new();
        let (mut following, mut changes) = (0, 0);
        for (row, cell) in values.cells.iter().enumerate().filter(|(_, c)| !c.is_empty()) {
            let key = keys.iter().map(|n| self.values[*n].cells[row]).collect();
            if let Some(last) = before.insert(key, cell) {
                following += 1;
                changes += usize::from(last != *cell);
            }
        }
        following >= FOLLOWING && changes * 100 > following * CHANGES
    }

    /// Other columns of numbers whose names differ from this one's by a number alone.
    fn twins(&self, at: usize) -> Vec<usize> {
        if self.names[at] == place_name(at + 1) {
            return Vec::new();
        }
        let stem = |n: usize| squeeze(&self.names[n]).replace(|c: char| c.is_ascii_digit(), "");
        let is_twin = |n: &usize| {
            *n != at && stem(*n) == stem(at) && self.is_free(*n) && self.values[*n].are_numbers()
        };
        (0..self.names.len()).filter(is_twin).collect()
    }

    /// The limit is a column of few different numbers above the readings of all that passed; where no test that was
    /// stopped there shows it, it is only told.
    pub(super) fn limit_by_values(&mut self) {
        let outcome = self.column(Field::Outcome).is_some();
        let (mut shown, mut likely) = (Vec::new(), Vec::new());
        for at in self.those(|v| v.filled >= ENOUGH && !v.are_dates()) {
            let Some(beside) = self.beside_readings(at) else { continue };
            let Beside { below, beyond, passed_beyond } = beside;
            let above_all = below > 0 && passed_beyond * 100 <= below && beyond * 2 < below;
            if above_all && (self.headings[at].unit.is_some() || (outcome && beyond > 0)) {
                shown.push(at);
            } else if above_all {
                likely.push(at);
            }
        }
        let fit = if shown.is_empty() { &likely } else { &shown };
        if let [at] = fit[..]
            && let twins = self.twins(at)
            && let [twin, ..] = twins[..]
        {
            let both = self.quoted(&[at].into_iter().chain(twins).collect::<Vec<_>>());
            self.undecided(
                "one high limit of each reading".to_owned(),
                both,
                format!(
                    "say which is in force under [columns], such as {}, and what the other is: {}, or {:?} = \"ignored\"",
                    self.line(at, Field::HighLimit),
                    self.line(twin, Field::LowLimit),
                    self.names[twin],
                ),
            );
            return;
        }
        if fit.is_empty()
            && let Some(at) =
                self.measured.iter().find(|at| self.chosen.taken[**at].sure == Sure::NotUsed)
        {
            self.chosen.told.push(Note::first(format!(
                "column {} is not used as the limit, and no other is: {MEASURED}; if it is, say {} under [columns]",
                self.quoted(&[*at]),
                self.line(*at, Field::HighLimit),
            )));
            return;
        }
        if let ([at], true) = (&fit[..], shown.is_empty()) {
            self.chosen.told.push(Note::first(format!(
                "column {} may be the limit, as its few numbers lie above the readings; it is not used: if it is, say {:?} = \"high_limit_ma\" under [columns]",
                self.quoted(&[*at]),
                self.names[*at],
            )));
        } else {
            let fit = fit.clone();
            self.only(Field::HighLimit, &fit, "few numbers above the readings of all that passed");
        }
    }

    /// How the readings lie beside the few numbers of a column; `None` where it holds no currents, or many.
    pub(super) fn beside_readings(&self, at: usize) -> Option<Beside> {
        let (reading, unit) = self.column(Field::Reading)?;
        let own = self.headings[at].unit;
        let is_current = own.is_none_or(|u| matches!(u, Quantity::Current(_)));
        if !is_current || !self.values[at].are_few_numbers() || self.changes_with_tests(at) {
            return None;
        }
        let outcome = self.column(Field::Outcome).map(|(at, _)| at);
        let passed = |row: usize| {
            let word = outcome.map(|at| self.values[at].cells[row]);
            let said = word.and_then(|word| self.headers.outcomes.as_ref()?.said(word));
            said.is_none_or(|s| s == Said::Class(Outcome::Pass))
        };
        let mut beside = Beside { below: 0, beyond: 0, passed_beyond: 0 };
        for row in 0..self.values[at].cells.len() {
            let both = self.values[reading].ma(row, unit).zip(self.values[at].ma(row, own));
            let Some((x, limit)) = both else { continue };
            beside.below += usize::from(x < limit && limit < x.max(1e-6) * LIMIT_WITHIN);
            beside.beyond += usize::from(x >= limit);
            beside.passed_beyond += usize::from(x >= limit && passed(row));
        }
        Some(beside)
    }
}
