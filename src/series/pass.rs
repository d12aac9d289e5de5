//! The pass itself: batches in, tallies out.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::attempts::{Rules, SetAside, Swept, UnitHistory, sweep};
use super::clock::ClockTrack;
use super::rows::{Rows, Shard, Use};
use super::setups::{Resolved, resolve};
use super::tally::{FactorLine, OutcomeLine, Says, Series, TallyLine};
use super::{RowView, Steps};
use crate::config::Config;
use crate::day::{Day, day_of};
use crate::error::{Error, Result};
use crate::input::{BUILT_IN_FACTORS, Table, plain_serial};
use crate::note::Note;
use crate::records::{
    AirSums, Batch, Book, Limits, Marks, MeasuredVolts, Outcome, Record, Shown, Source, Unreadable,
};

/// Units are spread over so many shards by their hash, so that they can be swept in parallel.
const SHARDS: usize = 64;

/// Rows read, and where each went: `read = used + set aside + unreadable`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ledger {
    /// Rows read: every test of every row.
    pub read: u64,
    /// Rows used.
    pub used: u64,
    /// Rows set aside, by reason.
    pub set_aside: BTreeMap<SetAside, u64>,
    /// Rows that could not be understood.
    pub unreadable: u64,
    /// Lines that hold no test: blank lines, repeated headers, titles, totals. Not part of `read`.
    pub stepped_over: u64,
}

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
}

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

/// Everything the pass yields.
#[derive(Debug)]
pub struct Pass {
    /// Series, sorted by key.
    pub series: Vec<Series>,
    /// Stations, sorted; an index is used everywhere.
    pub stations: Vec<String>,
    /// Names of the factors: lot, operator, shift, fixture and the config's.
    pub factor_names: Vec<String>,
    /// Levels of every factor set, in the order of the names; empty text where unknown.
    pub factor_sets: Vec<Vec<String>>,
    /// Reading steps.
    pub steps: Steps,
    /// Mean humidity (%) and temperature (°C) by day, over stations that record them.
    pub air: BTreeMap<Day, (Option<f64>, Option<f64>)>,
    /// Tests of check loads, in time order.
    pub checks: Vec<CheckReading>,
    /// Days on which each station tested products.
    pub station_days: BTreeMap<u16, std::collections::BTreeSet<Day>>,
    /// Tests of products by station and day, retests among them.
    pub station_tests: BTreeMap<(u16, Day), u64>,
    /// Units that failed first, in order of series, station and day.
    pub histories: Vec<UnitHistory>,
    /// Where rows went.
    pub ledger: Ledger,
    /// Rows that could not be understood, in order.
    pub unreadable: Vec<Unreadable>,
    /// File and sheet of each source.
    pub sources: Vec<Source>,
    /// All rows, to name serials.
    pub rows: Rows,
    /// Series of each setup code.
    pub series_of_setup: Vec<Option<u32>>,
    /// Station of each setup code.
    pub station_of_setup: Vec<u16>,
    /// Model of each setup code.
    pub model_of_setup: Vec<String>,
    /// What was set, by setup code.
    pub settings_of_setup: Vec<TestSettings>,
    /// Shard and row of the used rows of each series, in no order that may be printed.
    used_rows: Vec<Vec<(u16, u32)>>,
    /// Limits of each limits code.
    pub limits: Vec<Limits>,
    /// Seconds after midnight at which a production day starts.
    pub day_starts_s: i64,
    /// First and last production day of used rows.
    pub days: Option<(Day, Day)>,
    /// What a reader must know.
    pub notes: Vec<Note>,
}

/// Takes batches in order and keeps what the pass needs.
#[derive(Debug)]
pub struct Collector {
    shards: Vec<Shard>,
    clocks: Vec<ClockTrack>,
    shown: hashbrown::HashMap<(u32, i64), u64>,
    days: BTreeMap<Day, u64>,
    air: BTreeMap<(u32, Day), AirSums>,
    measured_v: Vec<MeasuredVolts>,
    unknown_tests: BTreeMap<String, u64>,
    derived: u64,
    unreadable: Vec<Unreadable>,
    stepped_over: u64,
}

impl Default for Collector {
    fn default() -> Self {
        Self {
            shards: (0..SHARDS).map(|_| Shard::default()).collect(),
            clocks: Vec::new(),
            shown: hashbrown::HashMap::new(),
            days: BTreeMap::new(),
            air: BTreeMap::new(),
            measured_v: Vec::new(),
            unknown_tests: BTreeMap::new(),
            derived: 0,
            unreadable: Vec::new(),
            stepped_over: 0,
        }
    }
}

impl Collector {
    /// Takes the next batch.
    pub fn absorb(&mut self, batch: Batch) {
        let mut day_counts: (Day, u64) = (0, 0);
        for record in &batch.records {
            let source = usize::from(record.source);
            if self.clocks.len() <= source {
                self.clocks.resize(source + 1, ClockTrack::default());
            }
            self.clocks[source].follow(record);
            let day = day_of(record.time, 0);
            if day == day_counts.0 {
                day_counts.1 += 1;
            } else {
                *self.days.entry(day_counts.0).or_default() += day_counts.1;
                day_counts = (day, 1);
            }
            if record.shown == Shown::Value && record.outcome == Outcome::Pass {
                *self.shown.entry((record.setup, record.reading_pa)).or_default() +=
                    u64::from(record.count);
            }
            self.derived += u64::from(record.marks.has(Marks::DERIVED));
            let shard = &mut self.shards[(record.unit >> 58) as usize];
            let mut kept = *record;
            kept.serial = u32::try_from(shard.serials.len()).unwrap_or(0);
            shard.serials.push_str(Batch::serial(&batch.serials, record.serial));
            shard.serials.push('\n');
            shard.records.push(kept);
        }
        *self.days.entry(day_counts.0).or_default() += day_counts.1;
        for (key, sums) in &batch.air {
            self.air.entry(*key).or_default().add(sums);
        }
        self.measured_v.extend(batch.measured_v);
        for (name, count) in batch.unknown_tests {
            *self.unknown_tests.entry(name).or_default() += count;
        }
        self.unreadable.extend(batch.unreadable);
        self.stepped_over += batch.stepped_over;
    }

    /// Ends the pass: decides for every row where it goes and counts.
    ///
    /// # Errors
    /// Where no row at all could be used.
    pub fn finish(mut self, tables: &[Table], book: &Book, config: &Config) -> Result<Pass> {
        let texts = book.texts.all();
        let setups = book.setups.all();
        let limits = book.limits.all();
        let resolved = resolve(&setups, &texts, &self.measured_v);
        let sources: Vec<Source> = tables.iter().map(|t| t.source.clone()).collect();
        self.clocks.resize(sources.len(), ClockTrack::default());
        let clocks: Vec<(Vec<(u32, u32)>, bool)> =
            self.clocks.iter().map(|c| (c.jumps(), c.ascending())).collect();
        let mut files: Vec<&std::path::Path> = sources.iter().map(|s| s.file.as_path()).collect();
        files.dedup();
        let file_of: Vec<u32> = sources
            .iter()
            .map(|s| {
                files
                    .iter()
                    .position(|f| *f == s.file)
                    .and_then(|n| u32::try_from(n).ok())
                    .unwrap_or(0)
            })
            .collect();
        let mut shown: BTreeMap<(u16, i64), u64> = BTreeMap::new();
        for ((setup, value), count) in &self.shown {
            if resolved.series[*setup as usize].is_some() {
                *shown.entry((resolved.station[*setup as usize], *value)).or_default() += count;
            }
        }
        let stated: BTreeMap<(u16, i64), i64> = self
            .shown
            .keys()
            .filter_map(|(setup, value)| {
                let step = setups[*setup as usize].reading_step_pa?;
                Some(((resolved.station[*setup as usize], *value), step))
            })
            .collect();
        let steps = Steps::find(&shown, config.step_from_readings).stated(stated);
        drop(shown);
        self.shown = hashbrown::HashMap::new();
        let rules = Rules {
            resolved: &resolved,
            limits: &limits,
            believable: believable(&self.days, config.believable_years),
            clocks: &clocks,
            file_of: &file_of,
            steps: &steps,
            all_days: self.days.iter().filter(|d| *d.1 > 0).count(),
            config,
        };
        let swept: Vec<Swept> = self
            .shards
            .par_iter_mut()
            .enumerate()
            .map(|(n, shard)| sweep(shard, u16::try_from(n).unwrap_or(0), &rules))
            .collect();
        let series = count_up(&self.shards, &swept, &resolved, &limits, config);
        let mut pass = Pass {
            stations: resolved.stations.clone(),
            factor_names: BUILT_IN_FACTORS
                .iter()
                .map(|(_, n)| (*n).to_owned())
                .chain(config.factors.iter().cloned())
                .collect(),
            factor_sets: book
                .factors
                .all()
                .iter()
                .map(|set| set.0.iter().map(|code| texts[*code as usize].clone()).collect())
                .collect(),
            steps,
            air: mean_air(&self.air),
            checks: Vec::new(),
            station_days: BTreeMap::new(),
            station_tests: BTreeMap::new(),
            histories: swept.iter().flat_map(|s| s.histories.iter().copied()).collect(),
            ledger: Ledger::default(),
            unreadable: std::mem::take(&mut self.unreadable),
            sources,
            rows: Rows { shards: self.shards },
            series_of_setup: resolved.series.clone(),
            station_of_setup: resolved.station.clone(),
            model_of_setup: setups.iter().map(|s| texts[s.model as usize].clone()).collect(),
            settings_of_setup: setups
                .iter()
                .map(|s| TestSettings {
                    applied_mv: s.applied_mv,
                    frequency_mhz: s.frequency_mhz,
                    dwell_ms: s.dwell_ms,
                    ramp_ms: s.ramp_ms,
                })
                .collect(),
            used_rows: Vec::new(),
            limits,
            day_starts_s: config.day_starts_s(),
            days: None,
            notes: resolved.notes.clone(),
            series,
        };
        pass.unreadable.sort_by_key(|u| (u.source, u.line));
        pass.series.retain(|s| !s.outcomes.is_empty() || !s.tally.is_empty());
        // Series without a single counted unit are dropped: keep the codes in step.
        let kept: Vec<usize> = resolved
            .keys
            .iter()
            .map(|k| pass.series.binary_search_by(|s| s.key.cmp(k)).unwrap_or(usize::MAX))
            .collect();
        let moved = |old: u32| kept.get(old as usize).and_then(|n| u32::try_from(*n).ok());
        for slot in &mut pass.series_of_setup {
            *slot = slot.and_then(moved);
        }
        pass.histories.retain_mut(|h| match moved(h.series) {
            Some(n) => {
                h.series = n;
                true
            }
            None => false,
        });
        pass.histories.sort_by_key(|h| (h.series, h.station, h.day, h.outcome, h.retests, h.last));
        fill_ledger(&mut pass, self.stepped_over);
        fill_used(&mut pass);
        fill_checks(&mut pass, config, &texts, &setups);
        fill_days(&mut pass, config);
        add_notes(&mut pass, &swept, &self.unknown_tests, self.derived);
        if pass.ledger.used == 0 {
            let first = pass.unreadable.first().map_or_else(String::new, |u| {
                format!(
                    " (the first: {}, row {}, column {:?}: expected {}, found {:?})",
                    pass.sources[usize::from(u.source)],
                    u.line,
                    u.column,
                    u.expected,
                    u.found
                )
            });
            return Err(Error::usage(
                format!(
                    "no row can be used: {} rows read, {} unreadable, {} set aside{first}",
                    pass.ledger.read,
                    pass.ledger.unreadable,
                    pass.ledger.read - pass.ledger.unreadable,
                ),
                "look at how the files were understood with `leakdrift peek`",
            ));
        }
        Ok(pass)
    }
}

impl Pass {
    /// File and row of a record, for people.
    #[must_use]
    pub fn place(&self, record: &Record) -> (&Source, u32) {
        (&self.sources[usize::from(record.source)], record.line)
    }

    /// One row, as a unit's history names it.
    #[must_use]
    pub fn row(&self, (shard, row): (u16, u32)) -> RowView<'_> {
        self.rows.at(shard, row)
    }

    /// Used rows of a series.
    pub fn used_of(&self, series: usize) -> impl Iterator<Item = RowView<'_>> {
        self.used_rows[series].iter().map(|(shard, row)| self.rows.at(*shard, *row))
    }

    /// Used passes of a series, with their serials: whoever lists units filters these.
    pub fn passes_of(&self, series: usize) -> impl Iterator<Item = RowView<'_>> {
        self.used_of(series).filter(|row| row.record.outcome == Outcome::Pass)
    }
}

/// The days that are believed: within so many years of the median day.
fn believable(days: &BTreeMap<Day, u64>, years: f64) -> (Day, Day) {
    let total: u64 = days.values().sum();
    let mut before = 0;
    let median = days.iter().find(|(_, n)| {
        before += **n;
        before * 2 >= total
    });
    let middle = median.map_or(0, |(d, _)| *d);
    #[expect(clippy::cast_possible_truncation, reason = "a few thousand days")]
    let reach = (years * 365.25) as Day;
    (middle - reach, middle + reach)
}

fn mean_air(air: &BTreeMap<(u32, Day), AirSums>) -> BTreeMap<Day, (Option<f64>, Option<f64>)> {
    let mut by_day: BTreeMap<Day, AirSums> = BTreeMap::new();
    // Station codes depend on which thread came first; sums over few stations are made in value order.
    let mut parts: Vec<(Day, AirSums)> = air.iter().map(|((_, d), s)| (*d, *s)).collect();
    parts.sort_by(|a, b| {
        a.0.cmp(&b.0)
            .then(a.1.humidity.0.total_cmp(&b.1.humidity.0))
            .then(a.1.temperature.0.total_cmp(&b.1.temperature.0))
    });
    for (day, sums) in parts {
        by_day.entry(day).or_default().add(&sums);
    }
    let mean = |s: (f64, u32)| (s.1 > 0).then(|| s.0 / f64::from(s.1));
    by_day.into_iter().map(|(d, s)| (d, (mean(s.humidity), mean(s.temperature)))).collect()
}

/// Lines of one series with how often each occurred; their own counts are zero until they are listed.
#[derive(Default)]
struct Counted {
    outcomes: hashbrown::HashMap<OutcomeLine, u32>,
    factors: hashbrown::HashMap<FactorLine, u32>,
    readings: hashbrown::HashMap<TallyLine, u32>,
}

/// Counts the series whose number leaves `part` when divided by `parts`. Every part looks at all chosen
/// rows: a map per series adds up what repeats, where a map per shard would hold nearly every row.
fn count_part(
    part: usize,
    parts: usize,
    shards: &[Shard],
    swept: &[Swept],
    resolved: &Resolved,
    limits: &[Limits],
    starts_s: i64,
) -> BTreeMap<u32, Counted> {
    let mut counted: BTreeMap<u32, Counted> = BTreeMap::new();
    let mine =
        |r: &Record| resolved.series[r.setup as usize].filter(|s| *s as usize % parts == part);
    for (shard, swept) in shards.iter().zip(swept) {
        for n in &swept.counted {
            let r = &shard.records[*n as usize];
            let Some(series) = mine(r) else { continue };
            let line = OutcomeLine {
                day: day_of(r.time, starts_s),
                station: resolved.station[r.setup as usize],
                factors: r.factors,
                limits: limits[r.limits as usize],
                outcome: r.outcome,
                count: 0,
            };
            *counted.entry(series).or_default().outcomes.entry(line).or_default() += r.count;
        }
        for n in &swept.leakage {
            let r = &shard.records[*n as usize];
            let station = resolved.station[r.setup as usize];
            let Some((series, (value_pa, says))) = mine(r).zip(says(r, limits)) else {
                continue;
            };
            let of_series = counted.entry(series).or_default();
            let line = FactorLine { factors: r.factors, station, value_pa, says, count: 0 };
            *of_series.factors.entry(line).or_default() += r.count;
            let day = day_of(r.time, starts_s);
            let line = TallyLine { day, station, value_pa, says, count: 0 };
            *of_series.readings.entry(line).or_default() += r.count;
        }
    }
    counted
}

/// The lines of a map in order, each with its count.
fn listed<L: Ord>(counts: hashbrown::HashMap<L, u32>, with: impl Fn(L, u32) -> L) -> Vec<L> {
    let mut lines: Vec<L> = counts.into_iter().map(|(line, count)| with(line, count)).collect();
    lines.sort_unstable();
    lines
}

/// Tallies and counts of every series, from what the sweep chose.
fn count_up(
    shards: &[Shard],
    swept: &[Swept],
    resolved: &Resolved,
    limits: &[Limits],
    config: &Config,
) -> Vec<Series> {
    let starts = config.day_starts_s();
    let parts = rayon::current_num_threads().max(1);
    let counted: Vec<BTreeMap<u32, Counted>> = (0..parts)
        .into_par_iter()
        .map(|part| count_part(part, parts, shards, swept, resolved, limits, starts))
        .collect();
    let mut series: Vec<Series> = resolved
        .keys
        .iter()
        .map(|key| Series {
            key: key.clone(),
            tally: Vec::new(),
            outcomes: Vec::new(),
            by_factor: Vec::new(),
            under_limit_pa: Vec::new(),
            repeats: (0.0, 0),
        })
        .collect();
    for (n, of_series) in counted.into_iter().flatten() {
        let known = &mut series[n as usize];
        known.outcomes = listed(of_series.outcomes, |l, count| OutcomeLine { count, ..l });
        known.by_factor = listed(of_series.factors, |l, count| FactorLine { count, ..l });
        known.tally = listed(of_series.readings, |l, count| TallyLine { count, ..l });
    }
    for (shard, swept) in shards.iter().zip(swept) {
        for n in &swept.counted {
            let r = &shard.records[*n as usize];
            if r.outcome == Outcome::UnderLimit
                && r.shown == Shown::Value
                && let Some(s) = resolved.series[r.setup as usize]
            {
                series[s as usize].under_limit_pa.push((
                    day_of(r.time, starts),
                    resolved.station[r.setup as usize],
                    r.reading_pa,
                ));
            }
        }
        for (s, (sum, n)) in &swept.repeats {
            let slot = &mut series[*s as usize].repeats;
            slot.0 += sum;
            slot.1 += n;
        }
    }
    for s in &mut series {
        s.under_limit_pa.sort_unstable();
    }
    series
}

/// What a chosen row says about the current; `None` where it says nothing (no limit in force).
fn says(r: &Record, limits: &[Limits]) -> Option<(i64, Says)> {
    if r.outcome == Outcome::OverLimit {
        return limits[r.limits as usize].high_pa.map(|h| (h, Says::Above));
    }
    Some(match r.shown {
        Shown::Value => (r.reading_pa, Says::Value),
        Shown::Below => (r.reading_pa, Says::Below),
        Shown::Above => (r.reading_pa, Says::Above),
        Shown::Nothing => return None,
    })
}

fn fill_ledger(pass: &mut Pass, stepped_over: u64) {
    let mut ledger =
        Ledger { unreadable: pass.unreadable.len() as u64, stepped_over, ..Ledger::default() };
    for row in pass.rows.iter() {
        ledger.read += 1;
        match row.used {
            Use::Used => ledger.used += 1,
            Use::SetAside(reason) => *ledger.set_aside.entry(reason).or_default() += 1,
        }
    }
    ledger.read += ledger.unreadable;
    pass.ledger = ledger;
}

/// Sorts used rows by series once: whoever names units walks only those of its series.
fn fill_used(pass: &mut Pass) {
    let mut used: Vec<Vec<(u16, u32)>> = vec![Vec::new(); pass.series.len()];
    for (n, shard) in pass.rows.shards.iter().enumerate() {
        for (row, (record, kept)) in shard.records.iter().zip(&shard.uses).enumerate() {
            if *kept == Use::Used
                && let Some(series) = pass.series_of_setup[record.setup as usize]
            {
                let at =
                    (u16::try_from(n).unwrap_or(u16::MAX), u32::try_from(row).unwrap_or(u32::MAX));
                used[series as usize].push(at);
            }
        }
    }
    pass.used_rows = used;
}

fn fill_checks(
    pass: &mut Pass,
    config: &Config,
    texts: &[String],
    setups: &[crate::records::Setup],
) {
    let known: BTreeMap<String, &String> =
        config.check_loads.keys().map(|k| (plain_serial(k), k)).collect();
    let starts = config.day_starts_s();
    let mut checks: Vec<CheckReading> = pass
        .rows
        .iter()
        .filter(|r| r.record.marks.has(Marks::CHECK_LOAD) && !r.record.marks.has(Marks::OTHER_TEST))
        .filter_map(|row| {
            let r = row.record;
            let model = &texts[setups[r.setup as usize].model as usize];
            let load = known
                .get(&plain_serial(row.serial()))
                .or_else(|| known.get(&plain_serial(model)))?;
            #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
            let reading_ma = (r.shown == Shown::Value).then(|| r.reading_pa as f64 / 1e9);
            Some(CheckReading {
                station: pass.station_of_setup[r.setup as usize],
                time: r.time,
                day: day_of(r.time, starts),
                load: (*load).clone(),
                outcome: r.outcome,
                reading_ma,
                #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
                applied_v: setups[r.setup as usize].applied_mv.map(|mv| mv as f64 / 1000.0),
            })
        })
        .collect();
    checks.sort_by(|a, b| {
        (a.station, a.time, &a.load, a.outcome).cmp(&(b.station, b.time, &b.load, b.outcome))
    });
    // A file exported twice repeats its check loads too.
    checks.dedup();
    pass.checks = checks;
}

fn fill_days(pass: &mut Pass, config: &Config) {
    let starts = config.day_starts_s();
    let mut tests: hashbrown::HashMap<(u16, Day), u64> = hashbrown::HashMap::new();
    for row in pass.rows.iter() {
        let aside = [SetAside::OtherTest, SetAside::CheckLoad, SetAside::Clock, SetAside::Repeated];
        if matches!(row.used, Use::SetAside(reason) if aside.contains(&reason)) {
            continue;
        }
        let key =
            (pass.station_of_setup[row.record.setup as usize], day_of(row.record.time, starts));
        *tests.entry(key).or_default() += u64::from(row.record.count);
    }
    pass.station_tests = tests.into_iter().collect();
    let mut station_days: BTreeMap<u16, std::collections::BTreeSet<Day>> = BTreeMap::new();
    for (station, day) in pass.station_tests.keys() {
        station_days.entry(*station).or_default().insert(*day);
    }
    let first = station_days.values().filter_map(|d| d.first()).min().copied();
    let end = station_days.values().filter_map(|d| d.last()).max().copied();
    pass.days = first.zip(end);
    pass.station_days = station_days;
}

fn add_notes(pass: &mut Pass, swept: &[Swept], unknown: &BTreeMap<String, u64>, derived: u64) {
    let nameless: u64 = swept.iter().map(|s| s.no_serial).sum();
    if nameless > 0 {
        pass.notes.push(Note::new(format!(
            "{nameless} tests carry no serial or a place holder: each counts as a first attempt of its own",
        )));
    }
    let serials = |choose: &dyn Fn(&Swept) -> &Vec<u32>| {
        let mut names: Vec<String> = swept
            .iter()
            .zip(&pass.rows.shards)
            .flat_map(|(s, shard)| {
                choose(s).iter().map(|n| {
                    Batch::serial(&shard.serials, shard.records[*n as usize].serial).to_owned()
                })
            })
            .collect();
        names.sort();
        names.dedup();
        names
    };
    let placeholders = serials(&|s| &s.placeholders);
    let loads = serials(&|s| &s.probable_loads);
    if !placeholders.is_empty() {
        pass.notes.push(Note::new(format!(
            "serials seen on very many days name no unit and count as first attempts of their own: {}; add them to placeholder_serials, or name them under [check_loads]",
            placeholders.join(", "),
        )));
    }
    if !loads.is_empty() {
        pass.notes.push(Note::new(format!(
            "serials tested on most days at every station were set aside as probable check loads: {}; name them under [check_loads]",
            loads.join(", "),
        )));
    }
    for (name, count) in unknown {
        pass.notes.push(Note::new(format!(
            "{count} rows of a test called {name:?} were set aside as another kind of test; map it under [values.test] if it is one of ac withstand, dc withstand, leakage",
        )));
    }
    if derived > 0 {
        pass.notes.push(Note::new(format!(
            "{derived} failures without a class were classed by their reading against the limits; map the outcome words under [outcomes] to be sure",
        )));
    }
}
