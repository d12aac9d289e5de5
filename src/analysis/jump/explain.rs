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
/// A level whose likelihood ratio is so close to that of the best explains its failures nearly as well.
const CLOSE: f64 = 4.0;
/// A pair of levels that has this share of what one of them explains is named in its place.
const CARRIES: f64 = 0.75;
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

/// What is known of the change that is to be explained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Dispersion of counts over many days.
    pub dispersion: f64,
    /// Its p-value.
    pub p_value: f64,
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
    /// Levels that were used together with it, whole or nearly.
    pub same_units: Vec<Named>,
    /// Levels of other units that have the same failures and explain them nearly as well.
    pub rivals: Vec<Named>,
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
    /// Levels that came with the date and that every unit since had: they cannot be told from it.
    pub coincides: Vec<Cause>,
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

/// How a level stood before: its odds and share against the others of its series.
#[derive(Debug, Clone, Copy)]
struct Usual {
    /// Log odds ratio within series and day, and its variance.
    odds: (f64, f64),
    /// Ratio of its share to that of its series.
    share: f64,
}

impl Usual {
    /// Where nothing is known.
    const NONE: Self = Self {
        odds: (0.0, 0.0),
        share: 1.0,
    };

    /// From the time before; `towards` (for a pair what its two levels let expect) where it was not in use then.
    fn new(before: &[Stratum], base: &Before, towards: Self) -> Self {
        let failed: f64 = before.iter().map(|s| s.failed).sum();
        let units: f64 = before.iter().map(|s| s.units).sum();
        let known = before.iter().any(|s| s.shared() && s.all_failed > 0.0);
        Self {
            odds: if known {
                let (theta, information) = best_theta(before, Some(ORDINARY));
                (theta, 1.0 / information)
            } else if units > 0.0 {
                (towards.odds.0, towards.odds.1 + ORDINARY * ORDINARY)
            } else {
                towards.odds
            },
            // Two failures' worth of doubt.
            share: (failed + 2.0 * towards.share) / (units * base.all + 2.0),
        }
    }

    /// Of two levels together. Only what failed more often before is expected to go on: a level that failed less
    /// often by chance would make every pair with it stand out.
    fn with(self, other: Self) -> Self {
        let odds = |u: Self| if u.odds.0 > 0.0 { u.odds } else { (0.0, 0.0) };
        let (a, b) = (odds(self), odds(other));
        Self {
            odds: (a.0 + b.0, a.1 + b.1),
            share: self.share.max(1.0) * other.share.max(1.0),
        }
    }
}

/// A level that was asked.
struct Candidate {
    cut: Cut,
    level: (Level, Level),
    statistic: f64,
    score: f64,
    p: f64,
    adjusted: f64,
    /// Levels of its cut.
    levels: f64,
    failures: f64,
    everything: bool,
    tied: bool,
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
    // Whether something within days explains it.
    let mut within = false;
    while found.causes.len() < MOST {
        let asked = Asked {
            before,
            after: &left,
            tied: &tied,
            change,
        };
        let candidates = ask(cells, &asked, counted, &base, demands);
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
        // A level that all units since had began with the date: it coincides, and no count can say more.
        let (all, mut named): (Vec<_>, Vec<_>) = named.into_iter().partition(|(c, _)| c.everything);
        if found.causes.is_empty() {
            found.coincides = all.into_iter().map(|(_, cause)| cause).collect();
            found
                .coincides
                .sort_by(|a, b| b.statistic.total_cmp(&a.statistic));
        }
        // What was tied to days explains only what nothing within days does, and only where the levels of its factor
        // leave little for other days: it may be any of what those days had.
        within |= named.iter().any(|(c, _)| !c.tied);
        let mut of_factor: BTreeMap<usize, f64> = BTreeMap::new();
        for (factor, share) in named
            .iter()
            .filter(|(c, _)| c.tied)
            .map(|(c, cause)| (c.cut.first, cause.share_of_excess))
            .chain(
                found
                    .causes
                    .iter()
                    .map(|c| (c.places[0].0, c.share_of_excess)),
            )
        {
            *of_factor.entry(factor).or_default() += share;
        }
        named.retain(|(c, _)| !c.tied || !within && of_factor[&c.cut.first] >= CARRIES);
        let best = named.into_iter().max_by(|a, b| {
            a.0.score
                .total_cmp(&b.0.score)
                .then_with(|| b.1.what.len().cmp(&a.1.what.len()))
                .then_with(|| b.1.what.cmp(&a.1.what))
        });
        let Some((best, mut cause)) = best else { break };
        if let Some(pair) = narrow(cells, &asked, best, counted, &base, demands) {
            let inside = self::cause(cells, before, &left, counted, &base, &pair, demands, excess);
            if inside.share_of_excess >= CARRIES * cause.share_of_excess
                && inside.share_of_excess >= demands.share
            {
                cause = inside;
            }
        }
        cause.rivals = rivals(cells, &left, counted, &cause, &candidates, demands);
        let gone = |c: &Cell| {
            cause
                .places
                .iter()
                .all(|(f, level)| cells.level(c, *f) == *level)
        };
        left.retain(|c| !gone(c));
        found.causes.push(cause);
        if left.is_empty() {
            break;
        }
    }
    let explained: f64 = found.causes.iter().map(|c| c.share_of_excess).sum();
    found.unexplained = (1.0 - explained).clamp(0.0, 1.0);
    let named: BTreeSet<&String> = found
        .causes
        .iter()
        .chain(&found.coincides)
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
    change: Change,
}

/// Every level and pair of levels with enough failures, tested.
fn ask(
    cells: &Cells,
    asked: &Asked<'_>,
    counted: Counted,
    base: &Before,
    demands: &Demands,
) -> Vec<Candidate> {
    let Asked {
        before,
        after,
        tied,
        change,
    } = *asked;
    let factors = cells.factors.len();
    let phi = change.dispersion;
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
    let mut asked_of: [Vec<Candidate>; 2] = Default::default();
    let mut questions = [0usize; 2];
    let mut cuts = [0usize; 2];
    // Of single levels, which come first: what a pair of them lets expect.
    let mut known: BTreeMap<(usize, Level), (Usual, f64)> = BTreeMap::new();
    for cut in singles.chain(pairs) {
        let now = counts(cells, after, cut, counted, base);
        let levels = now.strata.len();
        if levels == 0 {
            continue;
        }
        let earlier = counts(cells, before, cut, counted, base);
        let old_of = |level: &(Level, Level)| -> Vec<Stratum> {
            earlier
                .strata
                .get(level)
                .map(|s| s.values().copied().collect())
                .unwrap_or_default()
        };
        if cut.second.is_none() {
            for level in now.strata.keys() {
                let usual = Usual::new(&old_of(level), base, Usual::NONE);
                let units = now.strata[level].values().map(|s| s.units).sum();
                known.insert((cut.first, level.0), (usual, units));
            }
        }
        let of = |place: (usize, Level)| known.get(&place).copied().unwrap_or((Usual::NONE, 0.0));
        let family = usize::from(cut.second.is_some());
        cuts[family] += 1;
        for (level, strata) in &now.strata {
            let failed: f64 = strata.values().map(|s| s.failed).sum();
            let units: f64 = strata.values().map(|s| s.units).sum();
            let everything = all_after.0 - units < 0.5;
            let places = cut.places(*level);
            let is_tied = places.iter().any(|place| tied.contains(place));
            // A pair that is one of its levels, no less, asks nothing new.
            if cut.second.is_some() && places.iter().any(|p| of(*p).1 - units < 0.5) {
                continue;
            }
            questions[family] += 1;
            // A level beside days is a level: the pair would name days as if they were a cause.
            if failed < demands.failures || is_tied && cut.second.is_some() {
                continue;
            }
            let list: Vec<Stratum> = strata.values().copied().collect();
            let old = old_of(level);
            let usual = match cut.second {
                None => of(places[0]).0,
                Some(_) => Usual::new(&old, base, of(places[0]).0.with(of(places[1]).0)),
            };
            let old_units: f64 = old.iter().map(|s| s.units).sum();
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
                    usual.share.max(1.0),
                ) / phi;
                let (ratio, sure) = shared_ratio(&list, usual.odds);
                (ratio + own, sure + own)
            };
            let p = if sure > 0.0 {
                0.5 * chi_square_sf(sure, 1.0)
            } else {
                1.0
            };
            let candidate = Candidate {
                cut,
                level: *level,
                statistic,
                score: statistic - 2.0 * (levels as f64).ln(),
                // Days alone prove no more than the change itself, whose date was chosen.
                p: if is_tied || everything {
                    p.max(change.p_value)
                } else {
                    p
                },
                adjusted: 1.0,
                levels: levels as f64,
                failures: failed,
                everything,
                tied: is_tied,
            };
            asked_of[family].push(candidate);
        }
    }
    // Levels with too few failures were asked too: they stand for p = 1. Every factor has the same weight, shared
    // by its levels: forty batches must not hide one of three stations.
    for ((list, asked), cuts) in asked_of.iter_mut().zip(questions).zip(cuts) {
        let weighed = |c: &Candidate| (c.p * c.levels * cuts as f64 / asked as f64).min(1.0);
        let mut p: Vec<f64> = list.iter().map(weighed).collect();
        p.resize(asked.max(p.len()), 1.0);
        for (c, adjusted) in list.iter_mut().zip(benjamini_hochberg(&p)) {
            c.adjusted = adjusted;
        }
    }
    asked_of.into_iter().flatten().collect()
}

/// The part of a level that has its failures: of the units of one level, a level of another factor that stands out
/// from the others by more than it does outside.
fn narrow(
    cells: &Cells,
    asked: &Asked<'_>,
    whole: &Candidate,
    counted: Counted,
    base: &Before,
    demands: &Demands,
) -> Option<Candidate> {
    if whole.cut.second.is_some() || whole.everything || whole.tied {
        return None;
    }
    let (first, level) = (whole.cut.first, whole.level.0);
    let (inside, outside): (Vec<&Cell>, Vec<&Cell>) = asked
        .after
        .iter()
        .partition(|c| cells.level(c, first) == level);
    let mut found: Vec<Candidate> = Vec::new();
    let (mut questions, mut factors) = (0, 0);
    for other in (0..cells.factors.len()).filter(|f| *f != first) {
        let alone = Cut {
            first: other,
            second: None,
        };
        let now = counts(cells, &inside, alone, counted, base);
        let beside = counts(cells, &outside, alone, counted, base);
        questions += now.strata.len();
        factors += usize::from(!now.strata.is_empty());
        for (place, strata) in &now.strata {
            let failures: f64 = strata.values().map(|s| s.failed).sum();
            if failures < demands.failures || asked.tied.contains(&(other, place.0)) {
                continue;
            }
            let list: Vec<Stratum> = strata.values().copied().collect();
            let elsewhere: Vec<Stratum> = beside
                .strata
                .get(place)
                .map(|s| s.values().copied().collect())
                .unwrap_or_default();
            let usual = Usual::new(&elsewhere, base, Usual::NONE);
            let (statistic, sure) = shared_ratio(&list, usual.odds);
            let (cut, level) = if first < other {
                (
                    Cut {
                        first,
                        second: Some(other),
                    },
                    (level, place.0),
                )
            } else {
                (
                    Cut {
                        first: other,
                        second: Some(first),
                    },
                    (place.0, level),
                )
            };
            found.push(Candidate {
                cut,
                level,
                statistic: whole.statistic,
                score: statistic,
                p: if sure > 0.0 {
                    0.5 * chi_square_sf(sure, 1.0)
                } else {
                    1.0
                },
                adjusted: 1.0,
                levels: now.strata.len() as f64,
                failures,
                everything: false,
                tied: false,
            });
        }
    }
    let weighed = |c: &Candidate| (c.p * c.levels * factors as f64 / questions as f64).min(1.0);
    let mut p: Vec<f64> = found.iter().map(weighed).collect();
    p.resize(questions.max(p.len()), 1.0);
    for (c, adjusted) in found.iter_mut().zip(benjamini_hochberg(&p)) {
        c.adjusted = adjusted.max(whole.adjusted);
    }
    found
        .into_iter()
        .filter(|c| c.adjusted <= demands.false_discoveries)
        .max_by(|a, b| a.score.total_cmp(&b.score))
}

/// Signed likelihood ratio within series and day, over the dispersion that remains there.
///
/// The level's odds against those of before (drawn to 1 where little is known): first as if those were certain, by which
/// levels are ranked; then with their uncertainty, by which a level is believed.
fn shared_ratio(now: &[Stratum], (usual, unsure): (f64, f64)) -> (f64, f64) {
    if !now.iter().any(|s| s.shared() && s.all_failed > 0.0) {
        return (0.0, 0.0);
    }
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
        rivals: Vec::new(),
        days: (
            with.iter().copied().min().unwrap_or_default(),
            with.iter().copied().max().unwrap_or_default(),
        ),
        places,
    }
}

/// Single levels that have nearly the same failures as a cause, though not its units, and explain them nearly as well.
fn rivals(
    cells: &Cells,
    after: &[&Cell],
    counted: Counted,
    cause: &Cause,
    candidates: &[Candidate],
    demands: &Demands,
) -> Vec<Named> {
    let has = |c: &Cell, (f, level): (usize, Level)| cells.level(c, f) == level;
    let close = |c: &&Candidate| {
        c.cut.second.is_none()
            && !c.everything
            && c.adjusted <= demands.false_discoveries
            && c.statistic >= cause.statistic - CLOSE
    };
    candidates
        .iter()
        .filter(close)
        .map(|c| (c.cut.first, c.level.0))
        .filter(|place| !cause.places.iter().any(|(f, _)| *f == place.0))
        .filter(|place| {
            let common: f64 = after
                .iter()
                .filter(|c| has(c, *place) && cause.places.iter().all(|p| has(c, *p)))
                .map(|c| c.failures.of(counted))
                .sum();
            let own: f64 = after
                .iter()
                .filter(|c| has(c, *place))
                .map(|c| c.failures.of(counted))
                .sum();
            common >= SAME_UNITS * (own + cause.failures - common)
        })
        .map(|(f, level)| Named {
            factor: cells.factors[f].name.clone(),
            level: cells.name(f, level).to_owned(),
        })
        .filter(|n| !cause.same_units.contains(n))
        .collect()
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
