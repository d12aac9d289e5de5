//! The settings record: what was set for each model at each station, when it changed, and where it differs.
//!
//! First tests only; a retest at a lower voltage is no change of settings. A value and back within a day is
//! one happening, more than 20 changes are one that varies. Blanks say nothing. An event within three days
//! explains a change. What the config requires (`required_v`, `required_dwell_s`) holds for withstand
//! tests.

use std::collections::BTreeMap;

use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};

use crate::config::Config;
use crate::day::{Day, as_date, day_of};
use crate::records::{Limits, TestKind};
use crate::series::{Pass, SeriesKey, SeriesName, TestSettings, names};
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

/// One first test: time, file order, station, series, and what was set, in the smallest units.
#[derive(Debug, Clone, Copy)]
struct Test {
    time: i64,
    order: (u16, u32, u8),
    station: u16,
    series: usize,
    count: u32,
    set: [Option<i64>; 6],
}

/// What makes series one test of one model, whatever its voltage or dwell.
fn of_one_test(key: &SeriesKey) -> (&str, TestKind, &str, &str, crate::records::Current) {
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
    let names = names(&pass.series);
    let station = |n: u16| pass.stations[usize::from(n)].clone();
    let mut record = SettingsRecord::default();
    for members in groups.values() {
        let tests = tests_of(pass, members);
        let Some(last_day) = tests.iter().map(|t| day(pass, t)).max() else {
            continue;
        };
        for (k, what) in Setting::ALL.into_iter().enumerate() {
            let mut latest: BTreeMap<u16, Option<i64>> = BTreeMap::new();
            for of_station in tests.chunk_by(|a, b| a.station == b.station) {
                let runs = runs_of(of_station, k, what);
                record.changes.extend(changes(pass, &names, &runs, k, what));
                if let Some(last) = runs.last()
                    && last_day - day(pass, last.last) <= RECENT
                {
                    latest.insert(last.first.station, last.first.set[k]);
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
                        .map(|(s, v)| (station(s), what.value_words(v.map(|v| in_unit(what, v)))))
                        .collect(),
                });
            }
        }
        record.short.extend(short(pass, &names, members[0], &tests, config));
    }
    record.changes = joined(record.changes);
    record
}

fn day(pass: &Pass, test: &Test) -> Day {
    day_of(test.time, pass.day_starts_s)
}

fn in_unit(what: Setting, value: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "settings are far below 2^53")]
    let value = value as f64;
    match what {
        Setting::HighLimit | Setting::LowLimit => value / 1e9,
        _ => value / 1000.0,
    }
}

/// First tests of some series, by station and time.
fn tests_of(pass: &Pass, members: &[usize]) -> Vec<Test> {
    let mut tests: Vec<Test> = members
        .iter()
        .flat_map(|&series| {
            pass.used_of(series).map(move |row| {
                let r = row.record;
                let set = pass.settings_of_setup[r.setup as usize];
                let limits = pass.limits[r.limits as usize];
                Test {
                    time: r.time,
                    order: (r.source, r.line, r.part),
                    station: pass.station_of_setup[r.setup as usize],
                    series,
                    count: r.count,
                    set: all_set(set, limits),
                }
            })
        })
        .collect();
    tests.sort_unstable_by_key(|t| (t.station, t.time, t.order));
    tests
}

/// A run of tests at one value.
struct Run<'a> {
    first: &'a Test,
    last: &'a Test,
    tests: u64,
}

fn runs_of<'a>(tests: &'a [Test], k: usize, what: Setting) -> Vec<Run<'a>> {
    let mut runs: Vec<Run<'a>> = Vec::new();
    let known = tests.iter().filter(|t| t.set[k].is_some() || what == Setting::LowLimit);
    for test in known {
        match runs.last_mut().filter(|run| run.first.set[k] == test.set[k]) {
            Some(run) => {
                run.last = test;
                run.tests += u64::from(test.count);
            }
            None => runs.push(Run { first: test, last: test, tests: u64::from(test.count) }),
        }
    }
    runs
}

fn changes(
    pass: &Pass,
    names: &[SeriesName],
    runs: &[Run<'_>],
    k: usize,
    what: Setting,
) -> Vec<SettingChange> {
    let value = |run: &Run<'_>| run.first.set[k].map(|v| in_unit(what, v));
    let mut found = Vec::new();
    let mut n = 1;
    while n < runs.len() {
        let (before, run) = (&runs[n - 1], &runs[n]);
        // To another value and back within one day is one happening.
        let back = runs.get(n + 1).filter(|next| {
            next.first.set[k] == before.first.set[k]
                && day(pass, next.first) == day(pass, run.first)
        });
        found.push(SettingChange {
            series: names[run.first.series].clone(),
            what,
            time: run.first.time,
            day: day(pass, run.first),
            stations: vec![pass.stations[usize::from(run.first.station)].clone()],
            from: value(before),
            to: value(run),
            tests: run.tests,
            back_after: back.map(|_| run.last.time),
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
    match config.model.get(&key.model) {
        Some(model) if key.test != TestKind::Leakage => [
            model.required_v.map(|v| (Setting::Voltage, v)),
            model.required_dwell_s.map(|s| (Setting::Dwell, s)),
        ],
        _ => [None; 2],
    }
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

/// What was set, by the place of each setting among [`Setting::ALL`].
fn all_set(set: TestSettings, limits: Limits) -> [Option<i64>; 6] {
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
    tests: &[Test],
    config: &Config,
) -> Vec<SettingShort> {
    let mut found = Vec::new();
    let required = required(&pass.series[series].key, config);
    for (what, required) in required.into_iter().flatten() {
        for of_station in tests.chunk_by(|a, b| a.station == b.station) {
            let low: Vec<(&Test, f64)> = of_station
                .iter()
                .filter_map(|t| Some((t, in_unit(what, t.set[what as usize]?))))
                .filter(|(_, set)| *set < required)
                .collect();
            if let (Some(first), Some(last)) = (low.first(), low.last()) {
                found.push(SettingShort {
                    series: names[first.0.series].clone(),
                    station: pass.stations[usize::from(first.0.station)].clone(),
                    what,
                    required,
                    lowest: low.iter().map(|l| l.1).fold(f64::INFINITY, f64::min),
                    tests: low.iter().map(|l| u64::from(l.0.count)).sum(),
                    from: day(pass, first.0),
                    to: day(pass, last.0),
                });
            }
        }
    }
    found
}
