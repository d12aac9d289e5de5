//! One row of any table → the tests it holds, or what is wrong with it.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::rc::Rc;
use std::sync::Arc;

use hashbrown::HashMap;

use super::cell::{Cell, Written, number};
use super::columns::{Field, Headers, Meaning, squeeze};
use super::dates::{clock, written_date};
use super::layout::{Columns, Group, Layout, MOST_COLUMNS};
use super::outcomes::{Outcomes, Said};
use crate::config::Config;
use crate::error::Result;
use crate::records::{
    AirSums, Batch, Book, Current, FactorSet, Limits, Marks, Outcome, Quantity, Record, Setup,
    Shown, TestKind, Unreadable, ma_to_pa,
};

/// Factor levels every record has, before the config's own.
pub const BUILT_IN_FACTORS: [(Field, &str); 3] = [
    (Field::Lot, "lot"),
    (Field::Operator, "operator"),
    (Field::Shift, "shift"),
];

/// What all parsers of a run share: words and defaults from the config.
#[derive(Debug)]
pub struct Words {
    headers: Headers,
    outcomes: Outcomes,
    values: BTreeMap<Field, BTreeMap<String, String>>,
    factor_values: Vec<BTreeMap<String, String>>,
    placeholders: HashSet<String>,
    fault_locating: Vec<String>,
    check_loads: HashSet<String>,
    model_limits: BTreeMap<String, Limits>,
    default_test: TestKind,
    day_starts_s: i64,
}

impl Words {
    /// The words of these settings.
    ///
    /// # Errors
    /// Where an outcome word of the config is unknown.
    pub fn new(config: &Config) -> Result<Self> {
        super::columns::check(config)?;
        let table = |name: &str| {
            config.values.get(name).map(|t| {
                t.iter()
                    .map(|(k, v)| (squeeze(k), v.clone()))
                    .collect::<BTreeMap<_, _>>()
            })
        };
        let pa = |ma: Option<f64>| ma.and_then(ma_to_pa);
        Ok(Self {
            headers: Headers::new(config),
            outcomes: Outcomes::new(config)?,
            values: Field::ALL
                .iter()
                .filter_map(|(f, name)| Some((*f, table(name)?)))
                .collect(),
            factor_values: config
                .factors
                .iter()
                .map(|f| table(f).unwrap_or_default())
                .collect(),
            placeholders: config
                .placeholder_serials
                .iter()
                .map(|s| plain_serial(s))
                .collect(),
            fault_locating: config
                .fault_locating_words
                .iter()
                .map(|w| squeeze(w))
                .collect(),
            check_loads: config.check_loads.keys().map(|k| plain_serial(k)).collect(),
            model_limits: config
                .model
                .iter()
                .map(|(k, m)| {
                    (
                        k.clone(),
                        Limits {
                            high_pa: pa(m.high_limit_ma),
                            low_pa: pa(m.low_limit_ma),
                        },
                    )
                })
                .collect(),
            default_test: config
                .assumed("test")
                .and_then(|t| test_kind(&t, TestKind::AcWithstand))
                .unwrap_or(TestKind::AcWithstand),
            day_starts_s: config.day_starts_s(),
        })
    }
}

/// A serial as it is compared: without case, spaces and dashes.
#[must_use]
pub fn plain_serial(serial: &str) -> String {
    serial
        .chars()
        .filter(|c| !c.is_whitespace() && !"-–—_".contains(*c))
        .flat_map(char::to_lowercase)
        .collect()
}

/// The kind of test that words name; `None` where they are not known.
#[must_use]
pub fn test_kind(words: &str, default: TestKind) -> Option<TestKind> {
    let words = squeeze(words);
    let has = |list: &[&str]| list.iter().any(|w| words.contains(w));
    let token = |t: &str| words.split([' ', '-', '_', '/']).any(|w| w == t);
    if has(&[
        "earth",
        "ground bond",
        "continuity",
        "insulation",
        "resistance",
        "function",
        "schutzleiter",
        "isolation",
        "mise à la terre",
        "continuité",
        "isolement",
        "résistance",
        "messa a terra",
        "continuità",
        "isolamento",
        "resistenza",
        "funzional",
        "puesta a tierra",
        "continuidad",
        "aislamiento",
        "resistencia",
        "funcional",
        "uziemieni",
        "ciągłoś",
        "rezystancj",
        "接地",
        "绝缘",
        "电阻",
        "功能",
    ]) {
        return Some(TestKind::Other);
    }
    if has(&[
        "leakage",
        "touch current",
        "ableitstrom",
        "courant de fuite",
        "dispersione",
        "corriente de fuga",
        "prąd upływ",
        "漏电",
        "泄漏",
    ]) {
        return Some(TestKind::Leakage);
    }
    let withstand = has(&[
        "withstand",
        "dielectric",
        "high voltage",
        "hochspannung",
        "hipot",
        "hi-pot",
        "flash",
        "diélectrique",
        "haute tension",
        "dielettric",
        "alta tensione",
        "dieléctric",
        "alta tensión",
        "wysokie napięcie",
        "wytrzymałoś",
        "耐压",
        "高压",
    ]);
    let dc = token("dc") || token("cc") || has(&["直流"]);
    let ac = token("ac") || token("ca") || has(&["交流"]);
    if dc && (withstand || words == "dc") {
        return Some(TestKind::DcWithstand);
    }
    if ac && (withstand || words == "ac") {
        return Some(TestKind::AcWithstand);
    }
    withstand.then_some(default)
}

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
    /// What was said of unreadable rows.
    told: HashSet<Arc<str>>,
}

/// What is known of a model before its rows are read.
struct ModelFacts {
    name: String,
    is_check_load: bool,
    limits: Limits,
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
    pub fn damaged(&mut self, line: u32, expected: &str, found: &str) {
        self.unreadable(line, "", expected, found);
    }

    fn unreadable(&mut self, line: u32, column: &str, expected: &str, found: &str) {
        let row = Unreadable {
            source: self.source,
            line,
            column: self.shared(column),
            expected: self.shared(expected),
            found: self.shared(&shorten(found)),
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
    pub fn row<'c>(&mut self, line: u32, width: usize, cell: &impl Fn(usize) -> Cell<'c>) {
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
                Some(last) if last.line > header && last.source == source => Unreadable {
                    line,
                    ..last.clone()
                },
                _ => Unreadable::below_other_table(source, line, header),
            };
            self.batch.unreadable.push(refused);
            return;
        }
        if let Some(expected) = layout.misfit(width, |n| cell(n).is_empty()) {
            self.damaged(line, &expected, &format!("{width} cells"));
            return;
        }
        for (part, group) in layout.groups.iter().enumerate() {
            if !group.own.is_empty() && group.own.iter().all(|&c| cell(usize::from(c)).is_empty()) {
                continue;
            }
            match self.test(line, part, group, cell) {
                Ok(record) => self.batch.records.push(record),
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
        if let Cell::Text(text) = cell(first) {
            if text.as_bytes()[0].is_ascii_digit() {
                return RowKind::Test;
            }
        } else if matches!(cell(first), Cell::Stamp(_)) {
            return RowKind::Test;
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

    fn test<'c>(
        &mut self,
        line: u32,
        part: usize,
        group: &Group,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) -> std::result::Result<Record, Wrong> {
        let columns = &group.columns;
        let get = |field: Field| {
            columns
                .get(field)
                .map_or(Cell::Empty, |(c, _)| cell(usize::from(c)))
        };
        let time = self.time(columns, &get)?;
        let model = self.text(columns, Field::Model, get(Field::Model))?;
        if model == 0 {
            return Err(self.wrong(columns, Field::Model, "a model", ""));
        }
        let test = self.kind(group, self.sound(columns, Field::Test, get(Field::Test))?)?;
        let other = test == TestKind::Other;
        let outcome_said = self.outcome_word(columns, &get)?;
        let mut marks = Marks::default();
        let (mut shown, mut reading_pa, mut limits) = (Shown::Nothing, 0, Limits::default());
        let mut setup = Setup {
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
            station: self.text(columns, Field::Station, get(Field::Station))?,
            fixture: self.text(columns, Field::Fixture, get(Field::Fixture))?,
            instrument: self.text(columns, Field::Instrument, get(Field::Instrument))?,
            reading_step_pa: None,
        };
        if other {
            marks = marks.with(Marks::OTHER_TEST);
        } else {
            if let Some(written) = self.written(columns, Field::Reading, get(Field::Reading))? {
                shown = match written.side {
                    -1 => Shown::Below,
                    1 => Shown::Above,
                    _ => Shown::Value,
                };
                reading_pa = self.scaled(columns, Field::Reading, written, -12)?;
                if reading_pa < 0 {
                    return Err(self.wrong(
                        columns,
                        Field::Reading,
                        "a current of zero or more",
                        &get(Field::Reading).shown(),
                    ));
                }
            }
            setup.test_point = self.text(columns, Field::TestPoint, get(Field::TestPoint))?;
            setup.step = self.text(columns, Field::Step, get(Field::Step))?;
            if self.has(columns, Field::Current) {
                setup.current =
                    self.current(self.sound(columns, Field::Current, get(Field::Current))?);
            }
            setup.applied_mv = self.amount(columns, Field::AppliedV, &get, -3)?;
            setup.frequency_mhz = self
                .amount(columns, Field::Frequency, &get, -3)?
                .filter(|_| !test.is_dc());
            setup.dwell_ms = self.amount(columns, Field::Dwell, &get, -3)?;
            setup.ramp_ms = self.amount(columns, Field::Ramp, &get, -3)?;
            setup.reading_step_pa = self.amount(columns, Field::ReadingStep, &get, -12)?;
            setup.units_together = self
                .whole(columns, Field::UnitsTogether, &get)?
                .and_then(|n| u16::try_from(n).ok())
                .unwrap_or(1);
            let positive = |x: Option<i64>| x.filter(|&v| v > 0);
            limits = Limits {
                high_pa: positive(self.amount(columns, Field::HighLimit, &get, -12)?),
                low_pa: positive(self.amount(columns, Field::LowLimit, &get, -12)?),
            };
        }
        let facts = self.model_facts(model, get(Field::Model));
        if limits.high_pa.is_none() {
            limits.high_pa = facts.limits.high_pa;
            limits.low_pa = limits.low_pa.or(facts.limits.low_pa);
        }
        let outcome = match outcome_said {
            Some(Said::Class(outcome)) => outcome,
            Some(Said::Fail) if other => Outcome::Breakdown,
            Some(Said::Fail) => {
                marks = marks.with(Marks::DERIVED);
                derived_failure(reading_pa, shown, limits)
            }
            None if other => Outcome::Pass,
            None => {
                if shown == Shown::Nothing || limits.high_pa.is_none() {
                    return Err(self.wrong(
                        columns,
                        Field::Outcome,
                        "an outcome, or a reading and a high limit to derive it from",
                        "",
                    ));
                }
                match derived_failure(reading_pa, shown, limits) {
                    Outcome::Breakdown => Outcome::Pass,
                    found => found,
                }
            }
        };
        if outcome == Outcome::Pass && shown == Shown::Nothing && !other {
            return Err(self.wrong(
                columns,
                Field::Reading,
                "a number",
                &get(Field::Reading).shown(),
            ));
        }
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
        let count = match self.whole(columns, Field::Count, &get)? {
            Some(0) => {
                return Err(self.wrong(columns, Field::Count, "a count of one or more", "0"));
            }
            Some(n) => u32::try_from(n).map_err(|_| {
                self.wrong(
                    columns,
                    Field::Count,
                    "a count below 4 000 000 000",
                    &n.to_string(),
                )
            })?,
            None => 1,
        };
        if columns.get(Field::Count).is_some() {
            marks = marks.with(Marks::TALLIED).with(Marks::NO_SERIAL);
        }
        let factors = self.factor_set(columns, &get, cell)?;
        self.air(columns, &get, setup.station, time)?;
        if setup.applied_mv.is_none()
            && !other
            && let Some(v) = self.amount(columns, Field::MeasuredV, &get, -3)?
        {
            #[expect(clippy::cast_precision_loss, reason = "millivolts stay far below 2^53")]
            self.batch
                .measured_v
                .push((model, setup.station, v as f64 / 1000.0));
        }
        let serial = u32::try_from(self.batch.serials.len()).unwrap_or(0);
        let written = self.sound(columns, Field::Serial, get(Field::Serial))?;
        let plain = self.serial(written);
        if facts.is_check_load || self.words.check_loads.contains(&plain) {
            marks = marks.with(Marks::CHECK_LOAD);
        }
        if plain.is_empty() || self.words.placeholders.contains(&plain) {
            marks = marks.with(Marks::NO_SERIAL);
        }
        let book = self.book;
        let setup_code = *self
            .setups
            .entry(setup)
            .or_insert_with(|| book.setups.code(&setup));
        let limits_code = *self
            .limits
            .entry(limits)
            .or_insert_with(|| book.limits.code(&limits));
        let mut hasher = DefaultHasher::new();
        facts.name.hash(&mut hasher);
        plain.hash(&mut hasher);
        if marks.has(Marks::NO_SERIAL) {
            (
                time,
                reading_pa,
                setup_code,
                limits_code,
                factors,
                outcome,
                count,
            )
                .hash(&mut hasher);
        }
        self.plain = plain;
        Ok(Record {
            unit: hasher.finish(),
            reading_pa,
            time,
            setup: setup_code,
            factors,
            limits: limits_code,
            count,
            line,
            serial,
            source: self.source,
            part: u8::try_from(part).unwrap_or(u8::MAX),
            outcome,
            shown,
            marks,
        })
    }

    fn wrong(&self, columns: &Columns, field: Field, expected: &str, found: &str) -> Wrong {
        Wrong {
            column: columns
                .get(field)
                .and_then(|(c, _)| self.layout.names.get(usize::from(c)).cloned())
                .unwrap_or_else(|| field.name().to_owned()),
            expected: expected.to_owned(),
            found: if found.is_empty() {
                "nothing".to_owned()
            } else {
                found.to_owned()
            },
        }
    }

    fn time<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
    ) -> std::result::Result<i64, Wrong> {
        let (field, value) = match get(Field::TestedAt) {
            Cell::Empty => (Field::Date, get(Field::Date)),
            found => (Field::TestedAt, found),
        };
        let value = if value.is_empty() {
            self.layout
                .fixed
                .get(&field)
                .map_or(Cell::Empty, |t| Cell::from_text(t))
        } else {
            value
        };
        let (day_s, mut time_s) = match value {
            Cell::Stamp(seconds) => (
                seconds - seconds.rem_euclid(86_400),
                Some(seconds.rem_euclid(86_400)),
            ),
            Cell::Text(text) => {
                let Some((date, rest)) = written_date(text) else {
                    return Err(self.wrong(columns, field, "a date", text));
                };
                let key = &text[..text.len() - rest.len()];
                if self.date.0 != key {
                    self.date = (key.to_owned(), date.day(self.layout.order));
                }
                let Some(day) = self.date.1 else {
                    return Err(self.wrong(columns, field, "a day that exists", text));
                };
                let time = if rest.is_empty() {
                    None
                } else {
                    Some(
                        clock(rest)
                            .ok_or_else(|| self.wrong(columns, field, "a time of day", text))?,
                    )
                };
                (day * 86_400, time)
            }
            other => return Err(self.wrong(columns, field, "a date", &other.shown())),
        };
        match get(Field::Time) {
            Cell::Empty => {}
            Cell::Clock(s) => time_s = Some(s),
            Cell::Stamp(s) => time_s = Some(s.rem_euclid(86_400)),
            Cell::Text(text) => {
                time_s = Some(
                    clock(text)
                        .ok_or_else(|| self.wrong(columns, Field::Time, "a time of day", text))?,
                );
            }
            other => return Err(self.wrong(columns, Field::Time, "a time of day", &other.shown())),
        }
        Ok(day_s + time_s.unwrap_or(12 * 3600))
    }

    /// The text of a cell after the config's `[values]`, or the table's fixed value.
    fn words_of(&self, field: Field, cell: Cell<'_>) -> String {
        let shown = match cell {
            Cell::Empty => self.layout.fixed.get(&field).cloned().unwrap_or_default(),
            Cell::Text(t) => t.to_owned(),
            other => other.shown(),
        };
        match self
            .words
            .values
            .get(&field)
            .and_then(|t| t.get(&squeeze(&shown)))
        {
            Some(mapped) => mapped.clone(),
            None => shown,
        }
    }

    /// The cell, unless it is broken: a formula error is no serial, no remark and no lot.
    fn sound<'c>(
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

    fn text(
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

    fn coded(&mut self, field: Field, key: &str, cell: Cell<'_>) -> u32 {
        if let Some(&code) = self.texts[field.index()].get(key) {
            return code;
        }
        let code = self.book.texts.code(&self.words_of(field, cell));
        self.texts[field.index()].insert(key.to_owned(), code);
        code
    }

    fn kind(&mut self, group: &Group, cell: Cell<'_>) -> std::result::Result<TestKind, Wrong> {
        let named = match cell {
            Cell::Empty => group.title.clone().map_or_else(
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

    /// What the outcome column says, sharpened by the reason column; `None` where there is no outcome
    /// column at all.
    fn outcome_word<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
    ) -> std::result::Result<Option<Said>, Wrong> {
        if columns.get(Field::Outcome).is_none() {
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
                    return Err(self.wrong(
                        columns,
                        Field::Outcome,
                        "an outcome word (map it under [outcomes])",
                        &word,
                    ));
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

    fn said(&mut self, word: &str) -> Option<Said> {
        if let Some(&said) = self.said.get(word) {
            return said;
        }
        let said = if word.trim().is_empty() {
            None
        } else {
            self.words.outcomes.said(word)
        };
        self.said.insert(word.to_owned(), said);
        said
    }

    fn current(&self, cell: Cell<'_>) -> Current {
        match squeeze(&self.words_of(Field::Current, cell))
            .replace('_', " ")
            .as_str()
        {
            "in phase" | "resistive" | "real" => Current::InPhase,
            _ => Current::Total,
        }
    }

    fn written(
        &self,
        columns: &Columns,
        field: Field,
        cell: Cell<'_>,
    ) -> std::result::Result<Option<Written>, Wrong> {
        Ok(Some(match cell {
            Cell::Empty => match self.layout.fixed.get(&field) {
                Some(text) => number(text, super::cell::DecimalSign::Point)
                    .ok_or_else(|| self.wrong(columns, field, "a number", text))?,
                None => return Ok(None),
            },
            Cell::Number(x) => Written {
                number: crate::records::Decimal::from_f64(x)
                    .ok_or_else(|| self.wrong(columns, field, "a number", &x.to_string()))?,
                unit: None,
                side: 0,
            },
            Cell::Text("-" | "–" | "—") => return Ok(None),
            Cell::Text(text) => number(text, self.layout.sign)
                .ok_or_else(|| self.wrong(columns, field, "a number", text))?,
            other => return Err(self.wrong(columns, field, "a number", &other.shown())),
        }))
    }

    /// A written number in powers of ten of its base unit.
    fn scaled(
        &self,
        columns: &Columns,
        field: Field,
        written: Written,
        power: i32,
    ) -> std::result::Result<i64, Wrong> {
        let canonical = field.quantity();
        let unit = match (written.unit, canonical) {
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
            self.wrong(
                columns,
                field,
                "a number of usual size",
                "a number too large",
            )
        })
    }

    fn amount<'c>(
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

    fn whole<'c>(
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

    fn factor_set<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        cell: &impl Fn(usize) -> Cell<'c>,
    ) -> std::result::Result<u32, Wrong> {
        let mut levels = std::mem::take(&mut self.levels);
        levels.0.clear();
        for (field, _) in BUILT_IN_FACTORS {
            levels.0.push(self.text(columns, field, get(field))?);
        }
        for n in 0..self.words.factor_values.len() {
            let column = columns.factors.get(n).copied().flatten().map(usize::from);
            let found = column.map_or(Cell::Empty, cell);
            if let (Cell::Broken(found), Some(column)) = (found, column) {
                return Err(Wrong {
                    column: self.layout.names[column].clone(),
                    expected: "text".to_owned(),
                    found: found.to_owned(),
                });
            }
            let shown: Cow<'_, str> = match found {
                Cell::Text(t) => Cow::Borrowed(t),
                other => Cow::Owned(other.shown()),
            };
            let slot = Field::COUNT + n;
            let code = match self.texts[slot].get(&*shown) {
                Some(&code) => code,
                None => {
                    let mapped = self.words.factor_values[n].get(&squeeze(&shown));
                    let code = self.book.texts.code(mapped.unwrap_or(&shown.to_string()));
                    self.texts[slot].insert(shown.into_owned(), code);
                    code
                }
            };
            levels.0.push(code);
        }
        let code = match self.factors.get(&levels) {
            Some(&code) => code,
            None => {
                let code = self.book.factors.code(&levels);
                self.factors.insert(levels.clone(), code);
                code
            }
        };
        self.levels = levels;
        Ok(code)
    }

    fn air<'c>(
        &mut self,
        columns: &Columns,
        get: &impl Fn(Field) -> Cell<'c>,
        station: u32,
        time: i64,
    ) -> std::result::Result<(), Wrong> {
        if columns.get(Field::Humidity).is_none() && columns.get(Field::Temperature).is_none() {
            return Ok(());
        }
        let read = |field| {
            self.written(columns, field, get(field))
                .ok()
                .flatten()
                .map(|w| w.number.to_f64())
        };
        let (humidity, temperature) = (read(Field::Humidity), read(Field::Temperature));
        let sums = AirSums {
            humidity: humidity.map_or((0.0, 0), |h| (h, 1)),
            temperature: temperature.map_or((0.0, 0), |t| (t, 1)),
        };
        let day = crate::records::day_of(time, self.words.day_starts_s);
        self.batch.air.entry((station, day)).or_default().add(&sums);
        Ok(())
    }

    /// Keeps the serial as written and gives it as it is compared.
    fn serial(&mut self, cell: Cell<'_>) -> String {
        let mut plain = std::mem::take(&mut self.plain);
        plain.clear();
        let mapped;
        let written = match cell {
            Cell::Text(t) if !self.words.values.contains_key(&Field::Serial) => t,
            other => {
                mapped = self.words_of(Field::Serial, other);
                &mapped
            }
        };
        for c in written.chars() {
            self.batch.serials.push(if c == '\n' { ' ' } else { c });
            if c.is_ascii() {
                if !c.is_ascii_whitespace() && c != '-' && c != '_' {
                    plain.push(c.to_ascii_lowercase());
                }
            } else if !c.is_whitespace() && !"–—".contains(c) {
                plain.extend(c.to_lowercase());
            }
        }
        self.batch.serials.push('\n');
        plain
    }

    /// Whether a table says anything about a field.
    fn has(&self, columns: &Columns, field: Field) -> bool {
        columns.get(field).is_some() || self.layout.fixed.contains_key(&field)
    }

    fn model_facts(&mut self, code: u32, cell: Cell<'_>) -> Rc<ModelFacts> {
        if let Some(facts) = self.models.get(&code) {
            return facts.clone();
        }
        let name = self.words_of(Field::Model, cell);
        let facts = Rc::new(ModelFacts {
            is_check_load: self.words.check_loads.contains(&plain_serial(&name)),
            limits: self
                .words
                .model_limits
                .get(&name)
                .copied()
                .unwrap_or_default(),
            name,
        });
        self.models.insert(code, facts.clone());
        facts
    }
}

/// A failure's class from its reading (design section 4).
fn derived_failure(reading_pa: i64, shown: Shown, limits: Limits) -> Outcome {
    let known = matches!(shown, Shown::Value | Shown::Above);
    if known && limits.high_pa.is_some_and(|h| reading_pa >= h) {
        Outcome::OverLimit
    } else if shown == Shown::Value && limits.low_pa.is_some_and(|l| reading_pa < l) {
        Outcome::UnderLimit
    } else {
        Outcome::Breakdown
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

/// At most 80 characters of what was found, on one line.
fn shorten(text: &str) -> String {
    let flat: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    if flat.chars().count() <= 80 {
        flat
    } else {
        format!("{}…", flat.chars().take(79).collect::<String>())
    }
}
