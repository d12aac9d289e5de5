//! Did the readings move when failures did, or did a separate group appear?
//!
//! Before as bars and since as an outline on one pair of axes, so that they lie on each other; units that tripped
//! stand at their limit, since their reading is not known.

use super::axis::{number, percent};
use super::{
    Along, Axis, Bar, Chart, ChartError, Dash, Heading, Layer, Panel, Point, Role, Scale, Shape, at,
};
use crate::analysis::jump::readings::SideReadings;
use crate::analysis::jump::{Jump, Window};
use crate::words::currents::PRINTED_IN_UA_BELOW_MA;

/// Readings of one side.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Which days, in words.
    pub words: String,
    /// Readings of passed units with their counts.
    pub readings: Vec<(f64, f64)>,
    /// Units that tripped: their reading is not known.
    pub tripped: f64,
    /// High limit of most units.
    pub limit: Option<f64>,
}

impl Side {
    /// Units that passed or tripped.
    fn units(&self) -> f64 {
        self.readings.iter().map(|r| r.1).sum::<f64>() + self.tripped
    }
}

/// What the chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// The series.
    pub scope: String,
    /// Unit of all readings.
    pub unit: String,
    /// Coarsest reading step.
    pub step: f64,
    /// Ratio of the medians as shown, after over before.
    pub moved: Option<f64>,
    /// Before.
    pub before: Side,
    /// After.
    pub after: Side,
}

/// What the chart shows of a jump; nothing beyond one series.
pub fn of(jump: &Jump) -> Option<Readings> {
    let found = jump.readings.as_ref()?;
    let (unit, factor) = match found.first_ma {
        Some(first) if first < PRINTED_IN_UA_BELOW_MA => ("µA", 1e3),
        _ => ("mA", 1.0),
    };
    let side = |words: &str, window: Window, side: &SideReadings| Side {
        words: format!("{words}, {window}"),
        readings: side.passed.iter().map(|(ma, count)| (factor * ma, *count)).collect(),
        tripped: side.tripped,
        limit: side.limit_ma.map(|ma| factor * ma),
    };
    Some(Readings {
        scope: jump.place.title.clone(),
        unit: unit.to_owned(),
        step: factor * found.step_ma,
        moved: jump.moved,
        before: side("before", jump.before.window, &found.before),
        after: side("since", jump.after.window, &found.after),
    })
}

/// Bars over the range.
const BARS: f64 = 80.0;

/// Two histograms above each other, each in shares of its own units.
///
/// # Errors
/// `NothingToShow` where a side has no reading; `NotFinite`; else those of [`Chart::check`].
pub fn chart(input: &Readings) -> Result<Chart, ChartError> {
    let all = || input.before.readings.iter().chain(&input.after.readings).map(|r| r.0);
    super::finite("a reading", all())?;
    if input.before.readings.is_empty() || input.after.readings.is_empty() {
        return Err(ChartError::NothingToShow { what: "readings on both sides" });
    }
    let limits = [input.before.limit, input.after.limit];
    let highest = all().fold(f64::NEG_INFINITY, f64::max);
    // A limit far out would press all readings into one bar.
    let near = limits.iter().flatten().copied().filter(|l| *l < 2.0 * highest);
    let x = Axis::covering("reading", &input.unit, Scale::Linear, all().chain(near), 0.03);
    // Whole steps, edges half a step from readings: else neighbouring bars hold different numbers of them.
    let plain = (x.high - x.low) / BARS;
    let width =
        if input.step > 0.0 { input.step * (plain / input.step).ceil().max(1.0) } else { plain };
    let edge = |place: i64| (place as f64 - 0.5) * width;
    let shares = |side: &Side| -> Vec<Bar> {
        let mut counts: std::collections::BTreeMap<i64, f64> = std::collections::BTreeMap::new();
        for (reading, count) in &side.readings {
            let place = (reading / width + 0.5 + 1e-9).floor() as i64;
            *counts.entry(place).or_default() += count;
        }
        let bar = |(place, count): (&i64, &f64)| Bar {
            from: edge(*place),
            to: edge(*place + 1),
            foot: 0.0,
            top: 100.0 * count / side.units(),
        };
        counts.iter().map(bar).collect()
    };
    let (before, after) = (shares(&input.before), shares(&input.after));
    let tripped = |side: &Side| 100.0 * side.tripped / side.units();
    let top = before.iter().chain(&after).map(|b| b.top);
    let top = top.chain([tripped(&input.before), tripped(&input.after)]).fold(1.0, f64::max);
    let mut layers = vec![
        Layer::Bars { role: Role::Reading, name: Some(named(&input.before)), bars: before },
        Layer::Line {
            role: Role::Typical,
            name: Some(named(&input.after)),
            dash: Dash::Solid,
            points: outline(&after),
        },
    ];
    for (side, shape, words) in [
        (&input.before, Shape::Diamond, "tripped before"),
        (&input.after, Shape::Right, "tripped since"),
    ] {
        let Some(limit) = side.limit.filter(|l| x.holds(*l) && side.tripped > 0.0) else {
            continue;
        };
        let share = tripped(side);
        layers.push(Layer::Points {
            role: Role::Limit,
            name: Some(format!("{words}, somewhere above: {} of units", percent(share / 100.0))),
            shape,
            points: vec![at(limit, share)],
        });
    }
    let mut drawn: Vec<f64> = limits.iter().flatten().copied().filter(|l| x.holds(*l)).collect();
    drawn.dedup();
    layers.extend(drawn.into_iter().map(|limit| Layer::Rule {
        role: Role::Limit,
        dash: if Some(limit) == input.after.limit { Dash::Solid } else { Dash::Dashed },
        along: Along::Upright,
        at: limit,
        label: format!("limit {} {}", number(limit, 3), input.unit),
    }));
    let panels = vec![Panel {
        x: None,
        y: Axis::new("per cent of the units of its time", "", Scale::Linear, 0.0, top * 1.1),
        layers,
        beside: Vec::new(),
        share: 1.0,
    }];
    let answer = match input.moved {
        Some(m) if (m - 1.0).abs() < 0.01 => "the median as shown stayed where it was".to_owned(),
        Some(m) => format!(
            "the median as shown {} by {} %",
            if m > 1.0 { "rose" } else { "fell" },
            number(100.0 * (m - 1.0).abs(), 1)
        ),
        None => "readings before and after".to_owned(),
    };
    let mut notes = vec![
        "Tripped units show no reading: the voltage was cut.".to_owned(),
        "Readings are as their stations showed them: what a tester did in that time is in them."
            .to_owned(),
    ];
    if limits.iter().flatten().any(|l| !x.holds(*l)) {
        notes.push("A limit further to the right is not drawn.".to_owned());
    }
    let about = "readings of passed units before and since the change";
    Chart::new(Heading::about(&input.scope, &answer, about), x, panels, notes)
}

/// A side with its units, for the legend.
fn named(side: &Side) -> String {
    format!("{} ({} units with a reading)", side.words, number(side.units(), 0))
}

/// The upper edge of bars, down to the axis between those that do not touch.
fn outline(bars: &[Bar]) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::with_capacity(bars.len() * 4);
    for bar in bars {
        let touches =
            points.last().is_some_and(|p| (p.x - bar.from).abs() < 1e-6 * (bar.to - bar.from));
        if touches {
            points.pop();
        } else {
            points.push(at(bar.from, 0.0));
        }
        points.extend([at(bar.from, bar.top), at(bar.to, bar.top), at(bar.to, 0.0)]);
    }
    points
}
