//! What explains a rise: levels of factors, and pairs of them, whose failures exceed what the time before and the
//! units beside them let expect.
//!
//! A level that shared its days with others is compared within series and day, where whatever moved the day moves
//! both (the conditional likelihood of Mantel & Haenszel's tables). A level with days of its own is compared
//! with other days and pays the dispersion of days. A difference that was there before the rise explains nothing.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::cause::{Cause, measured, rivals, settled};
use super::cells::{Cell, Cells, Counted, Level, total};
use super::factors::{FactorKind, kind};
use super::levels::{Candidate, ask, narrow};
use super::rise::{Before, Change, Demands, Rise, tied_to_days};

/// A pair of levels that has this share of what one of them explains is named in its place.
const CARRIES: f64 = 0.75;
/// Causes named at most.
const MOST: usize = 5;

/// A rise explained.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Explained {
    /// Failures in the time of the rise.
    #[serde(skip)]
    pub failures: f64,
    /// Expected by the share before, series by series.
    #[serde(skip)]
    pub expected: f64,
    /// Causes, the strongest first.
    pub causes: Vec<Cause>,
    /// Levels that came with the date and that every unit since had: they cannot be told from it.
    pub coincides: Vec<Cause>,
    /// Failures beyond those expected.
    pub excess: f64,
    /// Share of the excess that no cause explains.
    pub unexplained_share: f64,
    /// Factors with several levels of which none stands out.
    pub not_causes: Vec<String>,
}

/// What explains that more failed among `after` than among `before`.
#[must_use]
pub fn explain(
    cells: &Cells,
    before: &[&Cell],
    after: &[&Cell],
    counted: Counted,
    change: Change,
    demands: &Demands,
) -> Explained {
    let base = Before::new(before, counted);
    let (_, failures) = total(after.iter().copied(), counted);
    let expected: f64 = after.iter().map(|c| c.tested(counted) * base.plain(c)).sum();
    let excess = failures - expected;
    let mut found =
        Explained { failures, expected, excess, unexplained_share: 1.0, ..Explained::default() };
    if excess <= 0.0 || after.is_empty() || before.is_empty() {
        return found;
    }
    let mut rise = Rise {
        cells,
        counted,
        change,
        demands,
        before,
        base,
        after: after.to_vec(),
        tied: tied_to_days(cells, after, counted),
        excess,
    };
    // Whether something within days explains it.
    let mut within = false;
    while found.causes.len() < MOST {
        let candidates = ask(&rise);
        if found.causes.is_empty() {
            found.not_causes = cleared(cells, &candidates, &rise.after);
        }
        let named: Vec<(&Candidate, Cause)> = candidates
            .iter()
            .filter(|c| c.adjusted <= demands.false_discoveries && c.failures >= demands.failures)
            .map(|c| (c, measured(&rise, c)))
            .filter(|(_, cause)| cause.share_of_excess >= demands.share)
            .collect();
        // A level that all units since had began with the date: it coincides, and no count can say more.
        let (all, mut named): (Vec<_>, Vec<_>) = named.into_iter().partition(|(c, _)| c.everything);
        if found.causes.is_empty() {
            found.coincides = all.into_iter().map(|(_, cause)| cause).collect();
            found.coincides.sort_by(|a, b| b.statistic.total_cmp(&a.statistic));
            let of_people =
                |c: &Cause| c.what.0.iter().all(|n| kind(&n.factor) == FactorKind::Person);
            if !found.coincides.iter().all(of_people) {
                found.coincides.retain(|c| !of_people(c));
            }
        }
        // What was tied to days explains only what nothing within days does, and only where the levels of its factor
        // leave little for other days: it may be any of what those days had.
        within |= named.iter().any(|(c, _)| !c.tied);
        let mut of_factor: BTreeMap<usize, f64> = BTreeMap::new();
        for (factor, share) in named
            .iter()
            .filter(|(c, _)| c.tied)
            .map(|(c, cause)| (c.cut.first, cause.share_of_excess))
            .chain(found.causes.iter().map(|c| (c.places[0].0, c.share_of_excess)))
        {
            *of_factor.entry(factor).or_default() += share;
        }
        named.retain(|(c, _)| !c.tied || !within && of_factor[&c.cut.first] >= CARRIES);
        let best = named.into_iter().max_by(|a, b| {
            a.0.score
                .total_cmp(&b.0.score)
                .then_with(|| b.1.what.0.len().cmp(&a.1.what.0.len()))
                .then_with(|| b.1.what.cmp(&a.1.what))
        });
        let Some(best) = best else { break };
        let (best, mut cause) = settled(&rise, best, &candidates);
        if let Some(pair) = narrow(&rise, best) {
            let inside = measured(&rise, &pair);
            if inside.share_of_excess >= CARRIES * cause.share_of_excess
                && inside.share_of_excess >= demands.share
            {
                cause = inside;
            }
        }
        cause.rivals = rivals(&rise, &cause, &candidates);
        rise.after.retain(|c| !cells.is_of(c, &cause.places));
        found.causes.push(cause);
        if rise.after.is_empty() {
            break;
        }
    }
    let explained: f64 = found.causes.iter().map(|c| c.share_of_excess).sum();
    found.unexplained_share = (1.0 - explained).clamp(0.0, 1.0);
    let named: BTreeSet<&String> = found
        .causes
        .iter()
        .chain(&found.coincides)
        .flat_map(|c| c.what.0.iter().chain(&c.same_units))
        .map(|n| &n.factor)
        .collect();
    found.not_causes.retain(|f| !named.contains(f));
    found
}

/// Factors with two levels or more of which none stands out even before it pays for all the others.
fn cleared(cells: &Cells, candidates: &[Candidate], after: &[&Cell]) -> Vec<String> {
    (0..cells.factors.len())
        .filter(|&f| {
            let levels: BTreeSet<Level> =
                after.iter().map(|c| cells.level(c, f)).filter(|l| *l != 0).collect();
            let smallest = candidates
                .iter()
                .filter(|c| c.cut.first == f && c.cut.second.is_none())
                .map(|c| c.p)
                .fold(1.0, f64::min);
            levels.len() > 1 && smallest * levels.len() as f64 > 0.05
        })
        .map(|f| cells.factors[f].name.clone())
        .collect()
}
