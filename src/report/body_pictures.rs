//! What the charts of one healthy body are filled with: its points, units and curves.
//!
//! The curves are those that the numbers of the verdict come from: the body's where strays are kept apart,
//! its tail's beyond the threshold where all readings count, the groups' where there are two.

use super::chart::axis::percent;
use super::chart::distribution::Part;
use super::chart::probability::{Curve, Fitted, Kind, Known, Observed, Units};
use super::chart::{Point, at, style};
use super::format::whole;
use crate::analysis::body::describe::{Body, Which};
use crate::movement::GroupSplit;
use crate::movement::edges::place;
use crate::stats::distribution::Family;
use crate::stats::empirical::Cell;
use crate::stats::mixture::TwoGroups;
use crate::stats::sample::Observation;

/// Points along a curve of the distribution chart.
const POINTS: u32 = 240;
/// Share at which a curve ends, at both sides.
const END: f64 = 1e-4;

/// What is known of an observation, the steps of the instruments being at most `step_ma`.
fn known(observation: Observation, step_ma: f64) -> Known {
    match observation {
        Observation::Above(_) => Known::Above,
        Observation::Below(x) if x <= step_ma * (1.0 + 1e-9) => Known::Zero,
        Observation::Below(_) => Known::Below,
        Observation::Between { .. } | Observation::Exact(_) => Known::Within,
    }
}

/// Whether an observation is a stray: as `Strays::has`, and readings of zero whose upper end is the
/// threshold itself.
#[must_use]
pub fn stray(body: &Body, observation: Observation) -> bool {
    body.strays.has(observation)
        || match (observation, body.strays.below.threshold) {
            (Observation::Below(x), Some(edge)) => x <= edge * (1.0 + 1e-9),
            _ => false,
        }
}

/// Units of a body by what is known of them; together all its units.
#[must_use]
pub fn units(body: &Body, step_ma: f64) -> Vec<Units> {
    let mut sums: Vec<(Known, bool, f64)> = Vec::new();
    for line in body.observed() {
        let key = (known(line.observation, step_ma), stray(body, line.observation));
        match sums.iter_mut().find(|s| (s.0, s.1) == key) {
            Some(sum) => sum.2 += line.count,
            None => sums.push((key.0, key.1, line.count)),
        }
    }
    sums.into_iter()
        .map(|(known, stray, count)| Units { known, stray, count: whole(count) })
        .collect()
}

/// Where the shares of the body lie among the shares of all units.
///
/// Strays kept apart are no part of the body, so that its readings are ranked without them; where
/// all readings count, all are ranked.
fn ranked(body: &Body, p: f64) -> f64 {
    let (below, above) = apart(body);
    (p - below) / (1.0 - below - above)
}

/// Shares of strays below and above that are kept apart.
fn apart(body: &Body) -> (f64, f64) {
    if matches!(body.which(), Ok(Which::Apart)) {
        let share = |count: f64| count / body.units;
        (share(body.strays.below.count), share(body.strays.above.count))
    } else {
        (0.0, 0.0)
    }
}

/// Points of the probability plot: halfway through the units of each cell of the non-parametric
/// estimate, whose edges say what is known of them; readings known at one end only, at that end.
/// Readings in units of `factor` per mA.
#[must_use]
pub fn observed(body: &Body, step_ma: f64, factor: f64) -> Vec<Observed> {
    let cells = body.empirical.cells().iter();
    let within = cells
        .filter(|cell| cell.low.is_finite() && cell.high.is_finite())
        .filter(|cell| !above_a_trip_alone(body, cell))
        .map(|cell| {
            let is_stray = stray(
                body,
                if cell.low < cell.high {
                    Observation::Between { low: cell.low, high: cell.high }
                } else {
                    Observation::Exact(cell.high)
                },
            );
            let middle = cell.below - cell.mass / 2.0;
            Observed {
                low: cell.low * factor,
                high: cell.high * factor,
                p: if is_stray { middle } else { ranked(body, middle) },
                known: Known::Within,
                stray: is_stray,
            }
        });
    let beyond = body.observed().filter_map(|line| {
        let (Observation::Above(edge) | Observation::Below(edge)) = line.observation else {
            return None;
        };
        let is_stray = stray(body, line.observation);
        let p = body.empirical.cdf(edge);
        // A trip's mark stands where the readings below its limit end.
        let highest = 1.0 - 0.5 / body.units;
        let p = if is_stray { p } else { ranked(body, p) };
        Some(Observed {
            low: edge * factor,
            high: edge * factor,
            p: p.min(highest),
            known: known(line.observation, step_ma),
            stray: is_stray,
        })
    });
    within.chain(beyond).collect()
}

/// Whether a cell lies above a limit that tripped and holds only the upper half of a passed reading's step.
///
/// A reading shown as the limit itself reaches half a step above it, where the non-parametric estimate
/// puts trips too; no unit is known to lie there.
fn above_a_trip_alone(body: &Body, cell: &Cell) -> bool {
    let tiny = 1e-9 * cell.low.abs();
    let trip = body
        .observed()
        .filter_map(|line| match line.observation {
            Observation::Above(limit) if limit <= cell.low + tiny => Some(limit),
            _ => None,
        })
        .fold(f64::NEG_INFINITY, f64::max);
    trip.is_finite()
        && !body.observed().any(|line| match line.observation {
            Observation::Between { low, high } => {
                place(line.observation) > trip + tiny && low < cell.high && high > cell.low
            }
            Observation::Exact(x) => x > trip && x == cell.high,
            _ => false,
        })
}

/// Names of the two groups: the levels of the factor that separates them, else `lower` and `upper`.
#[must_use]
pub fn group_names(
    two: &TwoGroups,
    split: Option<&GroupSplit>,
    show: &dyn Fn(f64) -> String,
) -> [String; 2] {
    let level = |names: &[String], other: &str| {
        let Some(split) = split else {
            return format!("{other} group");
        };
        let factor = &split.split.factor;
        let text = match names {
            [one] => format!("{factor} {one}"),
            [one, two] => format!("{factor} {one}, {two}"),
            more => format!("{other} group, {} levels of {factor}", more.len()),
        };
        style::printable(&text, &format!("{other} group"))
    };
    let names = [
        level(split.map_or(&[], |s| &s.split.lower), "lower"),
        level(split.map_or(&[], |s| &s.split.upper), "upper"),
    ];
    let mut groups = two.groups.iter();
    names.map(|name| {
        groups.next().map_or_else(String::new, |g| {
            format!("{name}: {}, around {}", percent(g.share), show(g.median))
        })
    })
}

/// The family with the most weight, as people write it.
#[must_use]
pub fn family_words(body: &Body) -> &'static str {
    match body.average.best().fit.law.family() {
        Family::Normal => "normal",
        Family::Lognormal => "lognormal",
        Family::Gamma => "gamma",
        Family::Weibull => "Weibull",
        Family::LogLogistic => "log-logistic",
        Family::Gumbel => "Gumbel",
    }
}

/// Shares from the lower end to the upper end `1 - q`, evenly on a logit scale.
fn shares(from: f64, q: f64) -> Vec<f64> {
    let logit = |p: f64, q: f64| (p / q).ln();
    let (a, b) = (logit(from, 1.0 - from), logit(1.0 - q, q));
    (0..=24).map(|k| a + (b - a) * f64::from(k) / 24.0).map(|z| 1.0 / (1.0 + (-z).exp())).collect()
}

/// The curves of the probability plot. Readings in units of `factor` per mA; `names` of two groups.
#[must_use]
pub fn curves(body: &Body, names: &[String; 2], accepted: f64, factor: f64) -> Vec<Curve> {
    let end = END.min(accepted / 3.0);
    let tail = match (body.which(), &body.tail) {
        (Ok(Which::Together), Ok(tail)) => Some(tail),
        _ => None,
    };
    let along = |which: Which, shares: &[f64], banded: bool| -> Vec<Fitted> {
        shares
            .iter()
            .filter_map(|&p| {
                // The fitted line is the families', up to where a tail has its say.
                let beyond = |share: f64| 1.0 - p <= share;
                let of_families = which == Which::Apart
                    && (tail.is_some() || !body.local.as_ref().is_ok_and(|t| beyond(t.share)));
                let q = if of_families {
                    body.family_quantile(p)?
                } else {
                    body.quantile(which, p).ok()?
                };
                let ok = q.value.is_finite() && q.low.is_finite() && q.high.is_finite();
                ok.then(|| Fitted {
                    p,
                    reading: q.value * factor,
                    band: banded.then_some((q.low * factor, q.high * factor)),
                })
            })
            .collect()
    };
    let families = format!("average of families, {} has most weight", family_words(body));
    let mut curves = Vec::new();
    let mut add = |kind, name: String, points: Vec<Fitted>| {
        if points.len() > 1 {
            curves.push(Curve { kind, name, points });
        }
    };
    let top = tail.map_or(end, |t| t.share);
    if body.families_fail() && tail.is_some() {
        // The numbers below the threshold are those of the readings: so is their band.
        let band = along(Which::Together, &shares(0.02, top * 1.000_001), true);
        add(Kind::Readings, String::new(), band);
    }
    if let Some(two) = &body.groups {
        let [all, lower, upper] = group_shares(body, two, end, factor);
        add(Kind::Groups, "two groups together".to_owned(), all);
        add(Kind::Lower, format!("{} (alone)", names[0]), lower);
        add(Kind::Upper, format!("{} (alone)", names[1]), upper);
    } else if body.families_fail() {
        let whole = along(Which::Apart, &shares(END, end), false);
        add(Kind::Unused, format!("{families}: not used"), whole);
    } else {
        let points = along(Which::Apart, &shares(END, top), true);
        add(Kind::Body, families, points);
    }
    if let Some(tail) = tail {
        let q: Vec<f64> = (0..=14)
            .map(|k| tail.share * (end / tail.share).powf(f64::from(k) / 14.0))
            // The threshold itself belongs to the body.
            .map(|q| 1.0 - q.min(tail.share * (1.0 - 1e-9)))
            .collect();
        let name = "tail that the numbers come from (generalised Pareto)".to_owned();
        add(Kind::Tail, name, along(Which::Together, &q, true));
    }
    curves
}

/// Shares along the readings of two groups: of both together among all units, and of each alone among
/// its own.
fn group_shares(body: &Body, two: &TwoGroups, end: f64, factor: f64) -> [Vec<Fitted>; 3] {
    // The groups were found without strays; where strays are ranked too, the shares make room for them.
    let room = |count: f64, kept: f64| count / body.units - kept;
    let (kept_below, kept_above) = apart(body);
    let low = room(body.strays.below.count, kept_below);
    let high = room(body.strays.above.count, kept_above);
    let readings = group_readings(two);
    let line = |share: &dyn Fn(f64) -> f64| -> Vec<Fitted> {
        readings
            .iter()
            .map(|&x| (x, share(x)))
            .filter(|(_, p)| *p > END && *p < 1.0 - end)
            .map(|(x, p)| Fitted { p, reading: x * factor, band: None })
            .collect()
    };
    let alone = |i: usize| line(&|x| two.below(i, x) / two.groups[i].share);
    [line(&|x| low + (1.0 - low - high) * (two.below(0, x) + two.below(1, x))), alone(0), alone(1)]
}

/// Readings, mA, from the lowest to the highest that two groups reach.
fn group_readings(two: &TwoGroups) -> Vec<f64> {
    let back = |z: f64| match two.component {
        crate::stats::mixture::Component::Normal => z,
        crate::stats::mixture::Component::Lognormal => z.exp(),
    };
    let ends = two.groups.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |e, g| {
        (e.0.min(g.mean - 4.5 * g.sd), e.1.max(g.mean + 4.5 * g.sd))
    });
    (0..=POINTS)
        .map(|k| back(ends.0 + (ends.1 - ends.0) * f64::from(k) / f64::from(POINTS)))
        .collect()
}

/// Density of a body, per unit of reading in units of `factor` per mA.
#[must_use]
pub fn density(body: &Body, factor: f64) -> Vec<Point> {
    let readings: Vec<f64> = match &body.groups {
        Some(two) => group_readings(two),
        None => {
            let (low, high) = (body.average.quantile(1e-5), body.average.upper_quantile(1e-5));
            // A long tail needs few points, and must not take them from the body.
            let bend = body.average.upper_quantile(0.005).clamp(low, high);
            let along = |from: f64, to: f64, n: u32| {
                (0..n).map(move |k| from + (to - from) * f64::from(k) / f64::from(n))
            };
            along(low, bend, POINTS).chain(along(bend, high, POINTS / 2)).chain([high]).collect()
        }
    };
    points(&readings, |x| body.density(x), factor)
}

/// Densities of the two groups, each times its share; empty where there is one.
#[must_use]
pub fn parts(body: &Body, names: &[String; 2], factor: f64) -> Vec<Part> {
    let Some(two) = &body.groups else {
        return Vec::new();
    };
    let readings = group_readings(two);
    names
        .iter()
        .enumerate()
        .map(|(i, name)| Part {
            name: name.clone(),
            median: two.groups[i].median * factor,
            density: points(&readings, |x| two.density(i, x), factor),
        })
        .collect()
}

/// Density of the tail in use, of a body of `body_units` units; empty where the body answers.
#[must_use]
pub fn tail_density(body: &Body, body_units: f64, factor: f64) -> Vec<Point> {
    let (Ok(Which::Together), Ok(tail)) = (body.which(), &body.tail) else {
        return Vec::new();
    };
    let Some(high) = tail.upper_quantile(tail.share.min(1e-5)) else {
        return Vec::new();
    };
    let readings: Vec<f64> =
        (0..=60).map(|k| tail.threshold + (high - tail.threshold) * f64::from(k) / 60.0).collect();
    let share = body.units / body_units;
    // The mean density between two neighbouring places stands for the place between them.
    readings
        .windows(2)
        .filter_map(|w| {
            let fall = tail.sf(w[0])? - tail.sf(w[1])?;
            let y = fall / (w[1] - w[0]) * share / factor;
            y.is_finite().then(|| at(f64::midpoint(w[0], w[1]) * factor, y))
        })
        .collect()
}

fn points(readings: &[f64], density: impl Fn(f64) -> f64, factor: f64) -> Vec<Point> {
    readings
        .iter()
        .map(|&x| at(x * factor, density(x) / factor))
        .filter(|p| p.x.is_finite() && p.y.is_finite())
        .collect()
}

/// Units that the density of a body stands for: strays are none of them.
#[must_use]
pub fn body_units(body: &Body) -> f64 {
    if body.groups.is_some() {
        (body.units - body.strays.above.count - body.strays.below.count).max(1.0)
    } else {
        body.fitted().sample().total() / body.average.cdf(body.cut).max(1e-9)
    }
}
