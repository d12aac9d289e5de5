//! What explains a change of the share of failures, and how much of it?

use super::axis::number;
use super::{Axis, Chart, ChartError, Layer, Role, Scale, Shape, at, rows};
use crate::analysis::jump::Jump;

/// A cause, or what no cause explains.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// In words; a second line says how many units.
    pub words: String,
    /// Failures beyond those expected.
    pub excess: f64,
    /// Failures.
    pub failures: f64,
    /// Expected.
    pub expected: f64,
    /// Whether it is a cause.
    pub named: bool,
}

/// What the chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Causes {
    /// Series, station or line.
    pub scope: String,
    /// Which days.
    pub period: String,
    /// Failures beyond those expected in all.
    pub excess: f64,
    /// What every unit of these days was of, and none of the others: not to be told from the date.
    pub came_with: Option<String>,
    /// Causes, the strongest first, then what is left.
    pub bars: Vec<Bar>,
}

/// What the chart shows of a jump.
pub fn of(jump: &Jump) -> Causes {
    let found = &jump.explained;
    let mut bars: Vec<Bar> = found
        .causes
        .iter()
        .map(|c| Bar {
            words: format!("{}\n{:.0} units", c.what, c.units),
            excess: c.failures - c.expected,
            failures: c.failures,
            expected: c.expected,
            named: true,
        })
        .collect();
    let left = |all: f64, of: fn(&Bar) -> f64| (all - bars.iter().map(of).sum::<f64>()).max(0.0);
    let failures = left(found.failures, |b| b.failures);
    let expected = left(found.expected, |b| b.expected);
    let words = if bars.is_empty() { "all units" } else { "all other units" };
    bars.push(Bar {
        words: words.to_owned(),
        excess: failures - expected,
        failures,
        expected,
        named: false,
    });
    Causes {
        scope: jump.place.title.clone(),
        period: format!("first tests of {}", jump.worse().window),
        excess: found.excess,
        came_with: found.coincides.first().map(|c| c.what.to_string()),
        bars,
    }
}

/// A level bar for each cause: failures beyond those expected, with failures and those expected as marks.
///
/// # Errors
/// `NothingToShow` without a bar; else those of [`Chart::check`].
pub fn chart(input: &Causes) -> Result<Chart, ChartError> {
    let Some(first) = input.bars.first() else {
        return Err(ChartError::NothingToShow { what: "causes" });
    };
    let n = input.bars.len();
    let row = |i: usize| rows::place(n, i);
    let most = input.bars.iter().map(|b| b.failures.max(b.expected)).fold(1.0, f64::max);
    let x = Axis::new("failures", "", Scale::Linear, 0.0, most * 1.08);
    let y = rows::axis("", 0.6, input.bars.iter().map(|b| b.words.clone()).collect());
    let mut layers: Vec<Layer> = input
        .bars
        .iter()
        .enumerate()
        .map(|(i, b)| Layer::Span {
            role: if b.named { Role::Stray } else { Role::Quiet },
            name: Some(
                if b.named {
                    "beyond those expected, explained"
                } else {
                    "beyond those expected, not explained"
                }
                .to_owned(),
            ),
            y: row(i),
            from: b.expected.min(b.failures),
            to: b.failures,
            thickness: 34.0,
        })
        .collect();
    layers.push(Layer::Points {
        role: Role::Typical,
        name: Some("expected by the share before".to_owned()),
        shape: Shape::Upright,
        points: input.bars.iter().enumerate().map(|(i, b)| at(b.expected, row(i))).collect(),
    });
    let beside = input
        .bars
        .iter()
        .map(|b| match 100.0 * b.excess / input.excess.max(1e-9) {
            share if share < 0.5 => "none of\nthe excess".to_owned(),
            share => format!("{} % of\nthe excess", number(share.min(100.0), 0)),
        })
        .collect();
    let title = if first.named {
        format!(
            "{}: {} explains {} of {} failures beyond those expected",
            input.scope,
            first.words.lines().next().unwrap_or_default(),
            number(first.excess.min(input.excess), 0),
            number(input.excess, 0)
        )
    } else if let Some(came) = &input.came_with {
        format!("{}: it goes with {came}, not to be told from the date", input.scope)
    } else {
        format!("{}: no level recorded explains the change", input.scope)
    };
    let mut chart = Chart::new(
        title,
        input.period.clone(),
        x,
        vec![rows::panel(y, layers, beside)],
        Vec::new(),
    )?;
    chart.height = 340 + 100 * u32::try_from(n).unwrap_or(5).clamp(2, 8);
    Ok(chart)
}
