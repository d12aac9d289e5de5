//! What do healthy units read, and where does the limit lie?

use super::axis::{counted, decimals_of, number};
use super::bars::{Beyond, beyond, bins, steps_note, width as bin_width};
use super::one_series::{OneSeries, family_words};
use super::probability::pair;
use super::style::printable;
use super::{
    Along, Axis, Bar, Chart, ChartError, Dash, Heading, Layer, Panel, Point, Role, Scale, Shape, at,
};
use crate::analysis::body::curves::Density;
use crate::analysis::body::tally::BeyondLimit;

/// One distinct reading of a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TallyLine {
    /// The reading.
    pub reading: f64,
    /// Step of the instrument there: the reading stands for half of it to either side.
    pub step: f64,
    /// Units that read so.
    pub count: u64,
    /// True where these units are strays.
    pub stray: bool,
}

/// Units of which only the limit that they passed beyond is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trips {
    /// The limit in force.
    pub limit: f64,
    /// Units beyond it.
    pub count: u64,
}

/// One of two groups.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its name for the legend.
    pub name: String,
    /// Its median reading.
    pub median: f64,
    /// Its density per unit of reading times its share of the body, on the readings of the whole density.
    pub density: Vec<Point>,
}

/// What the distribution chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Distribution {
    /// Name of the series, for people.
    pub series: String,
    /// What the verdict says of the limit, in a few words.
    pub answer: String,
    /// Which units and days, in words.
    pub period: String,
    /// Unit of all readings.
    pub unit: String,
    /// Coarsest reading step among the stations, in the same unit.
    pub step: f64,
    /// Passed units by reading, any order.
    pub tally: Vec<TallyLine>,
    /// Tripped units, by the limit that they tripped on.
    pub trips: Vec<Trips>,
    /// Healthy units known only to read below a low limit, by limit.
    pub under: Vec<Trips>,
    /// Density of the fitted healthy body, per unit of reading; empty where there is no fit.
    pub density: Vec<Point>,
    /// Units that the density stands for.
    pub body_units: f64,
    /// Name of the fit for the legend.
    pub fit: String,
    /// The two groups, lower first; empty where there is one.
    pub groups: Vec<Part>,
    /// Density of the tail that the numbers come from, per unit of reading and of all `body_units`;
    /// empty where the body itself answers.
    pub tail: Vec<Point>,
    /// X50 of the healthy body.
    pub typical: Option<f64>,
    /// High limit in force.
    pub high_limit: Option<f64>,
    /// Low limit in force.
    pub low_limit: Option<f64>,
    /// Lower and upper bound of the reading that all but the accepted share stay under.
    pub tail_bounds: Option<(f64, f64)>,
    /// Lower and upper end of the workable band.
    pub band: Option<(f64, f64)>,
    /// Something stated sets that upper end, and not a rule of thumb.
    pub proven: bool,
    /// The band is that of the time before a rise.
    pub before_rise: bool,
    /// What the station shows with no unit connected.
    pub open_lead: Option<f64>,
    /// Further remarks.
    pub notes: Vec<String>,
}

/// The distribution of one series over the period judged.
pub fn from(s: &OneSeries<'_>) -> Distribution {
    let of = |ma: f64| s.unit.of_ma(ma);
    let healthy = s.healthy();
    // A body carried to the last day is not the density of the whole period.
    let body = healthy.filter(|h| h.lines.is_none()).map(|h| &h.body);
    let tally = &s.finding.tally;
    let beyond = |all: &[BeyondLimit]| {
        all.iter().map(|b| Trips { limit: of(b.limit_ma), count: b.count }).collect()
    };
    let curve = |all: Vec<Density>| -> Vec<Point> {
        all.iter().map(|d| at(of(d.ma), d.per_ma / s.unit.factor)).collect()
    };
    let groups = body.and_then(|b| Some((b, b.groups.as_ref()?, b.group_densities()?)));
    let groups = groups.map_or_else(Vec::new, |(body, two, densities)| {
        let medians = two.groups.map(|g| of(g.median));
        let parts = s.group_names(body).into_iter().zip(medians).zip(densities);
        parts.map(|((name, median), d)| Part { name, median, density: curve(d) }).collect()
    });
    let high = &s.decided.limits.high;
    Distribution {
        series: s.title.clone(),
        answer: high.answer(),
        period: s.period(),
        unit: s.unit.name.to_owned(),
        step: s.step(),
        tally: tally
            .passed
            .iter()
            .map(|p| TallyLine {
                reading: of(p.ma),
                step: of(p.step_ma),
                count: p.count,
                stray: p.stray,
            })
            .collect(),
        trips: beyond(&tally.above),
        under: beyond(&tally.below),
        density: body.map_or_else(Vec::new, |b| curve(b.densities())),
        body_units: body.map_or(0.0, |b| b.units_of_density()),
        fit: body.map_or_else(String::new, |body| match &body.groups {
            Some(_) => "healthy body: two groups together".to_owned(),
            None if body.families_fail() => {
                format!("body ({} has most weight): not used", family_words(body))
            }
            None => format!("healthy body ({} has most weight)", family_words(body)),
        }),
        groups,
        tail: body.map_or_else(Vec::new, |b| curve(b.tail_densities())),
        typical: healthy.and_then(|h| h.quantiles[1].as_ref()).map(|q| of(q.value)),
        high_limit: s.high_limit(),
        low_limit: s.low_limit(),
        tail_bounds: s.tail_bounds(),
        band: high
            .band_low_ma
            .zip(high.band_high_ma)
            .map(|(a, b)| (of(a), of(b)))
            .filter(|(a, b)| a.is_finite() && b.is_finite()),
        proven: high.high_end_is_proven(),
        before_rise: high.rising.is_some(),
        open_lead: s.finding.open_lead_ma.map(of),
        notes: left_out(s).into_iter().collect(),
    }
}

/// Lots whose failures stand out are no part of the body; `None` where there is none.
fn left_out(s: &OneSeries<'_>) -> Option<String> {
    let units = s.finding.tally.left_out;
    let causes = s.finding.causes.iter();
    let levels: Vec<String> =
        causes.map(|c| printable(&format!("{} {}", c.factor, c.level), &c.factor)).collect();
    (units > 0).then(|| {
        format!(
            "Left out: {} of {}, whose failures stand out.",
            counted(units, "unit"),
            levels.join(", ")
        )
    })
}

/// The distribution chart. Above, the healthy body close up with its counts on a linear axis; where
/// limits, strays or the open-lead reading lie far from the body, a second panel shows everything
/// with counts on a logarithmic axis, where a single unit is a visible bar.
///
/// # Errors
/// `NothingToShow` without any passed or tripped unit; else those of [`Chart::check`].
pub fn chart(input: &Distribution) -> Result<Chart, ChartError> {
    let unit = &input.unit;
    super::finite("a reading of the tally", input.tally.iter().map(|l| l.reading))?;
    super::finite("the reading step", [input.step])?;
    super::finite("the step of a reading", input.tally.iter().map(|l| l.step))?;
    let limits = || input.trips.iter().chain(&input.under);
    super::finite("the limit of a trip", limits().map(|t| t.limit))?;
    let beyond = |all: &[Trips]| all.iter().map(|t| t.count).sum();
    let units = Counts {
        passed: input.tally.iter().map(|l| l.count).sum(),
        tripped: beyond(&input.trips),
        under: beyond(&input.under),
    };
    if units.all() == 0 {
        return Err(ChartError::NothingToShow { what: "readings" });
    }
    let decimals = decimals_of(input.step);
    let show = |v: f64| format!("{} {unit}", number(v, decimals));

    let Reach { low, high, spread, marks, close } = reach(input);
    let near = |v: &f64| is_near(*v, low, high, spread);
    let far = marks.iter().any(|m| !near(m));

    let width = bin_width(close.high - close.low, input.step);
    let bars = bins(input, width, false);
    let stray_bars = bins(input, width, true);
    let to_counts = |density: &[Point]| -> Vec<Point> {
        density.iter().map(|p| at(p.x, p.y * input.body_units * width)).collect()
    };
    let curves = Curves {
        body: to_counts(&input.density),
        tail: to_counts(&input.tail),
        groups: input.groups.iter().map(|g| to_counts(&g.density)).collect(),
    };
    let tallest = bars
        .iter()
        .chain(&stray_bars)
        .map(|b| b.top)
        .chain(curves.body.iter().map(|p| p.y).filter(|y| y.is_finite()))
        .chain(limits().filter(|t| near(&t.limit)).map(|t| t.count as f64))
        .fold(1.0, f64::max);
    let bar = number(width, decimals_of(width).max(decimals));
    let count_title = if width > input.step * 1.5 && input.step > 0.0 {
        format!("units per {bar} {unit} ({} steps)", number(width / input.step, 0))
    } else {
        format!("units per {bar} {unit}")
    };
    let main = Panel {
        x: Some(Axis {
            title: format!("reading ({unit}), the healthy body close up"),
            ..close.clone()
        }),
        y: Axis::new(&count_title, "", Scale::Linear, 0.0, tallest * 1.12),
        layers: layers(input, &bars, &stray_bars, &curves, width, false, &show),
        beside: Vec::new(),
        share: 1.0,
    };
    let mut panels = vec![main];
    let mut x = close;
    if far {
        let every = Axis::covering(
            "reading",
            unit,
            Scale::Linear,
            marks.iter().copied().chain([low, high]).chain(if marks.iter().all(|m| *m >= 0.0) {
                Some(0.0)
            } else {
                None
            }),
            0.04,
        );
        let every = if every.low < 0.0 && low >= 0.0 { every.from(0.0) } else { every };
        // On the wide axis the same bars; its lower end makes one unit a bar of some height.
        let full = Panel {
            x: Some(Axis { title: format!("reading ({unit}), everything"), ..every.clone() }),
            y: Axis::new(&count_title, "", Scale::Log, 0.4, (tallest * 2.5).max(12.0)),
            layers: layers(input, &bars, &stray_bars, &curves, width, true, &show),
            beside: Vec::new(),
            share: 0.75,
        };
        panels.push(full);
        x = every;
    } else {
        if let Some(own) = &mut panels[0].x {
            own.title = format!("reading ({unit})");
        }
    }

    let mut chart = Chart::new(
        Heading::about(&input.series, &answer(input, &show), &subtitle(input, &units)),
        x,
        panels,
        notes(input, &units, &bar),
    )?;
    if far {
        chart.height += 200;
    }
    Ok(chart)
}

/// Where the body lies, and what is marked.
struct Reach {
    low: f64,
    high: f64,
    spread: f64,
    marks: Vec<f64>,
    /// The axis of the close-up.
    close: Axis,
}

/// What lies near the body belongs into the close-up.
fn is_near(v: f64, low: f64, high: f64, spread: f64) -> bool {
    v > low - 0.8 * spread && v < high + 0.8 * spread
}

fn reach(input: &Distribution) -> Reach {
    let limits = || input.trips.iter().chain(&input.under);
    let body = || input.tally.iter().filter(|l| !l.stray && l.count > 0).map(|l| l.reading);
    let (mut low, mut high) = ends(body());
    if low > high {
        (low, high) = ends(input.tally.iter().map(|l| l.reading).chain(limits().map(|t| t.limit)));
    }
    let spread =
        (high - low).max(input.step.abs() * 8.0).max(high.abs().max(low.abs()) * 1e-6).max(1e-300);
    let near = |v: &f64| is_near(*v, low, high, spread);
    let strays = || input.tally.iter().filter(|l| l.stray && l.count > 0);
    let marks: Vec<f64> = [
        input.high_limit,
        input.low_limit,
        input.open_lead,
        input.typical,
        input.tail_bounds.map(|b| b.0),
        input.tail_bounds.map(|b| b.1),
        input.band.map(|b| b.0),
    ]
    .into_iter()
    .flatten()
    .chain(limits().map(|t| t.limit))
    // Room for the arrow beside the limit.
    .chain(input.trips.iter().map(|t| t.limit + 0.04 * spread))
    .chain(input.under.iter().map(|t| t.limit - 0.04 * spread))
    .chain(strays().map(|l| l.reading))
    .collect();
    let at_least = if low < high { 0.7 } else { 3.0 };
    let pad = (spread * 0.02).max(input.step.abs() * at_least);
    let close = Axis::covering(
        "reading",
        &input.unit,
        Scale::Linear,
        [low - pad, high + pad].into_iter().chain(marks.iter().copied().filter(near)),
        0.06,
    );
    let close = if close.low < 0.0 && low >= 0.0 && marks.iter().all(|m| *m >= 0.0) && high > 0.0 {
        close.from(0.0)
    } else {
        close
    };
    Reach { low, high, spread, marks, close }
}

/// Units of the period.
struct Counts {
    passed: u64,
    tripped: u64,
    under: u64,
}

impl Counts {
    fn all(&self) -> u64 {
        self.passed + self.tripped + self.under
    }
}

/// What a trip tells, how steps share bars, and what the input says.
fn notes(input: &Distribution, units: &Counts, bar: &str) -> Vec<String> {
    let mut notes = Vec::new();
    if units.tripped > 0 {
        notes.push(format!(
            "{} tripped: shown at the limit, since a trip tells only that the unit lies above it, not by how much.",
            counted(units.tripped, "unit")
        ));
    }
    notes.extend(steps_note(input, bar));
    notes.extend(input.notes.iter().cloned());
    notes
}

fn subtitle(input: &Distribution, units: &Counts) -> String {
    let Counts { passed, tripped, under } = *units;
    let apart: u64 = input.tally.iter().filter(|l| l.stray).map(|l| l.count).sum();
    let strays_among = match apart {
        0 => String::new(),
        1 => " (1 of them a stray)".to_owned(),
        more => format!(" ({} of them strays)", number(more as f64, 0)),
    };
    let below = if under > 0 {
        format!(", {} healthy under the low limit", number(under as f64, 0))
    } else {
        String::new()
    };
    format!(
        "{}, {}: {} passed{strays_among}, {} tripped{below}",
        counted(passed + tripped + under, "unit"),
        input.period,
        number(passed as f64, 0),
        number(tripped as f64, 0)
    )
}

/// Curves in units per bar.
struct Curves {
    body: Vec<Point>,
    tail: Vec<Point>,
    groups: Vec<Vec<Point>>,
}

/// The verdict, and what healthy units typically read where one line holds both: it is marked anyway.
fn answer(input: &Distribution, show: &dyn Fn(f64) -> String) -> String {
    let reads = match (input.groups.as_slice(), input.typical) {
        ([lower, upper], _) => {
            let (a, b) = pair(lower.median, upper.median, decimals_of(input.step));
            format!("; two groups, {a} and {b} {}", input.unit)
        }
        (_, Some(typical)) => format!("; typical {}", show(typical)),
        _ => String::new(),
    };
    let both = format!("{}{reads}", input.answer);
    if Heading::holds(&both) { both } else { input.answer.clone() }
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)))
}

/// The workable band, and where the healthy tail ends.
fn zones(input: &Distribution) -> Vec<Layer> {
    let mut layers = Vec::new();
    let ends = |from: f64, to: f64| {
        let (a, b) = pair(from, to, decimals_of(input.step));
        format!("{a} to {b} {}", input.unit)
    };
    if let Some((from, to)) = input.band {
        let ends = format!(" {}", ends(from, to));
        let (role, name) = Role::of_band(input.proven, input.before_rise, &ends);
        layers.push(Layer::Zone { role, name: Some(name), from, to });
    }
    if let Some((from, to)) = input.tail_bounds {
        layers.push(Layer::Zone {
            role: Role::Quiet,
            name: Some(format!("end of the healthy tail {}", ends(from, to))),
            from,
            to,
        });
    }
    layers
}

fn layers(
    input: &Distribution,
    bars: &[Bar],
    stray_bars: &[Bar],
    curves: &Curves,
    width: f64,
    full: bool,
    show: &dyn Fn(f64) -> String,
) -> Vec<Layer> {
    let mut layers = zones(input);
    if !bars.is_empty() {
        layers.push(Layer::Bars {
            role: Role::Reading,
            name: Some("passed units".to_owned()),
            bars: bars.to_vec(),
        });
    }
    if !stray_bars.is_empty() {
        let strays = input.tally.iter().filter(|l| l.stray).map(|l| l.count);
        layers.push(Layer::Bars { role: Role::Stray, name: None, bars: stray_bars.to_vec() });
        layers.push(Layer::Points {
            role: Role::Stray,
            name: Some(format!("strays that passed ({})", counted(strays.sum(), "unit"))),
            shape: Shape::Down,
            points: stray_bars
                .iter()
                .map(|b| at(f64::midpoint(b.from, b.to), marked(b.top, bars, full)))
                .collect(),
        });
    }
    let mut line = |role, dash, name: &str, points: &[Point]| {
        if points.len() > 1 {
            layers.push(Layer::Line {
                role,
                name: Some(name.to_owned()),
                dash,
                points: points.to_vec(),
            });
        }
    };
    let whole = if input.groups.is_empty() { Role::Fit } else { Role::BothGroups };
    line(whole, Dash::Solid, &input.fit, &curves.body);
    let groups = input.groups.iter().zip(&curves.groups);
    let marks = [(Role::LowerGroup, Dash::Dashed), (Role::UpperGroup, Dash::DashDot)];
    for ((part, points), (role, dash)) in groups.zip(marks) {
        // Where a group has next to no units its line would only dash along the axis.
        let tallest = points.iter().map(|p| p.y).fold(0.0, f64::max);
        let seen: Vec<Point> = points.iter().filter(|p| p.y > 0.002 * tallest).copied().collect();
        line(role, dash, &part.name, &seen);
    }
    line(Role::Fit, Dash::Dashed, "tail that the numbers come from", &curves.tail);
    beyond(
        &mut layers,
        &input.trips,
        Beyond { role: Role::Limit, shape: Shape::Right, width, words: "tripped, somewhere above" },
        show,
    );
    beyond(
        &mut layers,
        &input.under,
        Beyond {
            role: Role::UnderLimit,
            shape: Shape::Left,
            width: -width,
            words: "healthy, somewhere below",
        },
        show,
    );
    let typical = match (input.groups.is_empty(), input.before_rise) {
        (false, _) => "median of both groups",
        (true, true) => "typical today",
        (true, false) => "typical",
    };
    for (value, role, dash, words) in [
        (input.open_lead, Role::Quiet, Dash::DashDot, "open lead"),
        (input.low_limit, Role::Limit, Dash::Dashed, "low limit"),
        (input.typical, Role::Typical, Dash::Dotted, typical),
        (input.high_limit, Role::Limit, Dash::Solid, "high limit"),
    ] {
        if let Some(value) = value {
            layers.push(Layer::Rule {
                role,
                dash,
                along: Along::Upright,
                at: value,
                label: format!("{words} {}", show(value)),
            });
        }
    }
    layers
}

/// Height of the marker over a stray's bar, a little above it.
fn marked(top: f64, bars: &[Bar], full: bool) -> f64 {
    if full {
        top * 1.9
    } else {
        let tallest = bars.iter().map(|b| b.top).fold(1.0, f64::max);
        top + tallest * 0.05
    }
}
