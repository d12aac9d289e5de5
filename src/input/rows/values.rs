//! What one cell says, read as what its column means: a time, a text, a kind of test, an outcome, a number.

use super::{OUTCOME_EXPECTED, Parser, Wrong};
use crate::config::DecimalSign;
use crate::input::cell::{Cell, tidy};
use crate::input::columns::{Field, squeeze};
use crate::input::dates::{clock_and_zone, plain_date};
use crate::input::kinds::test_kind;
use crate::input::layout::{Columns, Group};
use crate::input::numbers::{Written, number};
use crate::input::outcomes::{Said, is_dashes, is_no_limit};
use crate::records::{Current, Decimal, Outcome, Quantity, TestKind};

impl Parser<'_> {
    pub(super) fn wrong(
        &self,
        columns: &Columns,
        field: Field,
        expected: &str,
        found: &str,
    ) -> Wrong {
        Wrong {
            column: columns
                .get(field)
                .and_then(|(c, _)| self.layout.names.get(usize::from(c)).cloned())
                .unwrap_or_else(|| field.name().to_owned()),
            expected: expected.to_owned(),
            found: if found.is_empty() { "nothing".to_owned() } else { found.to_owned() },
        }
    }

    pub(super) fn time<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
    ) -> std::result::Result<i64, Wrong> {
        let (field, value) = match get(Field::TestedAt) {
            Cell::Empty => (Field::Date, get(Field::Date)),
            found => (Field::TestedAt, found),
        };
        let value = if value.is_empty() {
            self.layout.fixed.get(&field).map_or(Cell::Empty, |t| Cell::from_text(t))
        } else {
            value
        };
        let dates = self.layout.dates;
        let (mut day_s, mut time_s) = match value {
            Cell::Stamp(seconds) => {
                (seconds - seconds.rem_euclid(86_400), Some(seconds.rem_euclid(86_400)))
            }
            Cell::Text(text) => match self.usual_moment(text) {
                Some(found) => found,
                None => dates
                    .read(text)
                    .map_err(|what| self.wrong(columns, field, what.expected(), text))?,
            },
            // `20261129` is one too.
            Cell::Number(_) => dates
                .read(&value.shown())
                .map_err(|what| self.wrong(columns, field, what.expected(), &value.shown()))?,
            other => return Err(self.wrong(columns, field, "a date", &other.shown())),
        };
        match get(Field::Time) {
            Cell::Empty => {}
            Cell::Clock(s) => time_s = Some(s),
            Cell::Stamp(s) => time_s = Some(s.rem_euclid(86_400)),
            Cell::Number(share) if (0.0..1.0).contains(&share) => {
                #[expect(clippy::cast_possible_truncation, reason = "below 86 400")]
                let second = (share * 86_400.0).round() as i64;
                time_s = Some(second.min(86_399));
            }
            cell @ (Cell::Text(_) | Cell::Number(_)) => {
                let text = cell.shown();
                let (second, shift) = dates
                    .time(&text)
                    .ok_or_else(|| self.wrong(columns, Field::Time, "a time of day", &text))?;
                day_s += shift;
                time_s = Some(second);
            }
            other => return Err(self.wrong(columns, Field::Time, "a time of day", &other.shown())),
        }
        Ok(day_s + time_s.unwrap_or(12 * 3600))
    }

    /// A date of digits with a usual time, as nearly all files hold them: the day of a row is mostly that of the row
    /// before. `None` where it needs a closer look.
    fn usual_moment(&mut self, text: &str) -> Option<(i64, Option<i64>)> {
        let dates = self.layout.dates;
        if dates.counts.is_some() {
            return None;
        }
        // A date with a sign behind it ends there, whatever time follows.
        let same = text.strip_prefix(&*self.date.0).filter(|rest| {
            self.date.0.ends_with(['T', ' ', ','])
                && rest.as_bytes().first().is_some_and(u8::is_ascii_digit)
        });
        let rest = match same {
            Some(rest) => rest,
            None => {
                let (date, rest) = plain_date(text)?;
                let key = &text[..text.len() - rest.len()];
                if self.date.0 != key {
                    self.date = (key.to_owned(), date.day(dates.order));
                }
                rest
            }
        };
        let day_s = self.date.1? * 86_400;
        if rest.is_empty() {
            return Some((day_s, None));
        }
        let (second, zone) = clock_and_zone(rest)?;
        let at = day_s + second + dates.shift(zone).ok()?;
        let second = at.rem_euclid(86_400);
        Some((at - second, Some(second)))
    }

    /// The text of a cell after the config's `[values]`, or the table's fixed value.
    pub(super) fn words_of(&self, field: Field, cell: Cell<'_>) -> String {
        let shown = match cell {
            Cell::Empty => self.layout.fixed.get(&field).cloned().unwrap_or_default(),
            Cell::Text(t) => tidy(t).into_owned(),
            other => other.shown(),
        };
        match self.words.values.get(&field).and_then(|t| t.get(&squeeze(&shown))) {
            Some(mapped) => mapped.met().clone(),
            None => shown,
        }
    }

    /// The cell, unless it is broken: a formula error is no serial, no remark and no lot.
    pub(super) fn sound<'c>(
        &self,
        columns: &Columns,
        field: Field,
        cell: Cell<'c>,
    ) -> std::result::Result<Cell<'c>, Wrong> {
        match cell {
            Cell::Broken(found) => Err(self.wrong(columns, field, "text", found)),
            sound => Ok(sound),
        }
    }

    pub(super) fn text(
        &mut self,
        columns: &Columns,
        field: Field,
        cell: Cell<'_>,
    ) -> std::result::Result<u32, Wrong> {
        let key = match self.sound(columns, field, cell)? {
            Cell::Text(t) => t,
            Cell::Empty => "",
            other => {
                let shown = other.shown();
                return Ok(self.coded(field, &shown, Cell::Text(&shown)));
            }
        };
        if key.is_empty() {
            // Most columns that a file lacks are asked for in every row.
            if let Some(code) = self.blank[field.index()] {
                return Ok(code);
            }
            let code = self.coded(field, key, cell);
            self.blank[field.index()] = Some(code);
            return Ok(code);
        }
        Ok(self.coded(field, key, cell))
    }

    pub(super) fn coded(&mut self, field: Field, key: &str, cell: Cell<'_>) -> u32 {
        if let Some(&code) = self.texts[field.index()].get(key) {
            return code;
        }
        let code = self.book.texts.code(&self.words_of(field, cell));
        self.texts[field.index()].insert(key.to_owned(), code);
        code
    }

    pub(super) fn kind(
        &mut self,
        group: &Group,
        cell: Cell<'_>,
    ) -> std::result::Result<TestKind, Wrong> {
        let named = match cell {
            Cell::Empty => group.kind.clone().map_or_else(
                || self.words_of(Field::Test, Cell::Empty),
                |t| self.words_of(Field::Test, Cell::Text(&t)),
            ),
            Cell::Text(t) => {
                if let Some(&kind) = self.tests.get(t) {
                    return Ok(kind);
                }
                self.words_of(Field::Test, cell)
            }
            other => other.shown(),
        };
        let kind = if named.is_empty() {
            self.words.default_test
        } else {
            match test_kind(&named, self.words.default_test) {
                Some(kind) => kind,
                None => {
                    *self.batch.unknown_tests.entry(named.clone()).or_default() += 1;
                    return Ok(TestKind::Other);
                }
            }
        };
        if let Cell::Text(t) = cell {
            self.tests.insert(t.to_owned(), kind);
        }
        Ok(kind)
    }

    /// What the outcome column says, sharpened by the reason column; `None` where nothing says
    /// outcomes at all.
    pub(super) fn outcome_word<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
    ) -> std::result::Result<Option<Said>, Wrong> {
        if !self.has(columns, Field::Outcome) {
            return Ok(None);
        }
        let cell = self.sound(columns, Field::Outcome, get(Field::Outcome))?;
        let known = match cell {
            Cell::Text(t) => self.outcomes.get(t).copied(),
            _ => None,
        };
        let said = match known {
            Some(said) => said,
            None => {
                let word = self.words_of(Field::Outcome, cell);
                let Some(said) = self.said(&word) else {
                    return Err(self.wrong(columns, Field::Outcome, OUTCOME_EXPECTED, &word));
                };
                if let Cell::Text(t) = cell {
                    self.outcomes.insert(t.to_owned(), said);
                }
                said
            }
        };
        let reason = self.sound(columns, Field::Reason, get(Field::Reason))?;
        if said == Said::Class(Outcome::Pass) || reason.is_empty() {
            return Ok(Some(said));
        }
        let reason = self.words_of(Field::Reason, reason);
        Ok(Some(match self.said(&reason) {
            Some(Said::Class(class)) if class != Outcome::Pass => Said::Class(class),
            _ => said,
        }))
    }

    pub(super) fn said(&mut self, word: &str) -> Option<Said> {
        if let Some(&said) = self.said.get(word) {
            return said;
        }
        // A blank is a word only where the settings say what it means.
        let said = self.words.outcomes.said(word);
        self.said.insert(word.to_owned(), said);
        said
    }

    pub(super) fn current(&self, cell: Cell<'_>) -> Current {
        match squeeze(&self.words_of(Field::Current, cell)).replace('_', " ").as_str() {
            "in phase" | "resistive" | "real" => Current::InPhase,
            _ => Current::Total,
        }
    }

    pub(super) fn written(
        &self,
        columns: &Columns,
        field: Field,
        cell: Cell<'_>,
    ) -> std::result::Result<Option<Written>, Wrong> {
        Ok(Some(match cell {
            Cell::Empty => match self.layout.fixed.get(&field) {
                Some(text) => number(text, DecimalSign::Point)
                    .ok_or_else(|| self.wrong(columns, field, "a number", text))?,
                None => return Ok(None),
            },
            Cell::Number(x) => Written {
                number: Decimal::from_f64(x)
                    .ok_or_else(|| self.wrong(columns, field, "a number", &x.to_string()))?,
                unit: None,
                side: 0,
            },
            Cell::Text(text) if !text.as_bytes()[0].is_ascii_digit() && is_dashes(text) => {
                return Ok(None);
            }
            // A number first: what means no limit is none.
            Cell::Text(text) => match number(text, self.layout.sign) {
                Some(written) => written,
                None if matches!(field, Field::HighLimit | Field::LowLimit)
                    && is_no_limit(text) =>
                {
                    return Ok(None);
                }
                None => return Err(self.wrong(columns, field, "a number", text)),
            },
            other => return Err(self.wrong(columns, field, "a number", &other.shown())),
        }))
    }

    /// A written number in powers of ten of its base unit.
    pub(super) fn scaled(
        &self,
        columns: &Columns,
        field: Field,
        written: Written,
        power: i32,
    ) -> std::result::Result<i64, Wrong> {
        let canonical = field.quantity();
        let beside = columns.get(field).and_then(|(column, _)| self.row_units.get(&column));
        if let (None, Some(None)) = (written.unit, beside) {
            return Err(self.wrong(columns, field, "a unit in the column of units", "none"));
        }
        let stated = written.unit.or(beside.copied().flatten());
        let unit = match (stated, canonical) {
            (Some(unit), Some(expected)) if !unit.same_kind(expected) => {
                return Err(self.wrong(
                    columns,
                    field,
                    &format!("a value in {}", unit_words(expected)),
                    "another unit",
                ));
            }
            (unit, _) => unit
                .or_else(|| columns.get(field).and_then(|(_, u)| u))
                .or(canonical)
                .map_or(0, Quantity::exponent),
        };
        written.number.in_units_of(power - unit).ok_or_else(|| {
            self.wrong(columns, field, "a number of usual size", "a number too large")
        })
    }

    pub(super) fn amount<'c>(
        &self,
        columns: &Columns,
        field: Field,
        get: &impl Fn(Field) -> Cell<'c>,
        power: i32,
    ) -> std::result::Result<Option<i64>, Wrong> {
        match self.written(columns, field, get(field))? {
            Some(written) => self.scaled(columns, field, written, power).map(Some),
            None => Ok(None),
        }
    }

    pub(super) fn whole<'c>(
        &self,
        columns: &Columns,
        field: Field,
        get: &impl Fn(Field) -> Cell<'c>,
    ) -> std::result::Result<Option<u64>, Wrong> {
        let cell = get(field);
        match self.written(columns, field, cell)? {
            None => Ok(None),
            Some(w) => match w.number.in_units_of(0).and_then(|n| u64::try_from(n).ok()) {
                Some(n) => Ok(Some(n)),
                None => Err(self.wrong(columns, field, "a whole number", &cell.shown())),
            },
        }
    }
}

fn unit_words(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Current(_) => "µA, mA or A",
        Quantity::Voltage(_) => "V or kV",
        Quantity::Resistance(_) => "Ω",
        Quantity::Frequency(_) => "Hz",
        Quantity::Time(_) => "s",
        Quantity::Celsius => "°C",
        Quantity::Percent => "%",
    }
}
