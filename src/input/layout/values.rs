//! What the values of a column look like: dates, outcome words, kinds of test, numbers, texts that repeat or not.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::config::DecimalSign;
use crate::input::columns::{Field, Headers, squeeze};
use crate::input::dates::{clock, moment};
use crate::input::kinds::test_kind;
use crate::input::numbers::{SignsSeen, number};
use crate::input::outcomes::Said;
use crate::records::{Outcome, Quantity, TestKind};

/// Outcome words that name much else too: a column of these alone need not be the outcome.
const OFTEN_SOMETHING_ELSE: &[&str] = &[
    "true",
    "false",
    "high",
    "low",
    "over",
    "under",
    "short",
    "stop",
    "stopped",
    "good",
    "bad",
    "io",
    "ko",
    "go",
    "p",
    "f",
    "red",
    "positivo",
    "negativo",
    "negativ",
    "pozytywny",
    "negatywny",
    "pozytywna",
    "negatywna",
    "olumlu",
    "olumsuz",
];
/// Digits from which on a number that never repeats may be a serial and not the count of a row.
const SERIAL_DIGITS: usize = 6;
/// Different outcome words, or words for kinds of test, of one table.
const MOST_WORDS: usize = 50;
/// Values from which on it can be said that they never repeat, or that they do.
pub(super) const ENOUGH: usize = 20;

/// Seconds since 1970 from the year 2000 to 2050, and what lies at least between two tests as a rule.
const SECONDS: std::ops::Range<f64> = 946_684_800.0..2_524_608_000.0;
const SHORTEST_TEST_S: f64 = 5.0;
/// What may be counted since 1970: seconds, thousandths, millionths and milliardths of one.
const PARTS_OF_A_SECOND: [f64; 4] = [1.0, 1e3, 1e6, 1e9];

/// Characters of the shortest date, `1.3.26`.
const SHORTEST_DATE: usize = 6;

/// The values of one column in the rows looked at.
pub(super) struct Values<'a> {
    /// Of each row; empty where nothing stands.
    pub(super) cells: Vec<&'a str>,
    /// Rows with a value.
    pub(super) filled: usize,
    /// Different values.
    pub(super) distinct: usize,
    dates: usize,
    stamps: usize,
    clocks: usize,
    numbers: usize,
    outcomes: usize,
    /// Whether one of its outcome words is used for nothing else.
    is_plainly_outcome: bool,
    kinds: usize,
    other_kinds: usize,
    units: usize,
    sign: DecimalSign,
}

impl<'a> Values<'a> {
    pub(super) fn of(cells: Vec<&'a str>, headers: &Headers) -> Self {
        let filled = || cells.iter().copied().filter(|c| !c.is_empty());
        let mut times: HashMap<&str, usize> = HashMap::new();
        for cell in filled() {
            *times.entry(cell).or_default() += 1;
        }
        let mut signs = SignsSeen::default();
        filled().for_each(|cell| signs.look(0, None, false, cell));
        let sign = signs.decide().ok().flatten().unwrap_or(DecimalSign::Point);
        let mut all = Self {
            filled: filled().count(),
            distinct: times.len(),
            dates: 0,
            stamps: 0,
            clocks: 0,
            numbers: 0,
            outcomes: 0,
            is_plainly_outcome: false,
            kinds: 0,
            other_kinds: 0,
            units: 0,
            sign,
            cells,
        };
        // Where so many differ they are no words of a kind, and asking each for its meaning takes its time.
        let words = times.len() <= MOST_WORDS;
        for (cell, n) in times {
            all.count(cell, n, headers, words);
        }
        all
    }

    fn count(&mut self, cell: &str, times: usize, headers: &Headers, words: bool) {
        let mapped = |field: Field| -> Option<&str> {
            let words = headers.values.get(field.name())?;
            words.get(&squeeze(cell)).map(String::as_str)
        };
        // Digits alone may be a serial as well.
        let is_bare = cell.bytes().all(|b| b.is_ascii_digit());
        let may_be_date = !is_bare && cell.len() >= SHORTEST_DATE;
        if let Some(moment) = may_be_date.then(|| moment(cell)).flatten() {
            self.dates += times;
            self.stamps += times * usize::from(moment.second.is_some());
        } else if clock(cell).is_some() {
            self.clocks += times;
        }
        self.units += times * usize::from(Quantity::from_unit(cell).is_some());
        let is_number = number(cell, self.sign).is_some();
        self.numbers += times * usize::from(is_number);
        let word = mapped(Field::Outcome).unwrap_or(cell);
        // A number is an outcome only where the settings say so.
        if !words || (is_number && !headers.outcome_words.contains(&squeeze(cell))) {
            return;
        }
        if let Some(said) = headers.outcomes.as_ref().and_then(|o| o.said(word)) {
            self.outcomes += times;
            let whole = matches!(said, Said::Fail | Said::Class(Outcome::Pass));
            self.is_plainly_outcome |= whole && !is_number && !is_often_something_else(word);
        }
        let word = mapped(Field::Test).unwrap_or(cell);
        if let Some(kind) = test_kind(word, TestKind::AcWithstand) {
            self.kinds += times;
            self.other_kinds += times * usize::from(kind == TestKind::Other);
        }
    }

    fn mostly(&self, n: usize) -> bool {
        n * 10 >= self.filled * 9 && n > 0
    }

    /// The different values with how often each comes, a blank among them, the most frequent first.
    pub(super) fn different(&self) -> Vec<(&'a str, usize)> {
        let mut times: BTreeMap<&str, usize> = BTreeMap::new();
        for cell in &self.cells {
            *times.entry(cell).or_default() += 1;
        }
        let mut all: Vec<_> = times.into_iter().collect();
        all.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        all
    }

    /// Whether there are numbers among them that are not whole.
    pub(super) fn have_fractions(&self) -> bool {
        let is_fraction = |c: &&str| c.contains(['.', ',']) && number(c, self.sign).is_some();
        self.cells.iter().any(is_fraction)
    }

    /// Whether nearly all are outcome words.
    pub(super) fn are_outcomes(&self) -> bool {
        self.mostly(self.outcomes)
    }

    /// Whether they are outcome words that are used for nothing else.
    pub(super) fn are_plainly_outcomes(&self) -> bool {
        self.are_outcomes() && self.is_plainly_outcome
    }

    /// Whether nearly all are words of kinds of test, and not all of them of other kinds than those judged.
    pub(super) fn are_kinds(&self) -> bool {
        self.mostly(self.kinds) && self.other_kinds < self.kinds
    }

    pub(super) fn are_dates(&self) -> bool {
        self.mostly(self.dates)
    }

    pub(super) fn are_stamps(&self) -> bool {
        self.mostly(self.stamps)
    }

    pub(super) fn are_clocks(&self) -> bool {
        self.mostly(self.clocks)
    }

    pub(super) fn are_numbers(&self) -> bool {
        self.mostly(self.numbers)
    }

    /// Whether nearly all are units, such as those of the numbers of another column.
    pub(super) fn are_units(&self) -> bool {
        self.mostly(self.units)
    }

    /// Whether they are seconds since 1970 of this century, or parts of them, one after the other or the newest first:
    /// numbers of a row count on by one.
    pub(super) fn are_seconds_since_1970(&self) -> bool {
        let seconds: Vec<f64> = self.cells.iter().filter_map(|c| c.parse().ok()).collect();
        let Some(parts) = PARTS_OF_A_SECOND
            .into_iter()
            .find(|parts| seconds.iter().all(|s| SECONDS.contains(&(s / parts))))
        else {
            return false;
        };
        let mut steps: Vec<f64> = seconds.windows(2).map(|two| (two[1] - two[0]) / parts).collect();
        let on = steps.iter().filter(|step| **step >= 0.0).count();
        let back = steps.iter().filter(|step| **step <= 0.0).count();
        steps.iter_mut().for_each(|step| *step = step.abs());
        steps.sort_unstable_by(f64::total_cmp);
        seconds.len() >= ENOUGH
            && seconds.len() == self.filled
            && on.max(back) * 100 >= steps.len() * 95
            && steps[steps.len() / 2] >= SHORTEST_TEST_S
    }

    /// Whether they repeat hardly ever and are written alike, as serials are; counts of rows and numbers with a
    /// decimal sign are none.
    pub(super) fn are_serials(&self) -> bool {
        let filled = || self.cells.iter().filter(|c| !c.is_empty());
        let is_long = |cell: &&&str| {
            cell.chars().any(char::is_alphabetic)
                || (cell.len() >= SERIAL_DIGITS && cell.bytes().all(|b| b.is_ascii_digit()))
        };
        let shapes: HashSet<String> = filled().map(|c| shape(c)).collect();
        self.filled >= ENOUGH
            && self.distinct * 10 >= self.filled * 9
            && !self.are_dates()
            && !self.are_clocks()
            && filled().filter(is_long).count() == self.filled
            && shapes.len() * 5 <= self.filled
    }

    /// Whether they repeat as names of models, stations and lots do.
    pub(super) fn repeat(&self) -> bool {
        self.filled >= 4 && self.distinct * 4 <= self.filled
    }

    /// Whether hardly one comes twice.
    pub(super) fn never_repeat(&self) -> bool {
        self.filled >= ENOUGH && self.distinct * 10 >= self.filled * 9
    }

    /// Whether they are so few different numbers as limits are.
    pub(super) fn are_few_numbers(&self) -> bool {
        self.are_numbers() && (self.distinct <= 5 || self.distinct * 10 <= self.filled)
    }

    /// Whether they are more different numbers than limits are.
    pub(super) fn are_many_numbers(&self) -> bool {
        self.filled >= ENOUGH && self.distinct * 3 > self.filled
    }

    /// The number of a row in mA, with the unit it carries or else that of the header; `None` where it is no current.
    pub(super) fn ma(&self, row: usize, unit: Option<Quantity>) -> Option<f64> {
        let written = number(self.cells[row], self.sign)?;
        match written.unit.or(unit).unwrap_or(Quantity::Current(-3)) {
            Quantity::Current(exponent) => {
                let mut number = written.number;
                number.exponent = number.exponent.checked_add(exponent + 3)?;
                Some(number.to_f64())
            }
            _ => None,
        }
    }
}

/// Whether an outcome word names much else too.
pub(in crate::input) fn is_often_something_else(word: &str) -> bool {
    OFTEN_SOMETHING_ELSE.contains(&&*squeeze(word))
}

/// A text with each letter as `a` and each digit as `0`.
fn shape(text: &str) -> String {
    let class = |c: char| match c {
        c if c.is_ascii_digit() => '0',
        c if c.is_alphabetic() => 'a',
        c => c,
    };
    text.chars().map(class).collect()
}
