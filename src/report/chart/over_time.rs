//! How does each station read against the others, and what did its check load read? One panel for each, on one
//! scale and one line of time.

use super::axis::{day_text, number};
use super::drift::{EventOn, OnDay, StepOn, event_rule, step_rule, step_zone};
use super::{Axis, Chart, ChartError, Dash, Layer, Panel, Role, Scale, Shape, Whisker, at};

/// Most panels of one picture.
const PANELS: usize = 8;

/// A value on a day with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    /// Days since 1970-01-01.
    pub day: i32,
    /// The value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// One panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Whose values these are, for the axis.
    pub name: String,
    /// In words at the right edge; may be empty.
    pub beside: String,
    /// Values with intervals, joined by a line.
    pub estimates: Vec<Between>,
    /// Single readings.
    pub readings: Vec<OnDay>,
    /// Readings that do not belong.
    pub odd: Vec<OnDay>,
    /// What it should be.
    pub should: Option<f64>,
    /// Steps in time.
    pub steps: Vec<StepOn>,
    /// Recorded events.
    pub events: Vec<EventOn>,
}

/// What the chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct OverTime {
    /// The answer.
    pub title: String,
    /// What it is about.
    pub subtitle: String,
    /// Unit of all values.
    pub unit: String,
    /// What the estimates are, for the legend.
    pub estimates_are: String,
    /// What the readings are, for the legend.
    pub readings_are: String,
    /// What `should` is, for the legend.
    pub should_is: String,
    /// Panels, top to bottom.
    pub rows: Vec<Row>,
}

/// The chart: rows beyond the eighth are named in a note.
///
/// # Errors
/// `NothingToShow` without values; else those of [`Chart::check`].
pub fn chart(input: &OverTime) -> Result<Chart, ChartError> {
    let rows: Vec<&Row> =
        input.rows.iter().filter(|r| !r.estimates.is_empty() || !r.readings.is_empty()).collect();
    let left_out: Vec<&str> = rows.iter().skip(PANELS).map(|r| r.name.as_str()).collect();
    let rows = &rows[..rows.len().min(PANELS)];
    let days = |r: &Row| -> Vec<i32> {
        r.estimates.iter().map(|e| e.day).chain(r.readings.iter().map(|p| p.day)).collect()
    };
    let all: Vec<i32> = rows.iter().flat_map(|r| days(r)).collect();
    let (Some(first), Some(last)) = (all.iter().min(), all.iter().max()) else {
        return Err(ChartError::NothingToShow { what: "values over time" });
    };
    let ends = [f64::from(*first), f64::from(*last)];
    let x = Axis::covering("day", "", Scale::Date, ends, 0.02);
    let values = rows.iter().flat_map(|r| {
        r.estimates
            .iter()
            .flat_map(|e| [e.low, e.high])
            .chain(r.readings.iter().map(|p| p.value))
            .chain(r.should)
    });
    let range = Axis::covering("", &input.unit, Scale::Linear, values, 0.10);
    let few = few_ticks(&range);
    let mut odd = Vec::new();
    let panels = rows
        .iter()
        .map(|row| {
            let y = Axis { title: format!("{} [{}]", row.name, input.unit), ..range.clone() }
                .with_ticks(few.clone());
            for o in row.odd.iter().filter(|o| !y.holds(o.value)) {
                odd.push(format!(
                    "{} {} {} on {}",
                    row.name,
                    number(o.value, 3),
                    input.unit,
                    day_text(o.day)
                ));
            }
            panel(input, row, y)
        })
        .collect();
    let mut notes = Vec::new();
    if !odd.is_empty() {
        let more = odd.len().saturating_sub(4);
        odd.truncate(4);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        notes.push(format!("Beyond the edge of this chart: {}{more}.", odd.join("; ")));
    }
    if !left_out.is_empty() {
        notes.push(format!("Not drawn: {}.", left_out.join(", ")));
    }
    let mut chart = Chart::new(input.title.clone(), input.subtitle.clone(), x, panels, notes)?;
    chart.height = 330 + 215 * u32::try_from(rows.len()).unwrap_or(1).max(3);
    Ok(chart)
}

/// At most three ticks, as low panels have room for: the lowest, the highest, and the one between.
fn few_ticks(range: &Axis) -> Vec<super::Tick> {
    let all = range.ticks(8);
    let chosen = [0, all.len() / 2, all.len().saturating_sub(1)];
    all.iter().enumerate().filter(|(i, _)| chosen.contains(i)).map(|(_, t)| t.clone()).collect()
}

fn panel(input: &OverTime, row: &Row, y: Axis) -> Panel {
    let mut layers: Vec<Layer> = row.steps.iter().map(step_zone).collect();
    if let Some(should) = row.should {
        layers.push(Layer::Line {
            role: Role::Typical,
            name: Some(input.should_is.clone()),
            dash: Dash::Dashed,
            points: [f64::from(i32::MIN / 4), f64::from(i32::MAX / 4)]
                .map(|day| at(day, should))
                .to_vec(),
        });
    }
    if !row.readings.is_empty() {
        layers.push(Layer::Points {
            role: Role::Reading,
            name: Some(input.readings_are.clone()),
            shape: Shape::Disc,
            points: row.readings.iter().map(|p| at(f64::from(p.day), p.value)).collect(),
        });
    }
    if !row.estimates.is_empty() {
        layers.push(Layer::Whiskers {
            role: Role::Fit,
            name: None,
            whiskers: row
                .estimates
                .iter()
                .map(|e| Whisker { x: f64::from(e.day), low: e.low, high: e.high })
                .collect(),
        });
        let points =
            || row.estimates.iter().map(|e| at(f64::from(e.day), e.value)).collect::<Vec<_>>();
        layers.push(Layer::Line {
            role: Role::Fit,
            name: None,
            dash: Dash::Solid,
            points: points(),
        });
        layers.push(Layer::Points {
            role: Role::Fit,
            name: Some(input.estimates_are.clone()),
            shape: Shape::Square,
            points: points(),
        });
    }
    let odd: Vec<_> = row
        .odd
        .iter()
        .filter(|o| y.holds(o.value))
        .map(|o| at(f64::from(o.day), o.value))
        .collect();
    if !odd.is_empty() {
        layers.push(Layer::Points {
            role: Role::Stray,
            name: Some("readings that do not belong".to_owned()),
            shape: Shape::Cross,
            points: odd,
        });
    }
    layers.extend(row.steps.iter().map(step_rule));
    // What is recorded on the day of a step stands with it already.
    let beside_step =
        |e: &&EventOn| !row.steps.iter().any(|s| (s.low - 3..=s.high + 3).contains(&e.day));
    layers.extend(row.events.iter().filter(beside_step).map(event_rule));
    let beside = if row.beside.is_empty() {
        Vec::new()
    } else {
        vec![super::Tick { at: f64::midpoint(y.low, y.high), label: row.beside.clone() }]
    };
    Panel { x: None, y, layers, beside, share: 1.0 }
}
