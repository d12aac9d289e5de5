//! Does the same model read the same at every plant? One row for each comparison, per cent of the other's reading.

use super::style::printable;
use super::{Along, Axis, Chart, ChartError, Dash, Heading, Layer, Role, Scale, Shape, at, rows};
use crate::review::Review;
use crate::stats::estimate::Estimate;
use crate::verdict::plants::Says;
use crate::words::numbers::{by_interval, change_pct, value};

/// Most rows of one picture.
const ROWS: usize = 20;

/// One plant against another.
#[derive(Debug, Clone, PartialEq)]
pub struct Against {
    /// Model and plants, for people.
    pub name: String,
    /// Per cent by which the plant reads more.
    pub pct: Estimate,
    /// What that tells.
    pub says: Says,
}

/// All comparisons whose readings are known, the largest that is told first.
pub fn from(review: &Review) -> Vec<Against> {
    let all = review.plants.iter().flat_map(|m| m.differences.iter().map(move |d| (m, d)));
    let mut found: Vec<Against> = all
        .enumerate()
        .filter_map(|(n, (m, d))| {
            let name = format!("{}\n{} against {}", m.model, d.plant, d.against);
            let other = format!("comparison {}", n + 1);
            Some(Against { name: printable(&name, &other), pct: d.x50_pct.clone()?, says: d.says })
        })
        .collect();
    let told = |a: &Against| a.says != Says::CannotBeTold;
    found.sort_by(|a, b| {
        (told(b), b.pct.value.abs())
            .partial_cmp(&(told(a), a.pct.value.abs()))
            .unwrap_or(std::cmp::Ordering::Equal)
            .then(a.name.cmp(&b.name))
    });
    found
}

/// The chart: zero is the plant held against.
///
/// # Errors
/// `NothingToShow` without a comparison; else those of [`Chart::check`].
pub fn chart(all: &[Against]) -> Result<Chart, ChartError> {
    if all.is_empty() {
        return Err(ChartError::NothingToShow { what: "typical readings of two plants" });
    }
    super::finite("a difference", all.iter().flat_map(|a| [a.pct.low, a.pct.value, a.pct.high]))?;
    let shown = &all[..all.len().min(ROWS)];
    let n = shown.len();
    let row = |i: usize| rows::place(n, i);
    let ends = shown.iter().flat_map(|a| [a.pct.low, a.pct.high]).chain([0.0]);
    let x =
        Axis::covering("typical reading against the other plant", "%", Scale::Linear, ends, 0.08);
    let mut layers = vec![Layer::Rule {
        role: Role::Quiet,
        dash: Dash::Dashed,
        along: Along::Upright,
        at: 0.0,
        label: "no difference".to_owned(),
    }];
    for (i, a) in shown.iter().enumerate() {
        let (role, shape, name) = match a.says {
            Says::CannotBeTold => (Role::Quiet, Shape::Disc, "cannot be told"),
            _ => (Role::Typical, Shape::Diamond, "reads otherwise"),
        };
        let name = Some(format!("{name}, with its interval"));
        layers.push(Layer::Span {
            role,
            name: name.clone(),
            y: row(i),
            from: a.pct.low,
            to: a.pct.high,
            thickness: 12.0,
            shaded: true,
        });
        layers.push(Layer::Points { role, name, shape, points: vec![at(a.pct.value, row(i))] });
    }
    let names = shown.iter().map(|a| a.name.clone()).collect();
    let beside = shown.iter().map(|a| value(&by_interval(&a.pct), change_pct)).collect();
    let told = all.iter().filter(|a| a.says != Says::CannotBeTold).count();
    let title = format!("{told} of {} comparisons of plants show a difference", all.len());
    let subtitle = "Each plant judged alone; readings of its middle station".to_owned();
    let mut notes = vec![
        "A difference may be of the product, of its parts, or of leads and meters.".to_owned(),
    ];
    if all.len() > n {
        notes.push(format!("{} comparisons with less are not drawn.", all.len() - n));
    }
    let panel = rows::panel(rows::axis("model", 0.6, names), layers, beside);
    let mut chart = Chart::new(Heading::new(title, subtitle), x, vec![panel], notes)?;
    chart.height = 340 + 84 * u32::try_from(n).unwrap_or(1).max(2);
    Ok(chart)
}
