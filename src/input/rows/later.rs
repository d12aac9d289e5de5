//! What columns that are not used say further down: those that always said the same where the layout was found.
//!
//! A failure there is a failed unit that counts as passed, another kind of test a second test of each unit: the file
//! was misread, and whoever judges it is told (`records::Later`).

use hashbrown::HashMap;

use super::Parser;
use crate::input::cell::Cell;
use crate::input::columns::Field;
use crate::input::kinds::test_kind;
use crate::input::layout::{Quiet, is_code, is_often_something_else};
use crate::input::outcomes::Said;
use crate::records::{Later, LaterSays, Outcome, Record};

/// Different values of a column, in one piece of a table, from which on it holds texts and no words of a kind.
const MOST_WORDS: usize = 64;

/// What a parser knows of the columns that it watches.
#[derive(Default)]
pub(super) struct Watched {
    /// What a value of a column says, by place among those watched.
    said: Vec<HashMap<String, Option<LaterSays>>>,
    /// What was found, by place in the batch.
    found: HashMap<usize, usize>,
}

impl Parser<'_> {
    /// Looks at what a row says in the columns that were quiet; its tests are those of the batch from `first` on.
    pub(super) fn look_later<'c>(
        &mut self,
        line: u32,
        first: usize,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) {
        let layout = self.layout;
        for (n, quiet) in layout.quiet.iter().enumerate() {
            let shown;
            let text = match cell(usize::from(quiet.column)) {
                Cell::Empty => continue,
                Cell::Text(text) => text.trim(),
                other => {
                    shown = other.shown();
                    &*shown
                }
            };
            if text == quiet.value || text.is_empty() {
                continue;
            }
            let Some(says) = self.says_later(n, quiet, text) else { continue };
            let tests = &self.batch.records[first..];
            let all_passed = |tests: &[Record]| tests.iter().all(|t| t.outcome == Outcome::Pass);
            if says == LaterSays::Failure && (tests.is_empty() || !all_passed(tests)) {
                continue;
            }
            match self.watched.found.get(&n) {
                Some(at) => self.batch.later[*at].rows += 1,
                None => {
                    let column = &layout.names[usize::from(quiet.column)];
                    let later = Later {
                        source: self.source,
                        column: self.shared(column),
                        assumed: self.shared(&quiet.value),
                        found: self.shared(text),
                        line,
                        rows: 1,
                        says,
                    };
                    self.watched.found.insert(n, self.batch.later.len());
                    self.batch.later.push(later);
                }
            }
        }
    }

    fn says_later(&mut self, n: usize, quiet: &Quiet, text: &str) -> Option<LaterSays> {
        self.watched.said.resize_with(self.layout.quiet.len(), HashMap::new);
        if let Some(known) = self.watched.said[n].get(text) {
            return *known;
        }
        if self.watched.said[n].len() >= MOST_WORDS {
            return None;
        }
        let says = self.meant_later(quiet, text);
        self.watched.said[n].insert(text.to_owned(), says);
        says
    }

    fn meant_later(&self, quiet: &Quiet, text: &str) -> Option<LaterSays> {
        // A failure of another matter is none of a test whose outcome is said.
        let is_word = !(is_code(text)
            || is_often_something_else(text)
            || quiet.is_other && self.layout.says_outcomes());
        let said = self.words.outcomes.said(text).filter(|_| is_word);
        if said.is_some_and(|said| said != Said::Class(Outcome::Pass)) {
            return Some(LaterSays::Failure);
        }
        let columns = &self.layout.groups[0].columns;
        let is_told =
            |field| columns.get(field).is_some() || self.layout.fixed.contains_key(&field);
        let kind = |word: &str| test_kind(word, self.words.default_test);
        if !is_told(Field::Test)
            && let (Some(one), Some(other)) = (kind(&quiet.value), kind(text))
            && one != other
        {
            return Some(LaterSays::Kind);
        }
        let are_codes = (quiet.value.is_empty() || is_code(&quiet.value)) && is_code(text);
        (quiet.may_be_code && are_codes && !self.layout.says_outcomes()).then_some(LaterSays::Code)
    }
}
