//! What explains a rise: levels of factors, and pairs of them, whose failures exceed what the time before and the
//! units beside them let expect.
//!
//! A level that shared its days with others is compared within series and day, where whatever moved the day moves
//! both (the conditional likelihood of Mantel & Haenszel's tables). A level with days of its own is compared
//! with other days and pays the dispersion of days. A difference that was there before the rise explains nothing.

use std::collections::{BTreeMap, BTreeSet};

use super::cells::{Cell, Cells, Counted, Level, total};
use crate::stats::contingency::{MantelHaenszel, Table, mantel_haenszel};
use crate::stats::estimate::Estimate;
use crate::stats::multiple::benjamini_hochberg;
use crate::stats::rate_ratio::{Rate, rate_ratio};
use crate::stats::special::chi_square_sf;

/// Standard deviation of the log odds ratio between two levels that is taken as ordinary before data say more.
const ORDINARY: f64 = 0.5;
/// Ordinary variance added before a dispersion is taken from what remains within days.
const FEW: f64 = 5.0;
/// Largest log odds ratio tried.
const LARGEST_LOG_ODDS: f64 = 9.0;
/// Two levels with this share of their units in common cannot be told apart.
const SAME_UNITS: f64 = 0.8;
/// A level that this share of all units of its days had is those days in other words.
const TIED: f64 = 0.95;
/// Causes named at most.
const MOST: usize = 5;

/// What a cause must be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demands {
    /// Failures.
    pub failures: f64,
    /// Share of the excess.
    pub share: f64,
    /// False discovery rate.
    pub false_discoveries: f64,
    /// Confidence of intervals.
    pub confidence: f64,
}

/// One factor with one of its levels.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Named {
    /// The factor, for example `lot`.
    pub factor: String,
    /// Its level.
    pub level: String,
}

/// What explains a part of a rise.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// One level, or a pair of levels of two factors.
    pub what: Vec<Named>,
    /// Their places: factor and level.
    pub places: Vec<(usize, Level)>,
    /// Its failures.
    pub failures: f64,
    /// Its units.
    pub units: f64,
    /// Failures expected of so many units by the share before, series by series.
    pub expected: f64,
    /// How many times the share before; `None` where neither had a failure.
    pub ratio: Option<Estimate>,
    /// Share of all failures beyond those expected.
    pub share_of_excess: f64,
    /// Likelihood ratio over the dispersion, by which causes are ranked.
    pub statistic: f64,
    /// p-value, adjusted for all levels asked.
    pub p_value: f64,
    /// Within series and day against the units beside it; `None` where it had its days alone.
    pub within_days: Option<MantelHaenszel>,
    /// Its units before the rise.
    pub units_before: f64,
    /// Whether every unit since the date was of it: then it cannot be told from the date itself.
    pub everything: bool,
    /// Levels that were used together with it, whole or nearly.
    pub same_units: Vec<Named>,
    /// First and last day of its failures.
    pub days: (i32, i32),
}

/// A rise explained.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Explained {
    /// Failures in the time of the rise.
    pub failures: f64,
    /// Expected by the share before, series by series.
    pub expected: f64,
    /// Causes, the strongest first.
    pub causes: Vec<Cause>,
    /// Share of the excess that no cause explains.
    pub unexplained: f64,
    /// Factors with several levels of which none stands out.
    pub cleared: Vec<String>,
}

/// Failures and units of a level in one series and day, and all of that series and day.
#[derive(Debug, Clone, Copy, Default)]
struct Stratum {
    failed: f64,
    units: f64,
    all_failed: f64,
    all_units: f64,
}

impl Stratum {
    fn shared(&self) -> bool {
        self.all_units - self.units > 0.5
    }
}

/// Log likelihood, slope and information of a common log odds ratio `theta`, given the failures of each stratum.
fn likelihood(strata: &[Stratum], theta: f64) -> (f64, f64, f64) {
    let (mut l, mut slope, mut information) = (0.0, 0.0, 0.0);
    for s in strata.iter().filter(|s| s.shared() && s.all_failed > 0.0) {
        let others = s.all_units - s.units;
        let pi = 1.0 / (1.0 + others / s.units * (-theta).exp());
        if s.failed > 0.0 {
            l += s.failed * pi.ln();
        }
        if s.all_failed > s.failed {
            l += (s.all_failed - s.failed) * (1.0 - pi).ln();
        }
        slope += s.failed - s.all_failed * pi;
        information += s.all_failed * pi * (1.0 - pi);
    }
    (l, slope, information)
}

/// The log odds ratio of largest likelihood, with a normal prior of standard deviation `ordinary` where given,
/// and its information.
fn best_theta(strata: &[Stratum], ordinary: Option<f64>) -> (f64, f64) {
    let precision = ordinary.map_or(0.0, |sd| 1.0 / (sd * sd));
    let (mut low, mut high) = (-LARGEST_LOG_ODDS, LARGEST_LOG_ODDS);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        let (_, slope, _) = likelihood(strata, middle);
        if slope - precision * middle > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let theta = 0.5 * (low + high);
    (theta, likelihood(strata, theta).2 + precision)
}

/// `2 Σ F ln(F/E)` against one common ratio.
fn poisson_ratio(a: (f64, f64), b: (f64, f64)) -> f64 {
    let term = |(failed, expected): (f64, f64)| {
        if failed > 0.0 {
            failed * (failed / expected).ln()
        } else {
            0.0
        }
    };
    2.0 * (term(a) + term(b) - term((a.0 + b.0, a.1 + b.1)))
}

/// Shares before by series, a little above zero so that a first failure is not infinitely unlikely.
struct Before {
    shares: BTreeMap<u32, (f64, f64)>,
    all: f64,
    all_plain: f64,
}

impl Before {
    fn new(cells: &[&Cell], counted: Counted) -> Self {
        let mut by_series: BTreeMap<u32, (f64, f64)> = BTreeMap::new();
        for c in cells {
            let slot = by_series.entry(c.series).or_default();
            slot.0 += c.units;
            slot.1 += c.failures.of(counted);
        }
        let (units, failed) = total(cells.iter().copied(), counted);
        Self {
            shares: by_series
                .into_iter()
                .map(|(s, (n, f))| (s, ((f + 0.5) / (n + 1.0), f / n.max(1.0))))
                .collect(),
            all: (failed + 0.5) / (units + 1.0),
            all_plain: failed / units.max(1.0),
        }
    }

    /// Share expected, above zero.
    fn at(&self, cell: &Cell) -> f64 {
        self.shares.get(&cell.series).map_or(self.all, |s| s.0)
    }

    /// Share seen.
    fn plain(&self, cell: &Cell) -> f64 {
        self.shares
            .get(&cell.series)
            .map_or(self.all_plain, |s| s.1)
    }
}

/// One or two factors, and how their levels are read from a cell.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Cut {
    first: usize,
    second: Option<usize>,
}

impl Cut {
    fn of(self, cells: &Cells, cell: &Cell) -> Option<(Level, Level)> {
        let a = cells.level(cell, self.first);
        let b = self.second.map_or(u32::MAX, |f| cells.level(cell, f));
        (a != 0 && b != 0).then_some((a, b))
    }

    fn places(self, level: (Level, Level)) -> Vec<(usize, Level)> {
        let mut places = vec![(self.first, level.0)];
        places.extend(self.second.map(|f| (f, level.1)));
        places
    }
}

/// What is expected of a level in one series on one day.
type ExpectedOf = (u32, i32, f64);

/// Strata of each level of a cut.
struct Counts {
    strata: BTreeMap<(Level, Level), BTreeMap<(u32, i32), Stratum>>,
    expected: BTreeMap<(Level, Level), Vec<ExpectedOf>>,
}

fn counts(cells: &Cells, chosen: &[&Cell], cut: Cut, counted: Counted, before: &Before) -> Counts {
    let mut all: BTreeMap<(u32, i32), (f64, f64)> = BTreeMap::new();
    let mut found = Counts {
        strata: BTreeMap::new(),
        expected: BTreeMap::new(),
    };
    for c in chosen {
        let key = (c.series, c.day);
        let failed = c.failures.of(counted);
        let slot = all.entry(key).or_default();
        slot.0 += failed;
        slot.1 += c.units;
        if let Some(level) = cut.of(cells, c) {
            let slot = found
                .strata
                .entry(level)
                .or_default()
                .entry(key)
                .or_default();
            slot.failed += failed;
            slot.units += c.units;
            found.expected.entry(level).or_default().push((
                c.series,
                c.day,
                c.units * before.at(c),
            ));
        }
    }
    for strata in found.strata.values_mut() {
        for (key, s) in strata {
            (s.all_failed, s.all_units) = all[key];
        }
    }
    found
}

/// A level that was asked.
struct Candidate {
    cut: Cut,
    level: (Level, Level),
    statistic: f64,
    score: f64,
    p: f64,
    adjusted: f64,
    failures: f64,
    everything: bool,
    tied: bool,
}

/// What explains that more failed among `after` than among `before`; `phi` is the dispersion of days.
#[must_use]
pub fn explain(
    cells: &Cells,
    before: &[&Cell],
    after: &[&Cell],
    counted: Counted,
    phi: f64,
    demands: &Demands,
) -> Explained {
    let base = Before::new(before, counted);
    let (_, failures) = total(after.iter().copied(), counted);
    let expected: f64 = after.iter().map(|c| c.units * base.plain(c)).sum();
    let excess = failures - expected;
    let mut found = Explained {
        failures,
        expected,
        unexplained: 1.0,
        ..Explained::default()
    };
    if excess <= 0.0 || after.is_empty() || before.is_empty() {
        return found;
    }
    let tied = tied_to_days(cells, after);
    let mut left: Vec<&Cell> = after.to_vec();
    while found.causes.len() < MOST {
        let asked = Asked {
            before,
            after: &left,
            tied: &tied,
        };
        let candidates = ask(cells, &asked, counted, phi, &base, demands);
        if found.causes.is_empty() {
            found.cleared = cleared(cells, &candidates, &left);
        }
        let named: Vec<(&Candidate, Cause)> = candidates
            .iter()
            .filter(|c| c.adjusted <= demands.false_discoveries && c.failures >= demands.failures)
            .map(|c| {
                (
                    c,
                    cause(cells, before, &left, counted, &base, c, demands, excess),
                )
            })
            .filter(|(_, cause)| cause.share_of_excess >= demands.share)
            .collect();
        // What was tied to days explains only what nothing within days does: it may be any of what those days had.
        let within = named.iter().any(|(c, _)| !c.tied) || !found.causes.is_empty();
        let best = named
            .into_iter()
            .filter(|(c, _)| !(within && c.tied))
            .max_by(|a, b| {
                a.0.score
                    .total_cmp(&b.0.score)
                    .then_with(|| b.1.what.len().cmp(&a.1.what.len()))
                    .then_with(|| b.1.what.cmp(&a.1.what))
            });
        let Some((_, cause)) = best else { break };
        let gone = |c: &Cell| {
            cause
                .places
                .iter()
                .all(|(f, level)| cells.level(c, *f) == *level)
        };
        left.retain(|c| !gone(c));
        let all = cause.everything;
        found.causes.push(cause);
        if all || left.is_empty() {
            break;
        }
    }
    let explained: f64 = found.causes.iter().map(|c| c.share_of_excess).sum();
    found.unexplained = (1.0 - explained).clamp(0.0, 1.0);
    let named: BTreeSet<&String> = found
        .causes
        .iter()
        .flat_map(|c| c.what.iter().chain(&c.same_units))
        .map(|n| &n.factor)
        .collect();
    found.cleared.retain(|f| !named.contains(f));
    found
}

/// Levels that nearly all units of their days had, by series and day: with their days they name nothing else.
fn tied_to_days(cells: &Cells, after: &[&Cell]) -> BTreeSet<(usize, Level)> {
    let mut all: BTreeMap<(u32, i32), f64> = BTreeMap::new();
    for c in after {
        *all.entry((c.series, c.day)).or_default() += c.units;
    }
    let mut tied = BTreeSet::new();
    for factor in 0..cells.factors.len() {
        let mut of: BTreeMap<Level, (f64, BTreeSet<(u32, i32)>)> = BTreeMap::new();
        for c in after {
            let level = cells.level(c, factor);
            if level != 0 {
                let slot = of.entry(level).or_default();
                slot.0 += c.units;
                slot.1.insert((c.series, c.day));
            }
        }
        for (level, (units, days)) in of {
            if units >= TIED * days.iter().map(|d| all[d]).sum::<f64>() {
                tied.insert((factor, level));
            }
        }
    }
    tied
}

/// Factors with two levels or more of which none stands out even before it pays for all the others.
fn cleared(cells: &Cells, candidates: &[Candidate], after: &[&Cell]) -> Vec<String> {
    (0..cells.factors.len())
        .filter(|&f| {
            let levels: BTreeSet<Level> = after
                .iter()
                .map(|c| cells.level(c, f))
                .filter(|l| *l != 0)
                .collect();
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

/// What is compared: the time before, what is left of the time since, and the levels tied to days.
struct Asked<'a> {
    before: &'a [&'a Cell],
    after: &'a [&'a Cell],
    tied: &'a BTreeSet<(usize, Level)>,
}

/// Every level and pair of levels with enough failures, tested.
fn ask(
    cells: &Cells,
    asked: &Asked<'_>,
    counted: Counted,
    phi: f64,
    base: &Before,
    demands: &Demands,
) -> Vec<Candidate> {
    let Asked {
        before,
        after,
        tied,
    } = *asked;
    let factors = cells.factors.len();
    let singles = (0..factors).map(|first| Cut {
        first,
        second: None,
    });
    let pairs = (0..factors).flat_map(|first| {
        (first + 1..factors).map(move |second| Cut {
            first,
            second: Some(second),
        })
    });
    let all_after = total(after.iter().copied(), counted);
    let all_expected: f64 = after.iter().map(|c| c.units * base.at(c)).sum();
    let units_before: f64 = before.iter().map(|c| c.units).sum();
    let mut singly: Vec<Candidate> = Vec::new();
    let mut doubly: Vec<Candidate> = Vec::new();
    let mut questions = [0usize; 2];
    for cut in singles.chain(pairs) {
        let now = counts(cells, after, cut, counted, base);
        let levels = now.strata.len();
        if levels == 0 {
            continue;
        }
        questions[usize::from(cut.second.is_some())] += levels;
        let earlier = counts(cells, before, cut, counted, base);
        for (level, strata) in &now.strata {
            let failed: f64 = strata.values().map(|s| s.failed).sum();
            let units: f64 = strata.values().map(|s| s.units).sum();
            let is_tied = cut.places(*level).iter().any(|place| tied.contains(place));
            // A level beside days is a level: the pair would name days as if they were a cause.
            if failed < demands.failures || is_tied && cut.second.is_some() {
                continue;
            }
            let list: Vec<Stratum> = strata.values().copied().collect();
            let old: Vec<Stratum> = earlier
                .strata
                .get(level)
                .map(|s| s.values().copied().collect())
                .unwrap_or_default();
            let old_units: f64 = old.iter().map(|s| s.units).sum();
            let everything = all_after.0 - units < 0.5;
            let (statistic, sure) = if everything {
                // Only what is new with the date can explain it; whether it did cannot be told.
                if cut.second.is_some() || old_units > 0.05 * units_before {
                    continue;
                }
                let old_failed = total(before.iter().copied(), counted).1;
                let ratio = poisson_ratio(
                    (failed, all_expected),
                    (old_failed, units_before * base.all),
                ) / phi;
                (ratio, ratio)
            } else {
                let own: Vec<(u32, i32)> = strata
                    .iter()
                    .filter(|(_, s)| !s.shared())
                    .map(|(k, _)| *k)
                    .collect();
                let own_failed: f64 = own.iter().map(|k| strata[k].failed).sum();
                let own_expected: f64 = now.expected[level]
                    .iter()
                    .filter(|(s, d, _)| own.binary_search(&(*s, *d)).is_ok())
                    .map(|e| e.2)
                    .sum();
                let level_expected: f64 = now.expected[level].iter().map(|e| e.2).sum();
                let own = own_ratio(
                    (own_failed, own_expected),
                    (
                        all_after.1 - failed,
                        (all_expected - level_expected).max(1e-9),
                    ),
                    own_before(&old, base),
                ) / phi;
                let (ratio, sure) = shared_ratio(&list, &old);
                (ratio + own, sure + own)
            };
            let candidate = Candidate {
                cut,
                level: *level,
                statistic,
                score: statistic - 2.0 * (levels as f64).ln(),
                p: if sure > 0.0 {
                    0.5 * chi_square_sf(sure, 1.0)
                } else {
                    1.0
                },
                adjusted: 1.0,
                failures: failed,
                everything,
                tied: is_tied,
            };
            if cut.second.is_some() {
                doubly.push(candidate);
            } else {
                singly.push(candidate);
            }
        }
    }
    // Levels with too few failures were asked too: they stand for p = 1.
    for (list, asked) in [(&mut singly, questions[0]), (&mut doubly, questions[1])] {
        let mut p: Vec<f64> = list.iter().map(|c| c.p).collect();
        p.resize(asked.max(p.len()), 1.0);
        for (c, adjusted) in list.iter_mut().zip(benjamini_hochberg(&p)) {
            c.adjusted = adjusted;
        }
    }
    singly.extend(doubly);
    singly
}

/// Signed likelihood ratio within series and day, over the dispersion that remains there.
///
/// The level's odds against those of before (drawn to 1 where little is known): first as if those were certain, by which
/// levels are ranked; then with their uncertainty, by which a level is believed.
fn shared_ratio(now: &[Stratum], before: &[Stratum]) -> (f64, f64) {
    if !now.iter().any(|s| s.shared() && s.all_failed > 0.0) {
        return (0.0, 0.0);
    }
    let known = before.iter().any(|s| s.shared() && s.all_failed > 0.0);
    let (usual, unsure) = if known {
        let (theta, information) = best_theta(before, Some(ORDINARY));
        (theta, 1.0 / information)
    } else {
        (0.0, 0.0)
    };
    let (theta, information) = best_theta(now, None);
    let gain = 2.0 * (likelihood(now, theta).0 - likelihood(now, usual).0);
    let own = 1.0 / information.max(1e-9);
    let (mut left, mut ordinary) = (0.0, 0.0);
    for s in now.iter().filter(|s| s.shared() && s.all_failed > 0.0) {
        let pi = 1.0 / (1.0 + (s.all_units - s.units) / s.units * (-theta).exp());
        left += (s.failed - s.all_failed * pi).powi(2);
        ordinary += s.all_failed * pi * (1.0 - pi);
    }
    // Where one level takes nearly all failures little is left to tell a dispersion by.
    let phi = ((left + FEW) / (ordinary + FEW)).max(1.0);
    let ratio = gain.max(0.0) / phi * (theta - usual).signum();
    (ratio, ratio * own / (own + unsure))
}

/// How the level's own share before stood to that of its series, drawn to 1 where little is known.
fn own_before(before: &[Stratum], base: &Before) -> f64 {
    let failed: f64 = before.iter().map(|s| s.failed).sum();
    let units: f64 = before.iter().map(|s| s.units).sum();
    // Two failures' worth of doubt.
    (failed + 2.0) / (units * base.all + 2.0)
}

/// Signed likelihood ratio of days that the level had alone against all units of others.
fn own_ratio(own: (f64, f64), others: (f64, f64), usual: f64) -> f64 {
    if own.1 <= 0.0 {
        return 0.0;
    }
    let own = (own.0, own.1 * usual);
    poisson_ratio(own, others).max(0.0) * (own.0 / own.1 - others.0 / others.1).signum()
}

#[expect(clippy::too_many_arguments, reason = "one place, all of it needed")]
fn cause(
    cells: &Cells,
    before: &[&Cell],
    after: &[&Cell],
    counted: Counted,
    base: &Before,
    candidate: &Candidate,
    demands: &Demands,
    excess: f64,
) -> Cause {
    let places = candidate.cut.places(candidate.level);
    let of = |c: &Cell| places.iter().all(|(f, level)| cells.level(c, *f) == *level);
    let own: Vec<&Cell> = after.iter().copied().filter(|c| of(c)).collect();
    let (units, failures) = total(own.iter().copied(), counted);
    let expected: f64 = own.iter().map(|c| c.units * base.plain(c)).sum();
    // Exposures in units of the mean share before: what is rare in a series weighs less.
    let weighed =
        |list: &[&Cell]| -> f64 { list.iter().map(|c| c.units * base.at(c) / base.all).sum() };
    let (_, failed_before) = total(before.iter().copied(), counted);
    let ratio = rate_ratio(
        Rate {
            events: failures,
            exposure: weighed(&own),
        },
        Rate {
            events: failed_before,
            exposure: weighed(before),
        },
        demands.confidence,
    );
    let mut tables: BTreeMap<(u32, i32), Table> = BTreeMap::new();
    for c in after {
        let t = tables.entry((c.series, c.day)).or_default();
        if of(c) {
            t.failed += c.failures.of(counted);
            t.units += c.units;
        } else {
            t.failed_others += c.failures.of(counted);
            t.units_others += c.units;
        }
    }
    let tables: Vec<Table> = tables.into_values().collect();
    let with: Vec<i32> = own
        .iter()
        .filter(|c| c.failures.of(counted) > 0.0)
        .map(|c| c.day)
        .collect();
    Cause {
        what: places
            .iter()
            .map(|(f, level)| Named {
                factor: cells.factors[*f].name.clone(),
                level: cells.name(*f, *level).to_owned(),
            })
            .collect(),
        failures,
        units,
        expected,
        ratio,
        share_of_excess: (failures - expected) / excess,
        statistic: candidate.statistic,
        p_value: candidate.adjusted,
        within_days: mantel_haenszel(&tables, demands.confidence),
        units_before: before.iter().filter(|c| of(c)).map(|c| c.units).sum(),
        everything: candidate.everything,
        same_units: places
            .iter()
            .flat_map(|place| {
                let of_place = |c: &&&Cell| cells.level(c, place.0) == place.1;
                let units = after.iter().filter(of_place).map(|c| c.units).sum();
                same_units(cells, after, *place, units)
            })
            .filter(|n| {
                !places
                    .iter()
                    .any(|(f, _)| cells.factors[*f].name == n.factor)
            })
            .collect(),
        days: (
            with.iter().copied().min().unwrap_or_default(),
            with.iter().copied().max().unwrap_or_default(),
        ),
        places,
    }
}

/// Levels of other factors with nearly the same units.
fn same_units(
    cells: &Cells,
    after: &[&Cell],
    (factor, level): (usize, Level),
    units: f64,
) -> Vec<Named> {
    let mut found = Vec::new();
    for other in (0..cells.factors.len()).filter(|f| *f != factor) {
        let mut counts: BTreeMap<Level, (f64, f64)> = BTreeMap::new();
        for c in after {
            let slot = counts.entry(cells.level(c, other)).or_default();
            slot.0 += c.units;
            if cells.level(c, factor) == level {
                slot.1 += c.units;
            }
        }
        let several = counts.len() > 1;
        for (l, (all, both)) in counts {
            if several && l != 0 && both / (all + units - both) >= SAME_UNITS {
                found.push(Named {
                    factor: cells.factors[other].name.clone(),
                    level: cells.name(other, l).to_owned(),
                });
            }
        }
    }
    found
}
