//! Which readings do not belong with the healthy body.

use crate::movement::edges::{Edges, place};
use crate::stats::sample::{Observation, Sample};

/// Share of false ones accepted among the strays named: Benjamini-Hochberg on grouped readings.
pub const FALSE_SHARE: f64 = 0.05;

/// Readings on one side that do not belong with the body.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Side {
    /// The edge beyond which readings are strays; `None` where there is none.
    pub threshold: Option<f64>,
    /// Number of readings beyond it, trips counted as at their limit.
    pub count: f64,
    /// Number of healthy readings expected beyond it.
    pub expected: f64,
    /// Of the readings beyond it, those that tripped.
    pub trips: f64,
}

/// Strays above and below the body.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Strays {
    /// Suspect insulation.
    pub above: Side,
    /// Suspect connection, open switch or missing part.
    pub below: Side,
}

impl Strays {
    /// Whether the reading is one of them.
    #[must_use]
    pub fn has(&self, observation: Observation) -> bool {
        let x = place(observation);
        let above = self.above.threshold.is_some_and(|edge| match observation {
            Observation::Above(limit) => limit >= edge,
            _ => x > edge,
        });
        above
            || self.below.threshold.is_some_and(|edge| match observation {
                // A reading of zero lies below its edge, also where that is the threshold.
                Observation::Below(high) => high <= edge + 1e-9 * edge.abs(),
                _ => x < edge,
            })
    }
}

/// Strays above the body: all from the lowest edge `x >= from` with `healthy × sf(x)` at most 5 % of
/// the readings at or above `x`.
///
/// - Source: Benjamini Y., Hochberg Y. (1995) J. R. Statist. Soc. B 57:289-300, on grouped data.
#[must_use]
pub fn above(
    sample: &Sample,
    edges: &Edges,
    from: f64,
    healthy: f64,
    sf: impl Fn(f64) -> f64,
) -> Side {
    // Descending by the edge at which a reading starts.
    let mut starts: Vec<(f64, f64)> = sample
        .lines()
        .iter()
        .filter_map(|line| {
            let start = match line.observation {
                Observation::Between { low, .. } => edges.at_or_below(low + 1e-9 * low.abs()),
                Observation::Exact(x) => edges.at_or_below(x),
                Observation::Above(limit) => edges.at_or_below(limit),
                Observation::Below(_) => return None,
            };
            // An edge in the cut's own place may differ from it by rounding.
            (start >= from - 1e-9 * from.abs()).then_some((start, line.count))
        })
        .collect();
    starts.sort_by(|a, b| b.0.total_cmp(&a.0));
    let side = lowest(&starts, |edge| healthy * sf(edge));
    let beyond =
        |o: Observation| matches!((o, side.threshold), (Observation::Above(l), Some(t)) if l >= t);
    let trips = sample.lines().iter().filter(|line| beyond(line.observation));
    Side { trips: trips.map(|line| line.count).sum(), ..side }
}

/// Strays below the body, likewise: all up to the highest edge `x <= from` with `healthy × cdf(x)` at
/// most 5 % of the readings at or below `x`.
#[must_use]
pub fn below(
    sample: &Sample,
    edges: &Edges,
    from: f64,
    healthy: f64,
    cdf: impl Fn(f64) -> f64,
) -> Side {
    let mut ends: Vec<(f64, f64)> = sample
        .lines()
        .iter()
        .filter_map(|line| {
            let end = match line.observation {
                Observation::Between { high, .. } => edges.at_or_above(high),
                Observation::Exact(x) | Observation::Below(x) => edges.at_or_above(x),
                Observation::Above(_) => return None,
            };
            (end <= from + 1e-9 * from.abs()).then_some((end, line.count))
        })
        .collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    lowest(&ends, |edge| healthy * cdf(edge))
}

/// Walks from the far end inwards and keeps the last edge at which few enough are expected.
fn lowest(places: &[(f64, f64)], expected: impl Fn(f64) -> f64) -> Side {
    let mut side = Side::default();
    let mut seen = 0.0;
    for (i, &(edge, count)) in places.iter().enumerate() {
        seen += count;
        let last_here =
            places.get(i + 1).is_none_or(|next| (next.0 - edge).abs() > 1e-9 * edge.abs());
        if last_here {
            let expected = expected(edge);
            if expected <= FALSE_SHARE * seen {
                side = Side { threshold: Some(edge), count: seen, expected, trips: 0.0 };
            }
        }
    }
    side
}
