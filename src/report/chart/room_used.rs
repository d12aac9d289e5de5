//! How did each series move, in shares of the room to its limit? One row for each, what used most on top.

use std::collections::BTreeMap;

use super::axis::day_text;
use super::marks::OnDay;
use super::style::printable;
use super::{Axis, Chart, ChartError, Dash, Heading, Layer, Point, Role, Scale, at, rows};
use crate::movement::drift::Shape;
use crate::review::Review;

/// Most rows of one picture.
const ROWS: usize = 20;
/// Height of a row that is free for its line.
const FREE: f64 = 0.72;
/// Smallest share of the room that fills a row, so that noise stays small.
const SMALLEST: f64 = 0.20;

/// One series.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Name of the series, for people.
    pub name: String,
    /// Share of the room used on each day, against the baseline; of the typical reading where no limit is known.
    pub used: Vec<OnDay>,
    /// The same now.
    pub now: f64,
    /// Whether the movement is flagged.
    pub flagged: bool,
    /// A few words, for the right edge.
    pub words: String,
}

/// What the chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomUsed {
    /// What the baseline is, in words.
    pub baseline: String,
    /// All series.
    pub series: Vec<Series>,
}

/// The movement of all series, in shares of the room that the baseline had.
pub fn from(review: &Review) -> RoomUsed {
    let shares = || review.moved.series.iter().map(|m| m.room_share.as_ref());
    let baseline = shares().flatten().next().map_or(0, |s| s.baseline_points);
    let series = review.series.iter().zip(shares()).enumerate().filter_map(|(n, (s, share))| {
        let share = share?;
        let shape = s.drift.shape.map_or("", Shape::words).to_owned();
        Some(Series {
            name: printable(&s.named.title, &format!("series {}", n + 1)),
            used: share
                .used
                .iter()
                .map(|(day, value)| OnDay { day: *day, value: *value })
                .collect(),
            now: share.now,
            flagged: s.drift.flagged,
            words: if share.of_room { shape } else { format!("{shape}, of its reading") },
        })
    });
    RoomUsed { baseline: format!("its first {baseline} points"), series: series.collect() }
}

/// The overview: a row for each series, ordered by share of the room used, all on one scale.
///
/// # Errors
/// `NothingToShow` without a series with points; else those of [`Chart::check`].
pub fn chart(input: &RoomUsed) -> Result<Chart, ChartError> {
    let mut shown: Vec<&Series> = input.series.iter().filter(|s| !s.used.is_empty()).collect();
    super::finite(
        "a share of the room",
        shown.iter().flat_map(|s| s.used.iter().map(|p| p.value).chain([s.now])),
    )?;
    // What moved toward the limit stands above what moved away from it.
    shown.sort_by(|a, b| b.now.total_cmp(&a.now).then(a.name.cmp(&b.name)));
    let rest = shown.split_off(shown.len().min(ROWS));
    let days: Vec<f64> =
        shown.iter().flat_map(|s| s.used.iter().map(|p| f64::from(p.day))).collect();
    let (Some(top), false) = (shown.first(), days.is_empty()) else {
        return Err(ChartError::NothingToShow { what: "series with daily points" });
    };
    let (first, last) =
        days.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| (a.min(*d), b.max(*d)));
    let x = Axis::covering("day", "", Scale::Date, days.iter().copied(), 0.02);
    // A series beyond its limit fills its row, and no more.
    let largest = shown
        .iter()
        .flat_map(|s| s.used.iter().map(|p| p.value.abs()))
        .fold(SMALLEST, f64::max)
        .min(1.0);
    let scale = FREE / largest;
    let n = shown.len() + usize::from(!rest.is_empty());
    let row = |i: usize| rows::place(n, i);
    let of_rest = format!("{} others\ntheir middle and range", rest.len());
    let of_rest = (!rest.is_empty()).then_some(of_rest);
    let names = shown.iter().map(|s| s.name.replacen(", ", "\n", 1)).chain(of_rest).collect();
    let y = rows::axis("series", 0.9, names);
    let mut layers = Vec::new();
    for (i, s) in shown.iter().enumerate() {
        layers.push(Layer::Line {
            role: Role::Quiet,
            name: Some("level of the baseline".to_owned()),
            dash: Dash::Dotted,
            points: vec![at(first, row(i)), at(last, row(i))],
        });
        let (role, name) = if s.flagged {
            (Role::Limit, "flagged: certain, and large enough to matter")
        } else {
            (Role::Fit, "not flagged")
        };
        layers.push(Layer::Line {
            role,
            name: Some(name.to_owned()),
            dash: Dash::Solid,
            points: s
                .used
                .iter()
                .map(|p| at(f64::from(p.day), row(i) + (p.value * scale).clamp(-FREE, FREE)))
                .collect(),
        });
    }
    layers
        .extend(strip(&rest, (first, last), |used| row(n - 1) + (used * scale).clamp(-FREE, FREE)));
    let ends = |all: &[&Series]| {
        // In their order, what used most first.
        let [most, least] = [all.first()?, all.last()?].map(|s| signed(s.now));
        Some(format!("{least} to {most}"))
    };
    let beside =
        shown.iter().map(|s| format!("{} {}", signed(s.now), s.words)).chain(ends(&rest)).collect();
    let subtitle = format!(
        "Share of the room from {} to the limit; {} to {}",
        input.baseline,
        day_text(first as i32),
        day_text(last as i32)
    );
    let heading = if top.now >= 0.01 {
        let used = format!("used {} of its room, the most of all series", percent_of(top.now));
        Heading::about(&top.name, &used, &subtitle)
    } else {
        Heading::new("No series used more than 1 % of its room".to_owned(), subtitle)
    };
    let notes = vec![format!(
        "The distance from one row to the next is {} of the room.",
        percent_of(1.0 / scale)
    )];
    let panel = rows::panel(y, layers, beside);
    let mut chart = Chart::new(heading, x, vec![panel], notes)?;
    chart.height = 340 + 92 * u32::try_from(n).unwrap_or(1).max(3);
    Ok(chart)
}

/// The series without a row of their own, by day: the middle of them, and from the least to the most. `place` gives the
/// height of a share used.
fn strip(rest: &[&Series], (first, last): (f64, f64), place: impl Fn(f64) -> f64) -> Vec<Layer> {
    let mut by_day: BTreeMap<i32, Vec<f64>> = BTreeMap::new();
    for point in rest.iter().flat_map(|s| &s.used) {
        by_day.entry(point.day).or_default().push(point.value);
    }
    if by_day.is_empty() {
        return Vec::new();
    }
    let (mut low, mut middle, mut high) = (Vec::new(), Vec::new(), Vec::new());
    for (day, mut values) in by_day {
        values.sort_by(f64::total_cmp);
        let put = |to: &mut Vec<Point>, n: usize| {
            to.push(at(f64::from(day).clamp(first, last), place(values[n])));
        };
        put(&mut low, 0);
        put(&mut middle, values.len() / 2);
        put(&mut high, values.len() - 1);
    }
    let name = |what: &str| Some(what.to_owned());
    vec![
        Layer::Band { role: Role::Quiet, name: name("others, least to most"), low, high },
        Layer::Line {
            role: Role::Quiet,
            name: name("others, middle"),
            dash: Dash::Solid,
            points: middle,
        },
    ]
}

fn percent_of(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

fn signed(share: f64) -> String {
    let percent = 100.0 * share;
    if percent.abs() < 0.5 {
        "0 %".to_owned()
    } else {
        format!("{percent:+.0} %").replace('-', "\u{2212}")
    }
}
