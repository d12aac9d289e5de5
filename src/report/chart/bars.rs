//! Which bars a tally makes: of the reading step's true width, whatever steps its readings have.

use super::axis::{counted, decimals_of, number};
use super::distribution::{Distribution, Trips};
use super::{Bar, Layer, Role, Shape, at};

/// Most bars in the close-up, some 3 pixels each; neighbouring steps are put together beyond it.
const MOST_BARS: f64 = 450.0;

/// How readings of different steps share the bars; `None` where all have the same.
pub(super) fn steps_note(input: &Distribution, bar: &str) -> Option<String> {
    let mut steps: Vec<f64> = input
        .tally
        .iter()
        .filter(|l| !l.stray && l.count > 0 && l.step > 0.0)
        .map(|l| l.step)
        .collect();
    steps.sort_by(f64::total_cmp);
    steps.dedup_by(|a, b| (*a - *b).abs() <= 1e-9 * b.abs());
    let [least, .., most] = &steps[..] else { return None };
    let show = |step: &f64| number(*step, decimals_of(*step));
    // A reading brought to one scale is cut where bars must be told apart: such parts are nobody's reading step.
    Some(format!(
        "A reading stands for {} to {} {unit}: its step, or a part of it on the one scale. Bars are {bar} {unit} wide; a reading that lies across bars is shared among them.",
        show(least),
        show(most),
        unit = input.unit
    ))
}

/// Width of a bar: one reading step, or 2, 5, 10 … of them where there would be more than
/// [`MOST_BARS`] bars.
pub(super) fn width(range: f64, step: f64) -> f64 {
    if step > 0.0 {
        let least = (range / step / MOST_BARS - 1e-9).max(1.0);
        let decade = 10f64.powf(least.log10().floor());
        let steps = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|m| m * decade)
            .find(|s| *s >= least * (1.0 - 1e-9))
            .unwrap_or(decade * 10.0);
        step * steps
    } else {
        range / 60.0
    }
}

/// Bars over whole steps: edges lie half a step from readings, so no step of the coarsest instrument
/// is split. A reading stands for half its own step to either side, and is shared among the bars that
/// it lies across; a stray stays whole, so that one unit is seen as one.
pub(super) fn bins(input: &Distribution, width: f64, strays: bool) -> Vec<Bar> {
    let half = input.step.max(0.0) / 2.0;
    let place = |x: f64| ((x + half) / width + 1e-6).floor();
    let mut counts: std::collections::BTreeMap<i64, f64> = std::collections::BTreeMap::new();
    for line in input.tally.iter().filter(|l| l.stray == strays && l.count > 0) {
        let count = line.count as f64;
        let (from, to) = (line.reading - line.step / 2.0, line.reading + line.step / 2.0);
        let first = place(from);
        let last = ((to + half) / width - 1e-6).ceil() - 1.0;
        let bars = last - first + 1.0;
        if strays || line.step <= 0.0 || !(2.0..=MOST_SHARED).contains(&bars) {
            *counts.entry(place(line.reading) as i64).or_default() += count;
            continue;
        }
        for k in 0..bars as i64 {
            let left = (first + k as f64) * width - half;
            let inside = to.min(left + width) - from.max(left);
            *counts.entry(first as i64 + k).or_default() += count * inside / line.step;
        }
    }
    counts
        .into_iter()
        .map(|(place, count)| Bar {
            from: place as f64 * width - half,
            to: (place + 1) as f64 * width - half,
            foot: 0.0,
            top: count,
        })
        .collect()
}

/// A reading of so coarse a step that it would lie across more bars stays whole.
const MOST_SHARED: f64 = 1000.0;

/// How units beyond a limit are drawn.
pub(super) struct Beyond {
    pub(super) role: Role,
    pub(super) shape: Shape,
    /// Width of a bar; below zero where it lies left of the limit.
    pub(super) width: f64,
    pub(super) words: &'static str,
}

/// Bars beside their limits, with an arrow to where the readings lie and their number in the legend.
pub(super) fn beyond(
    layers: &mut Vec<Layer>,
    at_limits: &[Trips],
    how: Beyond,
    show: &dyn Fn(f64) -> String,
) {
    let here: Vec<&Trips> = at_limits.iter().filter(|t| t.count > 0).collect();
    let Some(first) = here.first() else { return };
    let bars = here
        .iter()
        .map(|t| Bar {
            from: t.limit.min(t.limit + how.width),
            to: t.limit.max(t.limit + how.width),
            foot: 0.0,
            top: t.count as f64,
        })
        .collect();
    let limit = if here.len() == 1 {
        show(first.limit)
    } else {
        format!("its limit, one of {}", here.len())
    };
    let units = counted(here.iter().map(|t| t.count).sum(), "unit");
    layers.push(Layer::Bars { role: how.role, name: None, bars });
    layers.push(Layer::Points {
        role: how.role,
        name: Some(format!("{} {limit} ({units})", how.words)),
        shape: how.shape,
        points: here.iter().map(|t| at(t.limit + how.width, t.count as f64)).collect(),
    });
}
