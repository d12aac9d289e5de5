//! Which test of a row failed, where the row says only once for all of them that its unit did.
//!
//! The failure is booked on the test that shows it: whose reading lies beyond its limit; else the first that has no
//! reading where an earlier one has; else, where the word is of a breakdown or an arc, the only one that withstands a
//! voltage. Tests before it passed, for the sequence went on to it; of those after it nobody knows. Where no test shows
//! it, all are unreadable with the outcome known: taken as passes, or left out without it, failures would vanish. A
//! test whose columns are all blank was not made and is no test without a reading: the sequence may have stopped on the
//! test before it.

use super::{Parser, Wrong};
use crate::input::cell::Cell;
use crate::input::columns::Field;
use crate::input::layout::Group;
use crate::input::outcomes::Said;
use crate::records::{Marks, Outcome, Record, Shown, TestKind};

/// What a test shows beside its record, for finding the one that failed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Made {
    pub(super) kind: TestKind,
    /// Whether its reading lies beyond one of its limits.
    pub(super) is_beyond: bool,
}

/// One test of a row that says its outcome once for several.
struct Tested {
    /// Whether it has an outcome of its own.
    is_told: bool,
    said: Option<Said>,
    made: Option<Made>,
    result: Result<Record, Wrong>,
}

impl Tested {
    /// Whether something was read, or is not looked at here.
    fn has_reading(&self) -> bool {
        let shows = |r: &Record| r.shown != Shown::Nothing || r.marks.has(Marks::OTHER_TEST);
        self.result.as_ref().is_ok_and(shows)
    }

    /// Whether its own columns say that it failed.
    fn shows_failure(&self) -> bool {
        match &self.result {
            Ok(record) if self.is_told => record.outcome.is_failure(),
            Ok(_) => self.made.is_some_and(|made| made.is_beyond),
            Err(_) => false,
        }
    }
}

fn says_failure(said: Said) -> bool {
    match said {
        Said::Fail => true,
        Said::Class(outcome) => outcome.is_failure(),
    }
}

impl Parser<'_> {
    /// Reads the tests of a row that has one outcome for several of them.
    pub(super) fn tests_of_one_outcome<'c>(
        &mut self,
        line: u32,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) {
        let layout = self.layout;
        let is_blank = |group: &Group| group.is_blank(|c| cell(c).is_empty());
        let mut tests = Vec::new();
        for (part, group) in (0..=u8::MAX).zip(&layout.groups).filter(|(_, g)| !is_blank(g)) {
            (self.row_said, self.row_made) = (None, None);
            let result = self.test(line, part, group, cell);
            let outcome = group.columns.get(Field::Outcome);
            tests.push(Tested {
                is_told: outcome.is_some_and(|(column, _)| group.own.contains(&column)),
                said: self.row_said.take(),
                made: self.row_made.take(),
                result,
            });
        }
        let mut shared = tests.iter().filter(|t| !t.is_told).filter_map(|t| t.said);
        if let Some(said) = shared.find(|said| says_failure(*said)) {
            book(&mut tests, said);
        }
        for test in tests {
            match test.result {
                Ok(record) => self.batch.records.push(record),
                Err(wrong) => {
                    self.row_said = test.said;
                    self.unreadable(line, &wrong.column, &wrong.expected, &wrong.found);
                }
            }
        }
    }
}

/// Books a failure that a row says of its unit on the tests that show it.
fn book(tests: &mut [Tested], said: Said) {
    let failed = those_that_failed(tests, said);
    let first = failed.first().copied();
    for (n, test) in tests.iter_mut().enumerate().filter(|(_, t)| !t.is_told) {
        let passed = first.is_some_and(|first| n < first) && test.has_reading();
        let Ok(record) = &mut test.result else { continue };
        if failed.contains(&n) {
            continue;
        }
        if passed {
            record.outcome = Outcome::Pass;
            continue;
        }
        // Where another test took the failure, nothing is known of this one.
        test.said = test.said.filter(|_| first.is_none());
        test.result = Err(Wrong {
            column: Field::Outcome.name().to_owned(),
            expected: "an outcome for each test of the row".to_owned(),
            found: "one for all, a failure".to_owned(),
        });
    }
}

/// The tests that show the failure, in their order; none where nothing does.
fn those_that_failed(tests: &[Tested], said: Said) -> Vec<usize> {
    let all = || tests.iter().enumerate();
    let shown: Vec<usize> = all().filter(|(_, t)| t.shows_failure()).map(|(n, _)| n).collect();
    if !shown.is_empty() {
        return shown;
    }
    let is_without = |(n, t): &(usize, &Tested)| {
        !t.is_told
            && t.result.is_ok()
            && !t.has_reading()
            && tests[..*n].iter().any(Tested::has_reading)
    };
    if let Some((n, _)) = all().find(is_without) {
        return vec![n];
    }
    let withstands = |t: &Tested| {
        t.made.is_some_and(|m| [TestKind::AcWithstand, TestKind::DcWithstand].contains(&m.kind))
    };
    let withstand: Vec<usize> = all().filter(|(_, t)| withstands(t)).map(|(n, _)| n).collect();
    match (said, &withstand[..]) {
        (Said::Class(Outcome::Breakdown | Outcome::Arc), [one]) if !tests[*one].is_told => {
            withstand
        }
        _ => Vec::new(),
    }
}
