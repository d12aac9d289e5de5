//! Narrow intervals shared among the cells of a grid.
//!
//! Readings that were carried along a slope are all different, and their intervals overlap: thousands of cells, over
//! which the iteration of the non-parametric estimate creeps (10 s of processor for a series of 4 000 units), and
//! thousands of terms of each likelihood, for an answer finer than any reading. Intervals much narrower than the sample
//! are shared among the cells of a grid instead, each by how much of it lies there: they no longer overlap, means stay,
//! and a spread grows by an eighth of a per cent at most. Put whole into the cell of its middle, a reading moved by up to
//! half a step, and a sound family looked wrong (p 0.005 instead of 0.45).

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::numeric::reaching;
use crate::sample::{Counted, Observation};

/// Intervals are shared among the cells of a grid where this share of them is so many times narrower than the middle
/// half of the sample; its cells are as wide as they are, if not wider.
const NEARLY_ALL: f64 = 0.9;
const NARROW: f64 = 8.0;

/// Edges nearer to each other than this part of their size are one: neighbouring readings share an edge,
/// but `5.2 - 0.05` and `5.1 + 0.05` are two doubles, and between two such lies an interval of no width that
/// would draw both readings' mass.
const SAME_EDGE: f64 = 1e-10;

/// The edges of a sample, equal ones once.
pub(crate) struct Edges(Vec<f64>);

impl Edges {
    pub(crate) fn of(lines: &[Counted]) -> Self {
        let mut all: Vec<f64> = lines
            .iter()
            .flat_map(|line| [line.observation.low(), line.observation.high()])
            .filter(|x| x.is_finite())
            .collect();
        all.sort_by(f64::total_cmp);
        all.dedup_by(|next, kept| *next - *kept <= SAME_EDGE * kept.abs().max(next.abs()));
        Self(all)
    }

    /// The kept edge that stands for `x`.
    pub(crate) fn place(&self, x: f64) -> f64 {
        let after = self.0.partition_point(|edge| *edge <= x);
        match after {
            0 => x,
            _ => self.0[after - 1],
        }
    }
}

/// The observations with narrow intervals shared among cells, where they overlap; in order, and each once. No cell is
/// more than `finest` times narrower than the middle half of the sample.
pub(crate) fn gathered(lines: &[Counted], finest: f64) -> Cow<'_, [Counted]> {
    match Grid::of(lines, finest) {
        Some(grid) => Cow::Owned(grid.shared(lines)),
        None => Cow::Borrowed(lines),
    }
}

/// Lower edge, upper edge and count of the intervals.
fn intervals(lines: &[Counted]) -> impl Iterator<Item = (f64, f64, f64)> {
    lines.iter().filter_map(|line| match line.observation {
        Observation::Between { low, high } => Some((low, high, line.count)),
        _ => None,
    })
}

/// Whether intervals up to this width overlap; lines in order.
fn overlap(lines: &[Counted], width: f64) -> bool {
    let mut end = f64::NEG_INFINITY;
    intervals(lines).filter(|(low, high, _)| high - low <= width).any(|(low, high, _)| {
        let before = end;
        end = end.max(high);
        low < before - SAME_EDGE * before.abs()
    })
}

/// A grid finer than what a sample can tell, for intervals that are narrow.
pub(crate) struct Grid {
    pub(crate) width: f64,
    /// Intervals up to this width are shared among its cells.
    pub(crate) narrow: f64,
}

impl Grid {
    /// For intervals that overlap; `None` where they stand on a grid already, or are not narrow. Lines in order.
    pub(crate) fn of(lines: &[Counted], finest: f64) -> Option<Self> {
        if !overlap(lines, f64::INFINITY) {
            return None;
        }
        let middle = |(low, high, count)| (f64::midpoint(low, high), count);
        let mut middles: Vec<(f64, f64)> = intervals(lines).map(middle).collect();
        let mut widths: Vec<(f64, f64)> =
            intervals(lines).map(|(low, high, count)| (high - low, count)).collect();
        let spread = share_of(&mut middles, 0.75)? - share_of(&mut middles, 0.25)?;
        let (width, narrow) = (share_of(&mut widths, NEARLY_ALL)?, spread / NARROW);
        let width = width.max(spread / finest);
        // What is known to lie between a limit and a cut may overlap readings that stand on a grid.
        let usable = width > 0.0 && width <= narrow && overlap(lines, narrow);
        usable.then_some(Self { width, narrow })
    }

    /// Observations of which the narrow ones are shared among the cells. A cell ends where another observation does:
    /// what is only known to lie beyond a limit would else lie in the rest of the cell that the limit is in.
    pub(crate) fn shared(&self, lines: &[Counted]) -> Vec<Counted> {
        let is_narrow = |line: &&Counted| matches!(line.observation, Observation::Between { low, high } if high - low <= self.narrow);
        let mut out: Vec<Counted> = lines.iter().filter(|l| !is_narrow(l)).copied().collect();
        let cuts = Edges::of(&out).0;
        let mut cells: BTreeMap<(i64, usize), f64> = BTreeMap::new();
        for Counted { observation, count } in lines.iter().filter(is_narrow) {
            let (low, high) = (observation.low(), observation.high());
            let mut from = low;
            while high - from > SAME_EDGE * high.abs() {
                let inside = from + SAME_EDGE * from.abs();
                let cell = (inside / self.width).floor();
                let cut = cuts.partition_point(|cut| *cut <= inside);
                let end =
                    ((cell + 1.0) * self.width).min(cuts.get(cut).map_or(high, |c| *c)).min(high);
                *cells.entry((cell as i64, cut)).or_default() +=
                    count * (end - from) / (high - low);
                from = end;
            }
        }
        out.extend(cells.into_iter().map(|((cell, cut), count)| {
            let edge = |cell: i64| cell as f64 * self.width;
            let low = cut.checked_sub(1).map_or(edge(cell), |before| edge(cell).max(cuts[before]));
            let high = cuts.get(cut).map_or(edge(cell + 1), |next| edge(cell + 1).min(*next));
            Counted { observation: Observation::Between { low, high }, count }
        }));
        out.sort_unstable_by(|a, b| a.observation.order(&b.observation));
        out
    }
}

/// The value up to which a share of the counts lies; `None` without any.
fn share_of(values: &mut [(f64, f64)], share: f64) -> Option<f64> {
    values.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    reaching(values.iter().map(|v| v.1), share).map(|reached| values[reached.index].0)
}
