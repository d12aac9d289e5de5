//! What healthy units of one series read: the body, what lies beyond it, and which of the two answers
//! about the tail counts.
//!
//! In: one series' judged readings by day. Out: [`Body`], which `analysis::answer` asks for quantiles,
//! bounds and rejects. Rules and constants are from simulation (DEVELOPERS.md).

use crate::analysis::strays::{self, Edges, Side, Strays, place};
use crate::stats::average::{Average, Influence};
use crate::stats::blocks::block_variance;
use crate::stats::distribution::{Distribution, Family, Law};
use crate::stats::empirical::Empirical;
use crate::stats::estimate::Estimate;
use crate::stats::mixture::{GroupRules, TwoGroups, two_groups};
use crate::stats::sample::{Grouped, Observation};
use crate::stats::special::{normal_quantile, normal_sf, student_t_quantile, student_t_sf};
use crate::stats::tail::{Tail, TailError};

/// Shares that the cut leaves above, tried in order.
const CUT_SHARES: [f64; 3] = [0.02, 0.05, 0.10];
/// Share of the readings that only counts as below the lower cut.
const LOW_SHARE: f64 = 0.02;
/// An excess over this share is too common to be defects.
const COMMON_EXCESS: f64 = 0.03;
/// One-sided level at which an excess, or a lack, counts.
const SIGNIFICANT: f64 = 0.05;
/// Readings beyond the threshold that a tail needs.
const TAIL_READINGS: f64 = 100.0;
/// Share beyond the threshold in a large series, and the most in a small one.
const TAIL_SHARES: [f64; 2] = [0.10, 0.30];
/// Fewer readings than this make no body.
const FEWEST: f64 = 20.0;
/// Fewer distinct readings below the cut than this make no body.
const FEWEST_DISTINCT: usize = 3;

/// Why a question about the body has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotDone {
    /// Too few readings.
    #[error("{found} readings below the cut, {FEWEST} needed")]
    TooFewReadings {
        /// How many there are.
        found: f64,
    },
    /// The readings differ by too few steps to fit a distribution.
    #[error(
        "{found} distinct readings below the cut, {FEWEST_DISTINCT} needed: the reading step is too coarse"
    )]
    TooFewDistinct {
        /// How many there are.
        found: usize,
    },
    /// No family could be fitted.
    #[error("no distribution could be fitted: {0}")]
    NoFit(String),
    /// The series is too small, or too much of it tripped, for a tail of its own.
    #[error("no tail fitted: {0}")]
    NoTail(String),
    /// The body does not describe the series, and it has no tail.
    #[error("neither answer counts: the body does not describe the series, and {0}")]
    Neither(String),
    /// A number did not come out finite.
    #[error("the estimate of {0} is not a finite number")]
    NotFinite(&'static str),
}

/// Settings of [`describe`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Confidence of intervals (two-sided) and bounds (one-sided).
    pub level: f64,
    /// When two groups are reported; `None` where they are not asked for.
    pub groups: Option<GroupRules>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            level: 0.95,
            groups: Some(GroupRules::default()),
        }
    }
}

/// The two answers about the tail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// Strays kept out: the truncated body.
    Apart,
    /// Every reading taken as healthy: the generalised Pareto tail.
    Together,
}

/// Why an answer is in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Because {
    /// No stray, and no more readings beyond the cut than the body expects.
    NothingBeyond,
    /// Readings stand apart from the body.
    Strays,
    /// More readings lie beyond the cut than the body expects.
    Excess,
    /// The series has no tail of its own.
    TooSmall,
    /// Two groups: no single family describes them.
    TwoGroups,
    /// The body expects more readings beyond its cut than lie there.
    BodyTooLong,
}

/// Readings beyond the cut, against those that the body expects there.
#[derive(Debug, Clone, PartialEq)]
pub struct Excess {
    /// Readings beyond the cut, trips among them.
    pub beyond: f64,
    /// Readings that the body expects there.
    pub expected: f64,
    /// The difference as a share of all readings, with its interval; below zero where some are missing.
    pub share: Estimate,
    /// One-sided p-value of more than expected.
    pub p_more: f64,
    /// One-sided p-value of fewer than expected.
    pub p_fewer: f64,
}

impl Excess {
    /// Significantly more beyond the cut than the body expects.
    #[must_use]
    pub fn significant(&self) -> bool {
        self.p_more < SIGNIFICANT
    }

    /// Significantly fewer: the body is too long.
    #[must_use]
    pub fn missing(&self) -> bool {
        self.p_fewer < SIGNIFICANT
    }

    /// Too common to be defects: a second group or a heavy tail, not strays.
    #[must_use]
    pub fn common(&self) -> bool {
        self.significant() && self.share.value > COMMON_EXCESS
    }
}

/// A series' body and tail; made by [`describe`].
#[derive(Debug, Clone)]
pub struct Body {
    /// The families, fitted below the cut.
    pub average: Average,
    /// The upper cut of the body.
    pub cut: f64,
    /// Readings below this count only as below it.
    pub low_cut: Option<f64>,
    /// Number of readings judged.
    pub units: f64,
    /// What lies beyond the cut.
    pub excess: Excess,
    /// Readings that do not belong.
    pub strays: Strays,
    /// Whether strays above are listed by serial: not where they are too common to be defects.
    pub list_strays: bool,
    /// Two groups, where found.
    pub groups: Option<TwoGroups>,
    /// The tail of all readings, or why there is none.
    pub tail: Result<Tail, TailError>,
    /// The answer in use and why, or why neither counts.
    pub in_use: Result<(Which, Because), NotDone>,
    /// The non-parametric distribution of all readings.
    pub empirical: Empirical,
    /// Confidence of intervals and bounds.
    pub level: f64,
    /// The readings below the cut, as fitted.
    pub(crate) fitted: Grouped,
    /// Every reading.
    pub(crate) all: Grouped,
}

impl Body {
    /// Whether only `together` counts, since no family describes the series.
    #[must_use]
    pub fn together_alone(&self) -> bool {
        self.groups.is_some() || self.excess.missing()
    }

    /// Whether the body's families were fitted to readings of which this is one.
    #[must_use]
    pub fn holds(&self, observation: Observation) -> bool {
        place(observation) < self.cut && !self.strays.has(observation)
    }

    /// Every reading with how often it occurred.
    pub fn observed(&self) -> impl Iterator<Item = &crate::stats::sample::Counted> {
        self.all.sample().lines().iter()
    }

    /// The readings that the families were fitted to, for a goodness of fit: below the cut, the
    /// lowest censored.
    #[must_use]
    pub fn fitted(&self) -> &Grouped {
        &self.fitted
    }
}

/// Describes the readings of one series.
///
/// - Shape: passes as `Between` reading ∓ half a step, trips as `Above` their limit, readings of zero and
///   healthy units under a low limit as `Below`. `edges` is of the coarsest step in use.
/// # Errors
/// [`NotDone`] where no family can be fitted below the cut.
pub fn describe(data: &Grouped, edges: &Edges, options: &Options) -> Result<Body, NotDone> {
    let units = data.sample().total();
    let empirical = Empirical::of(data.sample());
    let mut chosen = None;
    let mut last_cut = f64::NAN;
    for share in CUT_SHARES {
        let Some(cut) = cut(data, edges, share) else {
            break;
        };
        if cut == last_cut {
            continue;
        }
        last_cut = cut;
        let low_cut = low_cut(data, edges, cut);
        let truncated = match fit(data, cut, low_cut) {
            Ok(found) => found,
            // A deeper cut is only tried on top of a body that was found.
            Err(reason) if chosen.is_none() => return Err(reason),
            Err(_) => break,
        };
        let (fitted, average) = truncated;
        let excess = excess(data, &fitted, &average, cut, options.level)?;
        let enough = excess.beyond - excess.expected <= share / 2.0 * units;
        chosen = Some((cut, low_cut, fitted, average, excess));
        if enough {
            break;
        }
    }
    let Some((cut, low_cut, fitted, average, excess)) = chosen else {
        return Err(NotDone::TooFewDistinct {
            found: distinct_below(data, f64::INFINITY),
        });
    };
    let healthy = fitted.sample().total() / average.cdf(cut).max(f64::MIN_POSITIVE);
    let strays = Strays {
        above: strays::above(data.sample(), edges, cut, healthy, |x| average.sf(x)),
        below: low_cut.map_or_else(Side::default, |from| {
            strays::below(data.sample(), edges, from, healthy, |x| average.cdf(x))
        }),
    };
    let groups = options.groups.as_ref().and_then(|rules| {
        let kept = data.filter_map(|_, o| (!strays.has(o)).then_some(o)).ok()?;
        two_groups(kept.sample(), None, rules)
    });
    let tail = tail_threshold(data, edges).and_then(|threshold| Tail::fit(data, threshold));
    let in_use = in_use(&excess, &strays, groups.is_some(), tail.as_ref());
    let list_strays = !excess.common();
    Ok(Body {
        average,
        cut,
        low_cut,
        units,
        excess,
        strays,
        list_strays,
        groups,
        tail,
        in_use,
        empirical,
        level: options.level,
        fitted,
        all: data.clone(),
    })
}

fn in_use(
    excess: &Excess,
    strays: &Strays,
    two_groups: bool,
    tail: Result<&Tail, &TailError>,
) -> Result<(Which, Because), NotDone> {
    if two_groups || excess.missing() {
        let why = if two_groups {
            Because::TwoGroups
        } else {
            Because::BodyTooLong
        };
        return match tail {
            Ok(_) => Ok((Which::Together, why)),
            Err(reason) => Err(NotDone::Neither(reason.to_string())),
        };
    }
    Ok(if strays.above.threshold.is_some() {
        (Which::Apart, Because::Strays)
    } else if excess.significant() {
        (Which::Apart, Because::Excess)
    } else if tail.is_err() {
        (Which::Apart, Because::TooSmall)
    } else {
        (Which::Together, Because::NothingBeyond)
    })
}

/// The lowest limit that tripped a unit.
fn lowest_trip(data: &Grouped) -> f64 {
    data.sample()
        .lines()
        .iter()
        .filter_map(|line| match line.observation {
            Observation::Above(limit) => Some(limit),
            _ => None,
        })
        .fold(f64::INFINITY, f64::min)
}

/// Upper edges of readings that are edges of the coarsest step, ascending, with the number of readings
/// beyond each.
fn upper_edges(data: &Grouped, edges: &Edges) -> Vec<(f64, f64)> {
    let mut places: Vec<(f64, f64, f64)> = data
        .sample()
        .lines()
        .iter()
        .map(|line| {
            let high = match line.observation {
                Observation::Between { high, .. } => high,
                Observation::Exact(x) => x,
                _ => f64::NAN,
            };
            (place(line.observation), high, line.count)
        })
        .collect();
    places.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut beyond = 0.0;
    let mut out: Vec<(f64, f64)> = Vec::new();
    for &(_, high, count) in &places {
        if high.is_finite() && edges.contains(high) {
            let same = out
                .last()
                .is_some_and(|last| (last.0 - high).abs() <= 1e-9 * high.abs());
            if !same {
                out.push((high, beyond));
            }
        }
        beyond += count;
    }
    out.reverse();
    out
}

/// The edge that leaves nearest to `share` of the readings above, not above a limit that tripped.
fn cut(data: &Grouped, edges: &Edges, share: f64) -> Option<f64> {
    let n = data.sample().total();
    let trip = lowest_trip(data);
    let distance = |beyond: f64| ((beyond + 0.5) / (share * n + 0.5)).ln().abs();
    upper_edges(data, edges)
        .into_iter()
        .filter(|&(edge, _)| edge <= trip + 1e-9 * trip.abs())
        .min_by(|a, b| distance(a.1).total_cmp(&distance(b.1)))
        .map(|(edge, _)| edge)
}

/// The edge below which the lowest 2 % lie; `None` where not one reading's edge leaves so few.
fn low_cut(data: &Grouped, edges: &Edges, cut: f64) -> Option<f64> {
    let n = data.sample().total();
    upper_edges(data, edges)
        .into_iter()
        .filter(|&(edge, _)| edge < cut)
        .map(|(edge, beyond)| (edge, n - beyond))
        .filter(|&(_, below)| below <= 1.5 * LOW_SHARE * n)
        .min_by(|a, b| {
            (a.1 - LOW_SHARE * n)
                .abs()
                .total_cmp(&(b.1 - LOW_SHARE * n).abs())
        })
        .map(|(edge, _)| edge)
}

fn distinct_below(data: &Grouped, cut: f64) -> usize {
    data.sample()
        .lines()
        .iter()
        .filter(|line| place(line.observation) < cut)
        .count()
}

fn fit(data: &Grouped, cut: f64, low_cut: Option<f64>) -> Result<(Grouped, Average), NotDone> {
    let below = |o: Observation| match o {
        Observation::Above(_) => None,
        _ if place(o) >= cut => None,
        _ => Some(match (o, low_cut) {
            (Observation::Below(x), Some(low)) => Observation::Below(x.max(low)),
            (_, Some(low)) if place(o) < low => Observation::Below(low),
            // The cut and a reading's edge are the same place up to rounding.
            (Observation::Between { low, high }, _) => Observation::Between {
                low,
                high: high.min(cut),
            },
            _ => o,
        }),
    };
    let kept = data
        .filter_map(|_, o| below(o))
        .map_err(|_| NotDone::TooFewReadings { found: 0.0 })?;
    let found = kept.sample().total();
    if found < FEWEST {
        return Err(NotDone::TooFewReadings { found });
    }
    let distinct = kept.sample().lines().len();
    if distinct < FEWEST_DISTINCT {
        return Err(NotDone::TooFewDistinct { found: distinct });
    }
    let average = Average::fit(&Family::ALL, &kept, Some(cut))
        .map_err(|reason| NotDone::NoFit(reason.to_string()))?;
    Ok((kept, average))
}

/// Number beyond the cut less the number expected, its interval and its significance. Influences of the
/// counts and of the body are added per day before they are summed in blocks, since a day that reads
/// high moves both; the disagreement of the families comes on top.
fn excess(
    data: &Grouped,
    fitted: &Grouped,
    average: &Average,
    cut: f64,
    level: f64,
) -> Result<Excess, NotDone> {
    const NAME: &str = "the excess";
    let n = data.sample().total();
    let below = fitted.sample().total();
    let beyond = n - below;
    // P(X > cut) / P(X <= cut)
    let odds = |law: &Law| (law.ln_sf(cut) - law.ln_cdf(cut)).exp();
    let ratio = (average.ln_sf(cut) - average.cdf(cut).ln()).exp();
    let expected = below * ratio;

    let lines = data.sample().lines();
    let mut days: Vec<(i32, f64)> = data
        .days()
        .iter()
        .map(|day| {
            let sum = day
                .counts
                .iter()
                .map(|&(line, count)| {
                    let o = lines[line as usize].observation;
                    let over = matches!(o, Observation::Above(_)) || place(o) >= cut;
                    if over { count } else { -ratio * count }
                })
                .sum();
            (day.day, sum)
        })
        .collect();
    let (mut usual, mut disagreement) = (0.0, 0.0);
    for weighted in average.fits.iter().filter(|w| w.weight > 0.0) {
        let law = &weighted.fit.law;
        let influence = Influence::new(&weighted.fit, &|law| Some(below * odds(law)))
            .ok_or(NotDone::NotFinite(NAME))?;
        let sums = influence
            .day_sums(law, fitted, average.truncated_above)
            .ok_or(NotDone::NotFinite(NAME))?;
        usual += weighted.weight * influence.usual;
        disagreement += weighted.weight * (below * odds(law) - expected).powi(2);
        for (day, sum) in fitted.days().iter().zip(sums) {
            if let Ok(at) = days.binary_search_by_key(&day.day, |d| d.0) {
                days[at].1 -= weighted.weight * sum;
            }
        }
    }
    let day_sums: Vec<f64> = days.iter().map(|d| d.1).collect();
    let expecting = block_variance(&day_sums, usual + expected * (1.0 + ratio));
    let seen = block_variance(&day_sums, usual + beyond.max(1.0) + ratio * ratio * below);
    let difference = beyond - expected;
    let score = difference / (expecting.variance + disagreement).sqrt();
    let tail = |t: f64| {
        expecting
            .degrees_of_freedom
            .map_or_else(|| normal_sf(t), |df| student_t_sf(t, df))
    };
    let half = (seen.variance + disagreement).sqrt()
        * seen.degrees_of_freedom.map_or_else(
            || normal_quantile(0.5 + level / 2.0),
            |df| student_t_quantile(0.5 + level / 2.0, df),
        );
    let share = Estimate::new(
        difference / n,
        (difference - half) / n,
        (difference + half) / n,
        level,
        "readings beyond the cut less those the body expects there, days in blocks",
    )
    .ok_or(NotDone::NotFinite(NAME))?;
    if score.is_nan() {
        return Err(NotDone::NotFinite(NAME));
    }
    Ok(Excess {
        beyond,
        expected,
        share,
        p_more: tail(score),
        p_fewer: tail(-score),
    })
}

/// Where the tail starts: with at least 100 readings and a tenth of all beyond, at most 30 % of all.
fn tail_threshold(data: &Grouped, edges: &Edges) -> Result<f64, TailError> {
    let n = data.sample().total();
    let wanted = TAIL_READINGS.max(TAIL_SHARES[0] * n);
    let trip = lowest_trip(data);
    let found = upper_edges(data, edges)
        .into_iter()
        .rev()
        .filter(|&(edge, _)| edge <= trip + 1e-9 * trip.abs())
        .find(|&(_, beyond)| beyond >= wanted);
    match found {
        Some((edge, beyond)) if beyond <= TAIL_SHARES[1] * n => Ok(edge),
        _ => Err(TailError::TooFew(TAIL_SHARES[1] * n)),
    }
}
