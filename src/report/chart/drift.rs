//! Has anything moved, since when, and when will it matter?

use super::axis::{day_text, decimals_of, number};
use super::months::{LimitFrom, beyond_notes, limit_steps, seen, within_reach};
use super::{Along, Axis, Chart, ChartError, Dash, Layer, Panel, Role, Scale, Shape, at};

/// A value on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnDay {
    /// Days since 1970-01-01.
    pub day: i32,
    /// The value.
    pub value: f64,
}

/// The moving average on a day, with its control limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Average {
    /// Days since 1970-01-01.
    pub day: i32,
    /// The average.
    pub value: f64,
    /// Lower control limit.
    pub low: f64,
    /// Upper control limit.
    pub high: f64,
}

/// A step in time, with the interval of its date.
#[derive(Debug, Clone, PartialEq)]
pub struct StepOn {
    /// Most likely first day after the step.
    pub day: i32,
    /// First day of its interval.
    pub low: i32,
    /// Last day of its interval.
    pub high: i32,
    /// Its size in words, with unit (`+0.08 mA`).
    pub size: String,
}

/// Something recorded on a day.
#[derive(Debug, Clone, PartialEq)]
pub struct EventOn {
    /// Days since 1970-01-01.
    pub day: i32,
    /// What happened.
    pub what: String,
}

/// A forecast value with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// Days since 1970-01-01.
    pub day: i32,
    /// Expected value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The date on which the limit is reached, with its interval; an end may be unknown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// Expected day.
    pub day: i32,
    /// Earliest day.
    pub low: Option<i32>,
    /// Latest day.
    pub high: Option<i32>,
}

/// What the drift chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Name of the series, for people.
    pub series: String,
    /// Shape as printed (`steady`, `slope` …); empty where it is not known.
    pub shape: String,
    /// Since when it moves, and how fast, in words; may be empty.
    pub movement: String,
    /// What the points are, in words (`daily medians, 281 days`).
    pub points_are: String,
    /// Unit of all readings.
    pub unit: String,
    /// Reading step, for the decimals.
    pub step: f64,
    /// Points in order.
    pub points: Vec<OnDay>,
    /// Fitted shape: one line for each stretch between steps.
    pub fitted: Vec<Vec<OnDay>>,
    /// Moving average; empty where there is none.
    pub averages: Vec<Average>,
    /// Steps in time.
    pub steps: Vec<StepOn>,
    /// Recorded events.
    pub events: Vec<EventOn>,
    /// High limits in order.
    pub limits: Vec<LimitFrom>,
    /// What is forecast (`99.9 % of healthy units stay under`), for the legend.
    pub forecast_of: String,
    /// Forecast from the last day on; empty where there is none.
    pub forecast: Vec<Forecast>,
    /// When the limit is reached.
    pub crossing: Option<Crossing>,
}

/// The dates on which a step may have been.
pub(super) fn step_zone(step: &StepOn) -> Layer {
    Layer::Zone {
        role: Role::Step,
        name: Some("dates on which the step may have been".to_owned()),
        along: Along::Upright,
        from: f64::from(step.low),
        to: f64::from(step.high) + 1.0,
    }
}

/// A step on its most likely day.
pub(super) fn step_rule(step: &StepOn) -> Layer {
    Layer::Rule {
        role: Role::Event,
        dash: Dash::Solid,
        along: Along::Upright,
        at: f64::from(step.day),
        label: format!("step {} on {}", step.size, day_text(step.day)),
    }
}

/// Something recorded on its day.
pub(super) fn event_rule(event: &EventOn) -> Layer {
    Layer::Rule {
        role: Role::Event,
        dash: Dash::Dotted,
        along: Along::Upright,
        at: f64::from(event.day),
        label: format!("{} {}", event.what, day_text(event.day)),
    }
}

/// The drift chart: points, fitted shape, moving average, steps and events, and the forecast.
///
/// # Errors
/// `NothingToShow` without points; else those of [`Chart::check`].
pub fn chart(input: &Drift) -> Result<Chart, ChartError> {
    let (Some(first), Some(last)) = (input.points.first(), input.points.last()) else {
        return Err(ChartError::NothingToShow { what: "daily points" });
    };
    super::finite("a daily point", input.points.iter().map(|p| p.value))?;
    let decimals = decimals_of(input.step);
    let show = |v: f64| format!("{} {}", number(v, decimals), input.unit);
    let ahead = input.forecast.iter().map(|f| f.day).max().unwrap_or(last.day);
    let until =
        input.crossing.map_or(ahead, |c| ahead.max(c.high.unwrap_or(c.day).min(ahead + 60)));
    let x = Axis::covering(
        "day",
        "",
        Scale::Date,
        [f64::from(first.day), f64::from(until.max(last.day))],
        0.015,
    );

    let data = || {
        input
            .points
            .iter()
            .map(|p| p.value)
            .chain(input.fitted.iter().flatten().map(|p| p.value))
            .chain(input.averages.iter().flat_map(|a| [a.low, a.high]))
            .chain(input.forecast.iter().flat_map(|f| [f.low, f.high]))
    };
    let (shown, beyond) = within_reach(data(), input.limits.iter().filter_map(|l| l.high));
    // The forecast may run through the limit: beyond it only a little is of interest.
    let y = Axis::covering("reading", &input.unit, Scale::Linear, data().chain(shown), 0.06);

    let mut layers: Vec<Layer> = input.steps.iter().map(step_zone).collect();
    if let Some((low, high)) = input.crossing.and_then(|c| Some((c.low?, c.high?))) {
        layers.push(Layer::Zone {
            role: Role::Forecast,
            name: Some("dates on which the limit may be reached".to_owned()),
            along: Along::Upright,
            from: f64::from(low),
            to: f64::from(high) + 1.0,
        });
    } else if input.forecast.len() > 1 {
        layers.push(Layer::Band {
            role: Role::Forecast,
            name: None,
            low: input.forecast.iter().map(|f| at(f64::from(f.day), f.low)).collect(),
            high: input.forecast.iter().map(|f| at(f64::from(f.day), f.high)).collect(),
        });
    }
    layers.push(Layer::Points {
        role: Role::Reading,
        name: Some(input.points_are.clone()),
        shape: Shape::Disc,
        points: input.points.iter().map(|p| at(f64::from(p.day), p.value)).collect(),
    });
    for piece in &input.fitted {
        layers.push(Layer::Line {
            role: Role::Fit,
            name: Some("fitted shape".to_owned()),
            dash: Dash::Solid,
            points: piece.iter().map(|p| at(f64::from(p.day), p.value)).collect(),
        });
    }
    if input.averages.len() > 1 {
        let line = |of: fn(&Average) -> f64| {
            input.averages.iter().map(|a| at(f64::from(a.day), of(a))).collect::<Vec<_>>()
        };
        let control = |points| Layer::Line {
            role: Role::Ewma,
            name: Some("its control limits".to_owned()),
            dash: Dash::Dotted,
            points,
        };
        layers.push(Layer::Line {
            role: Role::Ewma,
            name: Some("moving average (EWMA)".to_owned()),
            dash: Dash::Solid,
            points: line(|a| a.value),
        });
        layers.push(control(line(|a| a.low)));
        layers.push(control(line(|a| a.high)));
    }
    if input.forecast.len() > 1 {
        for (name, dash, of) in [
            (Some(input.forecast_of.clone()), Dash::Dashed, (|f| f.value) as fn(&Forecast) -> f64),
            (Some("its interval".to_owned()), Dash::Dotted, |f| f.low),
            (Some("its interval".to_owned()), Dash::Dotted, |f| f.high),
        ] {
            layers.push(Layer::Line {
                role: Role::Forecast,
                name,
                dash,
                points: input.forecast.iter().map(|f| at(f64::from(f.day), of(f))).collect(),
            });
        }
    }
    layers.extend(limit_steps(&input.limits, x.low, x.high, |l| l.high, Dash::Solid, "high limit"));
    layers.retain(|layer| seen(layer, &y));
    layers.extend(input.steps.iter().map(step_rule));
    layers.extend(input.events.iter().map(event_rule));
    if let Some(crossing) = input.crossing {
        layers.push(Layer::Rule {
            role: Role::Forecast,
            dash: Dash::DashDot,
            along: Along::Upright,
            at: f64::from(crossing.day),
            label: format!("limit reached {}", day_text(crossing.day)),
        });
    }
    let parts: Vec<&str> = [input.shape.as_str(), input.movement.as_str()]
        .into_iter()
        .filter(|p| !p.is_empty())
        .collect();
    let title = match parts.as_slice() {
        [] => format!("{}: readings over time", input.series),
        parts => format!("{}: {}", input.series, parts.join(", ")),
    };
    let subtitle =
        format!("{} to {}; {}", day_text(first.day), day_text(last.day), input.points_are);
    let panel = Panel { x: None, y, layers, beside: Vec::new(), share: 1.0 };
    Chart::new(title, subtitle, x, vec![panel], beyond_notes(&beyond, &show))
}
