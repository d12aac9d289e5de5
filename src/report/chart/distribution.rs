//! What do healthy units read, and where does the limit lie?

use super::axis::{counted, decimals_of, number, percent};
use super::{
    Along, Axis, Bar, Chart, ChartError, Dash, Layer, Panel, Point, Role, Scale, Shape, Side, at,
};

/// One distinct reading of a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TallyLine {
    /// The reading.
    pub reading: f64,
    /// Units that read so.
    pub count: u64,
    /// True where these units are strays.
    pub stray: bool,
}

/// Units that tripped on one limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trips {
    /// The limit in force.
    pub limit: f64,
    /// Units that tripped on it.
    pub count: u64,
}

/// What the distribution chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Distribution {
    /// Name of the series, for people.
    pub series: String,
    /// Verdict as printed (`too tight` …); empty where there is none.
    pub verdict: String,
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
    /// Density of the fitted healthy body, per unit of reading; empty where there is no fit.
    pub density: Vec<Point>,
    /// Units that the density stands for.
    pub body_units: f64,
    /// Name of the fit for the legend.
    pub fit: String,
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
    /// What the station shows with no unit connected.
    pub open_lead: Option<f64>,
}

/// Most bars in the close-up; neighbouring steps are put together beyond it.
const MOST_BARS: f64 = 120.0;

/// The distribution chart. Above, the healthy body close up with its counts on a linear axis; where
/// limits, strays or the open-lead reading lie far from the body, a second panel shows everything
/// with counts on a logarithmic axis, where a single unit is a visible bar.
///
/// # Errors
/// `NothingToShow` without any passed or tripped unit; else those of [`Chart::check`].
pub fn chart(input: &Distribution) -> Result<Chart, ChartError> {
    let unit = &input.unit;
    super::finite(
        "a reading of the tally",
        input.tally.iter().map(|l| l.reading),
    )?;
    super::finite("the reading step", [input.step])?;
    super::finite("the limit of a trip", input.trips.iter().map(|t| t.limit))?;
    let passed: u64 = input.tally.iter().map(|l| l.count).sum();
    let tripped: u64 = input.trips.iter().map(|t| t.count).sum();
    if passed + tripped == 0 {
        return Err(ChartError::NothingToShow { what: "readings" });
    }
    let decimals = decimals_of(input.step);
    let show = |v: f64| format!("{} {unit}", number(v, decimals));

    let body = || {
        input
            .tally
            .iter()
            .filter(|l| !l.stray && l.count > 0)
            .map(|l| l.reading)
    };
    let (mut low, mut high) = ends(body());
    if low > high {
        (low, high) = ends(
            input
                .tally
                .iter()
                .map(|l| l.reading)
                .chain(input.trips.iter().map(|t| t.limit)),
        );
    }
    let spread = (high - low)
        .max(input.step.abs() * 8.0)
        .max(high.abs().max(low.abs()) * 1e-6)
        .max(1e-300);
    // What lies near the body belongs into the close-up.
    let near = |v: &f64| *v > low - 0.8 * spread && *v < high + 0.8 * spread;
    let strays = || input.tally.iter().filter(|l| l.stray && l.count > 0);
    let marks: Vec<f64> = [
        input.high_limit,
        input.low_limit,
        input.open_lead,
        input.typical,
        input.tail_bounds.map(|b| b.0),
        input.tail_bounds.map(|b| b.1),
    ]
    .into_iter()
    .flatten()
    .chain(input.trips.iter().map(|t| t.limit))
    .chain(strays().map(|l| l.reading))
    .collect();
    let close = Axis::covering(
        "reading",
        unit,
        Scale::Linear,
        [low - spread * 0.02, high + spread * 0.02]
            .into_iter()
            .chain(marks.iter().copied().filter(near)),
        0.06,
    );
    let far = marks.iter().any(|m| !near(m));

    let width = bin_width(close.high - close.low, input.step);
    let bars = bins(input, width, false);
    let stray_bars = bins(input, width, true);
    let curve: Vec<Point> = input
        .density
        .iter()
        .map(|p| at(p.x, p.y * input.body_units * width))
        .collect();
    let tallest = bars
        .iter()
        .chain(&stray_bars)
        .map(|b| b.top)
        .chain(curve.iter().map(|p| p.y).filter(|y| y.is_finite()))
        .chain(
            input
                .trips
                .iter()
                .filter(|t| near(&t.limit))
                .map(|t| t.count as f64),
        )
        .fold(1.0, f64::max);
    let count_title = format!(
        "units per {} {unit}",
        number(width, decimals_of(width).max(decimals))
    );
    let main = Panel {
        x: Some(Axis {
            title: format!("reading ({unit}), the healthy body close up"),
            ..close.clone()
        }),
        y: Axis::new(&count_title, "", Scale::Linear, 0.0, tallest * 1.12),
        layers: layers(
            input,
            &bars,
            &stray_bars,
            curve.clone(),
            width,
            false,
            &show,
        ),
        beside: Vec::new(),
        share: 1.0,
    };
    let mut panels = vec![main];
    let mut x = close;
    if far {
        let every =
            Axis::covering(
                "reading",
                unit,
                Scale::Linear,
                marks.iter().copied().chain([low, high]).chain(
                    if marks.iter().all(|m| *m >= 0.0) {
                        Some(0.0)
                    } else {
                        None
                    },
                ),
                0.04,
            );
        let every = if every.low < 0.0 && low >= 0.0 {
            every.from(0.0)
        } else {
            every
        };
        // On the wide axis the same bars; its lower end makes one unit a bar of some height.
        let full = Panel {
            x: Some(Axis {
                title: format!("reading ({unit}), everything"),
                ..every.clone()
            }),
            y: Axis::new(&count_title, "", Scale::Log, 0.4, (tallest * 2.5).max(12.0)),
            layers: layers(input, &bars, &stray_bars, curve, width, true, &show),
            beside: Vec::new(),
            share: 0.75,
        };
        panels.push(full);
        x = every;
    } else {
        let title = format!("reading ({unit})");
        if let Some(own) = &mut panels[0].x {
            own.title = title;
        }
    }

    let mut notes = Vec::new();
    if tripped > 0 {
        notes.push(format!(
            "{} tripped: shown at the limit, since a trip tells only that the unit lies above it, not by how much.",
            counted(tripped, "unit")
        ));
    }
    let subtitle = format!(
        "{}; {} passed, {} tripped",
        input.period,
        number(passed as f64, 0),
        number(tripped as f64, 0)
    );
    let two = panels.len() > 1;
    let mut chart = Chart::new(
        title(input, passed, tripped, &show),
        subtitle,
        x,
        panels,
        notes,
    )?;
    if two {
        chart.height += 200;
    }
    Ok(chart)
}

fn title(input: &Distribution, passed: u64, tripped: u64, show: &dyn Fn(f64) -> String) -> String {
    let share = tripped as f64 / (passed + tripped) as f64;
    let mut parts = Vec::new();
    if let Some(typical) = input.typical {
        parts.push(format!("typical {}", show(typical)));
    }
    if let Some(limit) = input.high_limit {
        parts.push(format!("limit {}", show(limit)));
    }
    parts.push(format!(
        "{} trip",
        if tripped == 0 {
            "none".to_owned()
        } else {
            percent(share)
        }
    ));
    let verdict = if input.verdict.is_empty() {
        ""
    } else {
        ": limit "
    };
    format!(
        "{}{verdict}{} – {}",
        input.series,
        input.verdict,
        parts.join(", ")
    )
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
        (a.min(v), b.max(v))
    })
}

/// A whole number of reading steps that leaves at most [`MOST_BARS`] bars.
fn bin_width(range: f64, step: f64) -> f64 {
    if step > 0.0 {
        let steps = (range / step / MOST_BARS - 1e-9).ceil().max(1.0);
        step * steps
    } else {
        range / 60.0
    }
}

/// Bars over whole steps: a reading stands for all values within half a step of it, so edges lie
/// half a step from readings and no step is split.
fn bins(input: &Distribution, width: f64, strays: bool) -> Vec<Bar> {
    let half = input.step.max(0.0) / 2.0;
    let mut counts = std::collections::BTreeMap::new();
    for line in input
        .tally
        .iter()
        .filter(|l| l.stray == strays && l.count > 0)
    {
        let place = ((line.reading + half) / width + 1e-6).floor();
        // Ordered by place; the bit pattern of a shifted float would hide what is meant.
        let entry: &mut u64 = counts.entry(place as i64).or_default();
        *entry += line.count;
    }
    counts
        .into_iter()
        .map(|(place, count)| Bar {
            from: place as f64 * width - half,
            to: (place + 1) as f64 * width - half,
            top: count as f64,
        })
        .collect()
}

fn layers(
    input: &Distribution,
    bars: &[Bar],
    stray_bars: &[Bar],
    curve: Vec<Point>,
    width: f64,
    full: bool,
    show: &dyn Fn(f64) -> String,
) -> Vec<Layer> {
    let mut layers = Vec::new();
    let bare = |v: f64| number(v, decimals_of(input.step));
    if let Some((from, to)) = input.band {
        layers.push(Layer::Zone {
            role: Role::Workable,
            name: Some(format!("workable band {} to {}", bare(from), show(to))),
            along: Along::Upright,
            from,
            to,
        });
    }
    if let Some((from, to)) = input.tail_bounds {
        layers.push(Layer::Zone {
            role: Role::Quiet,
            name: Some(format!(
                "end of the healthy tail {} to {}",
                bare(from),
                show(to)
            )),
            along: Along::Upright,
            from,
            to,
        });
    }
    layers.push(Layer::Bars {
        role: Role::Reading,
        name: Some("passed units".to_owned()),
        bars: bars.to_vec(),
    });
    if !stray_bars.is_empty() {
        layers.push(Layer::Bars {
            role: Role::Stray,
            name: None,
            bars: stray_bars.to_vec(),
        });
        layers.push(Layer::Points {
            role: Role::Stray,
            name: Some(format!(
                "stray readings, {}",
                counted(stray_bars.iter().map(|b| b.top as u64).sum(), "unit")
            )),
            shape: Shape::Down,
            points: stray_bars
                .iter()
                .map(|b| at(f64::midpoint(b.from, b.to), marked(b.top, bars, full)))
                .collect(),
        });
    }
    if curve.len() > 1 {
        layers.push(Layer::Line {
            role: Role::Fit,
            name: Some(input.fit.clone()),
            dash: Dash::Solid,
            points: curve,
        });
    }
    let trip_bars: Vec<Bar> = input
        .trips
        .iter()
        .filter(|t| t.count > 0)
        .map(|t| Bar {
            from: t.limit,
            to: t.limit + width,
            top: t.count as f64,
        })
        .collect();
    if !trip_bars.is_empty() {
        let tops: Vec<Point> = trip_bars.iter().map(|b| at(b.to, b.top)).collect();
        let texts: Vec<Layer> = tops
            .iter()
            .map(|p| Layer::Text {
                at: *p,
                side: Side::Right,
                text: format!("{} tripped", number(p.y, 0)),
            })
            .collect();
        layers.push(Layer::Bars {
            role: Role::Limit,
            name: None,
            bars: trip_bars,
        });
        layers.push(Layer::Points {
            role: Role::Limit,
            name: Some("tripped units: somewhere above".to_owned()),
            shape: Shape::Right,
            points: tops,
        });
        if !full {
            layers.extend(texts);
        }
    }
    for (value, role, dash, words) in [
        (input.open_lead, Role::Quiet, Dash::DashDot, "open lead"),
        (input.low_limit, Role::Limit, Dash::Dashed, "low limit"),
        (input.typical, Role::Typical, Dash::Dotted, "typical"),
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
