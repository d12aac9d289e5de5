//! What is a change of the share of failures made of?

use super::axis::number;
use super::{Axis, Chart, ChartError, Layer, Role, Scale, Shape, at, rows};

/// One part with its interval, shares of units.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// In words.
    pub words: String,
    /// Its size, and the ends of its interval.
    pub size: (f64, f64, f64),
}

/// What the chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Split {
    /// Series, station or line.
    pub scope: String,
    /// Which days.
    pub period: String,
    /// The parts; the last is their sum.
    pub parts: Vec<Part>,
}

/// A level bar from zero for each part, with its interval as a thin line.
///
/// # Errors
/// `NothingToShow` without parts; `NotFinite`; else those of [`Chart::check`].
pub fn chart(input: &Split) -> Result<Chart, ChartError> {
    let Some((whole, parts)) = input.parts.split_last() else {
        return Err(ChartError::NothingToShow { what: "parts" });
    };
    super::finite(
        "a part of the change",
        input.parts.iter().flat_map(|p| [p.size.0, p.size.1, p.size.2]),
    )?;
    let n = input.parts.len();
    let row = |i: usize| rows::place(n, i);
    let points = |x: f64| 100.0 * x;
    let x = Axis::covering(
        "points of per cent",
        "",
        Scale::Linear,
        input.parts.iter().flat_map(|p| [p.size.0, p.size.1, p.size.2].map(points)).chain([0.0]),
        0.06,
    );
    let y = rows::axis("", 0.6, input.parts.iter().map(|p| p.words.clone()).collect());
    let mut layers = Vec::new();
    for (i, p) in input.parts.iter().enumerate() {
        let role = if i + 1 == n { Role::Typical } else { Role::Fit };
        let name = if i + 1 == n { "the change" } else { "its parts" };
        layers.push(Layer::Span {
            role,
            name: Some(name.to_owned()),
            y: row(i),
            from: points(p.size.0.min(0.0)),
            to: points(p.size.0.max(0.0)),
            thickness: 26.0,
        });
    }
    for (i, p) in input.parts.iter().enumerate() {
        layers.push(Layer::Span {
            role: Role::Limit,
            name: Some("95 % interval".to_owned()),
            y: row(i),
            from: points(p.size.1),
            to: points(p.size.2),
            thickness: 4.0,
        });
    }
    layers.push(Layer::Points {
        role: Role::Limit,
        name: None,
        shape: Shape::Disc,
        points: input.parts.iter().enumerate().map(|(i, p)| at(points(p.size.0), row(i))).collect(),
    });
    let show = |x: f64| {
        let text = number(points(x), 2);
        if text.trim_start_matches(['-', '−']) == "0.00" { "0".to_owned() } else { text }
    };
    let beside = input.parts.iter().map(|p| show(p.size.0)).collect();
    let largest = parts
        .iter()
        .max_by(|a, b| {
            let with_the_change = |p: &Part| p.size.0 * whole.size.0.signum();
            with_the_change(a).total_cmp(&with_the_change(b))
        })
        .map_or_else(String::new, |p| format!(": mostly {}", p.words.replace('\n', " ")));
    let mut chart = Chart::new(
        format!("{}{largest}", input.scope),
        input.period.clone(),
        x,
        vec![rows::panel(y, layers, beside)],
        Vec::new(),
    )?;
    chart.height = 340 + 74 * u32::try_from(n).unwrap_or(7).clamp(2, 10);
    Ok(chart)
}
