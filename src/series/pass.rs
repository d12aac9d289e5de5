//! The pass itself: rows in, tallies and a store of units out.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use rayon::prelude::*;
use serde::{Serialize, Serializer};

use super::at_plant::Plants;
use super::attempts::{Rules, Swept, sweep};
use super::count::count_up;
use super::order::Places;
use super::people::{OPERATOR, codes};
use super::plant::{check_readings, mean_air};
use super::resolution::Shown;
use super::row::{SetAside, Use};
use super::setups::{Resolved, resolve};
use super::units::{SetupFacts, TestSettings, Units, distinct};
use super::{Called, Collector, Plant, Series, SeriesName, Steps};
use crate::config::{Config, People};
use crate::day::Day;
use crate::error::{Error, Result};
use crate::input::{BUILT_IN_FACTORS, Read};
use crate::note::Note;
use crate::records::{Book, Later, Limits, SerialAt, Setup, Source, Unreadable};

/// Rows read, and where each went: `read = used + set aside + unreadable`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Ledger {
    /// Rows read: every test of every row.
    pub read: u64,
    /// Rows used.
    pub used: u64,
    /// Rows set aside, by reason.
    #[serde(serialize_with = "write_by_words")]
    pub set_aside: BTreeMap<SetAside, u64>,
    /// Rows that could not be understood.
    pub unreadable: u64,
    /// Of these, by outcome; `not known` where that could not be read either.
    pub unreadable_by_outcome: BTreeMap<&'static str, u64>,
    /// Lines that hold no test: blank lines, repeated headers, titles, totals. Not part of `read`.
    #[serde(skip)]
    pub stepped_over: u64,
}

impl Ledger {
    /// Rows set aside, all reasons together.
    #[must_use]
    pub fn set_aside_in_all(&self) -> u64 {
        self.set_aside.values().sum()
    }

    /// Rows set aside by reason, in the order of the words.
    #[must_use]
    pub fn set_aside_by_words(&self) -> BTreeMap<&'static str, u64> {
        by_words(&self.set_aside)
    }
}

fn by_words(set_aside: &BTreeMap<SetAside, u64>) -> BTreeMap<&'static str, u64> {
    set_aside.iter().map(|(reason, n)| (reason.words(), *n)).collect()
}

fn write_by_words<S: Serializer>(
    set_aside: &BTreeMap<SetAside, u64>,
    to: S,
) -> std::result::Result<S::Ok, S::Error> {
    by_words(set_aside).serialize(to)
}

/// Everything the pass yields. Its rows are private: whoever asks about units asks by name, see
/// [`Pass::tests`] and what stands beside it.
#[derive(Debug)]
pub struct Pass {
    /// Series, sorted by key.
    pub series: Vec<Series>,
    /// What each of them is called.
    pub called: Vec<Called>,
    /// Stations, factors, air, check loads and days.
    pub plant: Plant,
    /// Where rows went.
    pub ledger: Ledger,
    /// Rows that could not be understood, in order.
    pub unreadable: Vec<Unreadable>,
    /// Columns not used that say later what they did not at first.
    pub later: Vec<Later>,
    /// What a reader must know.
    pub notes: Vec<Note>,
    /// The rows.
    pub(super) units: Units,
}

/// The texts and setups behind the codes of the rows, and what the setups mean.
struct Known {
    texts: Vec<String>,
    setups: Vec<Setup>,
    resolved: Resolved,
}

/// What was told of limits, tables and instruments.
#[derive(Clone, Copy)]
struct Told<'a> {
    limits: &'a [Limits],
    sources: &'a [Arc<Source>],
    copies: &'a [bool],
    steps: &'a Steps,
}

impl Collector {
    /// Ends the pass: decides for every row where it goes and counts.
    ///
    /// # Errors
    /// Where there are more stations than can be told apart.
    pub fn finish(mut self, read: &Read, book: &Book, config: &Config) -> Result<Pass> {
        let (mut texts, mut setups) = (book.texts.all(), book.setups.all());
        let plants = Plants::tell_apart(&mut setups, &mut self.measured_v, &mut texts, config);
        let mut resolved = resolve(&setups, &texts, &self.measured_v, &plants)?;
        resolved.notes.extend(plants.note(&setups));
        let known = Known { texts, setups, resolved };
        let sources: Vec<Arc<Source>> =
            read.tables.iter().map(|t| Arc::new(t.source.clone())).collect();
        let steps = self.steps(&known, config);
        self.kinds.close();
        let places = Places::new(&known.resolved, &self.kinds);
        let limits = book.limits.all();
        let copies: Vec<bool> = sources.iter().map(|s| read.copies.contains(&s.file)).collect();
        let told = Told { limits: &limits, sources: &sources, copies: &copies, steps: &steps };
        let swept = self.sweep(&known, &told, &places, config);
        let blocks = places.in_order(&self.kinds);
        let starts_s = config.day_starts_s();
        let settings = distinct(&known.setups);
        let setups = setup_facts(&known, &settings, &plants);
        let set_of: Vec<u32> = setups.iter().map(|s| s.set).collect();
        let mut series =
            count_up(&known.resolved.keys, &blocks, &self.kinds, &limits, &set_of, starts_s);
        for (n, (sum, pairs)) in swept.iter().flat_map(|s| &s.repeats) {
            let repeats = &mut series[*n as usize].repeats;
            repeats.0 += sum;
            repeats.1 += pairs;
        }
        let mut units = Units {
            blocks,
            kinds: self.kinds,
            serials: self.serials,
            setups,
            limits,
            sources,
            histories: swept.iter().flat_map(|s| s.histories.iter().copied()).collect(),
            day_starts_s: starts_s,
        };
        series = units.without_empty(series);
        let was = |s: &Series| known.resolved.keys.binary_search(&s.key).ok();
        let was: Vec<Option<u32>> =
            series.iter().map(|s| was(s).and_then(|n| u32::try_from(n).ok())).collect();
        let steps = steps.renumbered(&was);
        let mut plant = Plant {
            stations: known.resolved.stations.clone(),
            at: known.resolved.at.clone(),
            factor_names: factor_names(config),
            factor_sets: factor_sets(book, &known.texts, config.people),
            settings,
            steps,
            air: mean_air(&self.air, |code| {
                let told = if plants.several { code } else { known.setups[0].plant };
                &known.texts[told as usize]
            }),
            checks: check_readings(&units, config),
            ..Plant::default()
        };
        plant.count_tests(&units.blocks, &units.kinds, starts_s);
        plant.find_posts(&series);
        self.unreadable.sort_by_key(|u| (u.source, u.line));
        let notes = known.resolved.notes.into_iter().chain(notes(
            &swept,
            &units,
            &self.unknown_tests,
            self.derived,
        ));
        let notes = notes
            .chain(super::not_used::no_class(&series))
            .chain(super::not_used::two_orders(&self.unreadable, &units.sources))
            .chain(super::not_used::lost_failures(&self.unreadable, &series));
        let ledger = ledger(&units, &self.unreadable, self.stepped_over);
        let notes =
            notes.chain(super::not_used::many(&self.unreadable, ledger.read, &units.sources));
        Ok(Pass {
            ledger,
            called: Called::all(&series),
            series,
            plant,
            unreadable: self.unreadable,
            later: self.later.into_values().collect(),
            notes: notes.collect(),
            units,
        })
    }

    /// The reading steps that readings and files show, by series as they are numbered now.
    fn steps(&mut self, known: &Known, config: &Config) -> Steps {
        let resolved = &known.resolved;
        let counts = std::mem::take(&mut self.shown);
        let mut shown = Shown::new();
        let mut stated: BTreeMap<(u32, u16, i64), i64> = BTreeMap::new();
        for (setup, value, count) in counts.counts() {
            let Some(series) = resolved.series[setup as usize] else { continue };
            let at = (series, resolved.station[setup as usize], value);
            *shown.entry(at).or_default() += count;
            if let Some(step) = known.setups[setup as usize].reading_step_pa {
                stated.insert(at, step);
            }
        }
        Steps::find(&shown, config.step_from_readings).stated(stated)
    }

    /// Decides for every row where it goes, many shards at once; takes the records.
    fn sweep(
        &mut self,
        known: &Known,
        told: &Told<'_>,
        places: &Places,
        config: &Config,
    ) -> Vec<Swept> {
        let Told { limits, sources, copies, steps } = *told;
        self.clocks.resize(sources.len(), super::clock::ClockTrack::default());
        let shards = std::mem::take(&mut self.shards);
        let clocks: Vec<(Vec<(u32, u32)>, bool)> =
            self.clocks.iter().map(|c| (c.jumps(), c.ascending())).collect();
        let rules = Rules {
            resolved: &known.resolved,
            kinds: &self.kinds,
            limits,
            believable: believable(&self.days, config.believable_years),
            clocks: &clocks,
            file_of: &files_of(sources),
            copies,
            steps,
            places,
            all_days: self.days.iter().filter(|d| *d.1 > 0).count(),
            config,
        };
        shards.into_par_iter().map(|shard| sweep(shard, &rules)).collect()
    }
}

/// The file of each table, by number: sheets of one workbook are of one file.
pub(super) fn files_of(sources: &[Arc<Source>]) -> Vec<u32> {
    let mut numbers: BTreeMap<&Path, u32> = BTreeMap::new();
    let mut next = 0..;
    sources
        .iter()
        .map(|s| *numbers.entry(&s.file).or_insert_with(|| next.next().unwrap_or_default()))
        .collect()
}

fn setup_facts(known: &Known, set: &[TestSettings], plants: &Plants) -> Vec<SetupFacts> {
    let resolved = known.resolved.series.iter().zip(&known.resolved.station);
    resolved
        .zip(&known.setups)
        .map(|((series, station), setup)| {
            SetupFacts::new(*series, *station, setup, &known.texts, set, plants)
        })
        .collect()
}

fn factor_names(config: &Config) -> Vec<String> {
    let built_in = BUILT_IN_FACTORS.iter().map(|(_, name)| (*name).to_owned());
    built_in.chain(config.factors.iter().cloned()).collect()
}

fn factor_sets(book: &Book, texts: &[String], people: People) -> Vec<Vec<String>> {
    let levels = |codes: &[u32]| codes.iter().map(|code| texts[*code as usize].clone()).collect();
    let mut sets: Vec<Vec<String>> = book.factors.all().iter().map(|set| levels(&set.0)).collect();
    let operator = BUILT_IN_FACTORS.iter().position(|(_, name)| *name == OPERATOR);
    if let Some(place) = operator.filter(|_| people == People::Coded) {
        let names: Vec<String> = sets.iter().filter_map(|s| s.get(place).cloned()).collect();
        let codes = codes(names.iter().map(String::as_str));
        for name in sets.iter_mut().filter_map(|set| set.get_mut(place)) {
            name.clone_from(&codes[name.as_str()]);
        }
    }
    sets
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

fn ledger(units: &Units, unreadable: &[Unreadable], stepped_over: u64) -> Ledger {
    let mut ledger =
        Ledger { unreadable: unreadable.len() as u64, stepped_over, ..Ledger::default() };
    for row in unreadable {
        let words = row.outcome.map_or("not known", |outcome| outcome.words());
        *ledger.unreadable_by_outcome.entry(words).or_default() += 1;
    }
    for row in units.rows() {
        ledger.read += 1;
        match row.used {
            Use::Used => ledger.used += 1,
            Use::SetAside(reason) => *ledger.set_aside.entry(reason).or_default() += 1,
        }
    }
    ledger.read += ledger.unreadable;
    ledger
}

impl Pass {
    /// The names of all series as findings carry them, in their order.
    #[must_use]
    pub fn names(&self) -> Vec<SeriesName> {
        let named = self.called.iter().zip(&self.series).enumerate();
        named
            .map(|(index, (called, s))| SeriesName {
                index,
                model: s.key.model.clone(),
                id: called.id.clone(),
            })
            .collect()
    }

    /// The pass where it is of use: where at least one row is.
    ///
    /// # Errors
    /// Where none is: how many rows were read, and what is wrong with the first.
    pub fn of_use(self) -> Result<Self> {
        if self.ledger.used == 0 { Err(self.no_row_used()) } else { Ok(self) }
    }

    fn no_row_used(&self) -> Error {
        let first = self.unreadable.first().map_or_else(String::new, |u| {
            format!(
                " (the first: {}, row {}, column {:?}: expected {}, found {:?})",
                self.source(u.source),
                u.line,
                u.column,
                u.expected,
                u.found
            )
        });
        let Ledger { read, unreadable, .. } = self.ledger;
        let first = match (read, &self.units.sources[..]) {
            (0, [one]) => format!(" ({one}: a header, and no row below it)"),
            (0, [one, rest @ ..]) => {
                format!(" ({one}: a header, and no row below it; {} more like it)", rest.len())
            }
            _ => first,
        };
        Error::usage(
            format!(
                "no row can be used: {read} rows read, {unreadable} unreadable, {} set aside{first}",
                read - unreadable,
            ),
            "look at how the files were understood with `leakdrift peek`",
        )
    }
}

fn notes(
    swept: &[Swept],
    units: &Units,
    unknown: &BTreeMap<String, u64>,
    derived: u64,
) -> Vec<Note> {
    let mut notes = Vec::new();
    let nameless: u64 = swept.iter().map(|s| s.no_serial).sum();
    if nameless > 0 {
        notes.push(Note::new(format!(
            "{nameless} tests carry no serial or a place holder: each counts as a first attempt of its own, and which of them never passed is not known",
        )));
    }
    let tallied: u64 = swept.iter().map(|s| s.tallied).sum();
    if tallied > 0 {
        notes.push(Note::first(format!(
            "{tallied} units are known from a tally: it says nothing of retests, units that never passed, passes against their reading and check loads, and names no serial",
        )));
    }
    let serials = |choose: fn(&Swept) -> &Vec<SerialAt>| {
        let all: BTreeSet<&str> =
            swept.iter().flat_map(choose).map(|s| units.serials.at(*s)).collect();
        all.into_iter().collect::<Vec<_>>()
    };
    let placeholders = serials(|s| &s.placeholders);
    let loads = serials(|s| &s.probable_loads);
    if !placeholders.is_empty() {
        notes.push(Note::new(format!(
            "serials seen on very many days name no unit and count as first attempts of their own: {}; add them to placeholder_serials, or name them under [check_loads]",
            placeholders.join(", "),
        )));
    }
    if !loads.is_empty() {
        notes.push(Note::new(format!(
            "serials tested on most days at every station were set aside as probable check loads: {}; name them under [check_loads]",
            loads.join(", "),
        )));
    }
    for (name, count) in unknown {
        notes.push(Note::new(format!(
            "{count} rows of a test called {name:?} were set aside as another kind of test; map it under [values.test] if it is one of ac withstand, dc withstand, leakage",
        )));
    }
    if derived > 0 {
        notes.push(Note::new(format!(
            "{derived} failures without a class were classed by their reading against the limits; map the outcome words under [outcomes] to be sure",
        )));
    }
    notes
}
