//! Codes for everything that repeats: texts, setups, factor levels and limits.

use std::hash::Hash;
use std::sync::RwLock;

use hashbrown::HashMap;
use serde::{Serialize, Serializer};

use super::units::pa_to_ma;
use super::{Current, TestKind};

/// How a test was set up; code in [`super::Record::setup`]. Texts are codes of [`Book::texts`].
///
/// Voltages are in millivolts, frequencies in millihertz, times in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Setup {
    /// Model.
    pub model: u32,
    /// Kind of test.
    pub test: TestKind,
    /// Where the voltage was applied.
    pub test_point: u32,
    /// Place in a sequence of tests.
    pub step: u32,
    /// Total or in phase.
    pub current: Current,
    /// Set voltage.
    pub applied_mv: Option<i64>,
    /// Set frequency.
    pub frequency_mhz: Option<i64>,
    /// Time at full voltage.
    pub dwell_ms: Option<i64>,
    /// Time to full voltage.
    pub ramp_ms: Option<i64>,
    /// Units on one tester at once.
    pub units_together: u16,
    /// Plant.
    pub plant: u32,
    /// Station.
    pub station: u32,
    /// Fixture.
    pub fixture: u32,
    /// Instrument.
    pub instrument: u32,
    /// The instrument's reading step where the file states it, in picoamperes.
    pub reading_step_pa: Option<i64>,
}

/// The levels of everything that may explain failures: lot, operator, shift, fixture and the config's factors.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash)]
pub struct FactorSet(pub Vec<u32>);

/// The limits in force, in picoamperes; written in milliamperes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Limits {
    /// High limit.
    #[serde(rename = "high_ma", serialize_with = "as_ma")]
    pub high_pa: Option<i64>,
    /// Low limit.
    #[serde(rename = "low_ma", serialize_with = "as_ma")]
    pub low_pa: Option<i64>,
}

impl Limits {
    /// High limit, mA.
    #[must_use]
    pub fn high_ma(&self) -> Option<f64> {
        self.high_pa.map(pa_to_ma)
    }

    /// Low limit, mA.
    #[must_use]
    pub fn low_ma(&self) -> Option<f64> {
        self.low_pa.map(pa_to_ma)
    }
}

fn as_ma<S: Serializer>(pa: &Option<i64>, to: S) -> Result<S::Ok, S::Error> {
    pa.map(pa_to_ma).serialize(to)
}

/// The codes given so far. Shared by the threads that read; a code's number depends on who came
/// first, so nothing that is printed may be ordered by it.
#[derive(Debug, Default)]
pub struct Book {
    /// Texts; code 0 is the empty text.
    pub texts: Codes<String>,
    /// Setups.
    pub setups: Codes<Setup>,
    /// Factor levels.
    pub factors: Codes<FactorSet>,
    /// Limits.
    pub limits: Codes<Limits>,
}

impl Book {
    /// An empty book, with the empty text as code 0.
    #[must_use]
    pub fn new() -> Self {
        let book = Self::default();
        book.texts.code(&String::new());
        book
    }
}

/// One kind of thing, numbered in the order it was first seen.
#[derive(Debug)]
pub struct Codes<T>(RwLock<Numbered<T>>);

#[derive(Debug)]
struct Numbered<T> {
    items: Vec<T>,
    numbers: HashMap<T, u32>,
}

impl<T> Default for Codes<T> {
    fn default() -> Self {
        Self(RwLock::new(Numbered { items: Vec::new(), numbers: HashMap::new() }))
    }
}

impl<T: Clone + Eq + Hash> Codes<T> {
    /// The number of `item`, new or known.
    pub fn code(&self, item: &T) -> u32 {
        let poisoned = "a thread that holds the lock does not panic";
        if let Some(&n) = self.0.read().expect(poisoned).numbers.get(item) {
            return n;
        }
        let mut all = self.0.write().expect(poisoned);
        if let Some(&n) = all.numbers.get(item) {
            return n;
        }
        let n = u32::try_from(all.items.len()).expect("fewer than 2^32 distinct items");
        all.items.push(item.clone());
        all.numbers.insert(item.clone(), n);
        n
    }

    /// Everything numbered so far; the code is the index.
    #[must_use]
    pub fn all(&self) -> Vec<T> {
        self.0.read().expect("a thread that holds the lock does not panic").items.clone()
    }
}
