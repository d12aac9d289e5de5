//! How many units failed, of what, and what share of the units is that?
//!
//! Counts and share have a panel and a scale each: one axis for both would show one of them only. The share is a line
//! without intervals, which would press it to the floor where hardly a unit fails; the counts above it say how much
//! it is worth. What was not completed is no failure and is told apart.

use super::axis::{counted, day_text, number};
use super::marks::EventOn;
use super::one_series::OneSeries;
use super::{
    Along, Axis, Bar, Chart, ChartError, Dash, Heading, Layer, Panel, Role, Scale, Shape, Tick, at,
};
use crate::analysis::jump::Jump;
use crate::analysis::jump::cells::{Counted, Failures as Kinds};
use crate::analysis::jump::over_time::Stretch;
use crate::verdict::jump::since;
use crate::words::numbers::whole;
use crate::words::percent;

/// A jump in failures.
#[derive(Debug, Clone, PartialEq)]
pub struct Marked {
    /// Most likely first day.
    pub day: i32,
    /// First day of its interval.
    pub low: i32,
    /// Last day of its interval.
    pub high: i32,
    /// Day on which it came back.
    pub ended: Option<i32>,
    /// From what to what, in a few words.
    pub words: String,
    /// Whether it is one of tests that were not completed.
    pub not_completed: bool,
}

impl Marked {
    /// The mark of a jump.
    pub fn of(jump: &Jump) -> Self {
        Self {
            day: jump.date.day,
            low: jump.date.low,
            high: jump.date.high,
            ended: jump.ended.map(|e| e.day),
            words: since(jump).in_short(),
            not_completed: jump.counted == Counted::NotCompleted,
        }
    }
}

/// What the failures chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Failures {
    /// The series, for people.
    pub scope: String,
    /// Months or weeks in order.
    pub stretches: Vec<Stretch>,
    /// Jump found, if any.
    pub jump: Option<Marked>,
    /// Limit changes and other events.
    pub events: Vec<EventOn>,
}

/// The failures of one series, with a jump marked.
pub fn from(series: &OneSeries<'_>, jump: Option<&Jump>) -> Failures {
    let mut events = series.events.clone();
    let changes = series.moved.limits.changes.get(1..).unwrap_or_default();
    for of_day in changes.chunk_by(|a, b| a.day == b.day) {
        let stations: Vec<&str> = of_day.iter().filter_map(|c| c.station.as_deref()).collect();
        let at = match stations.as_slice() {
            [] => String::new(),
            some => format!(" ({})", some.join(", ")),
        };
        events.push(EventOn { day: of_day[0].day, what: format!("limits changed{at}") });
    }
    events.sort_by(|a, b| (a.day, &a.what).cmp(&(b.day, &b.what)));
    Failures {
        scope: series.title.clone(),
        stretches: series.finding.failures.clone(),
        jump: jump.map(Marked::of),
        events,
    }
}

/// A kind of failure: its name, its role, and how many.
type Kind = (&'static str, Role, fn(&Kinds) -> f64);

/// Kinds in the order in which bars stand on each other.
const KINDS: [Kind; 4] = [
    ("over limit", Role::Limit, |f| f.over),
    ("under limit", Role::UnderLimit, |f| f.under),
    ("breakdown", Role::Breakdown, |f| f.breakdown),
    ("of no known class", Role::Other, |f| f.unclassed),
];

/// Days of a week.
const WEEK: i32 = 7;
/// Part of a stretch that its bar leaves free.
const GAP: f64 = 0.12;

/// A bar as wide as its stretch, from one count to another.
fn bar(s: &Stretch, foot: f64, top: f64) -> Bar {
    let free = GAP * f64::from(s.until - s.from) / 2.0;
    Bar { from: f64::from(s.from) + free, to: f64::from(s.until) - free, foot, top }
}

/// Whole numbers only, and room above the highest.
fn counts_axis(title: &str, most: f64, ticks: usize) -> Axis {
    let axis = Axis::new(title, "", Scale::Linear, 0.0, most.max(1.0) * 1.12);
    let whole = axis.ticks(ticks).into_iter().filter(|t| t.at.fract().abs() < 1e-9);
    let ticks = whole.map(|t| Tick { label: number(t.at, 0), ..t }).collect();
    axis.with_ticks(ticks)
}

/// Failed units by kind, bars standing on each other.
fn counts(tested: &[&Stretch], each: &str) -> Panel {
    let mut feet = vec![0.0; tested.len()];
    let mut layers = Vec::new();
    for (words, role, of) in KINDS {
        let total: f64 = tested.iter().map(|s| of(&s.failures)).sum();
        if total == 0.0 {
            continue;
        }
        let bars = tested.iter().zip(&mut feet).map(|(s, foot)| {
            let from = *foot;
            *foot += of(&s.failures);
            bar(s, from, *foot)
        });
        let bars = bars.collect();
        layers.push(Layer::Bars {
            role,
            name: Some(format!("{words} ({})", number(total, 0))),
            bars,
        });
    }
    let most = feet.iter().copied().fold(0.0, f64::max);
    Panel {
        x: None,
        y: counts_axis(&format!("units that failed, by {each}"), most, 6),
        layers,
        beside: Vec::new(),
        share: 1.0,
    }
}

/// The share that failed, on a scale of its own.
fn share(tested: &[&Stretch], each: &str) -> Panel {
    let points: Vec<_> = tested
        .iter()
        .filter_map(|s| {
            let middle = f64::midpoint(f64::from(s.from), f64::from(s.until));
            Some(at(middle, 100.0 * s.failed.as_ref()?.value))
        })
        .collect();
    let top = points.iter().map(|p| p.y).fold(0.0, f64::max);
    let high = if top > 0.0 { top * 1.15 } else { 1.0 };
    let name = |name: &str| Some(name.to_owned());
    Panel {
        x: None,
        y: Axis::new(
            &format!("their share of the units, by {each}"),
            "%",
            Scale::Linear,
            0.0,
            high,
        ),
        layers: vec![
            Layer::Line {
                role: Role::Reading,
                name: None,
                dash: Dash::Solid,
                points: points.clone(),
            },
            Layer::Points {
                role: Role::Reading,
                name: name("share of units that failed"),
                shape: Shape::Disc,
                points,
            },
        ],
        beside: Vec::new(),
        share: 0.7,
    }
}

/// Plain bars of one count.
fn plain(tested: &[&Stretch], title: &str, of: impl Fn(&Stretch) -> f64) -> Panel {
    let bars: Vec<Bar> = tested.iter().map(|s| bar(s, 0.0, of(s))).collect();
    let most = bars.iter().map(|b| b.top).fold(0.0, f64::max);
    Panel {
        x: None,
        y: counts_axis(title, most, 2),
        layers: vec![Layer::Bars { role: Role::Quiet, name: None, bars }],
        beside: Vec::new(),
        share: 0.35,
    }
}

/// The days on which the jump may have begun.
fn zone(input: &Failures) -> Option<Layer> {
    input.jump.as_ref().map(|jump| Layer::Zone {
        role: Role::Step,
        name: Some("dates on which the jump may have begun".to_owned()),
        from: f64::from(jump.low),
        to: f64::from(jump.high) + 1.0,
    })
}

/// The jump and what is recorded; words stand on the first panel only.
fn rules(input: &Failures, words: bool) -> Vec<Layer> {
    let rule = |day: i32, dash, label: String| Layer::Rule {
        role: Role::Event,
        dash,
        along: Along::Upright,
        at: f64::from(day),
        label: if words { label } else { String::new() },
    };
    let mut layers = Vec::new();
    if let Some(jump) = &input.jump {
        layers.push(rule(jump.day, Dash::Solid, format!("jump on {}", day_text(jump.day))));
        layers.extend(
            jump.ended.map(|day| rule(day, Dash::Dashed, format!("back on {}", day_text(day)))),
        );
    }
    let events = input.events.iter();
    layers.extend(
        events.map(|e| rule(e.day, Dash::Dotted, format!("{} {}", e.what, day_text(e.day)))),
    );
    layers
}

/// The failures chart: units that failed by kind, their share, and units tested.
///
/// # Errors
/// `NothingToShow` without a month or week that tested a unit; else those of [`Chart::check`].
pub fn chart(input: &Failures) -> Result<Chart, ChartError> {
    let tested: Vec<&Stretch> = input.stretches.iter().filter(|s| s.units > 0).collect();
    let (Some(first), Some(last)) = (tested.first(), tested.last()) else {
        return Err(ChartError::NothingToShow { what: "days with tests" });
    };
    super::finite(
        "a share of failures",
        tested.iter().filter_map(|s| Some(s.failed.as_ref()?.value)),
    )?;
    super::finite(
        "a count of failures",
        tested.iter().flat_map(|s| KINDS.map(|(.., of)| of(&s.failures))),
    )?;
    let weekly = tested.iter().all(|s| s.until - s.from <= WEEK);
    let each = if weekly { "week" } else { "month" };
    let ends = [f64::from(first.from), f64::from(last.until)];
    let x = Axis::covering("day", "", Scale::Date, ends, 0.015);
    let mut panels = vec![counts(&tested, each), share(&tested, each)];
    for (n, panel) in panels.iter_mut().enumerate() {
        panel.layers.splice(0..0, zone(input));
        panel.layers.extend(rules(input, n == 0));
    }
    panels.push(plain(&tested, &format!("units tested, by {each}"), |s| s.units as f64));
    if input.jump.as_ref().is_some_and(|j| j.not_completed) {
        let title = format!("tests not completed, by {each}");
        panels.push(plain(&tested, &title, |s| s.failures.not_completed));
    }

    let units: u64 = tested.iter().map(|s| s.units).sum();
    let sum = |of: &dyn Fn(&Kinds) -> f64| whole(tested.iter().map(|s| of(&s.failures)).sum());
    let failed = sum(&|f| f.of(Counted::Failed));
    let answer = match &input.jump {
        Some(jump) => jump.words.clone(),
        None if failed == 0 => "no unit failed".to_owned(),
        None => format!("{} of units failed", percent(failed as f64 / units as f64)),
    };
    let subtitle = format!(
        "{} of {} failed in their first test, in {}",
        number(failed as f64, 0),
        counted(units, "unit"),
        counted(tested.len() as u64, each)
    );
    let apart = sum(&|f| f.not_completed);
    let notes = (apart > 0).then(|| {
        format!("Not completed, and therefore no failure: {}.", counted(apart, "further test"))
    });
    let mut chart = Chart::new(
        Heading::about(&input.scope, &answer, &subtitle),
        x,
        panels,
        notes.into_iter().collect(),
    )?;
    chart.height += 150;
    Ok(chart)
}
