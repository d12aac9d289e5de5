//! Questions about single units: walks along the rows, which nobody else sees.
//!
//! A row is given resolved, as a [`Test`]: a view that costs nothing until it is asked. [`Tests`] are those of
//! one series at one station in order of time, so that a stretch of days is found by halving. What is kept in
//! a finding is a [`NamedTest`].

use std::collections::BTreeSet;
use std::sync::Arc;

use super::at_plant::{AtPlant, Plants};
use super::attempts::UnitHistory;
use super::count::{says, shown};
use super::kinds::{Kept, Kind, Kinds};
use super::order::Block;
use super::row::{Row, Serials, SetAside, Use};
use super::{Pass, Says, Series};
use crate::day::{Day, day_of};
use crate::input::plain_serial;
use crate::records::{Current, Limits, Outcome, Setup, Shown, Source, SourceAt};

/// A later test than this after the first belongs to another day's repair, in seconds: one shift.
const SAME_SHIFT_S: i64 = 8 * 3600;

/// What was set for a test, as the files give it; a blank is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct TestSettings {
    /// Set voltage, mV.
    pub applied_mv: Option<i64>,
    /// Set frequency, mHz.
    pub frequency_mhz: Option<i64>,
    /// Time at full voltage, ms.
    pub dwell_ms: Option<i64>,
    /// Time to full voltage, ms.
    pub ramp_ms: Option<i64>,
}

/// What a setup code means.
#[derive(Debug)]
pub struct SetupFacts {
    /// Index into the pass's series.
    pub series: Option<u32>,
    pub station: u16,
    pub model: String,
    pub settings: TestSettings,
    /// Frequency of the current that leads draw, Hz: 0 where the reading shows none of it (direct voltage, current
    /// in phase).
    pub leads_hertz: Option<f64>,
    /// Place of the settings among [`distinct`] ones.
    pub set: u32,
    /// As the files give it: what they leave blank is blank.
    pub given: Setup,
    /// The plant, empty where none is told, and what files call the model there.
    pub at: AtPlant,
    /// The text of its code in `given`.
    pub test_point: String,
    /// The same.
    pub step: String,
    /// The same.
    pub instrument: String,
}

impl TestSettings {
    fn of(setup: &Setup) -> Self {
        Self {
            applied_mv: setup.applied_mv,
            frequency_mhz: setup.frequency_mhz,
            dwell_ms: setup.dwell_ms,
            ramp_ms: setup.ramp_ms,
        }
    }
}

/// Everything that was set, each once and sorted: codes of setups depend on which thread came first.
pub fn distinct(setups: &[Setup]) -> Vec<TestSettings> {
    setups.iter().map(TestSettings::of).collect::<BTreeSet<_>>().into_iter().collect()
}

impl SetupFacts {
    pub fn new(
        series: Option<u32>,
        station: u16,
        setup: &Setup,
        texts: &[String],
        set: &[TestSettings],
        plants: &Plants,
    ) -> Self {
        let settings = TestSettings::of(setup);
        let place = set.binary_search(&settings).expect("what was set is of these setups");
        let shown = !setup.test.is_dc() && setup.current == Current::Total;
        #[expect(clippy::cast_precision_loss, reason = "frequencies are far below 2^53 mHz")]
        let hertz = setup.frequency_mhz.map(|mhz| mhz as f64 / 1000.0);
        let leads_hertz = if shown { hertz } else { Some(0.0) };
        Self {
            series,
            station,
            model: texts[setup.model as usize].clone(),
            settings,
            leads_hertz,
            set: u32::try_from(place).expect("no more settings than setups"),
            given: *setup,
            at: plants.of(setup.plant, setup.model, texts).unwrap_or_else(|| AtPlant {
                plant: String::new(),
                own: texts[setup.model as usize].clone(),
            }),
            test_point: texts[setup.test_point as usize].clone(),
            step: texts[setup.step as usize].clone(),
            instrument: texts[setup.instrument as usize].clone(),
        }
    }
}

/// All rows in their order, and what their codes mean.
#[derive(Debug)]
pub struct Units {
    pub blocks: Vec<Block>,
    /// What rows share.
    pub kinds: Kinds,
    pub serials: Serials,
    /// By setup code.
    pub setups: Vec<SetupFacts>,
    /// By limits code.
    pub limits: Vec<Limits>,
    /// By number of the table.
    pub sources: Vec<Arc<Source>>,
    /// Units that failed first, in order of series.
    pub histories: Vec<UnitHistory>,
    /// Seconds after midnight at which a production day starts.
    pub day_starts_s: i64,
}

impl Units {
    pub fn rows(&self) -> impl Iterator<Item = &Kept> {
        self.blocks.iter().flat_map(|b| &b.rows)
    }

    /// Drops series without a single counted unit, and keeps every index in step; gives the series left.
    pub fn without_empty(&mut self, series: Vec<Series>) -> Vec<Series> {
        let mut next = 0;
        let moved: Vec<Option<u32>> = series
            .iter()
            .map(|s| {
                let kept = !s.outcomes.is_empty() || !s.tally.is_empty();
                next += u32::from(kept);
                kept.then(|| next - 1)
            })
            .collect();
        let now = |old: Option<u32>| moved[old? as usize];
        self.blocks.iter_mut().for_each(|b| b.series = now(b.series));
        self.setups.iter_mut().for_each(|s| s.series = now(s.series));
        self.histories.retain_mut(|h| {
            let kept = now(Some(h.series));
            h.series = kept.unwrap_or(h.series);
            kept.is_some()
        });
        self.blocks.sort_by_key(|b| (b.series.is_none(), b.series, b.station));
        let kinds = &self.kinds;
        self.histories.sort_by_key(|h| (h.series, h.station, kinds.in_time(&h.last)));
        series.into_iter().zip(moved).filter_map(|(s, kept)| kept.map(|_| s)).collect()
    }
}

/// What a test counts for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counts {
    /// The outcome of a unit, and its leakage.
    Both,
    /// Its outcome alone.
    Outcome,
    /// Its leakage alone: a later test of a unit whose first one said nothing of it.
    Leakage,
}

/// One test of one unit.
#[derive(Debug, Clone, Copy)]
pub struct Test<'a> {
    pass: &'a Pass,
    row: &'a Kept,
}

impl<'a> Test<'a> {
    fn kind(self) -> &'a Kind {
        self.pass.units.kinds.of(self.row)
    }

    fn row(self) -> Row {
        self.pass.units.kinds.row(self.row)
    }

    /// What a line of a tally must say of it beside its outcome; `None` where it counts for nothing.
    pub(super) fn counts(self) -> Option<Counts> {
        match (self.row.is(Row::COUNTED), self.row.is(Row::LEAKAGE)) {
            (true, true) => Some(Counts::Both),
            (true, false) => Some(Counts::Outcome),
            (false, true) => Some(Counts::Leakage),
            (false, false) => None,
        }
    }

    /// Its code among setups.
    pub(super) fn setup_code(self) -> u32 {
        self.kind().setup
    }

    fn setup(self) -> &'a SetupFacts {
        &self.pass.units.setups[self.kind().setup as usize]
    }

    /// Serial as first written; empty where it had none.
    #[must_use]
    pub fn serial(self) -> &'a str {
        self.pass.units.serials.at(self.row.serial)
    }

    /// What tells its unit from others of the model: the serial without case, spaces and dashes; `None` where it
    /// has none.
    #[must_use]
    pub fn unit(self) -> Option<String> {
        Some(plain_serial(self.serial())).filter(|serial| !serial.is_empty())
    }

    /// Index of its series; `None` where it belongs to none with a counted unit.
    #[must_use]
    pub fn series(self) -> Option<usize> {
        self.setup().series.map(|s| s as usize)
    }

    /// Model.
    #[must_use]
    pub fn model(self) -> &'a str {
        &self.setup().model
    }

    /// Index of its station.
    #[must_use]
    pub fn station(self) -> u16 {
        self.setup().station
    }

    /// Seconds since 1970-01-01 00:00 of the plant's own clock.
    #[must_use]
    pub fn time(self) -> i64 {
        self.pass.units.kinds.time(self.row)
    }

    /// Production day.
    #[must_use]
    pub fn day(self) -> Day {
        day_of(self.time(), self.pass.units.day_starts_s)
    }

    /// What it ended with.
    #[must_use]
    pub fn outcome(self) -> Outcome {
        self.kind().outcome
    }

    /// The reading in picoamperes, known to its step; `None` where only a bound, or nothing, was shown.
    #[must_use]
    pub fn value_pa(self) -> Option<i64> {
        let row = self.row();
        (row.shown() == Shown::Value).then_some(row.reading_pa)
    }

    /// What was shown, in picoamperes, and whether it is the reading or a bound; `None` where nothing was.
    #[must_use]
    pub fn shown(self) -> Option<(i64, Says)> {
        shown(&self.row())
    }

    /// What it says about the unit's current, in picoamperes: a trip only that it lay above the limit in force.
    /// `None` where it says nothing.
    #[must_use]
    pub fn says(self) -> Option<(i64, Says)> {
        says(&self.row(), &self.pass.units.limits)
    }

    /// Limits in force.
    #[must_use]
    pub fn limits(self) -> Limits {
        self.pass.units.limits[self.kind().limits as usize]
    }

    /// What was set.
    #[must_use]
    pub fn settings(self) -> TestSettings {
        self.setup().settings
    }

    /// Index of its combination of factor levels.
    #[must_use]
    pub fn factors(self) -> u32 {
        self.kind().factors
    }

    /// Levels of the factors, in the order of their names; empty text where unknown.
    #[must_use]
    pub fn levels(self) -> &'a [String] {
        &self.pass.plant.factor_sets[self.kind().factors as usize]
    }

    /// How many units it stands for.
    #[must_use]
    pub fn count(self) -> u32 {
        self.kind().count
    }

    /// Why it was set aside; `None` where it is used.
    #[must_use]
    pub fn set_aside(self) -> Option<SetAside> {
        match self.row.used {
            Use::Used => None,
            Use::SetAside(reason) => Some(reason),
        }
    }

    /// Whether it was made of a product when it says, whatever became of it.
    #[must_use]
    pub fn is_of_a_product(self) -> bool {
        self.row.used.is_of_a_product()
    }

    /// Whether it repeats a test that the unit had passed at the same station, and not at a lower voltage.
    #[must_use]
    pub fn is_after_pass(self) -> bool {
        self.row.is(Row::AFTER_PASS)
    }

    /// Whether it stands for units counted elsewhere: a line of a tally.
    #[must_use]
    pub fn is_tallied(self) -> bool {
        self.row.is(Row::TALLIED)
    }

    /// Number of its file and sheet among [`Pass::sources`].
    #[must_use]
    pub fn table(self) -> usize {
        self.kind().source.index()
    }

    /// File and sheet.
    #[must_use]
    pub fn source(self) -> &'a Source {
        self.pass.source(self.kind().source)
    }

    /// Line of a text file or row of a sheet, counted from 1.
    #[must_use]
    pub fn line(self) -> u32 {
        self.row.line
    }

    /// Which test of the row it is, where one row holds several.
    #[must_use]
    pub fn part(self) -> u8 {
        self.kind().part
    }

    /// What orders tests: time, then where they stand in the files.
    #[must_use]
    pub fn in_time(self) -> impl Ord {
        self.pass.units.kinds.in_time(self.row)
    }

    /// The same with the names that people find it by.
    #[must_use]
    pub fn named(self) -> NamedTest {
        NamedTest {
            serial: self.serial().to_owned(),
            model: self.model().to_owned(),
            series: self.series(),
            station: self.station(),
            time: self.time(),
            day: self.day(),
            reading_pa: self.shown().map(|(pa, _)| pa),
            count: self.count(),
            lot: self.levels().first().map_or_else(String::new, |lot| lot.trim().to_owned()),
            outcome: self.outcome(),
            limit_pa: self.limits().high_pa,
            source: self.pass.units.sources[self.kind().source.index()].clone(),
            line: self.row.line,
        }
    }
}

/// One test of one unit, with what people find it by.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedTest {
    /// Serial as first written; empty where it had none.
    pub serial: String,
    /// Model.
    pub model: String,
    /// Index of its series; `None` where it belongs to none with a counted unit.
    pub series: Option<usize>,
    /// Index of its station.
    pub station: u16,
    /// Seconds since 1970-01-01 00:00 of the plant's own clock.
    pub time: i64,
    /// Production day.
    pub day: Day,
    /// What was shown, in picoamperes.
    pub reading_pa: Option<i64>,
    /// How many units it stands for.
    pub count: u32,
    /// Lot; empty where none is known.
    pub lot: String,
    /// What it ended with.
    pub outcome: Outcome,
    /// High limit in force, in picoamperes.
    pub limit_pa: Option<i64>,
    /// File and sheet.
    pub source: Arc<Source>,
    /// Line of a text file or row of a sheet, counted from 1.
    pub line: u32,
}

impl NamedTest {
    /// What lists of tests are ordered by: time, station, serial, row.
    #[must_use]
    pub fn in_time(&self) -> impl Ord + '_ {
        (self.time, self.station, &self.serial, self.line)
    }
}

/// The tests of one series at one station, in order of time.
#[derive(Debug, Clone, Copy)]
pub struct Tests<'a> {
    pass: &'a Pass,
    /// Index of the series; `None` for tests that belong to none with a counted unit.
    pub series: Option<usize>,
    /// Index of the station.
    pub station: u16,
    rows: &'a [Kept],
}

impl<'a> Tests<'a> {
    /// Those of some production days, first to last.
    #[must_use]
    pub fn within(mut self, from: Day, to: Day) -> Self {
        let Units { day_starts_s, kinds, .. } = &self.pass.units;
        let day = |r: &Kept| day_of(kinds.time(r), *day_starts_s);
        let first = self.rows.partition_point(|r| day(r) < from);
        let end = self.rows.partition_point(|r| day(r) <= to);
        self.rows = &self.rows[first..end.max(first)];
        self
    }

    /// Those after one time and before another.
    #[must_use]
    pub fn between(mut self, after: Option<i64>, before: i64) -> Self {
        let kinds = &self.pass.units.kinds;
        let first = after.map_or(0, |t| self.rows.partition_point(|r| kinds.time(r) <= t));
        let end = self.rows.partition_point(|r| kinds.time(r) < before);
        self.rows = &self.rows[first..end.max(first)];
        self
    }

    /// Every one, those set aside among them.
    pub fn all(self) -> impl Iterator<Item = Test<'a>> {
        self.rows.iter().map(move |row| self.pass.test(row))
    }

    /// Those that hold for what a row says without its kind, which saves looking it up.
    fn of(self, holds: impl Fn(&Kept) -> bool) -> impl Iterator<Item = Test<'a>> {
        self.rows.iter().filter(move |row| holds(row)).map(move |row| self.pass.test(row))
    }

    /// Used ones.
    pub fn used(self) -> impl Iterator<Item = Test<'a>> {
        self.of(|row| row.used == Use::Used)
    }

    /// Those set aside.
    pub fn not_used(self) -> impl Iterator<Item = Test<'a>> {
        self.of(|row| row.used != Use::Used)
    }

    /// Passes whose reading is in the tally: the first test of each unit that says something of its leakage.
    pub fn passes(self) -> impl Iterator<Item = Test<'a>> {
        self.of(|row| row.is(Row::LEAKAGE)).filter(|t| t.outcome() == Outcome::Pass)
    }

    /// Those of products that were made when they say, whatever became of them.
    pub fn of_products(self) -> impl Iterator<Item = Test<'a>> {
        self.of(|row| row.used.is_of_a_product())
    }
}

impl Pass {
    fn test<'a>(&'a self, row: &'a Kept) -> Test<'a> {
        Test { pass: self, row }
    }

    /// All tests, in order of series and station; those of no series at the end.
    pub fn tests(&self) -> impl Iterator<Item = Tests<'_>> {
        self.tests_in(&self.units.blocks)
    }

    /// The tests of a series, station by station.
    pub fn tests_of(&self, series: usize) -> impl Iterator<Item = Tests<'_>> {
        let place = |b: &Block| b.series.map_or(usize::MAX, |s| s as usize);
        let from = self.units.blocks.partition_point(|b| place(b) < series);
        let to = self.units.blocks.partition_point(|b| place(b) <= series);
        self.tests_in(&self.units.blocks[from..to])
    }

    fn tests_in<'a>(&'a self, blocks: &'a [Block]) -> impl Iterator<Item = Tests<'a>> {
        blocks.iter().map(|b| Tests {
            pass: self,
            series: b.series.map(|s| s as usize),
            station: b.station,
            rows: &b.rows,
        })
    }

    /// Used tests of a series, station by station in order of time.
    pub fn used_of(&self, series: usize) -> impl Iterator<Item = Test<'_>> {
        self.tests_of(series).flat_map(Tests::used)
    }

    /// Passes of a series whose reading is in its tally, station by station in order of time.
    pub fn passes_of(&self, series: usize) -> impl Iterator<Item = Test<'_>> {
        self.tests_of(series).flat_map(Tests::passes)
    }

    /// Files and sheets, in the order read.
    #[must_use]
    pub fn sources(&self) -> &[Arc<Source>] {
        &self.units.sources
    }

    /// File and sheet of a table, by its number.
    #[must_use]
    pub fn source(&self, number: SourceAt) -> &Source {
        &self.units.sources[number.index()]
    }

    /// Units that failed their first completed test, in order of series.
    #[must_use]
    pub fn histories(&self) -> &[UnitHistory] {
        &self.units.histories
    }

    /// Those of one series.
    #[must_use]
    pub fn histories_of(&self, series: usize) -> &[UnitHistory] {
        let all = &self.units.histories;
        let from = all.partition_point(|h| (h.series as usize) < series);
        &all[from..all.partition_point(|h| h.series as usize <= series)]
    }

    /// The first test of a unit that failed.
    #[must_use]
    pub fn first_of<'a>(&'a self, history: &'a UnitHistory) -> Test<'a> {
        self.test(&history.first)
    }

    /// The last test of a unit that failed.
    #[must_use]
    pub fn last_of<'a>(&'a self, history: &'a UnitHistory) -> Test<'a> {
        self.test(&history.last)
    }

    /// Minutes from the first to the last test of a unit that failed; `None` where these are not of one shift.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "a shift has few seconds")]
    pub fn minutes_of(&self, history: &UnitHistory) -> Option<f64> {
        let took = self.last_of(history).time() - self.first_of(history).time();
        (0..=SAME_SHIFT_S).contains(&took).then(|| took as f64 / 60.0)
    }
}
