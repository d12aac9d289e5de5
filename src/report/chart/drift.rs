//! Has anything moved, since when, and when will it matter?

use super::axis::{counted, day_text, decimals_of, number};
use super::marks::{EventOn, LimitFrom, OnDay, StepOn};
use super::months::{beyond_notes, limit_steps, seen, within_reach};
use super::one_series::OneSeries;
use super::{
    Along, Axis, Chart, ChartError, Dash, Heading, Layer, Panel, Point, Role, Scale, Shape, at,
};
use crate::analysis::body::forecast::DayEstimate;
use crate::day::day_number;
use crate::movement::drift::{self, DayLine, DayPoint};
use crate::stats::estimate::Estimate;
use crate::stats::numeric::median;
use crate::verdict::evidence::Forecast;
use crate::verdict::moved::in_short;
use crate::words::percent;

/// The moving average with its control limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Averages {
    /// The averages in order.
    pub values: Vec<OnDay>,
    /// Lower control limit.
    pub low: f64,
    /// Upper control limit.
    pub high: f64,
    /// First day on which it lies outside.
    pub first_signal: Option<i32>,
}

/// What the drift chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Name of the series, for people.
    pub series: String,
    /// How it moved, in a few words.
    pub answer: String,
    /// What the points are, in words (`daily medians, 281 days`).
    pub points_are: String,
    /// Unit of all readings.
    pub unit: String,
    /// Reading step, for the decimals.
    pub step: f64,
    /// Points in order.
    pub points: Vec<OnDay>,
    /// Fitted line; empty where there is none.
    pub fitted: Vec<OnDay>,
    /// Moving average.
    pub averages: Option<Averages>,
    /// Steps in time.
    pub steps: Vec<StepOn>,
    /// Recorded events.
    pub events: Vec<EventOn>,
    /// The room: from the typical reading to the limit in force.
    pub room: Option<f64>,
    /// High limits in order.
    pub limits: Vec<LimitFrom>,
    /// What is forecast (`99.9 % of healthy units stay under`), for the legend.
    pub forecast_of: String,
    /// Forecast from the last day on; empty where there is none.
    pub forecast: Vec<DayEstimate>,
    /// When the limit is reached.
    pub crossing: Option<Forecast>,
}

/// The movement of one series, and what is forecast.
pub fn from(s: &OneSeries<'_>) -> Drift {
    let of = |ma: f64| s.unit.of_ma(ma);
    let (moved, drift) = (s.moved, &s.moved.drift);
    let on = |day: i32, ma: f64| OnDay { day, value: of(ma) };
    // The line of a season is what is left once the air is allowed for: not a line through these points.
    let ends = |line: &DayLine| [line.from, line.to].map(|day| on(day, line.at(day))).to_vec();
    let level = |first: &DayPoint, last: &DayPoint| {
        let middle = median(&moved.points.iter().map(|p| p.value_ma).collect::<Vec<_>>())?;
        Some([first.day, last.day].map(|day| on(day, middle)).to_vec())
    };
    let fitted = match drift.shape {
        // A slope that is not certain is none.
        Some(drift::Shape::Steady) => {
            moved.points.first().zip(moved.points.last()).and_then(|(a, b)| level(a, b))
        }
        Some(drift::Shape::Season) => None,
        _ => drift.line.as_ref().map(ends),
    };
    let signed = |ma: f64| {
        let sign = if ma >= 0.0 { "+" } else { "−" };
        format!("{sign}{}", s.decided.wording.estimate(ma.abs()))
    };
    let medians = if drift::are_weekly(&moved.points) { "weekly" } else { "daily" };
    let healthy = s.healthy();
    let typical = healthy.and_then(|h| h.quantiles[1].as_ref());
    Drift {
        series: s.title.clone(),
        answer: in_short(drift, s.decided.flag.flagged, s.decided.wording),
        points_are: format!("{medians} medians, {}", counted(moved.points.len() as u64, "point")),
        unit: s.unit.name.to_owned(),
        step: s.step(),
        points: moved.points.iter().map(|p| on(p.day, p.value_ma)).collect(),
        fitted: fitted.unwrap_or_default(),
        averages: drift.ewma.as_ref().map(|chart| Averages {
            values: chart.values.iter().map(|(day, ma)| on(*day, *ma)).collect(),
            low: of(chart.low_ma),
            high: of(chart.high_ma),
            first_signal: chart.signals.first().copied(),
        }),
        steps: drift
            .steps
            .iter()
            .map(|step| StepOn {
                day: step.day,
                low: step.day_low,
                high: step.day_high,
                size: signed(step.size_ma.value),
            })
            .collect(),
        events: s.events.clone(),
        room: s.high_limit().zip(typical).map(|(limit, typical)| limit - of(typical.value)),
        limits: s.limits(),
        forecast_of: healthy.map_or_else(String::new, |h| {
            format!("{} % of healthy units stay under", 100.0 * (1.0 - h.accepted_share))
        }),
        forecast: healthy.map_or_else(Vec::new, |h| {
            let scaled =
                |f: DayEstimate| DayEstimate { estimate: f.estimate.scaled(s.unit.factor), ..f };
            h.forecast().into_iter().map(scaled).collect()
        }),
        crossing: s.decided.forecast,
    }
}

/// The dates on which a step may have been.
pub(super) fn step_zone(step: &StepOn) -> Layer {
    Layer::Zone {
        role: Role::Step,
        name: Some("dates on which the step may have been".to_owned()),
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
    let until = input
        .crossing
        .map_or(ahead, |c| ahead.max(day_number(c.high.unwrap_or(c.date)).min(ahead + 60)));
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
            .chain(input.fitted.iter().map(|p| p.value))
            .chain(input.averages.iter().flat_map(|a| [a.low, a.high]))
            .chain(input.forecast.iter().flat_map(|f| [f.estimate.low, f.estimate.high]))
    };
    let (shown, beyond) = within_reach(data(), input.limits.iter().filter_map(|l| l.high));
    // The forecast may run through the limit: beyond it only a little is of interest.
    let y = Axis::covering("reading", &input.unit, Scale::Linear, data().chain(shown), 0.06);
    let y = Axis { title: format!("{}{}", y.title, of_the_room(input.room, &y)), ..y };

    let on_days = |points: &[OnDay]| -> Vec<_> {
        points.iter().map(|p| at(f64::from(p.day), p.value)).collect()
    };
    let mut layers: Vec<Layer> = input.steps.iter().map(step_zone).collect();
    layers.extend(forecast_area(input));
    layers.push(Layer::Points {
        role: Role::Reading,
        name: Some(input.points_are.clone()),
        shape: Shape::Disc,
        points: on_days(&input.points),
    });
    if let (Some(from), Some(to)) = (input.fitted.first(), input.fitted.last()) {
        let level = from.value == to.value;
        layers.push(Layer::Line {
            role: Role::Fit,
            name: Some(
                if level { "level of all points" } else { "line of its movement" }.to_owned(),
            ),
            dash: Dash::Solid,
            points: on_days(&input.fitted),
        });
    }
    if let Some(averages) = input.averages.as_ref().filter(|a| a.values.len() > 1) {
        let control = |height: f64| Layer::Line {
            role: Role::Ewma,
            name: Some("its control limits".to_owned()),
            dash: Dash::Dotted,
            points: averages.values.iter().map(|a| at(f64::from(a.day), height)).collect(),
        };
        layers.push(Layer::Line {
            role: Role::Ewma,
            name: Some("moving average (EWMA)".to_owned()),
            dash: Dash::Solid,
            points: on_days(&averages.values),
        });
        layers.push(control(averages.low));
        layers.push(control(averages.high));
    }
    layers.extend(forecast_lines(input));
    layers.extend(limit_steps(&input.limits, x.low, x.high, |l| l.high, Dash::Solid, "high limit"));
    layers.retain(|layer| seen(layer, &y));
    layers.extend(input.steps.iter().map(step_rule));
    layers.extend(input.events.iter().map(event_rule));
    layers.extend(input.averages.as_ref().and_then(|a| a.first_signal).map(|day| Layer::Rule {
        role: Role::Ewma,
        dash: Dash::Dashed,
        along: Along::Upright,
        at: f64::from(day),
        label: format!("average outside its limits {}", day_text(day)),
    }));
    if let Some(crossing) = input.crossing {
        layers.push(Layer::Rule {
            role: Role::Forecast,
            dash: Dash::DashDot,
            along: Along::Upright,
            at: f64::from(day_number(crossing.date)),
            label: format!("limit reached {}", crossing.date),
        });
    }
    let subtitle =
        format!("{} to {}; {}", day_text(first.day), day_text(last.day), input.points_are);
    let panel = Panel { x: None, y, layers, beside: Vec::new(), share: 1.0 };
    let heading = Heading::about(&input.series, &input.answer, &subtitle);
    Chart::new(heading, x, vec![panel], beyond_notes("Limit", &beyond, &show))
}

/// How much of the room the axis shows: a steady series fills its chart as much as one that runs into its limit.
fn of_the_room(room: Option<f64>, y: &Axis) -> String {
    match room.filter(|room| *room > 0.0).map(|room| (y.high - y.low) / room) {
        None => String::new(),
        Some(share) if share >= 1.0 => ": the axis shows the whole room to the limit".to_owned(),
        Some(share) => {
            format!(
                ": the axis shows {} % of the room to the limit",
                number((100.0 * share).max(1.0), 0)
            )
        }
    }
}

/// An end of the forecast over time.
fn ahead(input: &Drift, end: fn(&Estimate) -> f64) -> Vec<Point> {
    input.forecast.iter().map(|f| at(f64::from(f.day), end(&f.estimate))).collect()
}

/// The days on which the limit may be reached; where they are not bounded, the area that the forecast may take.
fn forecast_area(input: &Drift) -> Option<Layer> {
    if let Some((low, high)) = input.crossing.and_then(|c| Some((c.low, c.high?))) {
        return Some(Layer::Zone {
            role: Role::Forecast,
            name: Some("dates on which the limit may be reached".to_owned()),
            from: f64::from(day_number(low)),
            to: f64::from(day_number(high)) + 1.0,
        });
    }
    (input.forecast.len() > 1).then(|| Layer::Band {
        role: Role::Forecast,
        name: None,
        low: ahead(input, |e| e.low),
        high: ahead(input, |e| e.high),
    })
}

/// The forecast with its interval.
fn forecast_lines(input: &Drift) -> Vec<Layer> {
    let [first, _, ..] = input.forecast.as_slice() else {
        return Vec::new();
    };
    let line = |name: &str, dash, points| Layer::Line {
        role: Role::Forecast,
        name: Some(name.to_owned()),
        dash,
        points,
    };
    let interval = format!("its {} interval", percent(first.estimate.level));
    vec![
        line(&input.forecast_of, Dash::Dashed, ahead(input, |e| e.value)),
        line(&interval, Dash::Dotted, ahead(input, |e| e.low)),
        line(&interval, Dash::Dotted, ahead(input, |e| e.high)),
    ]
}
