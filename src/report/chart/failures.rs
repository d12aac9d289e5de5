//! How did the share of failures move, by kind of failure?

use super::axis::{day_text, number, percent};
use super::marks::EventOn;
use super::one_series::OneSeries;
use super::{
    Along, Axis, Bar, Chart, ChartError, Dash, Layer, Panel, Role, Scale, Shape, Whisker, at,
};
use crate::analysis::jump::Jump;
use crate::analysis::jump::cells::Counted;
use crate::analysis::jump::weeks::Week;
use crate::words;

/// How a kind of failure is drawn.
struct Look {
    words: &'static str,
    role: Role,
    shape: Shape,
    dash: Dash,
}

fn look(kind: Counted) -> Look {
    let (words, role, shape, dash) = match kind {
        Counted::OverLimit => ("over limit", Role::Limit, Shape::Disc, Dash::Solid),
        Counted::UnderLimit => ("under limit", Role::UnderLimit, Shape::Up, Dash::Dashed),
        Counted::Breakdown => ("breakdown", Role::Breakdown, Shape::Square, Dash::DashDot),
        Counted::NotCompleted | Counted::Failed => {
            ("other", Role::Other, Shape::Diamond, Dash::Dotted)
        }
    };
    Look { words, role, shape, dash }
}

/// A jump in failures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marked {
    /// Most likely first day.
    pub day: i32,
    /// First day of its interval.
    pub low: i32,
    /// Last day of its interval.
    pub high: i32,
    /// Share of failures before.
    pub before: f64,
    /// Share of failures after.
    pub after: f64,
}

impl Marked {
    /// The mark of a jump.
    pub fn of(jump: &Jump) -> Self {
        Self {
            day: jump.date.day,
            low: jump.date.low,
            high: jump.date.high,
            before: jump.before.share.value,
            after: jump.after.share.value,
        }
    }
}

/// What the failures chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Failures {
    /// The series, for people.
    pub scope: String,
    /// Weeks in order.
    pub weeks: Vec<Week>,
    /// Jump found, if any.
    pub jump: Option<Marked>,
    /// Limit changes and other events.
    pub events: Vec<EventOn>,
}

/// The failures of one series, with a jump marked.
pub fn from(series: &OneSeries<'_>, jump: Option<&Jump>) -> Failures {
    let mut events = series.events.clone();
    for change in series.moved.limits.changes.iter().skip(1) {
        let station = change.station.as_ref().map_or_else(String::new, |s| format!(" ({s})"));
        events.push(EventOn { day: change.day, what: format!("limits changed{station}") });
    }
    events.sort_by(|a, b| (a.day, &a.what).cmp(&(b.day, &b.what)));
    Failures {
        scope: series.title.clone(),
        weeks: series.finding.weeks.clone(),
        jump: jump.map(Marked::of),
        events,
    }
}

/// Days of a week.
const DAYS: i32 = 7;

/// The day after the last of a week.
fn until(week: &Week) -> i32 {
    week.from + DAYS
}

/// Intervals are drawn up to this many weeks; beyond it they would hide the points.
const MOST_INTERVALS: usize = 70;

/// The weekly shares of one kind of failure, the `k`-th of them; `tops` learns how high they reach.
fn of_kind(
    k: usize,
    counted: Counted,
    tested: &[&Week],
    intervals: bool,
    tops: &mut Vec<f64>,
) -> Vec<Layer> {
    let Look { words, role, shape, dash } = look(counted);
    // A little apart, so that intervals of several kinds do not hide each other.
    let middle = |s: &Week| f64::from(s.from) + f64::from(DAYS) * (0.5 + 0.16 * (k as f64 - 1.5));
    let counts = |s: &Week| s.failures.iter().find(|c| c.counted == counted).cloned();
    let total: u64 = tested.iter().filter_map(|s| counts(s)).map(|c| c.count).sum();
    if total == 0 {
        return Vec::new();
    }
    let mut layers = Vec::new();
    let points: Vec<_> = tested
        .iter()
        .map(|s| at(middle(s), counts(s).map_or(0.0, |c| c.share.value * 100.0)))
        .collect();
    tops.extend(points.iter().map(|p| p.y));
    if intervals {
        let whiskers: Vec<Whisker> = tested
            .iter()
            .filter_map(|s| {
                counts(s).filter(|c| c.count > 0).map(|c| Whisker {
                    x: middle(s),
                    low: c.share.low * 100.0,
                    high: c.share.high * 100.0,
                })
            })
            .collect();
        let widest = whiskers.iter().map(|w| w.high).fold(0.0, f64::max);
        tops.push(widest);
        layers.push(Layer::Whiskers { role, name: None, whiskers });
    }
    layers.push(Layer::Line { role, name: None, dash, points: points.clone() });
    layers.push(Layer::Points {
        role,
        name: Some(format!("{words} ({})", number(total as f64, 0))),
        shape,
        points: points.into_iter().filter(|p| p.y > 0.0).collect(),
    });
    layers
}

/// Units tested by week.
fn volume(tested: &[&Week]) -> Panel {
    let most = tested.iter().map(|s| s.units).max().unwrap_or(1) as f64;
    Panel {
        x: None,
        y: Axis::new("units tested per week", "", Scale::Linear, 0.0, most * 1.1),
        layers: vec![Layer::Bars {
            role: Role::Quiet,
            name: None,
            bars: tested
                .iter()
                .map(|s| Bar {
                    from: f64::from(s.from),
                    to: f64::from(until(s)),
                    top: s.units as f64,
                })
                .collect(),
        }],
        beside: Vec::new(),
        share: 0.35,
    }
}

/// The failures chart: share of units failing by kind above, units tested below.
///
/// # Errors
/// `NothingToShow` without weeks that tested a unit; else those of [`Chart::check`].
pub fn chart(input: &Failures) -> Result<Chart, ChartError> {
    let tested: Vec<&Week> = input.weeks.iter().filter(|s| s.units > 0).collect();
    let (Some(first), Some(last)) = (tested.first(), tested.last()) else {
        return Err(ChartError::NothingToShow { what: "days with tests" });
    };
    super::finite(
        "a share of failures",
        tested
            .iter()
            .flat_map(|s| &s.failures)
            .flat_map(|c| [c.share.value, c.share.low, c.share.high]),
    )?;
    let x = Axis::covering(
        "day",
        "",
        Scale::Date,
        [f64::from(first.from), f64::from(until(last))],
        0.015,
    );
    let intervals = tested.len() <= MOST_INTERVALS;

    let mut layers = Vec::new();
    if let Some(jump) = input.jump {
        layers.push(Layer::Zone {
            role: Role::Step,
            name: Some("dates on which the jump may have begun".to_owned()),
            from: f64::from(jump.low),
            to: f64::from(jump.high) + 1.0,
        });
    }
    let mut tops = vec![0.0, 0.5];
    for (k, counted) in Counted::SINGLE.into_iter().enumerate() {
        layers.extend(of_kind(k, counted, &tested, intervals, &mut tops));
    }
    let mut rules = Vec::new();
    if let Some(jump) = input.jump {
        rules.push((jump.day, Dash::Solid, format!("jump on {}", day_text(jump.day))));
    }
    rules.extend(
        input
            .events
            .iter()
            .map(|e| (e.day, Dash::Dotted, format!("{} {}", e.what, day_text(e.day)))),
    );
    for (day, dash, label) in rules {
        layers.push(Layer::Rule {
            role: Role::Event,
            dash,
            along: Along::Upright,
            at: f64::from(day),
            label,
        });
    }
    let shares =
        Axis::covering("share of units failing, per cent", "", Scale::Linear, tops, 0.06).from(0.0);
    let units: u64 = tested.iter().map(|s| s.units).sum();
    let failed: u64 = tested.iter().flat_map(|s| &s.failures).map(|c| c.count).sum();
    let title = match input.jump {
        Some(j) => format!(
            "{}: failures went from {} to {} on {}",
            input.scope,
            percent(j.before),
            percent(j.after),
            day_text(j.day)
        ),
        None => format!("{}: {} of units fail", input.scope, percent(failed as f64 / units as f64)),
    };
    let subtitle = format!(
        "{} failures in the first tests of {} units, weeks from {} to {}",
        number(failed as f64, 0),
        number(units as f64, 0),
        day_text(first.from),
        day_text(until(last) - 1)
    );
    let mut notes = Vec::new();
    let level = tested.iter().flat_map(|s| &s.failures).map(|c| c.share.level).next();
    if let Some(level) = level.filter(|_| intervals) {
        notes.push(format!("Upright lines are {} intervals of the share.", words::percent(level)));
    }
    let panels =
        vec![Panel { x: None, y: shares, layers, beside: Vec::new(), share: 1.0 }, volume(&tested)];
    Chart::new(title, subtitle, x, panels, notes)
}
