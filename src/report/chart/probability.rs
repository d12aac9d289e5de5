//! Does what was fitted describe the readings, up to the limit?

use super::axis::{counted, decimals_of, number, percent};
pub use super::shares::ProbabilityScale;
use super::shares::{share_text, share_ticks};
use super::style::{POINT, WIDTH};
use super::{Along, Axis, Chart, ChartError, Dash, Layer, Panel, Point, Role, Scale, Shape, at};

/// What is known of the readings behind a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// That they lie between two edges, half a step to either side of what was shown.
    Within,
    /// Only that they lie above: a trip.
    Above,
    /// Only that they lie below half a step: the instrument showed zero.
    Zero,
    /// Only that they lie below: the low limit rejected the unit.
    Below,
}

/// One point of the estimate without a family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    /// Lower edge of what is known; the limit where only one end is known.
    pub low: f64,
    /// Upper edge of what is known; the limit where only one end is known.
    pub high: f64,
    /// Share of units at or below it: halfway through those that lie between the edges.
    pub p: f64,
    /// What is known of them.
    pub known: Known,
    /// True where they are strays: no part of what was fitted.
    pub stray: bool,
}

impl Observed {
    fn reading(&self) -> f64 {
        f64::midpoint(self.low, self.high)
    }
}

/// How many units of one kind there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Units {
    /// What is known of their readings.
    pub known: Known,
    /// Whether they are strays.
    pub stray: bool,
    /// How many.
    pub count: u64,
}

/// One point of a fitted curve: the reading that a share of units stays under.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    /// The share.
    pub p: f64,
    /// The reading.
    pub reading: f64,
    /// Lower and upper confidence limit of the reading, where there are such.
    pub band: Option<(f64, f64)>,
}

/// What a curve is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The body that the numbers come from.
    Body,
    /// The tail that the numbers come from.
    Tail,
    /// Two groups together.
    Groups,
    /// The lower of two groups, in shares of its own units.
    Lower,
    /// The upper of two groups, in shares of its own units.
    Upper,
    /// A body that was fitted and is not used.
    Unused,
    /// The readings themselves: only their band is drawn.
    Readings,
}

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
    /// Confidence level of the bands, a fraction of 1.
    pub level: f64,
    /// High limit in force.
    pub high_limit: Option<f64>,
    /// Share of healthy units accepted to be rejected.
    pub accepted: Option<f64>,
    /// Bounds that the verdict uses of the reading with the accepted share above it.
    pub bounds: Option<(f64, f64)>,
    /// Further remarks.
    pub notes: Vec<String>,
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
        let band = f.band.unwrap_or((0.0, 0.0));
        super::finite("a fitted point", [f.p, f.reading, band.0, band.1])?;
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
                    .filter(|f| has_place(f.p, f.band.map_or(f.reading, |b| b.0.min(f.reading))))
                    .copied()
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
        format!("{}: {}", input.series, input.answer),
        format!("{}, {}", counted(all, "unit"), input.period),
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
        let banded: Vec<(f64, f64, f64)> = curve
            .points
            .iter()
            .filter_map(|f| f.band.map(|(low, high)| (low, high, place(f.p))))
            .collect();
        if banded.len() > 1 {
            layers.push(Layer::Band {
                role: Role::Fit,
                name: Some(format!("{} confidence band", percent(input.level))),
                low: banded.iter().map(|b| at(b.0, b.2)).collect(),
                high: banded.iter().map(|b| at(b.1, b.2)).collect(),
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
