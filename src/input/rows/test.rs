//! One test of a row: which of its cells say what, and which do not go together.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::rc::Rc;

use super::alike::Alike;
use super::shared::Made;
use super::{Parser, Wrong};
use crate::input::cell::Cell;
use crate::input::columns::{Field, squeeze};
use crate::input::layout::{Columns, Group};
use crate::input::outcomes::{Said, is_no_reading};
use crate::input::words::plain_serial;
use crate::records::{
    Current, Limits, Marks, MeasuredVolts, Outcome, Place, Record, SerialAt, Setup, Shown, TestKind,
};

/// What is known of a model before its rows are read.
pub(super) struct ModelFacts {
    /// Has taken the model's name, and waits for a serial.
    named: DefaultHasher,
    is_check_load: bool,
    limits: Limits,
}

/// What a row measured, as far as it says so.
#[derive(Clone, Copy)]
pub(super) struct Measured {
    pub(super) shown: Shown,
    pub(super) reading_pa: i64,
    pub(super) limits: Limits,
}

/// What a test has of its own, and no other row may say for it.
pub(super) struct Own {
    pub(super) line: u32,
    pub(super) part: u8,
    pub(super) time: i64,
    pub(super) measured: Measured,
    pub(super) outcome: Outcome,
}

/// What a line of a tally says in `tally_part` where it counts for leakage alone.
pub const LEAKAGE_ALONE: &str = "leakage alone";

impl Measured {
    /// Whether the reading lies beyond one of its limits.
    fn is_beyond(self) -> bool {
        [Outcome::OverLimit, Outcome::UnderLimit].contains(&derived_failure(self))
    }
}

/// A row that says nothing of leakage.
pub(super) const NOTHING: Measured = Measured {
    shown: Shown::Nothing,
    reading_pa: 0,
    limits: Limits { high_pa: None, low_pa: None },
};

impl Parser<'_> {
    /// One test of a row.
    pub(super) fn test<'c>(
        &mut self,
        line: u32,
        part: u8,
        group: &Group,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) -> std::result::Result<Record, Wrong> {
        let columns = &group.columns;
        let get =
            |field: Field| columns.get(field).map_or(Cell::Empty, |(c, _)| cell(usize::from(c)));
        let mut time = self.time(columns, &get)?;
        if columns.get(Field::Count).is_some() && time.rem_euclid(86_400) == 0 {
            // A tally gives production days, whenever they start.
            time += self.words.day_starts_s;
        }
        let model = self.text(columns, Field::Model, get(Field::Model))?;
        if model == 0 {
            return Err(self.wrong(columns, Field::Model, "a model", ""));
        }
        let test = self.kind(group, self.sound(columns, Field::Test, get(Field::Test))?)?;
        let said = self.outcome_word(columns, &get)?;
        self.row_said = said;
        let mut setup = self.place_of_test(columns, &get, model, test)?;
        let other = test == TestKind::Other;
        let (mut marks, mut measured) = (Marks::default(), NOTHING);
        if other {
            marks = marks.with(Marks::OTHER_TEST);
        } else {
            let failed = said.is_some_and(|s| s != Said::Class(Outcome::Pass));
            measured = self.measured(group, &get, &mut setup, failed)?;
        }
        let facts = self.model_facts(model, get(Field::Model));
        let mut limits = measured.limits;
        if limits.high_pa.is_none() {
            limits.high_pa = facts.limits.high_pa;
            limits.low_pa = limits.low_pa.or(facts.limits.low_pa);
        }
        let measured = Measured { limits, ..measured };
        self.row_made = Some(Made { kind: test, is_beyond: measured.is_beyond() });
        let outcome = self.outcome(columns, &get, said, (!other).then_some(measured))?;
        marks = self.words_beside(columns, &get, marks)?;
        let count = self.count(columns, &get)?;
        if columns.get(Field::Count).is_some() {
            marks = marks.with(Marks::TALLIED).with(Marks::NO_SERIAL);
            let part = self.sound(columns, Field::TallyPart, get(Field::TallyPart))?;
            if self.words_of(Field::TallyPart, part) == LEAKAGE_ALONE {
                marks = marks.with(Marks::LEAKAGE_ALONE);
            }
        }
        let factors = self.factor_set(columns, &get, cell)?;
        let book = self.book;
        let alike = Alike {
            facts,
            model,
            place: Place { plant: setup.plant, station: setup.station },
            setup: *self.setups.entry(setup).or_insert_with(|| book.setups.code(&setup)),
            factors,
            limits,
            said,
            marks,
            count,
            asks_volts: setup.applied_mv.is_none() && !other,
        };
        let own = Own { line, part, time, measured, outcome };
        let record = self.record(columns, &get, &alike, own)?;
        // A test that nobody knows is counted row by row.
        if !other || matches!(get(Field::Test), Cell::Text(t) if self.tests.contains_key(t)) {
            self.row_alike = Some(alike);
        }
        Ok(record)
    }

    /// The record of a test of which all is known but its serial.
    pub(super) fn record<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        alike: &Alike,
        own: Own,
    ) -> std::result::Result<Record, Wrong> {
        let Own { line, part, time, measured: Measured { shown, reading_pa, .. }, outcome } = own;
        let Alike { setup, factors, count, mut marks, .. } = *alike;
        let written = self.sound(columns, Field::Serial, get(Field::Serial))?;
        if alike.asks_volts
            && let Some(v) = self.amount(columns, Field::MeasuredV, get, -3)?
        {
            #[expect(clippy::cast_precision_loss, reason = "millivolts stay far below 2^53")]
            let volts = v as f64 / 1000.0;
            let Alike { model, place, .. } = *alike;
            self.batch.measured_v.push(MeasuredVolts { model, place, volts });
        }
        self.air(columns, get, alike.place, time);
        let serial = SerialAt::new(self.batch.serials.len() as u64);
        let plain = self.serial(written);
        if alike.said == Some(Said::Fail)
            && !marks.has(Marks::OTHER_TEST)
            && outcome != Outcome::Failed
        {
            marks = marks.with(Marks::DERIVED);
        }
        if alike.facts.is_check_load || self.words.check_loads.contains(&plain) {
            marks = marks.with(Marks::CHECK_LOAD);
        }
        if plain.is_empty() || self.words.placeholders.contains(&plain) {
            marks = marks.with(Marks::NO_SERIAL);
        }
        let book = self.book;
        let limits =
            *self.limits.entry(alike.limits).or_insert_with(|| book.limits.code(&alike.limits));
        let mut hasher = alike.facts.named.clone();
        plain.hash(&mut hasher);
        if marks.has(Marks::NO_SERIAL) {
            (time, reading_pa, setup, limits, factors, outcome, count).hash(&mut hasher);
        }
        self.plain = plain;
        Ok(Record {
            unit: hasher.finish(),
            reading_pa,
            time,
            setup,
            factors,
            limits,
            count,
            line,
            serial,
            source: self.source,
            part,
            outcome,
            shown,
            marks,
        })
    }

    /// A setup that says which model was tested where, and nothing yet of how.
    fn place_of_test<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        model: u32,
        test: TestKind,
    ) -> std::result::Result<Setup, Wrong> {
        Ok(Setup {
            model,
            test,
            test_point: 0,
            step: 0,
            current: Current::Total,
            applied_mv: None,
            frequency_mhz: None,
            dwell_ms: None,
            ramp_ms: None,
            units_together: 1,
            plant: self.text(columns, Field::Plant, get(Field::Plant))?,
            station: self.text(columns, Field::Station, get(Field::Station))?,
            fixture: self.text(columns, Field::Fixture, get(Field::Fixture))?,
            instrument: self.text(columns, Field::Instrument, get(Field::Instrument))?,
            reading_step_pa: None,
        })
    }

    /// The reading of a test of leakage, in picoamperes, and what it says. Beside a known failure, words in place of a
    /// reading are none: the test stays that failure.
    pub(super) fn reading<'c>(
        &self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        failed: bool,
    ) -> std::result::Result<(Shown, i64), Wrong> {
        let found = get(Field::Reading);
        let is_none = failed && matches!(found, Cell::Text(t) if is_no_reading(t));
        let written = if is_none { None } else { self.written(columns, Field::Reading, found)? };
        let Some(written) = written else { return Ok((Shown::Nothing, 0)) };
        let shown = match written.side {
            -1 => Shown::Below,
            1 => Shown::Above,
            _ => Shown::Value,
        };
        let reading_pa = self.scaled(columns, Field::Reading, written, -12)?;
        if reading_pa < 0 {
            let expected = "a current of zero or more";
            return Err(self.wrong(columns, Field::Reading, expected, &found.shown()));
        }
        Ok((shown, reading_pa))
    }

    /// The reading and the limits of a test of leakage; what the row says of how it was made goes into `setup`.
    fn measured<'c>(
        &mut self,
        group: &Group,
        get: &impl Fn(Field) -> Cell<'c>,
        setup: &mut Setup,
        failed: bool,
    ) -> std::result::Result<Measured, Wrong> {
        let columns = &group.columns;
        let (shown, reading_pa) = self.reading(columns, get, failed)?;
        setup.test_point = match (get(Field::TestPoint), &group.point) {
            (Cell::Empty, Some(point)) => {
                self.text(columns, Field::TestPoint, Cell::Text(point))?
            }
            (written, _) => self.text(columns, Field::TestPoint, written)?,
        };
        setup.step = match (get(Field::Step), &group.step) {
            (Cell::Empty, Some(step)) => self.text(columns, Field::Step, Cell::Text(step))?,
            (written, _) => self.text(columns, Field::Step, written)?,
        };
        if self.has(columns, Field::Current) {
            setup.current =
                self.current(self.sound(columns, Field::Current, get(Field::Current))?);
        }
        setup.applied_mv = self.amount(columns, Field::AppliedV, get, -3)?;
        setup.frequency_mhz =
            self.amount(columns, Field::Frequency, get, -3)?.filter(|_| !setup.test.is_dc());
        setup.dwell_ms = self.amount(columns, Field::Dwell, get, -3)?;
        setup.ramp_ms = self.amount(columns, Field::Ramp, get, -3)?;
        setup.reading_step_pa = self.amount(columns, Field::ReadingStep, get, -12)?;
        setup.units_together = self
            .whole(columns, Field::UnitsTogether, get)?
            .and_then(|n| u16::try_from(n).ok())
            .unwrap_or(1);
        let positive = |x: Option<i64>| x.filter(|&v| v > 0);
        let limits = Limits {
            high_pa: positive(self.amount(columns, Field::HighLimit, get, -12)?),
            low_pa: positive(self.amount(columns, Field::LowLimit, get, -12)?),
        };
        Ok(Measured { shown, reading_pa, limits })
    }

    /// The outcome: as it is said, or derived from the reading; `measured` is `None` for other kinds of tests.
    pub(super) fn outcome<'c>(
        &self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        said: Option<Said>,
        measured: Option<Measured>,
    ) -> std::result::Result<Outcome, Wrong> {
        let outcome = match (said, measured) {
            (Some(Said::Class(outcome)), _) => outcome,
            (Some(Said::Fail), None) => Outcome::Failed,
            (Some(Said::Fail), Some(measured)) => derived_failure(measured),
            (None, None) => Outcome::Pass,
            (None, Some(Measured { shown, limits, .. }))
                if shown == Shown::Nothing || limits.high_pa.is_none() =>
            {
                let expected = "an outcome, or a reading and a high limit to derive it from";
                return Err(self.wrong(columns, Field::Outcome, expected, ""));
            }
            (None, Some(measured)) => match derived_failure(measured) {
                Outcome::Breakdown => Outcome::Pass,
                found => found,
            },
        };
        if outcome == Outcome::Pass && measured.is_some_and(|m| m.shown == Shown::Nothing) {
            let shown = get(Field::Reading).shown();
            return Err(self.wrong(columns, Field::Reading, "a number", &shown));
        }
        Ok(outcome)
    }

    /// What the stage and the remark of a test mark it as.
    fn words_beside<'c>(
        &self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        mut marks: Marks,
    ) -> std::result::Result<Marks, Wrong> {
        if self.has(columns, Field::Stage) {
            let stage = self.sound(columns, Field::Stage, get(Field::Stage))?;
            let stage = squeeze(&self.words_of(Field::Stage, stage));
            if stage.starts_with("ramp") || stage == "rise" {
                marks = marks.with(Marks::IN_RAMP);
            }
        }
        if self.has(columns, Field::Remark) {
            let remark = self.sound(columns, Field::Remark, get(Field::Remark))?;
            let remark = squeeze(&self.words_of(Field::Remark, remark));
            let words = &self.words.fault_locating;
            if !remark.is_empty() && words.iter().any(|w| remark.contains(w)) {
                marks = marks.with(Marks::FAULT_LOCATING);
            }
        }
        Ok(marks)
    }

    /// How many equal tests the row stands for.
    fn count<'c>(
        &self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
    ) -> std::result::Result<u32, Wrong> {
        match self.whole(columns, Field::Count, get)? {
            Some(0) => Err(self.wrong(columns, Field::Count, "a count of one or more", "0")),
            Some(n) => u32::try_from(n).map_err(|_| {
                self.wrong(columns, Field::Count, "a count below 4 000 000 000", &n.to_string())
            }),
            None => Ok(1),
        }
    }

    /// Whether a table says anything about a field.
    pub(super) fn has(&self, columns: &Columns, field: Field) -> bool {
        columns.get(field).is_some() || self.layout.fixed.contains_key(&field)
    }

    fn model_facts(&mut self, code: u32, cell: Cell<'_>) -> Rc<ModelFacts> {
        if let Some(facts) = self.models.get(&code) {
            return facts.clone();
        }
        let name = self.words_of(Field::Model, cell);
        let mut named = DefaultHasher::new();
        name.hash(&mut named);
        let facts = Rc::new(ModelFacts {
            is_check_load: self.words.check_loads.contains(&plain_serial(&name)),
            limits: self.words.model_limits.get(&name).copied().unwrap_or_default(),
            named,
        });
        self.models.insert(code, facts.clone());
        facts
    }
}

/// A failure's class from its reading; with no high limit in force a trip would say nothing, so nothing tells a
/// trip from a breakdown.
fn derived_failure(measured: Measured) -> Outcome {
    let Measured { shown, reading_pa, limits } = measured;
    let known = matches!(shown, Shown::Value | Shown::Above);
    if known && limits.high_pa.is_some_and(|h| reading_pa >= h) {
        Outcome::OverLimit
    } else if shown == Shown::Value && limits.low_pa.is_some_and(|l| reading_pa < l) {
        Outcome::UnderLimit
    } else if limits.high_pa.is_none() {
        Outcome::Failed
    } else {
        Outcome::Breakdown
    }
}
