//! The low side of one series: capability against the low limit in force, the healthy units expected below
//! it, and the results seen under it.
//!
//! The two shares answer different questions. The expected one is about healthy units: how many of them the
//! limit would reject. The observed one is mostly about connections: an under-limit result is as a rule an
//! open lead, an open switch or a missing part, so it may be far larger and says nothing against the limit.
//!
//! Like the upper side, the numbers are from the answer in use: where the averaged families describe the
//! series, from them (also where `together` is in use, whose law starts only at the upper tail); where they
//! do not, from a generalised Pareto law of the lowest readings. Strays below are kept out of both.
//!
//! Where no family describes the series the lowest readings are asked turned round.

use std::borrow::Cow;

use serde::Serialize;

use crate::analysis::NotDone;
use crate::analysis::body::answer::distances;
use crate::analysis::body::below::{Beyond, families};
use crate::analysis::body::capability::{DayRejects, Index, index, observed_rejects, reject_days};
use crate::analysis::body::describe::{Body, Which};
use crate::analysis::body::offsets::ScaleError;
use crate::movement::edges::place;
use crate::series::{Outcome, OutcomeLine};
use crate::stats::average::Scale;
use crate::stats::distribution::{Distribution, Law};
use crate::stats::estimate::Estimate;
use crate::stats::expected_share::{ExpectedAtHorizon, ExpectedShare};
use crate::stats::sample::{Grouped, Observation};
use crate::stats::tail::{Bounds, Line, Tail, TailError};
use crate::words::numbers::whole;

/// Share of units at or below the lower reference reading of the geometric method (ISO 22514-2).
pub const LOWER_REFERENCE: f64 = 0.001_35;

/// Lowest readings that the law of the low end is given where there are enough.
const TAIL_READINGS: f64 = 100.0;
/// Their share of all readings in a large series, and the most in a small one.
const TAIL_SHARES: [f64; 2] = [0.10, 0.30];
/// Smaller shares are not told apart when readings are carried: the law of the tail may end above the limit
/// with one block of days left out, and its log-odds with it.
const SMALLEST_SHARE: f64 = 1e-12;

const INDEX: &str = "the index against the low limit";
const SHARE: &str = "the healthy units below the low limit";

/// The healthy units of one series against its low limit.
#[derive(Debug, Clone, PartialEq)]
pub struct LowSide {
    /// `P_pkL = (X50 − limit) / (X50 − X0.135)` with its two-sided interval.
    pub performance: Result<Estimate, NotDone>,
    /// Share of the healthy units expected below the limit, with its two-sided interval.
    pub reject_share: Result<Estimate, NotDone>,
    /// The same at the end of the horizon, where a slope is established.
    pub reject_share_at_horizon: Option<f64>,
}

impl LowSide {
    /// The low side of `body` against `limit`, in the unit of the readings.
    #[must_use]
    pub fn of(body: &Body, limit: f64) -> Self {
        let end = LowEnd::of(body);
        let ask = |what: &dyn Fn(&LowEnd<'_>) -> Result<Estimate, NotDone>| {
            end.as_ref().map_err(Clone::clone).and_then(what)
        };
        Self {
            performance: ask(&|end| end.performance(limit)),
            reject_share: ask(&|end| end.reject_share(limit)),
            reject_share_at_horizon: None,
        }
    }

    /// The same with the error of the scale in its intervals.
    #[must_use]
    pub(super) fn with_error(
        self,
        error: ScaleError,
        body: &Body,
        limit: f64,
        median: f64,
    ) -> Self {
        if error == ScaleError::default() {
            return self;
        }
        let end = LowEnd::of(body).ok();
        let below = |at: f64| Some(end.as_ref()?.reject_share(at).ok()?.value);
        Self {
            performance: self.performance.map(|e| error.of_low_index(e, limit, median)),
            reject_share: self.reject_share.map(|e| error.of_share_below(e, limit, below)),
            ..self
        }
    }

    /// The same with the intervals of carried readings, made by leaving out blocks of days. The share keeps
    /// the wider end where the body's own interval is wider: next to the end of a tail's law every block
    /// may say "none".
    #[must_use]
    pub(super) fn carried(
        self,
        performance: Option<Estimate>,
        reject_share: Option<Estimate>,
        reject_share_at_horizon: Option<f64>,
    ) -> Self {
        let carried = reject_share.ok_or(NotDone::NotFinite(SHARE));
        let reject_share = self.reject_share.and_then(|own| {
            let carried = carried?;
            let (low, high) = (own.low.min(carried.low), own.high.max(carried.high));
            Estimate::new(own.value, low, high, own.level, carried.method)
                .ok_or(NotDone::NotFinite(SHARE))
        });
        Self {
            performance: self
                .performance
                .and_then(|_| performance.ok_or(NotDone::NotFinite(INDEX))),
            reject_share,
            reject_share_at_horizon: reject_share_at_horizon
                .map(|share| if share < 2.0 * SMALLEST_SHARE { 0.0 } else { share }),
        }
    }
}

/// What is asked of a carried body, in this order: the index against `limit`; the log-odds of lying below
/// it; the same for `limit_back`, the limit carried back from the horizon; and the log of the reading that
/// all but a share `accepted` lie above. `by_lowest`: as the body of all days answers, so that no block
/// left out changes the way of asking.
pub(super) fn low_quantities(
    body: &Body,
    by_lowest: bool,
    limit: Option<f64>,
    limit_back: Option<f64>,
    accepted: f64,
) -> [Option<f64>; 4] {
    let Ok(end) = LowEnd::by(body, by_lowest) else {
        return [None; 4];
    };
    let odds = |limit: f64| {
        let share = end.reject_share(limit).ok()?.value;
        let share = share.clamp(SMALLEST_SHARE, 1.0 - SMALLEST_SHARE);
        Some((share / (1.0 - share)).ln())
    };
    [
        limit.and_then(|limit| end.performance(limit).ok().map(|e| e.value)),
        limit.and_then(odds),
        limit_back.and_then(odds),
        end.bounds(accepted).ok().map(|b| b.value).filter(|x| *x > 0.0).map(f64::ln),
    ]
}

/// The low end of a body: quantiles, bounds and shares below a reading.
#[derive(Debug)]
pub struct LowEnd<'a> {
    body: Cow<'a, Body>,
    /// Where no average of families describes the series.
    lowest: Option<Lowest>,
}

/// The readings turned round, `x` to `-x`, strays below kept out, and the law of their upper tail.
#[derive(Debug)]
struct Lowest {
    turned: Grouped,
    tail: Tail,
}

impl<'a> LowEnd<'a> {
    /// The low end of `body`.
    ///
    /// # Errors
    /// Why no answer of the body counts; `NoTail` where families do not describe the series and its lowest
    /// readings are too few.
    pub fn of(body: &'a Body) -> Result<Self, NotDone> {
        body.which()?;
        Self::by(body, body.families_fail())
    }

    fn by(body: &'a Body, lowest: bool) -> Result<Self, NotDone> {
        if lowest {
            let lowest = Lowest::of(body).map_err(|why| NotDone::NoTail(why.to_string()))?;
            return Ok(Self { body: Cow::Borrowed(body), lowest: Some(lowest) });
        }
        let body = match body.strays.below.threshold {
            Some(edge) => Cow::Owned(without_strays_below(body, edge)?),
            None => Cow::Borrowed(body),
        };
        Ok(Self { body, lowest: None })
    }

    /// One-sided bounds, each at the body's level, of the reading that all but a share `p` of the healthy
    /// units lie above; `p` at most the share of the tail (a tenth) where families do not describe the series.
    ///
    /// # Errors
    /// `NotFinite`.
    pub fn bounds(&self, p: f64) -> Result<Bounds, NotDone> {
        self.bounds_at(p, self.body.level).ok_or(NotDone::NotFinite("the bounds of the low end"))
    }

    fn bounds_at(&self, p: f64, confidence: f64) -> Option<Bounds> {
        let bounds = match &self.lowest {
            Some(lowest) => {
                let b = lowest.tail.bounds(p, confidence)?;
                Bounds { value: -b.value, lower: -b.upper, upper: -b.lower }
            }
            None => {
                let b = self.body.average.one_sided(
                    self.body.fitted(),
                    Scale::Log,
                    confidence,
                    &|law: &Law| law.quantile(p),
                )?;
                Bounds { value: b.value, lower: b.lower, upper: b.upper }
            }
        };
        let known = bounds.value.is_finite() && !bounds.lower.is_nan() && !bounds.upper.is_nan();
        known.then_some(bounds)
    }

    /// `P_pkL = (X50 − limit) / (X50 − X0.135)` with its two-sided interval.
    ///
    /// - Source: ISO 22514-2 and -4, general geometric method (from memory). The exact bound and the
    ///   combination of two fits are those of [`Body::performance`].
    /// # Errors
    /// As [`Body::quantile`].
    pub fn performance(&self, limit: f64) -> Result<Estimate, NotDone> {
        let (body, failed) = (&*self.body, NotDone::NotFinite(INDEX));
        if self.lowest.is_none() {
            let what = |law: &Law| {
                index(limit, law.quantile(0.5), law.quantile(LOWER_REFERENCE)).unwrap_or(f64::NAN)
            };
            return body
                .exact_performance(limit, &what)
                .or_else(|| body.average.estimate(body.fitted(), Scale::Linear, body.level, &what))
                .ok_or(failed);
        }
        let middle = body.quantile(Which::Together, 0.5)?;
        let lower =
            self.bounds_at(LOWER_REFERENCE, 0.5 + body.level / 2.0).ok_or(failed.clone())?;
        let at = |x50: f64, x: f64| index(limit, x50, x).ok_or(failed.clone());
        let value = at(middle.value, lower.value)?;
        // Neither end of one may reach the other.
        let apart = 1e-6 * (middle.value - lower.value).abs();
        let by_reference = [
            at(middle.value, lower.lower)?,
            at(middle.value, lower.upper.min(middle.value - apart))?,
        ];
        let by_middle =
            [at(middle.low.max(lower.value + apart), lower.value)?, at(middle.high, lower.value)?];
        let (down, up) = distances(value, [by_reference, by_middle]);
        Estimate::new(
            value,
            value - down,
            value + up,
            body.level,
            "geometric method, generalised Pareto law of the lowest readings, days in blocks",
        )
        .ok_or(failed)
    }

    /// Share of the healthy units expected below `limit`, with its two-sided interval.
    ///
    /// - From the families: on the scale of tail shares, days in blocks. From the lowest readings: from the
    ///   interval of their quantiles, and inside the data the share that lies there with its exact interval.
    /// # Errors
    /// `NotFinite`.
    pub fn reject_share(&self, limit: f64) -> Result<Estimate, NotDone> {
        let body = &*self.body;
        let share = match &self.lowest {
            None => {
                body.average.estimate(body.fitted(), Scale::TailShare, body.level, &|law: &Law| {
                    law.ln_cdf(limit).exp()
                })
            }
            Some(lowest) if -limit >= lowest.tail.threshold => {
                lowest.tail.exceedance(-limit, body.level)
            }
            Some(lowest) => lowest.share_beyond(-limit, body.level),
        };
        share.ok_or(NotDone::NotFinite(SHARE))
    }
}

impl Lowest {
    fn of(body: &Body) -> Result<Self, TailError> {
        let edge = body.strays.below.threshold.unwrap_or(f64::NEG_INFINITY);
        let turned = body
            .all
            .filter_map(|_, o| (place(o) >= edge).then(|| turn(o)))
            .map_err(|_| TailError::TooFew(0.0))?;
        let threshold = threshold(&turned)?;
        let tail = Tail::fit(&turned, threshold, None, Line::Readings)?;
        Ok(Self { turned, tail })
    }

    /// Share of the turned readings beyond `x`, an interval by the part of it that lies there.
    fn share_beyond(&self, x: f64, level: f64) -> Option<Estimate> {
        let lines = self.turned.sample().lines();
        let part = |o: Observation| match o {
            Observation::Between { low, high } => ((high - x) / (high - low)).clamp(0.0, 1.0),
            Observation::Exact(at) | Observation::Above(at) if at >= x => 1.0,
            _ => 0.0,
        };
        let days: Vec<DayRejects> = self
            .turned
            .days()
            .iter()
            .map(|day| DayRejects {
                rejected: day
                    .counts
                    .iter()
                    .map(|&(line, count)| count * part(lines[line as usize].observation))
                    .sum(),
                judged: day.total(),
            })
            .collect();
        observed_rejects(&days, level).ok()
    }
}

/// The same body with its families fitted anew without the strays below `edge`, as a rule open leads. Among
/// the lowest 2 %, which only count as below their cut, they would stand for as many healthy units.
fn without_strays_below(body: &Body, edge: f64) -> Result<Body, NotDone> {
    let healthy = body
        .all
        .filter_map(|_, o| (place(o) >= edge).then_some(o))
        .map_err(|_| NotDone::TooFewReadings { found: 0.0 })?;
    let (fitted, average) = families(&healthy, body.cut, body.low_cut, Beyond::AtMost)?;
    Ok(Body { average, fitted, ..body.clone() })
}

fn turn(o: Observation) -> Observation {
    match o {
        Observation::Exact(x) => Observation::Exact(-x),
        Observation::Below(x) => Observation::Above(-x),
        Observation::Above(x) => Observation::Below(-x),
        Observation::Between { low, high } => Observation::Between { low: -high, high: -low },
    }
}

/// Where the tail of the turned readings starts: as the upper one's, on an edge inside no other reading's
/// interval where there is one (steps of several instruments; carried readings overlap everywhere).
fn threshold(turned: &Grouped) -> Result<f64, TailError> {
    let n = turned.sample().total();
    let (wanted, most) = (TAIL_READINGS.max(TAIL_SHARES[0] * n), TAIL_SHARES[1] * n);
    let lines = turned.sample().lines();
    // Lines ascend by their lower edge, so readings beyond an edge are those after it.
    let mut candidates: Vec<f64> = Vec::new();
    let mut beyond = 0.0;
    for (i, line) in lines.iter().enumerate().rev() {
        beyond += line.count;
        let edge = line.observation.low();
        let first_here = i == 0 || lines[i - 1].observation.low() < edge;
        if beyond > most {
            break;
        }
        if beyond >= wanted && first_here && edge.is_finite() {
            candidates.push(edge);
        }
    }
    let free = |edge: &&f64| {
        let near = 1e-9 * edge.abs();
        !lines.iter().any(|line| {
            let o = line.observation;
            o.low() < **edge - near && o.high() > **edge + near && o.high().is_finite()
        })
    };
    candidates.iter().find(free).or(candidates.first()).copied().ok_or(TailError::TooFew(most))
}

/// Results under the low limit.
#[derive(Debug, Clone, PartialEq)]
pub struct UnderLimit {
    /// Units under it.
    pub rejected: f64,
    /// Units judged against it.
    pub judged: f64,
    /// Their share, with the exact interval on effective counts.
    pub share: Estimate,
}

/// Results under the low limit in force among first attempts.
///
/// - Counted are the units that were judged at this very limit: all but those not completed.
/// - Meaning: as a rule connections that were open, not healthy units; see the head of this file.
/// # Errors
/// As [`observed_rejects`]: `TooFewReadings` where no unit was judged at this limit.
pub fn under_limit<'a>(
    outcomes: impl Iterator<Item = &'a OutcomeLine>,
    low_pa: i64,
    level: f64,
) -> Result<UnderLimit, NotDone> {
    let days =
        reject_days(outcomes.filter(|o| o.limits.low_pa == Some(low_pa)), Outcome::UnderLimit);
    Ok(UnderLimit {
        rejected: days.iter().map(|d| d.rejected).sum(),
        judged: days.iter().map(|d| d.judged).sum(),
        share: observed_rejects(&days, level)?,
    })
}

/// The low limit in force against healthy units and results. What has no answer is `None`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AgainstLowLimit {
    /// Which index.
    pub index: Index,
    /// Its value.
    pub value: Option<Estimate>,
    /// Healthy units expected below the low limit, per million.
    pub expected_reject_ppm: Option<ExpectedShare>,
    /// The same at the end of the horizon, where a slope is established.
    #[serde(flatten)]
    pub at_horizon: ExpectedAtHorizon,
    /// Healthy units expected below it a month.
    pub rejects_per_month: Option<ExpectedShare>,
    /// Units seen below it in the period judged, per million: as a rule open connections.
    pub observed_reject_ppm: Option<Estimate>,
    /// How many they are.
    pub observed_rejects: Option<u64>,
    /// Units judged at this limit.
    pub observed_units: Option<u64>,
}

impl AgainstLowLimit {
    /// From what is expected of healthy units and what was seen; with the units judged, in all and a month.
    #[must_use]
    pub fn new(
        low: Option<&LowSide>,
        seen: Option<&UnderLimit>,
        steady: bool,
        (units, units_per_month): (u64, f64),
    ) -> Self {
        let share = low.and_then(|low| low.reject_share.as_ref().ok());
        Self {
            index: Index { steady, low: true },
            value: low.and_then(|low| low.performance.as_ref().ok()).cloned(),
            expected_reject_ppm: share.map(|s| ExpectedShare::new(s, units, 1e6)),
            at_horizon: ExpectedAtHorizon::new(
                low.and_then(|low| low.reject_share_at_horizon),
                units,
            ),
            rejects_per_month: share.map(|s| ExpectedShare::new(s, units, units_per_month)),
            observed_reject_ppm: seen.map(|s| s.share.scaled(1e6)),
            observed_rejects: seen.map(|s| whole(s.rejected)),
            observed_units: seen.map(|s| whole(s.judged)),
        }
    }
}
