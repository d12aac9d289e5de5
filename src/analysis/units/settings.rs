//! The settings record: what was set for each model at each station, when it changed, and where it differs.
//!
//! First tests only; a retest at a lower voltage is no change of settings. A value and back within a day is
//! one happening, more than 20 changes are one that varies. Blanks say nothing. An event within three days
//! explains a change. What the config requires (`required_v`, `required_dwell_s`) holds for withstand
//! tests.

use std::collections::BTreeMap;

use rayon::prelude::*;
use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};

use crate::config::Config;
use crate::day::{Day, as_date};
use crate::series::{Current, Limits, Pass, SeriesKey, SeriesName, Test, TestKind, TestSettings};
use crate::words::currents::PRINTED_IN_UA_BELOW_MA;
use crate::words::time::{as_time, as_time_if_any, clock};
use crate::words::{count, three_digits};

/// Runs of equal settings beyond which a setting is said to vary instead of each change being listed.
const MOST_RUNS: usize = 20;
/// A station's setting is compared with others if it tested the model in so many last days.
const RECENT: Day = 60;

/// What can be set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Setting {
    /// Test voltage, V.
    Voltage,
    /// Frequency, Hz.
    Frequency,
    /// Time at full voltage, s.
    Dwell,
    /// Time to full voltage, s.
    Ramp,
    /// High limit, mA.
    HighLimit,
    /// Low limit, mA.
    LowLimit,
}

impl Setting {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Voltage, Self::Frequency, Self::Dwell, Self::Ramp, Self::HighLimit, Self::LowLimit];

    /// Whether it is a limit: it moves no reading.
    #[must_use]
    pub fn is_limit(self) -> bool {
        matches!(self, Self::HighLimit | Self::LowLimit)
    }

    /// Words for people.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Voltage => "voltage",
            Self::Frequency => "frequency",
            Self::Dwell => "dwell",
            Self::Ramp => "ramp",
            Self::HighLimit => "high limit",
            Self::LowLimit => "low limit",
        }
    }

    /// Unit of its values.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::Voltage => "V",
            Self::Frequency => "Hz",
            Self::Dwell | Self::Ramp => "s",
            Self::HighLimit | Self::LowLimit => "mA",
        }
    }

    /// A value of it with its unit.
    #[must_use]
    pub fn value_words(self, value: Option<f64>) -> String {
        match (self, value) {
            (_, None) => "none".to_owned(),
            (Self::HighLimit | Self::LowLimit, Some(v)) if v < PRINTED_IN_UA_BELOW_MA => {
                format!("{} µA", three_digits(1000.0 * v))
            }
            (Self::HighLimit | Self::LowLimit, Some(v)) => format!("{v:.2} mA"),
            (_, Some(v)) => format!("{} {}", three_digits(v), self.unit()),
        }
    }
}

/// Two keys: `what` and its `unit`.
impl Serialize for Setting {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut keys = to.serialize_struct("Setting", 2)?;
        keys.serialize_field("what", self.words())?;
        keys.serialize_field("unit", self.unit())?;
        keys.end()
    }
}

fn as_words<S: Serializer>(what: &Setting, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(what.words())
}

/// A change of one setting at one or more stations.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingChange {
    /// Production day.
    #[serde(rename = "date", serialize_with = "as_date")]
    pub day: Day,
    /// Time of the first test at the new value (of several stations: the earliest).
    #[serde(rename = "tested_at", serialize_with = "as_time")]
    pub time: i64,
    /// Stations that changed so on that day; sorted.
    #[serde(rename = "station", serialize_with = "joined_by_comma")]
    pub stations: Vec<String>,
    /// Series of the first test at the new value.
    #[serde(flatten)]
    pub series: SeriesName,
    /// What changed.
    #[serde(flatten)]
    pub what: Setting,
    /// Value before; `None`: none was set.
    pub from: Option<f64>,
    /// Value since; `None`: none is set.
    pub to: Option<f64>,
    /// First tests at the new value.
    pub tests: u64,
    /// Time of the last of them, where the value before came back within the production day.
    #[serde(serialize_with = "as_time_if_any")]
    pub back_after: Option<i64>,
    /// Further changes of a setting that goes to and fro, beyond this first one.
    #[serde(skip)]
    pub further: u64,
}

fn joined_by_comma<S: Serializer>(names: &[String], to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&names.join(", "))
}

impl SettingChange {
    /// Whether it was taken back, or goes on to and fro; empty where neither.
    #[must_use]
    pub fn back_words(&self) -> String {
        match (self.further, self.back_after) {
            (0, None) => String::new(),
            (0, Some(until)) => {
                let tests = count(self.tests, "test");
                format!("for {tests}, from {} to {}", clock(self.time), clock(until))
            }
            (further, _) => format!("(and {further} further changes)"),
        }
    }
}

/// A setting that differs between stations at the end of the record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingDiffers {
    /// A series of the model's test.
    #[serde(flatten)]
    pub series: SeriesName,
    /// What differs.
    #[serde(serialize_with = "as_words")]
    pub what: Setting,
    /// Value in words at each station that tested the model lately.
    pub values: BTreeMap<String, String>,
}

/// Tests made at less than the config requires of the model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingShort {
    /// Series of the first such test.
    #[serde(flatten)]
    pub series: SeriesName,
    /// Station.
    pub station: String,
    /// What falls short: voltage or dwell.
    #[serde(flatten)]
    pub what: Setting,
    /// What is required.
    pub required: f64,
    /// Lowest value set.
    pub lowest: f64,
    /// First tests so made.
    pub tests: u64,
    /// First production day.
    #[serde(serialize_with = "as_date")]
    pub from: Day,
    /// Last one.
    #[serde(serialize_with = "as_date")]
    pub to: Day,
}

/// All that the settings record shows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SettingsRecord {
    /// Changes, in order of time.
    pub changes: Vec<SettingChange>,
    /// Differences between stations.
    pub differs: Vec<SettingDiffers>,
    /// What falls short of the requirements.
    pub short: Vec<SettingShort>,
}

/// What makes series one test of one model, whatever its voltage or dwell.
fn of_one_test(key: &SeriesKey) -> (&str, TestKind, &str, &str, Current) {
    (&key.model, key.test, &key.test_point, &key.step, key.current)
}

/// Reads the settings record of all first tests. A value that a file does not give is not known, and says
/// nothing; only a missing low limit means that none was set.
#[must_use]
pub fn settings(pass: &Pass, config: &Config) -> SettingsRecord {
    let mut groups: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for (n, series) in pass.series.iter().enumerate() {
        groups.entry(of_one_test(&series.key)).or_default().push(n);
    }
    let names = pass.names();
    let groups: Vec<Vec<usize>> = groups.into_values().collect();
    let parts: Vec<SettingsRecord> =
        groups.par_iter().map(|members| of_group(pass, &names, members, config)).collect();
    let mut record = SettingsRecord::default();
    for part in parts {
        record.changes.extend(part.changes);
        record.differs.extend(part.differs);
        record.short.extend(part.short);
    }
    record.changes = joined(record.changes);
    record
}

/// The settings record of the series that are one test of one model.
fn of_group(
    pass: &Pass,
    names: &[SeriesName],
    members: &[usize],
    config: &Config,
) -> SettingsRecord {
    let mut record = SettingsRecord::default();
    let stations = stations_of(pass, members);
    let Some(last_day) = stations.iter().filter_map(|s| Some(s.tests.last()?.day())).max() else {
        return record;
    };
    for what in Setting::ALL {
        let mut latest: BTreeMap<u16, Option<i64>> = BTreeMap::new();
        for station in &stations {
            let runs = &station.runs[what as usize];
            record.changes.extend(changes(pass, names, runs, what));
            if let Some(run) = runs.last()
                && last_day - run.last.day() <= RECENT
            {
                latest.insert(run.last.station(), run.value);
            }
        }
        let mut values: Vec<Option<i64>> = latest.values().copied().collect();
        values.sort_unstable();
        values.dedup();
        if values.len() > 1 {
            record.differs.push(SettingDiffers {
                series: names[members[0]].clone(),
                what,
                values: latest
                    .into_iter()
                    .map(|(station, v)| {
                        (
                            pass.plant.stations[usize::from(station)].clone(),
                            what.value_words(v.map(|v| in_unit(what, v))),
                        )
                    })
                    .collect(),
            });
        }
    }
    record.short = short(pass, names, members[0], &stations, config);
    record
}

/// A value as it was set, in its unit.
#[must_use]
pub fn in_unit(what: Setting, value: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "settings are far below 2^53")]
    let value = value as f64;
    match what {
        Setting::HighLimit | Setting::LowLimit => value / 1e9,
        _ => value / 1000.0,
    }
}

/// The first tests at one station, in order of time, and for each setting its runs of one value.
#[derive(Default)]
struct Station<'a> {
    tests: Vec<Test<'a>>,
    runs: [Vec<Run<'a>>; 6],
}

/// A run of tests at one value.
struct Run<'a> {
    value: Option<i64>,
    first: Test<'a>,
    last: Test<'a>,
    tests: u64,
}

/// First tests of some series, station by station.
fn stations_of<'a>(pass: &'a Pass, members: &[usize]) -> Vec<Station<'a>> {
    let mut stations: BTreeMap<u16, Station<'a>> = BTreeMap::new();
    for of_series in members.iter().flat_map(|&n| pass.tests_of(n)) {
        stations.entry(of_series.station).or_default().tests.extend(of_series.used());
    }
    for Station { tests, runs } in stations.values_mut() {
        // Several series follow each other so far, each in order.
        tests.sort_by(|a, b| a.in_time().cmp(&b.in_time()));
        for &test in tests.iter() {
            let set = all_set(test.settings(), test.limits());
            for (what, runs) in Setting::ALL.into_iter().zip(&mut *runs) {
                let value = set[what as usize];
                if value.is_none() && what != Setting::LowLimit {
                    continue;
                }
                let count = u64::from(test.count());
                match runs.last_mut().filter(|run| run.value == value) {
                    Some(run) => {
                        run.last = test;
                        run.tests += count;
                    }
                    None => runs.push(Run { value, first: test, last: test, tests: count }),
                }
            }
        }
    }
    stations.into_values().collect()
}

fn changes(
    pass: &Pass,
    names: &[SeriesName],
    runs: &[Run<'_>],
    what: Setting,
) -> Vec<SettingChange> {
    let value = |run: &Run<'_>| run.value.map(|v| in_unit(what, v));
    let mut found = Vec::new();
    let mut n = 1;
    while n < runs.len() {
        let (before, run) = (&runs[n - 1], &runs[n]);
        // To another value and back within one day is one happening.
        let back = runs
            .get(n + 1)
            .filter(|next| next.value == before.value && next.first.day() == run.first.day());
        found.push(SettingChange {
            series: names[series_of(run.first)].clone(),
            what,
            time: run.first.time(),
            day: run.first.day(),
            stations: vec![station_of(pass, run.first)],
            from: value(before),
            to: value(run),
            tests: run.tests,
            back_after: back.map(|_| run.last.time()),
            further: 0,
        });
        n += if back.is_some() { 2 } else { 1 };
    }
    if found.len() > MOST_RUNS {
        let further = found.len() as u64 - 1;
        found.truncate(1);
        found[0].further = further;
    }
    found
}

fn series_of(test: Test<'_>) -> usize {
    test.series().expect("the tests asked for are those of a series")
}

fn station_of(pass: &Pass, test: Test<'_>) -> String {
    pass.plant.stations[usize::from(test.station())].clone()
}

/// Equal changes of several stations on one day are one.
fn joined(mut changes: Vec<SettingChange>) -> Vec<SettingChange> {
    changes.sort_by(|a, b| {
        (a.day, &a.series, a.what, a.time).cmp(&(b.day, &b.series, b.what, b.time))
    });
    let mut all: Vec<SettingChange> = Vec::new();
    for change in changes {
        let same = all.iter_mut().find(|c| {
            (c.day, &c.series, c.what, c.from, c.to, c.further)
                == (change.day, &change.series, change.what, change.from, change.to, change.further)
                && c.back_after.is_some() == change.back_after.is_some()
        });
        match same {
            Some(known) => {
                known.stations.extend(change.stations);
                known.stations.sort_unstable();
                known.tests += change.tests;
                known.back_after = known.back_after.max(change.back_after);
            }
            None => all.push(change),
        }
    }
    all
}

/// What the config requires of a model's test; of withstand tests only.
fn required(key: &SeriesKey, config: &Config) -> [Option<(Setting, f64)>; 2] {
    if key.test == TestKind::Leakage {
        return [None; 2];
    }
    let model = key.settings(config);
    [
        model.required_v.map(|v| (Setting::Voltage, v)),
        model.required_dwell_s.map(|s| (Setting::Dwell, s)),
    ]
}

/// Whether a test was made at less than the config requires of its model.
#[must_use]
pub fn falls_short(key: &SeriesKey, set: TestSettings, config: &Config) -> bool {
    let set = all_set(set, Limits::default());
    required(key, config)
        .into_iter()
        .flatten()
        .any(|(what, least)| set[what as usize].is_some_and(|v| in_unit(what, v) < least))
}

/// What was set, by the place of each setting among [`Setting::ALL`]; `None` where it is not known, or no low limit
/// was set.
#[must_use]
pub fn all_set(set: TestSettings, limits: Limits) -> [Option<i64>; 6] {
    [
        set.applied_mv,
        set.frequency_mhz,
        set.dwell_ms,
        set.ramp_ms,
        limits.high_pa,
        limits.low_pa.filter(|low| *low > 0),
    ]
}

/// What falls short of the requirements of a model.
fn short(
    pass: &Pass,
    names: &[SeriesName],
    series: usize,
    stations: &[Station<'_>],
    config: &Config,
) -> Vec<SettingShort> {
    let mut found = Vec::new();
    let required = required(&pass.series[series].key, config);
    for (what, required) in required.into_iter().flatten() {
        for station in stations {
            let runs = &station.runs[what as usize];
            let set = |run: &Run<'_>| run.value.map(|v| in_unit(what, v));
            let low: Vec<&Run<'_>> =
                runs.iter().filter(|r| set(r).is_some_and(|v| v < required)).collect();
            if let (Some(from), Some(to)) = (low.first(), low.last()) {
                found.push(SettingShort {
                    series: names[series_of(from.first)].clone(),
                    station: station_of(pass, from.first),
                    what,
                    required,
                    lowest: low.iter().filter_map(|r| set(r)).fold(f64::INFINITY, f64::min),
                    tests: low.iter().map(|r| r.tests).sum(),
                    from: from.first.day(),
                    to: to.last.day(),
                });
            }
        }
    }
    found
}
