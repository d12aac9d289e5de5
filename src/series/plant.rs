//! What is known of the plant beside its units: stations, factors, air, check loads and working days.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::kinds::{Kept, Kinds};
use super::order::Block;
use super::people::{OPERATOR, SHIFT};
use super::row::{Row, SetAside, Use};
use super::units::{TestSettings, Units};
use super::{AtPlant, Series, Steps};
use crate::config::Config;
use crate::day::{Day, day_of};
use crate::input::plain_serial;
use crate::records::{AirSums, Outcome, Place, Shown};

/// One test of a check load.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckReading {
    /// Index into the stations.
    pub station: u16,
    /// Seconds since 1970-01-01.
    pub time: i64,
    /// Production day.
    pub day: Day,
    /// The load, as named in the config.
    pub load: String,
    /// What the test ended with.
    pub outcome: Outcome,
    /// Reading in mA, where one was shown.
    pub reading_ma: Option<f64>,
    /// Set voltage, V, where the file gives it.
    pub applied_v: Option<f64>,
    /// Frequency of the current that leads draw, Hz: 0 where the reading shows none of it.
    pub leads_hertz: Option<f64>,
}

/// Mean air of a day.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Air {
    /// Relative humidity, %.
    pub humidity_pct: Option<f64>,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
}

/// A station in one of its shifts.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Post {
    /// Index into the stations.
    pub station: u16,
    /// The shift.
    pub shift: String,
}

/// The plant as the files show it.
#[derive(Debug, Default)]
pub struct Plant {
    /// Stations, sorted; an index is used everywhere.
    pub stations: Vec<String>,
    /// Names of the factors: lot, operator, shift, fixture and the config's.
    pub factor_names: Vec<String>,
    /// Levels of every factor set, in the order of the names; empty text where unknown.
    pub factor_sets: Vec<Vec<String>>,
    /// Everything that was set for a test, each once and sorted.
    pub settings: Vec<TestSettings>,
    /// Station and shift of every operator who worked on one station and one shift only.
    pub posts: BTreeMap<String, Post>,
    /// Reading steps.
    pub steps: Steps,
    /// The plant of each station, where it is told.
    pub at: Vec<Option<AtPlant>>,
    /// Mean air by plant (empty where none is told) and day, over stations that record it.
    pub air: BTreeMap<String, BTreeMap<Day, Air>>,
    /// Tests of check loads, in order of station and time.
    pub checks: Vec<CheckReading>,
    /// Days of which a station is known from lines of tallies alone: they hold no check loads.
    pub tallied_days: BTreeSet<(u16, Day)>,
    /// Days on which each station tested products.
    pub station_days: BTreeMap<u16, BTreeSet<Day>>,
    /// Tests of products by station and day, retests among them.
    pub station_tests: BTreeMap<(u16, Day), u64>,
    /// First and last production day.
    pub days: Option<(Day, Day)>,
}

/// Tests of products at a station on a day.
struct StationDay {
    at: (u16, Day),
    count: u64,
    /// Whether all are lines of a tally.
    tallied: bool,
}

impl Plant {
    /// The plant of a station; empty where it is not told.
    #[must_use]
    pub fn plant_of(&self, station: u16) -> &str {
        let at = self.at.get(usize::from(station)).and_then(Option::as_ref);
        at.map_or("", |at| &at.plant)
    }

    /// All plants, in order; one without a name where none is told.
    #[must_use]
    pub fn plants(&self) -> BTreeSet<&str> {
        (0..=u16::MAX).zip(&self.stations).map(|(n, _)| self.plant_of(n)).collect()
    }

    /// The level of a factor in a combination of levels; empty where unknown, or where there is no such factor.
    #[must_use]
    pub fn level(&self, factor: &str, set: u32) -> &str {
        let place = self.factor_names.iter().position(|name| name == factor);
        place.and_then(|n| self.factor_sets.get(set as usize)?.get(n)).map_or("", |l| l.trim())
    }

    /// Finds who worked on one station and shift only.
    pub(super) fn find_posts(&mut self, series: &[Series]) {
        let places: BTreeSet<(u32, u16)> =
            series.iter().flat_map(|s| &s.outcomes).map(|o| (o.factors, o.station)).collect();
        let mut posts: BTreeMap<String, BTreeSet<Post>> = BTreeMap::new();
        for (set, station) in places {
            let operator = self.level(OPERATOR, set).to_owned();
            let shift = self.level(SHIFT, set).to_owned();
            posts.entry(operator).or_default().insert(Post { station, shift });
        }
        let alone =
            posts.into_iter().filter(|(operator, at)| !operator.is_empty() && at.len() == 1);
        self.posts = alone
            .filter_map(|(operator, at)| Some((operator, at.into_iter().next()?)))
            .filter(|(_, post)| !post.shift.is_empty())
            .collect();
    }

    /// Counts the tests of products by station and day.
    pub(super) fn count_tests(&mut self, blocks: &[Block], kinds: &Kinds, starts_s: i64) {
        let counts: Vec<StationDay> = blocks
            .par_iter()
            .flat_map_iter(|block| {
                let day = |row: &Kept| day_of(kinds.time(row), starts_s);
                let days = block.rows.chunk_by(|a, b| day(a) == day(b));
                let of_day = |rows: &[Kept]| {
                    let tests = rows.iter().filter(|r| r.used.is_of_a_product());
                    let count = tests.map(|r| u64::from(kinds.of(r).count)).sum();
                    let tallied = rows.iter().all(|r| r.is(Row::TALLIED));
                    StationDay { at: (block.station, day(&rows[0])), count, tallied }
                };
                days.map(of_day).filter(|d| d.count > 0).collect::<Vec<_>>()
            })
            .collect();
        let told: BTreeSet<(u16, Day)> =
            counts.iter().filter(|d| !d.tallied).map(|d| d.at).collect();
        for StationDay { at: (station, day), count, .. } in counts {
            *self.station_tests.entry((station, day)).or_default() += count;
            self.station_days.entry(station).or_default().insert(day);
            if !told.contains(&(station, day)) {
                self.tallied_days.insert((station, day));
            }
        }
        let first = self.station_days.values().filter_map(|d| d.first()).min().copied();
        let end = self.station_days.values().filter_map(|d| d.last()).max().copied();
        self.days = first.zip(end);
    }
}

/// Mean air of each plant and day.
pub(super) fn mean_air<'a>(
    air: &BTreeMap<(Place, Day), AirSums>,
    plant: impl Fn(u32) -> &'a String,
) -> BTreeMap<String, BTreeMap<Day, Air>> {
    let mut by: BTreeMap<(&String, Day), AirSums> = BTreeMap::new();
    // Codes depend on which thread came first; sums over few stations are made in value order.
    let mut parts: Vec<((&String, Day), AirSums)> =
        air.iter().map(|((at, day), sums)| ((plant(at.plant), *day), *sums)).collect();
    parts.sort_by(|a, b| {
        a.0.cmp(&b.0)
            .then(a.1.humidity.0.total_cmp(&b.1.humidity.0))
            .then(a.1.temperature.0.total_cmp(&b.1.temperature.0))
    });
    for (at, sums) in parts {
        by.entry(at).or_default().add(&sums);
    }
    let mean = |s: (f64, u32)| (s.1 > 0).then(|| s.0 / f64::from(s.1));
    let mut all: BTreeMap<String, BTreeMap<Day, Air>> = BTreeMap::new();
    for ((plant, day), s) in by {
        let air = Air { humidity_pct: mean(s.humidity), temperature_c: mean(s.temperature) };
        all.entry(plant.clone()).or_default().insert(day, air);
    }
    all
}

/// Tests of check loads, in order of station and time.
pub(super) fn check_readings(units: &Units, config: &Config) -> Vec<CheckReading> {
    let known: BTreeMap<String, &String> =
        config.check_loads.keys().map(|k| (plain_serial(k), k)).collect();
    #[expect(clippy::cast_precision_loss, reason = "currents and volts are far below 2^53")]
    let part = |n: i64, of: f64| n as f64 / of;
    let mut checks: Vec<CheckReading> = units
        .rows()
        .filter(|r| r.is(Row::CHECK_LOAD) && r.used == Use::SetAside(SetAside::CheckLoad))
        .filter_map(|r| {
            let r = units.kinds.row(r);
            let setup = &units.setups[r.setup as usize];
            let load = known
                .get(&plain_serial(units.serials.at(r.serial)))
                .or_else(|| known.get(&plain_serial(&setup.model)))?;
            Some(CheckReading {
                station: setup.station,
                time: r.time,
                day: day_of(r.time, units.day_starts_s),
                load: (*load).clone(),
                outcome: r.outcome,
                reading_ma: (r.shown() == Shown::Value).then(|| part(r.reading_pa, 1e9)),
                applied_v: setup.settings.applied_mv.map(|mv| part(mv, 1000.0)),
                leads_hertz: setup.leads_hertz,
            })
        })
        .collect();
    checks.sort_by(|a, b| {
        (a.station, a.time, &a.load, a.outcome).cmp(&(b.station, b.time, &b.load, b.outcome))
    });
    // A file exported twice repeats its check loads too.
    checks.dedup();
    checks
}
