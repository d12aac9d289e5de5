//! What was observed: readings as intervals, with how often each occurred.
//!
//! Censoring is in the value, not in a flag beside it, so nobody can average a "greater than" by
//! accident. A [`Sample`] is small however many units were tested, since instruments round.

use std::cmp::Ordering;

use hashbrown::HashMap;

/// What one reading says about a unit's leakage. Units: any, the same throughout a sample.
///
/// ```
/// use leakdrift_stats::sample::Observation;
///
/// let tripped = Observation::Above(5.0);
/// assert_eq!((tripped.low(), tripped.high()), (5.0, f64::INFINITY));
/// assert_eq!(tripped.map(|ma| 1000.0 * ma), Observation::Above(5000.0));
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Observation {
    /// The value itself.
    Exact(f64),
    /// Some value at or below this.
    Below(f64),
    /// Some value above this.
    Above(f64),
    /// Some value above `low` and at or below `high`.
    Between {
        /// Lower edge.
        low: f64,
        /// Upper edge.
        high: f64,
    },
}

impl Observation {
    /// The lower edge: negative infinity for [`Observation::Below`], the value itself where exact.
    pub fn low(self) -> f64 {
        match self {
            Self::Exact(x) | Self::Above(x) => x,
            Self::Below(_) => f64::NEG_INFINITY,
            Self::Between { low, .. } => low,
        }
    }

    /// The upper edge: infinity for [`Observation::Above`], the value itself where exact.
    pub fn high(self) -> f64 {
        match self {
            Self::Exact(x) | Self::Below(x) => x,
            Self::Above(_) => f64::INFINITY,
            Self::Between { high, .. } => high,
        }
    }

    /// The observation with `change` applied to its edges; `change` must be increasing.
    pub fn map(self, change: impl Fn(f64) -> f64) -> Self {
        match self {
            Self::Exact(x) => Self::Exact(change(x)),
            Self::Below(x) => Self::Below(change(x)),
            Self::Above(x) => Self::Above(change(x)),
            Self::Between { low, high } => Self::Between { low: change(low), high: change(high) },
        }
    }

    /// Checks the edges; an interval without width is exact, and `-0.0` is `0.0`.
    fn checked(self) -> Result<Self, SampleError> {
        let one = |x: f64| {
            if x.is_finite() { Ok(x + 0.0) } else { Err(SampleError::NotFinite) }
        };
        Ok(match self {
            Self::Exact(x) => Self::Exact(one(x)?),
            Self::Below(x) => Self::Below(one(x)?),
            Self::Above(x) => Self::Above(one(x)?),
            Self::Between { low, high } => {
                let (low, high) = (one(low)?, one(high)?);
                match low.partial_cmp(&high) {
                    Some(Ordering::Less) => Self::Between { low, high },
                    Some(Ordering::Equal) => Self::Exact(low),
                    _ => return Err(SampleError::EdgesSwapped { low, high }),
                }
            }
        })
    }

    fn kind(self) -> u8 {
        match self {
            Self::Below(_) => 0,
            Self::Between { .. } => 1,
            Self::Exact(_) => 2,
            Self::Above(_) => 3,
        }
    }

    /// By lower edge, upper edge, kind.
    pub(crate) fn order(&self, other: &Self) -> Ordering {
        self.low()
            .total_cmp(&other.low())
            .then(self.high().total_cmp(&other.high()))
            .then(self.kind().cmp(&other.kind()))
    }

    /// Equal for equal observations only; of checked ones.
    fn key(self) -> (u64, u64, u8) {
        (self.low().to_bits(), self.high().to_bits(), self.kind())
    }
}

/// An observation and how often it occurred.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    /// What was observed.
    pub observation: Observation,
    /// How often; above zero, not necessarily whole.
    pub count: f64,
}

/// Why observations make no sample.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SampleError {
    /// Nothing was observed (or every count was zero).
    #[error("no observations")]
    Empty,
    /// An edge is infinite or not a number.
    #[error("an observation is not a finite number")]
    NotFinite,
    /// An interval's lower edge lies above its upper one.
    #[error("an interval runs backwards: from {low} to {high}")]
    EdgesSwapped {
        /// Lower edge as given.
        low: f64,
        /// Upper edge as given.
        high: f64,
    },
    /// A count, or the sum of all, is negative, infinite or not a number.
    #[error("a count is {0}, not a number of at least zero")]
    BadCount(f64),
}

/// Distinct observations with their counts.
///
/// Invariants: not empty; sorted by lower edge, upper edge and kind; no observation twice; every edge
/// finite; every count above zero and their sum finite. The order in which observations were given never shows.
///
/// ```
/// use leakdrift_stats::sample::{Observation, Sample, SampleError};
///
/// // A unit that tripped at 5 mA, and two that showed 0.41 mA in steps of 0.01.
/// let shown = Observation::Between { low: 0.405, high: 0.415 };
/// let sample = Sample::new([(Observation::Above(5.0), 1.0), (shown, 1.0), (shown, 1.0)]).unwrap();
/// assert_eq!((sample.lines().len(), sample.total()), (2, 3.0));
/// assert_eq!(sample.lines()[0].observation, shown);
///
/// assert_eq!(Sample::new([(Observation::Exact(f64::NAN), 1.0)]), Err(SampleError::NotFinite));
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    lines: Vec<Counted>,
}

impl Sample {
    /// A sample from observations and counts, in any order; equal observations are added up and
    /// counts of zero left out.
    ///
    /// # Errors
    /// See [`SampleError`].
    pub fn new(
        observations: impl IntoIterator<Item = (Observation, f64)>,
    ) -> Result<Self, SampleError> {
        let given = Given::new(observations.into_iter().map(|(o, count)| (0, o, count)))?;
        given.sample()
    }

    /// The distinct observations, ascending.
    pub fn lines(&self) -> &[Counted] {
        &self.lines
    }

    /// The lowest edge that something is only known to lie above; infinity where there is none.
    pub fn lowest_above(&self) -> f64 {
        let above = |line: &&Counted| matches!(line.observation, Observation::Above(_));
        self.lines.iter().find(above).map_or(f64::INFINITY, |line| line.observation.low())
    }

    /// How many were observed: the sum of the counts.
    pub fn total(&self) -> f64 {
        self.lines.iter().map(|line| line.count).sum()
    }
}

fn checked_count(count: f64) -> Result<f64, SampleError> {
    if count.is_finite() && count >= 0.0 { Ok(count) } else { Err(SampleError::BadCount(count)) }
}

/// Observations as they were given, checked, each as its place among the distinct ones.
///
/// There are far fewer distinct readings than lines, so only those are sorted.
struct Given {
    /// Ascending, each once.
    distinct: Vec<Observation>,
    lines: Vec<GivenLine>,
}

struct GivenLine {
    day: i32,
    place: u32,
    /// Above zero.
    count: f64,
}

impl Given {
    fn new(
        observations: impl Iterator<Item = (i32, Observation, f64)>,
    ) -> Result<Self, SampleError> {
        let mut places: HashMap<(u64, u64, u8), u32> = HashMap::new();
        let mut distinct: Vec<Observation> = Vec::new();
        let mut lines = Vec::with_capacity(observations.size_hint().0);
        for (day, observation, count) in observations {
            let count = checked_count(count)?;
            let observation = observation.checked()?;
            if count > 0.0 {
                let place = *places.entry(observation.key()).or_insert_with(|| {
                    distinct.push(observation);
                    index(distinct.len() - 1)
                });
                lines.push(GivenLine { day, place, count });
            }
        }
        let mut order: Vec<u32> = (0..index(distinct.len())).collect();
        order.sort_unstable_by(|a, b| distinct[*a as usize].order(&distinct[*b as usize]));
        let mut sorted_place = vec![0; order.len()];
        for (place, first_seen) in order.iter().enumerate() {
            sorted_place[*first_seen as usize] = index(place);
        }
        lines.iter_mut().for_each(|l| l.place = sorted_place[l.place as usize]);
        // Whole counts add up to the same in any order; the rounding of others must not depend on it.
        if lines.iter().any(|l| l.count.fract() != 0.0) {
            lines.sort_by(|a, b| a.count.total_cmp(&b.count));
        }
        Ok(Self { distinct: order.iter().map(|n| distinct[*n as usize]).collect(), lines })
    }

    fn sample(&self) -> Result<Sample, SampleError> {
        let mut lines: Vec<Counted> =
            self.distinct.iter().map(|&observation| Counted { observation, count: 0.0 }).collect();
        if lines.is_empty() {
            return Err(SampleError::Empty);
        }
        self.lines.iter().for_each(|l| lines[l.place as usize].count += l.count);
        let sample = Sample { lines };
        checked_count(sample.total())?;
        Ok(sample)
    }
}

fn index(place: usize) -> u32 {
    u32::try_from(place).expect("fewer than 2^32 distinct readings")
}

/// How often each observation occurred on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct DayCounts {
    /// The day, as a number that grows by one from day to day.
    pub day: i32,
    /// Index into the lines of the sample, ascending and each once, and how often it occurred (above zero).
    pub counts: Vec<(u32, f64)>,
}

impl DayCounts {
    /// How many were observed on this day.
    pub fn total(&self) -> f64 {
        self.counts.iter().map(|&(_, count)| count).sum()
    }
}

/// A sample that remembers on which day each observation occurred, since readings of one day are not
/// independent.
///
/// Invariants: those of [`Sample`]; days ascending, each once and with at least one observation; the
/// counts of the days add up to the sample's.
#[derive(Debug, Clone, PartialEq)]
pub struct Grouped {
    sample: Sample,
    days: Vec<DayCounts>,
}

impl Grouped {
    /// Grouped observations from day, observation and count, in any order.
    ///
    /// # Errors
    /// See [`SampleError`].
    pub fn new(
        observations: impl IntoIterator<Item = (i32, Observation, f64)>,
    ) -> Result<Self, SampleError> {
        let mut given = Given::new(observations.into_iter())?;
        let sample = given.sample()?;
        given.lines.sort_by_key(|l| l.day);
        let mut sums = vec![0.0; sample.lines.len()];
        let mut seen: Vec<u32> = Vec::new();
        let day_counts = |same_day: &[GivenLine]| {
            for line in same_day {
                let sum = &mut sums[line.place as usize];
                if *sum == 0.0 {
                    seen.push(line.place);
                }
                *sum += line.count;
            }
            seen.sort_unstable();
            let counts = seen.drain(..).map(|n| (n, std::mem::take(&mut sums[n as usize])));
            DayCounts { day: same_day[0].day, counts: counts.collect() }
        };
        let days = given.lines.chunk_by(|a, b| a.day == b.day).map(day_counts).collect();
        Ok(Self { sample, days })
    }

    /// All days together.
    pub fn sample(&self) -> &Sample {
        &self.sample
    }

    /// The days with observations, ascending.
    pub fn days(&self) -> &[DayCounts] {
        &self.days
    }

    /// Every day, observation and count, ascending.
    fn iter(&self) -> impl Iterator<Item = (i32, Observation, f64)> + '_ {
        self.days.iter().flat_map(move |day| {
            day.counts.iter().map(move |&(line, count)| {
                (day.day, self.sample.lines[line as usize].observation, count)
            })
        })
    }

    /// The observations that `keep` returns, each as it returns them: to keep a period, cut, censor.
    ///
    /// # Errors
    /// `Empty` where nothing is kept; else as [`Grouped::new`].
    pub fn filter_map(
        &self,
        keep: impl Fn(i32, Observation) -> Option<Observation>,
    ) -> Result<Self, SampleError> {
        Self::new(self.iter().filter_map(|(day, observation, count)| {
            keep(day, observation).map(|kept| (day, kept, count))
        }))
    }
}
