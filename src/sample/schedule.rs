//! From visits to rows: every station's day in the order in which it happened.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use chrono::{Duration, NaiveDate, NaiveDateTime, NaiveTime};

use super::calendar::{self, Shift, day};
use super::chance::Chance;
use super::check_loads;
use super::models::Setting;
use super::physics;
use super::stations::Station;
use super::stories;
use super::testing::{self, Draft, Outcome, Shown, Visit};
use super::units::{Part, Unit};

/// Why a row as written cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spoiled {
    /// Its reading is `#,##`.
    Reading,
    /// Its date is 31.02.2026.
    Date,
    /// Its outcome is `??`.
    Outcome,
    /// It ends in the middle.
    Cut,
}

/// One row of one station: one test of one unit, or of a check load.
#[derive(Clone, Debug)]
pub struct Test {
    /// Where it was made.
    pub station: Station,
    /// When, by a clock that is right and is never set back; rows are in this order.
    pub instant: NaiveDateTime,
    /// When, as the station writes it.
    pub printed: NaiveDateTime,
    /// The model, or `CHECK`.
    pub model: &'static str,
    /// Serial as written; may be blank.
    pub serial: String,
    /// Which unit it was; none for check loads.
    pub(super) unit: Option<usize>,
    /// Its part in the stories.
    pub(super) part: Part,
    /// How it was set.
    pub setting: Setting,
    /// Voltage as read back, V.
    pub measured_v: f64,
    /// The reading as shown.
    pub shown: Shown,
    /// The reading before it was rounded, mA.
    pub(super) exact_ma: f64,
    /// How it ended.
    pub outcome: Outcome,
    /// Whether it ended in the ramp.
    pub in_ramp: bool,
    /// Lot; blank for check loads.
    pub lot: String,
    /// Filter column.
    pub filter: &'static str,
    /// Shift.
    pub shift: Shift,
    /// Who tested.
    pub operator: &'static str,
    /// Remark column.
    pub remark: &'static str,
    /// Room temperature, °C.
    pub temperature_c: f64,
    /// Room humidity, %.
    pub humidity_pct: f64,
    /// Resistance of the earth bond, mΩ, tested beside it at B1.
    pub bond_mohm: f64,
    /// Number of the visit or immediate retest, from 1.
    pub(super) attempt: u8,
    /// One of the tests of a fault-locating run, its unmarked first one excepted.
    pub(super) fault_locating: bool,
    /// The outcome contradicts the reading.
    pub(super) contradicted: bool,
    /// The station's clock was wrong beyond belief.
    pub(super) clock_wrong: bool,
    /// Unreadable as written.
    pub spoiled: Option<Spoiled>,
}

impl Test {
    /// Whether it is of a check load.
    pub fn is_check(&self) -> bool {
        self.unit.is_none()
    }

    /// The month in whose file it stands.
    pub(super) fn month(&self) -> String {
        calendar::month_name(self.instant.date())
    }
}

/// Humidity in % and temperature in °C of one day, as the stations write them.
#[derive(Clone, Copy)]
struct Room {
    humidity_pct: f64,
    temperature_c: f64,
}

/// Everything that one unit does at one station on one day.
struct Job {
    unit: usize,
    planned: i64,
    visits: Vec<Visit>,
    lot: String,
}

/// All rows, by station, each in the order of its tests.
pub(super) fn rows(seed: u64, units: &[Unit]) -> BTreeMap<Station, Vec<Test>> {
    let weather = weather(seed);
    let mut chance = Chance::new(seed, "tests");
    let mut jobs: BTreeMap<(Station, NaiveDate), Vec<Job>> = BTreeMap::new();
    for (i, unit) in units.iter().enumerate() {
        let humidity = weather[&unit.day].humidity_pct;
        let visits = testing::visits(unit, humidity, &mut chance);
        let planned = unit.planned;
        let job = Job { unit: i, planned, visits, lot: unit.lot.clone() };
        jobs.entry((unit.station, unit.day)).or_default().push(job);
        if let Some(date) = unit.reworked {
            let letters = unit.model.lot_letters(unit.filter);
            let job = Job {
                unit: i,
                planned: unit.shift.begins() + chance.whole(900, 7 * 3600),
                visits: vec![testing::rework_visit(unit, &mut chance)],
                lot: calendar::lot_name(letters, calendar::lot_start(date)),
            };
            jobs.entry((unit.station, date)).or_default().push(job);
        }
    }
    let mut chance = Chance::new(seed, "stations");
    let mut all: BTreeMap<Station, Vec<Test>> = BTreeMap::new();
    for station in Station::ALL {
        for (date, room) in &weather {
            let mut day_rows = Vec::new();
            if calendar::is_production_day(*date) {
                checks(station, *date, *room, &mut chance, &mut day_rows);
            }
            let today = jobs.remove(&(station, *date)).unwrap_or_default();
            product(station, *date, *room, units, today, &mut chance, &mut day_rows);
            all.entry(station).or_default().extend(day_rows);
        }
    }
    all
}

fn weather(seed: u64) -> BTreeMap<NaiveDate, Room> {
    let mut chance = Chance::new(seed, "weather");
    let tenth = |x: f64| (x * 10.0).round() / 10.0;
    let mut days = calendar::production_days();
    days.push(calendar::overtime_night());
    days.sort_unstable();
    days.into_iter()
        .map(|date| {
            let humidity = physics::humidity_pct(date) + chance.normal(physics::HUMIDITY_SD);
            let temperature = physics::temperature_c(date) + chance.normal(0.8);
            let room = Room {
                humidity_pct: tenth(humidity.clamp(5.0, 99.0)),
                temperature_c: tenth(temperature),
            };
            (date, room)
        })
        .collect()
}

/// The wall clock, seconds after midnight in tenths: in the night of overtime it is set back an hour
/// at 03:00.
fn at(date: NaiveDate, tenths: i64) -> NaiveDateTime {
    date.and_time(NaiveTime::MIN) + Duration::seconds(tenths.div_euclid(10))
}

fn printed(station: Station, instant: NaiveDateTime) -> NaiveDateTime {
    let date = instant.date();
    let three = date.and_time(NaiveTime::MIN) + Duration::hours(3);
    if date == calendar::overtime_night() && instant >= three {
        return instant - Duration::hours(1);
    }
    // B2 stays on summer time for two weeks.
    if station == Station::B2 && (day(2025, 10, 26)..=day(2025, 11, 7)).contains(&date) {
        return instant + Duration::hours(1);
    }
    instant
}

fn checks(station: Station, date: NaiveDate, room: Room, chance: &mut Chance, out: &mut Vec<Test>) {
    let begins = Shift::Early.begins();
    let broken = station == Station::B2 && date == stories::broken_lead_day();
    let first = begins + chance.whole(10, 90);
    let second = if broken {
        begins + 120 + chance.whole(2, 40)
    } else {
        begins + 120 + chance.whole(0, 150)
    };
    let drafts = check_loads::check_drafts(station, date, chance);
    for ((draft, name), seconds) in
        drafts.into_iter().zip(["LOAD-PASS", "LOAD-FAIL"]).zip([first, second])
    {
        let instant = at(date, seconds * 10);
        let row = row(station, instant, room, draft, Shift::Early, chance);
        out.push(Test { model: "CHECK", serial: name.to_string(), ..row });
    }
}

/// Places the jobs of a day one after the other: a visit that finds the station busy waits, and what
/// follows it waits as long.
fn product(
    station: Station,
    date: NaiveDate,
    room: Room,
    units: &[Unit],
    jobs: Vec<Job>,
    chance: &mut Chance,
    out: &mut Vec<Test>,
) {
    let mut queue: BinaryHeap<Reverse<(i64, usize, usize)>> =
        jobs.iter().enumerate().map(|(j, job)| Reverse((job.planned * 10, j, 0))).collect();
    let mut free = 0;
    while let Some(Reverse((planned, j, v))) = queue.pop() {
        let job = &jobs[j];
        let visit = &job.visits[v];
        let begins = planned.max(free);
        let unit = &units[job.unit];
        for draft in &visit.tests {
            let instant = at(date, begins + draft.offset_ds);
            free = begins + draft.offset_ds + 150;
            let row = row(station, instant, room, draft.clone(), unit.shift, chance);
            out.push(Test {
                model: unit.model.name(),
                serial: unit.serial.clone(),
                unit: Some(job.unit),
                part: unit.part,
                lot: job.lot.clone(),
                filter: stories::filter_text(unit.filter),
                ..row
            });
        }
        if let Some(next) = job.visits.get(v + 1) {
            queue.push(Reverse((begins + next.delay * 10, j, v + 1)));
        }
    }
}

fn row(
    station: Station,
    instant: NaiveDateTime,
    room: Room,
    draft: Draft,
    shift: Shift,
    chance: &mut Chance,
) -> Test {
    Test {
        station,
        instant,
        printed: printed(station, instant),
        model: "",
        serial: String::new(),
        unit: None,
        part: Part::Plain,
        measured_v: (draft.setting.volts * (1.0 + chance.normal(0.004))).round(),
        setting: draft.setting,
        shown: draft.shown,
        exact_ma: draft.exact_ma,
        outcome: draft.outcome,
        in_ramp: draft.in_ramp,
        lot: String::new(),
        filter: "",
        shift,
        operator: station.operator(shift),
        remark: draft.remark,
        temperature_c: room.temperature_c,
        humidity_pct: room.humidity_pct,
        bond_mohm: (62.0 + chance.normal(6.0)).round(),
        attempt: draft.attempt,
        fault_locating: draft.fault_locating,
        contradicted: draft.contradicted,
        clock_wrong: false,
        spoiled: None,
    }
}
