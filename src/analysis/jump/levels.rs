//! The levels of factors, and pairs of them, that are asked whether a rise is theirs.

use std::collections::BTreeMap;

use super::cells::{Cell, Cells, Level, Place, total};
use super::odds::{ORDINARY, Stratum, best_theta, own_ratio, poisson_ratio, shared_ratio};
use super::rise::{Before, Rise};
use crate::stats::multiple::benjamini_hochberg;
use crate::stats::special::chi_square_sf;

/// One or two factors, and how their levels are read from a cell.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Cut {
    pub(super) first: usize,
    pub(super) second: Option<usize>,
}

impl Cut {
    fn of(self, cells: &Cells, cell: &Cell) -> Option<(Level, Level)> {
        let a = cells.level(cell, self.first);
        let b = self.second.map_or(u32::MAX, |f| cells.level(cell, f));
        (a != 0 && b != 0).then_some((a, b))
    }

    pub(super) fn places(self, level: (Level, Level)) -> Vec<Place> {
        let mut places = vec![(self.first, level.0)];
        places.extend(self.second.map(|f| (f, level.1)));
        places
    }
}

/// Strata of each level of a cut, by series and day.
struct Counts(BTreeMap<(Level, Level), BTreeMap<(u32, i32), Stratum>>);

impl Counts {
    fn new(rise: &Rise<'_>, chosen: &[&Cell], cut: Cut) -> Self {
        let mut all: BTreeMap<(u32, i32), (f64, f64)> = BTreeMap::new();
        let mut found: BTreeMap<_, BTreeMap<_, Stratum>> = BTreeMap::new();
        for c in chosen {
            let key = (c.series, c.day);
            let failed = c.failures.of(rise.counted);
            let slot = all.entry(key).or_default();
            slot.0 += failed;
            let tested = c.tested(rise.counted);
            slot.1 += tested;
            if let Some(level) = cut.of(rise.cells, c) {
                let slot = found.entry(level).or_default().entry(key).or_default();
                slot.failed += failed;
                slot.units += tested;
                slot.expected += tested * rise.base.at(c);
            }
        }
        for strata in found.values_mut() {
            for (key, s) in strata {
                (s.all_failed, s.all_units) = all[key];
            }
        }
        Self(found)
    }

    /// Strata of one level; none where it was not in use.
    fn of(&self, level: &(Level, Level)) -> Vec<Stratum> {
        self.0.get(level).map(|s| s.values().copied().collect()).unwrap_or_default()
    }
}

/// One number of many strata, summed.
fn sum<'a>(strata: impl IntoIterator<Item = &'a Stratum>, of: fn(&Stratum) -> f64) -> f64 {
    strata.into_iter().map(of).sum()
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
    const NONE: Self = Self { odds: (0.0, 0.0), share: 1.0 };

    /// From the time before; `towards` (for a pair what its two levels let expect) where it was not in use then.
    fn new(before: &[Stratum], base: &Before, towards: Self) -> Self {
        let (failed, units) = (sum(before, |s| s.failed), sum(before, |s| s.units));
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
        Self { odds: (a.0 + b.0, a.1 + b.1), share: self.share.max(1.0) * other.share.max(1.0) }
    }
}

/// A level that was asked.
pub(super) struct Candidate {
    pub(super) cut: Cut,
    pub(super) level: (Level, Level),
    pub(super) statistic: f64,
    pub(super) score: f64,
    pub(super) p: f64,
    pub(super) adjusted: f64,
    /// Levels of its cut.
    pub(super) levels: f64,
    pub(super) failures: f64,
    pub(super) everything: bool,
    pub(super) tied: bool,
}

impl Candidate {
    /// Its first factor and level.
    pub(super) fn place(&self) -> Place {
        (self.cut.first, self.level.0)
    }
}

/// Every level and pair of levels with enough failures, tested.
pub(super) fn ask(rise: &Rise<'_>) -> Vec<Candidate> {
    let Rise { cells, counted, change, demands, before, base, after, tied, .. } = rise;
    let factors = cells.factors.len();
    let phi = change.dispersion;
    let singles = (0..factors).map(|first| Cut { first, second: None });
    let pairs = (0..factors).flat_map(|first| {
        (first + 1..factors).map(move |second| Cut { first, second: Some(second) })
    });
    let all_after = total(after.iter().copied(), *counted);
    let all_expected: f64 = after.iter().map(|c| c.tested(*counted) * base.at(c)).sum();
    let units_before: f64 = before.iter().map(|c| c.tested(*counted)).sum();
    let mut asked_of: [Vec<Candidate>; 2] = Default::default();
    let mut questions = [0usize; 2];
    let mut cuts = [0usize; 2];
    // Of single levels, which come first: what a pair of them lets expect.
    let mut known: BTreeMap<Place, (Usual, f64)> = BTreeMap::new();
    for cut in singles.chain(pairs) {
        let now = Counts::new(rise, after, cut);
        let levels = now.0.len();
        if levels == 0 {
            continue;
        }
        let earlier = Counts::new(rise, before, cut);
        if cut.second.is_none() {
            for (level, strata) in &now.0 {
                let usual = Usual::new(&earlier.of(level), base, Usual::NONE);
                let units = sum(strata.values(), |s| s.units);
                known.insert((cut.first, level.0), (usual, units));
            }
        }
        let of = |place: Place| known.get(&place).copied().unwrap_or((Usual::NONE, 0.0));
        let family = usize::from(cut.second.is_some());
        cuts[family] += 1;
        for level in now.0.keys() {
            let list = now.of(level);
            let (failed, units) = (sum(&list, |s| s.failed), sum(&list, |s| s.units));
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
            let old = earlier.of(level);
            let usual = match cut.second {
                None => of(places[0]).0,
                Some(_) => Usual::new(&old, base, of(places[0]).0.with(of(places[1]).0)),
            };
            let old_units = sum(&old, |s| s.units);
            let (statistic, sure) = if everything {
                // Only what is new with the date can explain it; whether it did cannot be told.
                if cut.second.is_some() || old_units > 0.05 * units_before {
                    continue;
                }
                let old_failed = total(before.iter().copied(), *counted).1;
                let ratio =
                    poisson_ratio((failed, all_expected), (old_failed, units_before * base.all))
                        / phi;
                (ratio, ratio)
            } else {
                let alone = || list.iter().filter(|s| !s.shared());
                let own = own_ratio(
                    (sum(alone(), |s| s.failed), sum(alone(), |s| s.expected)),
                    (all_after.1 - failed, (all_expected - sum(&list, |s| s.expected)).max(1e-9)),
                    usual.share.max(1.0),
                ) / phi;
                let (ratio, sure) = shared_ratio(&list, usual.odds);
                (ratio + own, sure + own)
            };
            let p = one_sided(sure);
            let candidate = Candidate {
                cut,
                level: *level,
                statistic,
                score: statistic - 2.0 * (levels as f64).ln(),
                // Days alone prove no more than the change itself, whose date was chosen.
                p: if is_tied || everything { p.max(change.p_value) } else { p },
                adjusted: 1.0,
                levels: levels as f64,
                failures: failed,
                everything,
                tied: is_tied,
            };
            asked_of[family].push(candidate);
        }
    }
    for ((list, asked), cuts) in asked_of.iter_mut().zip(questions).zip(cuts) {
        adjust(list, asked, cuts);
    }
    asked_of.into_iter().flatten().collect()
}

/// p-value of a signed likelihood ratio: only what fails more counts.
fn one_sided(ratio: f64) -> f64 {
    if ratio > 0.0 { 0.5 * chi_square_sf(ratio, 1.0) } else { 1.0 }
}

/// False-discovery control over all levels asked, `asked` of them in `cuts` factors or pairs of factors; those not in
/// the list had too few failures and stand for p = 1.
///
/// Every factor has the same weight, shared by its levels: forty batches must not hide one of three stations.
fn adjust(list: &mut [Candidate], asked: usize, cuts: usize) {
    let mut p: Vec<f64> =
        list.iter().map(|c| (c.p * c.levels * cuts as f64 / asked as f64).min(1.0)).collect();
    p.resize(asked.max(p.len()), 1.0);
    for (c, adjusted) in list.iter_mut().zip(benjamini_hochberg(&p)) {
        c.adjusted = adjusted;
    }
}

/// The part of a level that has its failures: of the units of one level, a level of another factor that stands out
/// from the others by more than it does outside.
pub(super) fn narrow(rise: &Rise<'_>, whole: &Candidate) -> Option<Candidate> {
    if whole.cut.second.is_some() || whole.everything || whole.tied {
        return None;
    }
    let (first, level) = (whole.cut.first, whole.level.0);
    let (inside, outside): (Vec<&Cell>, Vec<&Cell>) =
        rise.after.iter().partition(|c| rise.cells.level(c, first) == level);
    let mut found: Vec<Candidate> = Vec::new();
    let (mut questions, mut factors) = (0, 0);
    for other in (0..rise.cells.factors.len()).filter(|f| *f != first) {
        let alone = Cut { first: other, second: None };
        let now = Counts::new(rise, &inside, alone);
        let beside = Counts::new(rise, &outside, alone);
        let levels = now.0.len();
        questions += levels;
        factors += usize::from(levels > 0);
        for place in now.0.keys() {
            let list = now.of(place);
            let failures = sum(&list, |s| s.failed);
            if failures < rise.demands.failures || rise.tied.contains(&(other, place.0)) {
                continue;
            }
            let usual = Usual::new(&beside.of(place), &rise.base, Usual::NONE);
            let (statistic, sure) = shared_ratio(&list, usual.odds);
            let mut places = [(first, level), (other, place.0)];
            places.sort_unstable();
            found.push(Candidate {
                cut: Cut { first: places[0].0, second: Some(places[1].0) },
                level: (places[0].1, places[1].1),
                statistic: whole.statistic,
                score: statistic,
                p: one_sided(sure),
                adjusted: 1.0,
                levels: levels as f64,
                failures,
                everything: false,
                tied: false,
            });
        }
    }
    adjust(&mut found, questions, factors);
    for c in &mut found {
        c.adjusted = c.adjusted.max(whole.adjusted);
    }
    found
        .into_iter()
        .filter(|c| c.adjusted <= rise.demands.false_discoveries)
        .max_by(|a, b| a.score.total_cmp(&b.score))
}
