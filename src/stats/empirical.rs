//! What the readings say without any family: the non-parametric distribution of censored observations.
//!
//! Edges that differ by one rounding are one: `5.2 - 0.05` and `5.1 + 0.05` are two doubles, and the sliver
//! between them drew both readings' mass (X99 of a coarse log-logistic covered 4 %).

use crate::distribution::{Distribution, Law};
use crate::grid::{Edges, gathered};
use crate::sample::{Counted, Observation, Sample};

/// Rounds of the self-consistency iteration before it is taken as it stands.
const MOST_ROUNDS: usize = 20_000;
/// The iteration ends when no cell's mass moves by more than this.
const STILL: f64 = 1e-13;

/// No cell of overlapping readings is so many times narrower than their middle half.
const FINEST: f64 = 5000.0;

/// An innermost interval of the observations, and the probability that lies in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Lower edge; negative infinity where nothing bounds it. Equal to `high` for an exact value.
    pub low: f64,
    /// Upper edge; infinite beyond the last censoring value.
    pub high: f64,
    /// Probability of the cell.
    pub mass: f64,
    /// Probability at or below `high`.
    pub below: f64,
}

/// The non-parametric maximum-likelihood distribution of a sample.
///
/// - Invariants: cells ascending, disjoint, at least one; masses above zero that add up to 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Empirical {
    cells: Vec<Cell>,
}

/// Orders edges: an exact value starts just before itself, an open interval just after its edge.
type Edge = (f64, i8);

impl Empirical {
    /// The estimate of `sample`: Kaplan-Meier for exact and right-censored observations, Turnbull's
    /// for any others.
    ///
    /// - Method: innermost intervals, then the self-consistency (EM) iteration from equal masses.
    /// - Source: Turnbull B.W. (1976) J. R. Statist. Soc. B 38:290-295; Kaplan E.L., Meier P. (1958) JASA
    ///   53:457-481 (both from memory); case in tests/known_answers/empirical.rs.
    pub fn of(sample: &Sample) -> Self {
        let spans = spans(sample);
        let inner = innermost(&spans);
        let total = sample.total();
        let masses = self_consistent(&spans, &inner, total);
        let mut cells = Vec::with_capacity(inner.len());
        let mut below = 0.0;
        for ((from, to), mass) in inner.into_iter().zip(masses) {
            if mass > 1e-12 {
                below += mass;
                cells.push(Cell { low: from.0, high: to.0, mass, below });
            }
        }
        for cell in &mut cells {
            cell.mass /= below;
            cell.below = (cell.below / below).min(1.0);
        }
        Self { cells }
    }

    /// The cells that carry mass, ascending.
    pub fn cells(&self) -> &[Cell] {
        &self.cells
    }

    /// Probability of lying at or below `x`; inside a cell it grows in a straight line, in one without
    /// end it stays at its lower value.
    pub fn cdf(&self, x: f64) -> f64 {
        let next = self.cells.partition_point(|cell| cell.high <= x);
        let before = if next == 0 { 0.0 } else { self.cells[next - 1].below };
        match self.cells.get(next) {
            Some(cell) if x > cell.low && cell.low.is_finite() && cell.high.is_finite() => {
                before + cell.mass * (x - cell.low) / (cell.high - cell.low)
            }
            _ => before,
        }
    }

    /// Probability of lying above `x`.
    pub fn sf(&self, x: f64) -> f64 {
        (1.0 - self.cdf(x)).max(0.0)
    }

    /// The value with probability `p` at or below it, inside a cell along the curve of `law` (a straight line where the
    /// law has next to nothing there): in a cell half a spread wide a straight line is off by more than ten thousand
    /// readings leave uncertain.
    ///
    /// `None` where it lies in a cell without end (beyond the last limit, below the first step) or
    /// `p` is not in (0, 1).
    pub fn quantile_along(&self, p: f64, law: &Law) -> Option<f64> {
        let (cell, share) = self.cell_of(p)?;
        let (from, to) = (law.ln_cdf(cell.low).exp(), law.ln_cdf(cell.high).exp());
        let x = law.quantile(from + share * (to - from));
        let inside = to - from > 1e-9 && x >= cell.low && x <= cell.high;
        Some(if inside { x } else { cell.low + share * (cell.high - cell.low) })
    }

    /// Probability of lying above `x`, inside a cell along the curve of `law`.
    pub fn sf_along(&self, x: f64, law: &Law) -> f64 {
        let Some(cell) = self.cell_about(x) else {
            return self.sf(x);
        };
        let cdf = |x: f64| law.ln_cdf(x).exp();
        let (from, to) = (cdf(cell.low), cdf(cell.high));
        if to - from > 1e-9 {
            1.0 - (cell.below - cell.mass * (to - cdf(x)) / (to - from))
        } else {
            self.sf(x)
        }
    }

    /// The bounded cell in which the share `p` is reached; `None` where there is none, or `p` is not in (0, 1).
    pub fn cell_with(&self, p: f64) -> Option<&Cell> {
        Some(self.cell_of(p)?.0)
    }

    /// The bounded cell that `x` lies inside.
    pub fn cell_about(&self, x: f64) -> Option<&Cell> {
        let cell = self.cells.get(self.cells.partition_point(|cell| cell.high <= x))?;
        (cell.low < x && cell.low.is_finite() && cell.high.is_finite()).then_some(cell)
    }

    /// The bounded cell in which the share `p` is reached, and the part of its mass that lies before.
    fn cell_of(&self, p: f64) -> Option<(&Cell, f64)> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let at = self.cells.partition_point(|cell| cell.below < p);
        let cell = self.cells.get(at)?;
        if !(cell.low.is_finite() && cell.high.is_finite()) {
            return None;
        }
        let share = (p - (cell.below - cell.mass)) / cell.mass;
        Some((cell, share.clamp(0.0, 1.0)))
    }
}

/// Where the observations of a sample lie, and how many lie there.
fn spans(sample: &Sample) -> Vec<(Edge, Edge, f64)> {
    let lines = gathered(sample.lines(), FINEST);
    let edges = Edges::of(&lines);
    let placed = |line: &Counted| {
        let (from, to) = span(line.observation.map(|x| edges.place(x)));
        (from, to, line.count)
    };
    lines.iter().map(placed).collect()
}

fn span(observation: Observation) -> (Edge, Edge) {
    match observation {
        Observation::Exact(x) => ((x, -1), (x, 0)),
        Observation::Below(x) => ((f64::NEG_INFINITY, 1), (x, 0)),
        Observation::Above(x) => ((x, 1), (f64::INFINITY, 0)),
        Observation::Between { low, high } => ((low, 1), (high, 0)),
    }
}

fn before(a: &Edge, b: &Edge) -> std::cmp::Ordering {
    a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))
}

/// Intervals from a lower edge to the upper edge that directly follows it: only these can carry mass.
fn innermost(spans: &[(Edge, Edge, f64)]) -> Vec<(Edge, Edge)> {
    let mut edges: Vec<(Edge, bool)> =
        spans.iter().flat_map(|&(from, to, _)| [(from, true), (to, false)]).collect();
    edges.sort_by(|a, b| before(&a.0, &b.0).then(b.1.cmp(&a.1)));
    edges
        .windows(2)
        .filter(|pair| pair[0].1 && !pair[1].1)
        .map(|pair| (pair[0].0, pair[1].0))
        .collect()
}

fn self_consistent(spans: &[(Edge, Edge, f64)], inner: &[(Edge, Edge)], total: f64) -> Vec<f64> {
    // Each observation covers a run of neighbouring cells, so prefix sums make a round cheap.
    let runs: Vec<(usize, usize, f64)> = spans
        .iter()
        .map(|(from, to, count)| {
            let first = inner.partition_point(|cell| before(&cell.0, from).is_lt());
            let past = inner.partition_point(|cell| before(&cell.1, to).is_le());
            (first, past, *count)
        })
        .collect();
    let cells = inner.len();
    let mut masses = vec![1.0 / cells as f64; cells];
    let simple = runs.iter().all(|&(first, past, _)| past == first + 1);
    for _ in 0..MOST_ROUNDS {
        let mut sums = vec![0.0; cells + 1];
        for i in 0..cells {
            sums[i + 1] = sums[i] + masses[i];
        }
        let mut slope = vec![0.0; cells + 1];
        for &(first, past, count) in &runs {
            let covered = sums[past] - sums[first];
            if covered > 0.0 {
                slope[first] += count / covered;
                slope[past] -= count / covered;
            }
        }
        let (mut factor, mut moved) = (0.0, 0.0_f64);
        for i in 0..cells {
            factor += slope[i];
            let next = masses[i] * factor.max(0.0) / total;
            moved = moved.max((next - masses[i]).abs());
            masses[i] = next;
        }
        if simple || moved < STILL {
            break;
        }
    }
    masses
}
