//! What is a change of the share of failures made of?

use super::axis::number;
use super::{Axis, Chart, ChartError, Heading, Layer, Role, Scale, rows};
use crate::analysis::jump::Jump;
use crate::stats::estimate::Estimate;
use crate::words::percent;

/// One part with its interval, shares of units.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// In words.
    pub words: String,
    /// Its size.
    pub size: Estimate,
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

/// What the chart shows of a jump; nothing where it has no parts.
pub fn of(jump: &Jump) -> Option<Split> {
    let p = jump.parts.as_ref()?;
    let part = |words: &str, size: &Estimate| Part { words: words.to_owned(), size: size.clone() };
    let charged =
        (p.charging.value != 0.0).then(|| part("charging current\nin the ramp", &p.charging));
    let parts = [
        Some(part("another mix of units", &p.mix)),
        Some(part("another limit", &p.limit)),
        charged,
        Some(part("readings moved\nas a whole", &p.shift)),
        Some(part("strays\nover the limit", &p.strays)),
        Some(part("breakdowns", &p.breakdown)),
        Some(part("other outcomes", &p.other)),
        Some(part("together", &p.rise)),
    ];
    Some(Split {
        scope: jump.place.title.clone(),
        period: format!(
            "change of the share of failures, {} against {}",
            jump.after.window, jump.before.window
        ),
        parts: parts.into_iter().flatten().collect(),
    })
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
        input.parts.iter().flat_map(|p| [p.size.value, p.size.low, p.size.high]),
    )?;
    let n = input.parts.len();
    let row = |i: usize| rows::place(n, i);
    let of_100 = |x: f64| 100.0 * x;
    let all = || input.parts.iter().flat_map(|p| [p.size.value, p.size.low, p.size.high]);
    let values = all().map(of_100).chain([0.0]);
    let x = Axis::covering("more units that fail, of 100 tested", "", Scale::Linear, values, 0.06);
    let y = rows::axis("", 0.6, input.parts.iter().map(|p| p.words.clone()).collect());
    let mut layers = Vec::new();
    for (i, p) in input.parts.iter().enumerate() {
        let (role, name) = if i + 1 == n {
            (Role::Quiet, "the whole change")
        } else {
            (Role::Reading, "its parts")
        };
        layers.push(Layer::Span {
            role,
            name: Some(name.to_owned()),
            y: row(i),
            from: of_100(p.size.value.min(0.0)),
            to: of_100(p.size.value.max(0.0)),
            thickness: 28.0,
            shaded: false,
        });
    }
    for (i, p) in input.parts.iter().enumerate() {
        layers.push(Layer::Span {
            role: Role::Typical,
            name: Some(format!("{} interval", percent(p.size.level))),
            y: row(i),
            from: of_100(p.size.low),
            to: of_100(p.size.high),
            thickness: 5.0,
            shaded: false,
        });
    }
    let beside = input.parts.iter().map(|p| in_words(p.size.value)).collect();
    let answer = parts
        .iter()
        .max_by(|a, b| {
            let with_the_change = |p: &Part| p.size.value * whole.size.value.signum();
            with_the_change(a).total_cmp(&with_the_change(b))
        })
        .map_or_else(String::new, |p| format!("mostly {}", p.words.replace('\n', " ")));
    let mut chart = Chart::new(
        Heading::about(&input.scope, &answer, &input.period),
        x,
        vec![rows::panel(y, layers, beside)],
        Vec::new(),
    )?;
    chart.height = 340 + 74 * u32::try_from(n).unwrap_or(7).clamp(2, 10);
    Ok(chart)
}

/// A part in units of 100, signed: `+7.7 of 100`.
fn in_words(share: f64) -> String {
    let decimals = if share.abs() < 0.01 { 2 } else { 1 };
    let text = number(100.0 * share, decimals);
    if text.trim_start_matches('\u{2212}').chars().all(|c| matches!(c, '0' | '.')) {
        return "none".to_owned();
    }
    let sign = if share > 0.0 { "+" } else { "" };
    format!("{sign}{text} of 100")
}
