//! The factors that may explain a rise, and the level of each that a unit has.
//!
//! Station and model, what the rows say of the unit (lot, operator, shift, fixture, the config's own), and what was
//! set for its test: voltage, frequency, dwell, ramp, both limits, program step. A setting is a factor only
//! where it differs between tests that are one test of one model: everywhere else it is the model in other words.
//!
//! Of two levels with the same failures, what was set comes first and people come last: the setting is what an
//! operator cannot help, and whoever stood there on the day of a wrong ramp is no cause.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use super::change::{Scope, Window};
use crate::analysis::units::settings::{Setting, all_set, in_unit};
use crate::series::{OPERATOR, OutcomeLine, Pass, SHIFT, Series, SeriesKey, Test};

/// The place in the sequence of tests, as a factor.
pub const PROGRAM_STEP: &str = "program step";

/// What a factor is about, in the order in which levels with the same failures are named.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FactorKind {
    /// What was set for the test.
    Set,
    /// What the unit is, and where and when it was tested.
    Thing,
    /// Who tested it.
    Person,
}

/// The kind of a factor, by its name.
#[must_use]
pub fn kind(name: &str) -> FactorKind {
    if name == OPERATOR {
        FactorKind::Person
    } else if name == PROGRAM_STEP || Setting::ALL.iter().any(|s| s.words() == name) {
        FactorKind::Set
    } else {
        FactorKind::Thing
    }
}

/// Whether a factor is of what units are made of: not who tested them, where, when, nor how.
#[must_use]
pub fn is_of_units(name: &str) -> bool {
    kind(name) == FactorKind::Thing && !["station", "model", SHIFT, "fixture"].contains(&name)
}

/// What is known of one unit's test beside its outcome.
#[derive(Debug, Clone, Copy)]
pub struct Tested<'a> {
    pass: &'a Pass,
    series: usize,
    station: u16,
    /// Index of its combination of factor levels.
    levels: u32,
    set: [Option<i64>; 6],
}

impl<'a> Tested<'a> {
    /// Of a line of outcomes of a series.
    #[must_use]
    pub fn of_line(pass: &'a Pass, series: usize, line: &OutcomeLine) -> Self {
        let settings = pass.plant.settings[line.set as usize];
        let set = all_set(settings, line.limits);
        Self { pass, series, station: line.station, levels: line.factors, set }
    }

    /// Of a test; `None` where it belongs to no series.
    #[must_use]
    pub fn of(pass: &'a Pass, test: Test<'a>) -> Option<Self> {
        let set = all_set(test.settings(), test.limits());
        let (station, levels) = (test.station(), test.factors());
        Some(Self { pass, series: test.series()?, station, levels, set })
    }

    /// Its series.
    #[must_use]
    pub fn series(&self) -> usize {
        self.series
    }

    /// Its level of a factor; empty where not known.
    #[must_use]
    pub fn level(&self, factor: &str) -> Cow<'a, str> {
        let key = &self.pass.series[self.series].key;
        Cow::Borrowed(match factor {
            "station" => self.pass.plant.stations[usize::from(self.station)].trim(),
            "model" => key.model.trim(),
            PROGRAM_STEP => key.step.trim(),
            _ => match Setting::ALL.into_iter().find(|s| s.words() == factor) {
                Some(what) => return Cow::Owned(set_words(what, self.set[what as usize])),
                None => self.pass.plant.level(factor, self.levels),
            },
        })
    }
}

/// A value that was set, in words; empty where it is not known.
fn set_words(what: Setting, value: Option<i64>) -> String {
    match value {
        None if what != Setting::LowLimit => String::new(),
        value => what.value_words(value.map(|v| in_unit(what, v))),
    }
}

/// The factors of a scope over some days.
#[derive(Debug)]
pub struct Factors<'a> {
    pass: &'a Pass,
    /// Their names, in the order in which levels are asked for.
    pub names: Vec<String>,
    /// By setting: series of which it tells more than the model does.
    varied: BTreeMap<&'static str, BTreeSet<usize>>,
}

impl<'a> Factors<'a> {
    /// Those of the lines that a scope has in the windows.
    #[must_use]
    pub fn new(pass: &'a Pass, scope: Scope, windows: &[Window]) -> Self {
        let plain = ["station", "model"].into_iter().map(str::to_owned);
        let mut names: Vec<String> = plain.chain(pass.plant.factor_names.iter().cloned()).collect();
        let mut varied: BTreeMap<&'static str, BTreeSet<usize>> = BTreeMap::new();
        let inside = || (0..pass.series.len()).filter(|n| scope.has_series(*n));
        let together = |same: fn(&SeriesKey) -> SeriesKey| {
            let mut groups: BTreeMap<SeriesKey, Vec<usize>> = BTreeMap::new();
            for n in inside() {
                groups.entry(same(&pass.series[n].key)).or_default().push(n);
            }
            groups.into_values()
        };
        for members in together(one_test) {
            let mut values = Setting::ALL.map(|_| BTreeSet::new());
            for n in &members {
                for line in in_windows(&pass.series[*n], scope, windows) {
                    let set = Tested::of_line(pass, *n, line).set;
                    values.iter_mut().zip(set).for_each(|(all, value)| _ = all.insert(value));
                }
            }
            for (what, mut values) in Setting::ALL.into_iter().zip(values) {
                if what != Setting::LowLimit {
                    values.remove(&None);
                }
                if values.len() > 1 {
                    varied.entry(what.words()).or_default().extend(&members);
                }
            }
        }
        for members in together(|key| SeriesKey { step: String::new(), ..one_test(key) }) {
            let step = |n: &usize| pass.series[*n].key.step.as_str();
            let steps: BTreeSet<&str> =
                members.iter().map(step).filter(|s| !s.is_empty()).collect();
            if steps.len() > 1 {
                varied.entry(PROGRAM_STEP).or_default().extend(&members);
            }
        }
        let own: BTreeSet<String> = names.iter().cloned().collect();
        varied.retain(|name, _| !own.contains(*name));
        names.extend(varied.keys().map(|name| (*name).to_owned()));
        Self { pass, names, varied }
    }

    /// The level of each factor that the units of a line have; empty where unknown, or where it says no more than
    /// the model does.
    #[must_use]
    pub fn levels(&self, series: usize, line: &OutcomeLine) -> Vec<String> {
        let tested = Tested::of_line(self.pass, series, line);
        let says_more = |name: &str| {
            kind(name) != FactorKind::Set
                || self.varied.get(name).is_none_or(|all| all.contains(&series))
        };
        self.names
            .iter()
            .map(|name| match says_more(name) {
                true => tested.level(name).into_owned(),
                false => String::new(),
            })
            .collect()
    }
}

/// What series that are one test of one model share, whatever was set for it.
fn one_test(key: &SeriesKey) -> SeriesKey {
    SeriesKey { applied_mv: None, frequency_mhz: None, dwell_ms: None, ..key.clone() }
}

/// The lines of a series that a scope has in the windows.
pub fn in_windows<'a>(
    series: &'a Series,
    scope: Scope,
    windows: &'a [Window],
) -> impl Iterator<Item = &'a OutcomeLine> {
    series.outcomes.iter().filter(move |line| {
        scope.has_station(line.station) && windows.iter().any(|w| w.has(line.day))
    })
}
