//! The readings below a cut: the families fitted to them, and the tail of those next to the cut.
//!
//! Design 6 extrapolates the truncated families alone; the 95 % interval of X99.865 of a body outside them
//! then held in 0–35 % of series, with or without strays, since a long healthy tail counted as an excess.
//! So a tail is also fitted to the readings next to the cut, right-truncated there, with one more piece of
//! knowledge: no more can be healthy beyond the cut than lie there (a one-sided Poisson term; without it a
//! hard-edged body was expected to be endless). Families and tail are weighed by Akaike's criterion
//! (`Tail::gain_over_law`, `family_weight`).
//!
//! Families know the same: where truncated ones expect more beyond the cut than lie there, they are fitted anew with
//! all of those beyond as healthy (censored at the cut). And a tail is fitted only where several distinct readings lie
//! inside it: on coarse steps it was drawn through two.
//!
//! A unit is named as a stray only where neither the families, nor the tail next to the cut, nor the best
//! family's tail started at the cut expects it (`Healthy::sf_at_most`): a short tail of 350 readings named
//! healthy units.

use crate::analysis::body::excess::{Excess, Expecting, excess};
use crate::analysis::{FEWEST, FEWEST_DISTINCT, NotDone};
use crate::movement::edges::{Edges, place};
use crate::stats::average::Average;
use crate::stats::distribution::{Distribution, Family};
use crate::stats::sample::{Grouped, Observation};
use crate::stats::tail::{Line, Tail, TailError};

/// Share of the readings that only counts as below the lower cut.
const LOW_SHARE: f64 = 0.02;
/// Readings that a tail is given where there are enough, and that it needs.
const TAIL_READINGS: [f64; 2] = [100.0, 50.0];
/// Distinct readings that a tail needs inside it.
const DISTINCT: usize = 4;
/// Share of the readings beyond the threshold of the open tail up to [`LARGE`] of them, and the most in a small
/// series.
const OPEN_SHARES: [f64; 2] = [0.10, 0.45];
/// The same between the threshold of the tail below the cut and the cut: a window of a law's readings says
/// less than all beyond its start.
const LOCAL_SHARES: [f64; 2] = [0.16, 0.45];
/// From here on a tail's share falls, so that it does not begin inside a bend of the body: its readings grow
/// with this power of their number. Both from simulation.
const LARGE: f64 = 2_000.0;
const GROWS_BY: f64 = 0.6;
/// Fewer units too many are not seen.
const HALF_A_UNIT: f64 = 0.5;
/// Families with less weight than this do not describe the readings.
const COUNTS: f64 = 0.1;

/// What the readings beyond the cut are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Beyond {
    /// Healthy units, and perhaps others.
    AtMost,
    /// Healthy units.
    All,
}

/// The readings below one cut, described.
pub(super) struct Below {
    pub(super) cut: f64,
    pub(super) low_cut: Option<f64>,
    /// The readings below the cut, the lowest censored.
    pub(super) fitted: Grouped,
    pub(super) average: Average,
    /// Tail of the readings next to the cut.
    pub(super) local: Result<Tail, TailError>,
    /// Weight of the families against that tail.
    pub(super) weight: f64,
    pub(super) excess: Excess,
}

impl Below {
    /// `healthy`: the readings without those that are known for strays; beyond the cut they say how many can be healthy,
    /// or, with `All`, how many are.
    pub(super) fn fit(
        data: &Grouped,
        (healthy, beyond): (&Grouped, Beyond),
        edges: &Edges,
        cut: f64,
        level: f64,
    ) -> Result<Self, NotDone> {
        let low_cut = low_cut(data, edges, cut);
        let (fitted, average) = families(healthy, cut, low_cut, beyond)?;
        let line = Line::Scores(average.best().fit.law);
        let local = local_threshold(data, edges, cut)
            .and_then(|threshold| Tail::fit(healthy, threshold, Some(cut), line));
        let weight = family_weight(local.as_ref().ok());
        let families = Expecting::of_families(&average, data, &fitted, cut)?;
        let expecting = match &local {
            Ok(tail) => families.blend(Expecting::of_tail(tail, data, cut)?, weight),
            Err(_) => families,
        };
        let excess = excess(data, cut, &expecting, level)?;
        Ok(Self { cut, low_cut, fitted, average, local, weight, excess })
    }

    /// Whether the readings beyond the cut say how many of the healthy units lie there.
    pub(super) fn counts_beyond(&self) -> bool {
        self.average.truncated_above.is_none()
    }

    /// The same by the tail next to the cut alone, where there is one: no family describes the readings.
    pub(super) fn by_tail_alone(self, data: &Grouped, level: f64) -> Result<Self, NotDone> {
        let Ok(tail) = &self.local else { return Ok(self) };
        let excess = excess(data, self.cut, &Expecting::of_tail(tail, data, self.cut)?, level)?;
        Ok(Self { weight: 0.0, excess, ..self })
    }

    /// How healthy units lie.
    pub(super) fn healthy(&self) -> Healthy<'_> {
        let Self { average, cut, weight, .. } = self;
        Healthy { average, local: self.local.as_ref().ok(), weight: *weight, cut: *cut }
    }
}

/// The healthy units by what was fitted below the cut.
#[derive(Clone, Copy)]
pub(super) struct Healthy<'a> {
    pub(super) average: &'a Average,
    pub(super) local: Option<&'a Tail>,
    pub(super) weight: f64,
    pub(super) cut: f64,
}

impl Healthy<'_> {
    /// Share of the healthy units above `x`.
    pub(super) fn sf(self, x: f64) -> f64 {
        let [families, tail] = self.shares(x);
        self.weight * families + (1.0 - self.weight) * tail
    }

    /// The same by the longest description: a unit is named only where none expects it. Beside families and
    /// tail, those of the best family's readings beyond the cut that the tail expects there, so that no short
    /// tail of few readings names a unit which the family would not.
    pub(super) fn sf_at_most(self, x: f64) -> f64 {
        let [families, tail] = self.shares(x);
        let [_, at_cut] = self.shares(self.cut);
        let law = self.average.best().fit.law;
        let of_law = at_cut * (law.ln_sf(x) - law.ln_sf(self.cut)).min(0.0).exp();
        let families = if self.weight >= COUNTS { families } else { 0.0 };
        families.max(tail).max(of_law)
    }

    /// By the families, and by the tail where there is one: below its threshold the families' curve, scaled
    /// to meet it there.
    fn shares(self, x: f64) -> [f64; 2] {
        let families = self.average.sf(x);
        let Some(tail) = self.local else {
            return [families; 2];
        };
        let by_tail = tail.sf(x).unwrap_or_else(|| {
            let below = self.average.cdf(x) / self.average.cdf(tail.threshold);
            1.0 - (1.0 - tail.share) * below
        });
        [families, by_tail]
    }
}

/// Weight of the families where a tail was fitted below the cut: by Akaike's criterion, three parameters
/// more for the tail.
fn family_weight(local: Option<&Tail>) -> f64 {
    let gain = local.and_then(Tail::gain_over_law);
    gain.map_or(1.0, |gain| 1.0 / (1.0 + ((gain - 4.0) / 2.0).exp()))
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
            let same = out.last().is_some_and(|last| (last.0 - high).abs() <= 1e-9 * high.abs());
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
pub(super) fn cut(data: &Grouped, edges: &Edges, share: f64) -> Option<f64> {
    let n = data.sample().total();
    let trip = data.sample().lowest_above();
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
        .min_by(|a, b| (a.1 - LOW_SHARE * n).abs().total_cmp(&(b.1 - LOW_SHARE * n).abs()))
        .map(|(edge, _)| edge)
}

/// How many distinct readings lie below the cut.
pub(super) fn distinct(data: &Grouped, cut: f64) -> usize {
    data.sample().lines().iter().filter(|line| place(line.observation) < cut).count()
}

/// The families fitted to the readings below the cut, those below the lower cut censored there; those beyond the cut
/// left out, or censored at it where all are healthy or the fit would expect more of them.
pub(super) fn families(
    data: &Grouped,
    cut: f64,
    low_cut: Option<f64>,
    beyond: Beyond,
) -> Result<(Grouped, Average), NotDone> {
    let below = |o: Observation| match o {
        Observation::Above(_) => None,
        _ if place(o) >= cut => None,
        _ => Some(match (o, low_cut) {
            (Observation::Below(x), Some(low)) => Observation::Below(x.max(low)),
            (_, Some(low)) if place(o) < low => Observation::Below(low),
            // The cut and a reading's edge are the same place up to rounding.
            (Observation::Between { low, high }, _) => {
                Observation::Between { low, high: high.min(cut) }
            }
            _ => o,
        }),
    };
    let kept =
        data.filter_map(|_, o| below(o)).map_err(|_| NotDone::TooFewReadings { found: 0.0 })?;
    let found = kept.sample().total();
    if found < FEWEST {
        return Err(NotDone::TooFewReadings { found });
    }
    let distinct = kept.sample().lines().len();
    if distinct < FEWEST_DISTINCT {
        return Err(NotDone::TooFewDistinct { found: distinct });
    }
    let fit = |to: &Grouped, cut: Option<f64>| {
        Average::fit(&Family::ALL, to, cut).map_err(|reason| NotDone::NoFit(reason.to_string()))
    };
    let average = fit(&kept, Some(cut))?;
    let lie_beyond = data.sample().total() - found;
    let expected = found * (average.ln_sf(cut) - average.cdf(cut).ln()).exp();
    // No more than lie there can be healthy.
    if beyond == Beyond::All || expected > lie_beyond + HALF_A_UNIT {
        let all = data.filter_map(|_, o| Some(below(o).unwrap_or(Observation::Above(cut))));
        if let Some((all, average)) =
            all.ok().and_then(|all| fit(&all, None).ok().map(|a| (all, a)))
        {
            return Ok((all, average));
        }
    }
    Ok((kept, average))
}

/// Where the tail below the cut starts.
fn local_threshold(data: &Grouped, edges: &Edges, cut: f64) -> Result<f64, TailError> {
    let beyond_cut = upper_edges(data, edges)
        .iter()
        .filter(|(edge, _)| *edge <= cut + 1e-9 * cut.abs())
        .map(|(_, beyond)| *beyond)
        .fold(f64::INFINITY, f64::min);
    let inside =
        |edge: f64, beyond: f64| (edge < cut - 1e-9 * cut.abs()).then_some(beyond - beyond_cut);
    threshold(data, edges, LOCAL_SHARES, inside)
}

/// Where the open tail starts.
pub(super) fn tail_threshold(data: &Grouped, edges: &Edges) -> Result<f64, TailError> {
    let trip = data.sample().lowest_above();
    let beyond = |edge: f64, beyond: f64| (edge <= trip + 1e-9 * trip.abs()).then_some(beyond);
    threshold(data, edges, OPEN_SHARES, beyond)
}

/// The edge that gives a tail nearest to the first share of the readings, at least 100 and fewer in a large
/// series: of those that give it at least 50 and at most the second share.
fn threshold(
    data: &Grouped,
    edges: &Edges,
    shares: [f64; 2],
    given: impl Fn(f64, f64) -> Option<f64>,
) -> Result<f64, TailError> {
    let n = data.sample().total();
    let falls = (LARGE / n).min(1.0).powf(1.0 - GROWS_BY);
    let wanted = TAIL_READINGS[0].max(shares[0] * n * falls);
    let most = shares[1] * n;
    let distance = |count: f64| ((count + 0.5) / (wanted + 0.5)).ln().abs();
    let mut possible: Vec<(f64, f64)> = upper_edges(data, edges)
        .into_iter()
        .filter_map(|(edge, beyond)| Some((edge, given(edge, beyond)?)))
        .collect();
    // Beyond each lie as many distinct readings as edges, the last one's among them.
    possible.truncate((possible.len() + 1).saturating_sub(DISTINCT));
    possible
        .into_iter()
        .filter(|&(_, count)| count >= TAIL_READINGS[1] && count <= most)
        .min_by(|a, b| distance(a.1).total_cmp(&distance(b.1)))
        .map(|(edge, _)| edge)
        .ok_or(TailError::TooFew(most))
}
