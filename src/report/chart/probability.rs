//! Does what was fitted describe the readings, up to the limit?

use super::axis::{counted, decimals_of, number, percent};
use super::one_series::{OneSeries, family_words};
pub use super::shares::ProbabilityScale;
use super::shares::{share_text, share_ticks};
use super::style::{POINT, WIDTH, printable};
use super::{
    Along, Axis, Chart, ChartError, Dash, Heading, Layer, Panel, Point, Role, Scale, Shape, at,
};
use crate::analysis::body::curves::{Fitted, FittedCurve, Kind};
use crate::analysis::body::describe::{Body, Which};
use crate::analysis::body::healthy::Healthy;
use crate::analysis::body::observed::{Known, Observed, Units};
use crate::stats::distribution::Family;
use crate::stats::estimate::Estimate;
use crate::stats::mixture::Component;
use crate::words::numbers::whole;

/// A fitted curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// What it is.
    pub kind: Kind,
    /// Its name for the legend.
    pub name: String,
    /// Its points, ascending.
    pub points: Vec<Fitted>,
}

/// What the probability plot needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Probability {
    /// Name of the series, for people.
    pub series: String,
    /// The answer, for the title.
    pub answer: String,
    /// Which days, in words.
    pub period: String,
    /// Unit of all readings.
    pub unit: String,
    /// Reading step, for the decimals.
    pub step: f64,
    /// Family whose scale is used.
    pub scale: ProbabilityScale,
    /// Observed points; those with no place on the axes are left out.
    pub observed: Vec<Observed>,
    /// Units by kind; together all units of the period.
    pub units: Vec<Units>,
    /// Fitted curves; may be empty.
    pub curves: Vec<Curve>,
    /// High limit in force.
    pub high_limit: Option<f64>,
    /// Share of healthy units accepted to be rejected.
    pub accepted: Option<f64>,
    /// Bounds that the verdict uses of the reading with the accepted share above it.
    pub bounds: Option<(f64, f64)>,
    /// Further remarks.
    pub notes: Vec<String>,
}

/// The probability plot of one series.
///
/// # Errors
/// `NothingToShow` where no body was fitted.
pub fn from(s: &OneSeries<'_>) -> Result<Probability, ChartError> {
    let healthy = s.healthy().ok_or(ChartError::NothingToShow { what: "no body was fitted" })?;
    let (body, factor) = (&healthy.body, s.unit.factor);
    let mut notes = Vec::new();
    if strays_apart(healthy) > 0.0 {
        notes.push(
            "Strays stand at their share of all units, the rest at their share of those that are no strays."
                .to_owned(),
        );
    }
    let carried = if healthy.lines.is_some() {
        notes.push(
            "The band leaves out how uncertain the slope is; the bounds have it in.".to_owned(),
        );
        ", carried to the last day"
    } else {
        ""
    };
    let (step_ma, names) = (s.finding.step_ma, s.group_names(body));
    let ranks = body.ranks(step_ma).into_iter();
    Ok(Probability {
        series: s.title.clone(),
        answer: answer(s, healthy),
        period: format!("{}{carried}", s.period()),
        unit: s.unit.name.to_owned(),
        step: s.step(),
        scale: scale_of(body),
        observed: ranks
            .map(|o| Observed { low: o.low * factor, high: o.high * factor, ..o })
            .collect(),
        units: body.units_by_kind(step_ma),
        curves: body
            .curves(healthy.accepted_share)
            .into_iter()
            .map(|curve| named(curve, body, &names, factor))
            .collect(),
        high_limit: s.high_limit(),
        accepted: Some(healthy.accepted_share),
        bounds: s.tail_bounds(),
        notes,
    })
}

/// Strays that are kept apart.
fn strays_apart(healthy: &Healthy) -> f64 {
    let strays = &healthy.body.strays;
    if matches!(healthy.in_use, Ok(Which::Apart)) {
        strays.above.count + strays.below.count
    } else {
        0.0
    }
}

/// A curve with its name, readings multiplied by `factor`; `names` are those of two groups.
pub fn named(curve: FittedCurve, body: &Body, names: &[String; 2], factor: f64) -> Curve {
    let families = || format!("average of families, {} has most weight", family_words(body));
    let name = match curve.kind {
        Kind::Body => families(),
        Kind::Unused => format!("{}: not used", families()),
        Kind::Tail => "tail that the numbers come from (generalised Pareto)".to_owned(),
        Kind::Groups => "two groups together".to_owned(),
        Kind::Lower => format!("{} (alone)", names[0]),
        Kind::Upper => format!("{} (alone)", names[1]),
        Kind::Readings => String::new(),
    };
    let points = curve.points.into_iter().map(|f| Fitted {
        reading: f.reading * factor,
        estimate: f.estimate.map(|e| e.scaled(factor)),
        ..f
    });
    Curve { kind: curve.kind, name, points: points.collect() }
}

/// The scale on which the body would lie on a straight line.
fn scale_of(body: &Body) -> ProbabilityScale {
    match body.groups.as_ref().map(|two| two.component) {
        Some(Component::Normal) => return ProbabilityScale::Normal,
        Some(Component::Lognormal) => return ProbabilityScale::Lognormal,
        None => {}
    }
    match body.average.best().fit.law.family() {
        Family::Normal | Family::Gamma => ProbabilityScale::Normal,
        Family::Lognormal => ProbabilityScale::Lognormal,
        Family::Weibull => ProbabilityScale::Weibull,
        Family::LogLogistic => ProbabilityScale::LogLogistic,
        Family::Gumbel => ProbabilityScale::Gumbel,
    }
}

/// What the plot answers, in a few words.
fn answer(s: &OneSeries<'_>, healthy: &Healthy) -> String {
    let body = &healthy.body;
    if let Some(two) = &body.groups {
        let by = s
            .moved
            .split
            .as_ref()
            .map(|split| printable(&format!("by {}", split.split.factor), ""))
            .filter(|by| !by.is_empty())
            .map_or_else(String::new, |by| format!(" {by}"));
        let [a, b] = two.groups.map(|g| s.show(g.median));
        return format!("two groups{by}, around {a} and {b}");
    }
    if healthy.in_use.is_err() {
        return "neither a body nor a tail describes the readings".to_owned();
    }
    if let (true, Ok(tail)) = (body.families_fail(), &body.tail) {
        return format!(
            "the fitted body is too long; beyond {} the tail of the readings counts",
            s.show(tail.threshold)
        );
    }
    let strays = strays_apart(healthy);
    let apart = if strays > 0.0 {
        format!(", {} kept apart", counted(whole(strays), "stray"))
    } else {
        String::new()
    };
    match s.finding.distribution.as_ref().and_then(|d| d.goodness.largest_gap) {
        Some(gap) => {
            format!("fitted body off by up to {} of the units{apart}", percent(gap))
        }
        None => format!("readings against the fitted body{apart}"),
    }
}

/// Most of the range of readings that strays and the limit may take up before they get a panel of their own.
const NEAR: f64 = 1.5;

/// The probability plot: observed shares as points, or bars where a reading step is wider than a
/// point; what was fitted as lines with their confidence bands; the limit as a rule. Where strays
/// or the limit lie far from the rest, a second panel shows everything.
///
/// # Errors
/// `NothingToShow` where no point has a place; else those of [`Chart::check`].
pub fn chart(input: &Probability) -> Result<Chart, ChartError> {
    super::finite("an observed point", input.observed.iter().flat_map(|o| [o.low, o.high, o.p]))?;
    for f in input.curves.iter().flat_map(|c| &c.points) {
        let ends = f.estimate.iter().flat_map(|e| [e.low, e.high]);
        super::finite("a fitted point", ends.chain([f.p, f.reading]))?;
    }
    super::finite("the high limit", input.high_limit)?;
    let log = input.scale.readings() == Scale::Log;
    let has_place = |p: f64, reading: f64| p > 0.0 && p < 1.0 && (!log || reading > 0.0);
    let placed = Placed {
        observed: input.observed.iter().filter(|o| has_place(o.p, o.reading())).copied().collect(),
        curves: input
            .curves
            .iter()
            .map(|c| Curve {
                points: c
                    .points
                    .iter()
                    .filter(|f| has_place(f.p, f.estimate.as_ref().map_or(f.reading, |e| e.low)))
                    .cloned()
                    .collect(),
                ..c.clone()
            })
            .collect(),
        bounds: input.bounds.filter(|b| !log || b.0 > 0.0),
    };
    if placed.observed.is_empty() {
        return Err(ChartError::NothingToShow { what: "points with a share between 0 and 1" });
    }
    let (close, every) = reading_axes(input, &placed);
    let places = placed
        .observed
        .iter()
        .map(|o| o.p)
        .chain(placed.curves.iter().flat_map(|c| &c.points).map(|f| f.p))
        .chain(input.accepted.map(|a| 1.0 - a))
        .map(|p| input.scale.place(p));
    let y = Axis::covering("units at or below the reading", "", Scale::Linear, places, 0.04);
    let panel = |x: &Axis, title: &str, rows: usize, share: f64| Panel {
        x: Some(Axis { title: format!("reading ({}){title}", input.unit), ..x.clone() }),
        y: y.clone().with_ticks(share_ticks(input.scale, y.low, y.high, rows)),
        layers: layers(input, &placed, x),
        beside: Vec::new(),
        share,
    };
    let mut panels = vec![panel(&close, if every.is_some() { ", close up" } else { "" }, 18, 1.0)];
    if let Some(every) = &every {
        panels.push(panel(every, ", everything", 9, 0.6));
    }
    let mut notes = vec![format!("A {} body would lie on a straight line.", input.scale.name())];
    notes.extend(input.notes.iter().cloned());
    let all: u64 = input.units.iter().map(|u| u.count).sum();
    let mut chart = Chart::new(
        Heading::about(
            &input.series,
            &input.answer,
            &format!("{}, {}", counted(all, "unit"), input.period),
        ),
        close,
        panels,
        notes,
    )?;
    chart.height += if every.is_some() { 400 } else { 100 };
    Ok(chart)
}

/// What has a place on the axes.
struct Placed {
    observed: Vec<Observed>,
    curves: Vec<Curve>,
    bounds: Option<(f64, f64)>,
}

/// The axis of readings, and a second one for everything where the first cannot hold it.
fn reading_axes(input: &Probability, placed: &Placed) -> (Axis, Option<Axis>) {
    let axis = |values: &[f64]| {
        Axis::covering("reading", "", input.scale.readings(), values.to_vec(), 0.05)
    };
    let mut body: Vec<f64> = placed
        .observed
        .iter()
        .filter(|o| !o.stray && o.known != Known::Above)
        .flat_map(|o| [o.low, o.high])
        .collect();
    // A curve may run further than its readings, but not so far that they shrink beside it.
    let curves = placed.curves.iter().flat_map(|c| &c.points).map(|f| f.reading);
    let rest: Vec<f64> = placed
        .observed
        .iter()
        .filter(|o| o.stray || o.known == Known::Above)
        .flat_map(|o| [o.low, o.high])
        .chain(input.high_limit)
        .chain(placed.bounds.iter().flat_map(|b| [b.0, b.1]))
        .collect();
    if body.is_empty() {
        body.clone_from(&rest);
    }
    let core = axis(&body);
    let near = |v: &f64| {
        let f = core.fraction(*v);
        (-NEAR..1.0 + NEAR).contains(&f)
    };
    let close: Vec<f64> = body
        .iter()
        .copied()
        .chain(curves.filter(near))
        .chain(rest.iter().copied().filter(near))
        .collect();
    let close = axis(&close);
    let usable = |v: &f64| input.scale.readings() != Scale::Log || *v > 0.0;
    let far = rest.iter().filter(|v| usable(v)).any(|v| !near(v));
    let every = far.then(|| {
        let all: Vec<f64> = rest.iter().copied().chain([close.low, close.high]).collect();
        axis(&all)
    });
    (close, every)
}

fn layers(input: &Probability, placed: &Placed, x: &Axis) -> Vec<Layer> {
    let place = |p: f64| input.scale.place(p);
    let decimals = decimals_of(input.step);
    let mut layers = Vec::new();
    for curve in &placed.curves {
        let banded: Vec<(&Estimate, f64)> =
            curve.points.iter().filter_map(|f| Some((f.estimate.as_ref()?, place(f.p)))).collect();
        if let [first, _, ..] = banded.as_slice() {
            layers.push(Layer::Band {
                role: Role::Fit,
                name: Some(format!("{} confidence band", percent(first.0.level))),
                low: banded.iter().map(|(e, y)| at(e.low, *y)).collect(),
                high: banded.iter().map(|(e, y)| at(e.high, *y)).collect(),
            });
        }
    }
    observed_layers(input, placed, x, &mut layers);
    for curve in placed.curves.iter().filter(|c| c.points.len() > 1) {
        let (role, dash) = match curve.kind {
            Kind::Body => (Role::Fit, Dash::Solid),
            Kind::Groups => (Role::BothGroups, Dash::Solid),
            Kind::Tail => (Role::Fit, Dash::Dashed),
            Kind::Lower => (Role::LowerGroup, Dash::Dashed),
            Kind::Upper => (Role::UpperGroup, Dash::DashDot),
            Kind::Unused => (Role::Quiet, Dash::Dotted),
            Kind::Readings => continue,
        };
        layers.push(Layer::Line {
            role,
            name: Some(curve.name.clone()),
            dash,
            points: curve.points.iter().map(|f| at(f.reading, place(f.p))).collect(),
        });
    }
    if let Some(limit) = input.high_limit {
        layers.push(Layer::Rule {
            role: Role::Limit,
            dash: Dash::Solid,
            along: Along::Upright,
            at: limit,
            label: format!("high limit {} {}", number(limit, decimals), input.unit),
        });
    }
    if let Some(a) = input.accepted {
        layers.push(Layer::Rule {
            role: Role::Quiet,
            dash: Dash::Dashed,
            along: Along::Level,
            at: place(1.0 - a),
            label: format!("accepted: {} % above", share_text(a)),
        });
        if let Some((from, to)) = placed.bounds {
            let (low, high) = pair(from, to, decimals);
            layers.push(Layer::Span {
                role: Role::Typical,
                name: Some(format!("end of the healthy tail {low} to {high} {}", input.unit)),
                y: place(1.0 - a),
                from,
                to,
                thickness: 9.0,
                shaded: false,
            });
        }
    }
    layers
}

/// Points, and bars where the step is wider than a point.
fn observed_layers(input: &Probability, placed: &Placed, x: &Axis, layers: &mut Vec<Layer>) {
    let place = |p: f64| input.scale.place(p);
    let dot = 2.0 * POINT / (f64::from(WIDTH) * 0.75);
    for (known, stray, role, shape, words) in [
        (Known::Within, false, Role::Reading, Shape::Disc, "observed"),
        (Known::Within, true, Role::Stray, Shape::Down, "stray that passed, not in the fit"),
        (Known::Zero, false, Role::Other, Shape::Left, "zero shown: below half a step"),
        (Known::Zero, true, Role::Stray, Shape::Left, "stray, zero shown: below half a step"),
        (Known::Below, false, Role::Other, Shape::Left, "known only to lie below"),
        (Known::Below, true, Role::Stray, Shape::Left, "stray known only to lie below"),
        (Known::Above, false, Role::Limit, Shape::Right, "tripped: known only to lie above"),
    ] {
        // A trip is shown as a trip, stray or not: how far it lies above is not known.
        let is_kind = |k: Known, s: bool| k == known && (s == stray || known == Known::Above);
        let kind = || placed.observed.iter().filter(|o| is_kind(o.known, o.stray));
        let points: Vec<Point> = kind().map(|o| at(o.reading(), place(o.p))).collect();
        if points.is_empty() {
            continue;
        }
        for o in kind().filter(|o| o.high > o.low && (x.fraction(o.high) - x.fraction(o.low)) > dot)
        {
            layers.push(Layer::Span {
                role,
                name: (!stray).then(|| "the reading lies somewhere in its bar".to_owned()),
                y: place(o.p),
                from: o.low,
                to: o.high,
                thickness: 5.0,
                shaded: false,
            });
        }
        let count = input.units.iter().filter(|u| is_kind(u.known, u.stray)).map(|u| u.count).sum();
        let out =
            if known == Known::Above && kind().all(|o| o.stray) { ", not in the fit" } else { "" };
        layers.push(Layer::Points {
            role,
            name: Some(format!("{words} ({}{out})", counted(count, "unit"))),
            shape,
            points,
        });
    }
}

/// Two readings with as many more decimals as it takes to tell them apart, three at most.
pub(super) fn pair(from: f64, to: f64, decimals: usize) -> (String, String) {
    let texts = |d: usize| (number(from, d), number(to, d));
    (decimals..decimals + 3).map(texts).find(|(a, b)| a != b).unwrap_or_else(|| texts(decimals + 3))
}
