//! What explains a change of the share of failures, and how much of it?
//!
//! Failures and those expected by the share before stand side by side, in full colour on one axis: a bar of the
//! excess alone says neither.

use super::axis::number;
use super::{Axis, Chart, ChartError, Heading, Layer, Role, Scale, rows};
use crate::analysis::jump::Jump;
use crate::verdict::jump::why;

/// A cause, or what no cause explains.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// In words; a second line says how many units.
    pub words: String,
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
    /// What explains it, in a few words.
    pub answer: String,
    /// Whether more fail since then; else the bars are of the time before.
    pub rises: bool,
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
            failures: c.failures,
            expected: c.expected,
            named: true,
        })
        .collect();
    let left = |all: f64, of: fn(&Bar) -> f64| (all - bars.iter().map(of).sum::<f64>()).max(0.0);
    let failures = left(found.failures, |b| b.failures);
    let expected = left(found.expected, |b| b.expected);
    let words = if bars.is_empty() { "all units" } else { "all other units" };
    bars.push(Bar { words: words.to_owned(), failures, expected, named: false });
    Causes {
        scope: jump.place.title.clone(),
        period: format!("first tests of {}", jump.worse().window),
        answer: why(jump),
        rises: jump.rises(),
        bars,
    }
}

/// Thickness of a bar, and how far the two of a row lie from its middle, in rows.
const THICK: f64 = 24.0;
const APART: f64 = 0.14;

/// Two level bars for each cause: failures expected by the share before, and those since.
///
/// # Errors
/// `NothingToShow` without a bar; else those of [`Chart::check`].
pub fn chart(input: &Causes) -> Result<Chart, ChartError> {
    if input.bars.is_empty() {
        return Err(ChartError::NothingToShow { what: "causes" });
    }
    let n = input.bars.len();
    let most = input.bars.iter().map(|b| b.failures.max(b.expected)).fold(1.0, f64::max);
    let x = Axis::new("units that failed", "", Scale::Linear, 0.0, most * 1.08);
    let y = rows::axis("", 0.6, input.bars.iter().map(|b| b.words.clone()).collect());
    let (since, before) = if input.rises { ("since", "before") } else { ("before", "since") };
    let mut layers = Vec::new();
    for (i, b) in input.bars.iter().enumerate() {
        let mut bar = |role, name: &str, shift: f64, to: f64| {
            layers.push(Layer::Span {
                role,
                name: Some(name.to_owned()),
                y: rows::place(n, i) + shift,
                from: 0.0,
                to,
                thickness: THICK,
                shaded: false,
            });
        };
        bar(Role::Quiet, &format!("expected by the share {before}"), APART, b.expected);
        if b.named {
            bar(Role::Limit, &format!("failed {since}, explained"), -APART, b.failures);
        } else {
            bar(Role::Typical, &format!("failed {since}, not explained"), -APART, b.failures);
        }
    }
    let beside = input.bars.iter().map(in_words).collect();
    let mut chart = Chart::new(
        Heading::about(&input.scope, &input.answer, &input.period),
        x,
        vec![rows::panel(y, layers, beside)],
        Vec::new(),
    )?;
    chart.height = 340 + 100 * u32::try_from(n).unwrap_or(5).clamp(2, 8);
    Ok(chart)
}

/// `43 failed, 0.3 expected`.
fn in_words(b: &Bar) -> String {
    let expected = match b.expected {
        e if e < 0.05 => "under 0.1".to_owned(),
        e => number(e, usize::from(e < 10.0)),
    };
    format!("{} failed, {expected} expected", number(b.failures, 0))
}
