//! Which factor tells two groups apart: the lot, station or fixture whose levels lie on different sides
//! of the divide.

use std::collections::BTreeMap;

use crate::movement::edges::place;
use crate::stats::mixture::{GroupRules, TwoGroups};
use crate::stats::sample::Sample;

/// A factor is named from this share of the uncertainty about the group that its levels take away. Two
/// groups 2 standard deviations apart overlap by a sixth, so a perfect factor leaves about 0.35.
const NAMED_FROM: f64 = 0.20;

/// Readings of one level of one factor.
#[derive(Debug, Clone)]
pub struct FactorLevel {
    /// Name of the factor (lot, station, fixture …).
    pub factor: String,
    /// Its level.
    pub level: String,
    /// The level's readings.
    pub sample: Sample,
}

/// The factor that best separates two groups.
#[derive(Debug, Clone, PartialEq)]
pub struct Split {
    /// Name of the factor.
    pub factor: String,
    /// Levels whose readings mostly lie in the lower group, by name.
    pub lower: Vec<String>,
    /// Levels whose readings mostly lie in the upper group, by name.
    pub upper: Vec<String>,
    /// Share of the uncertainty about the group that the levels take away, 0 to 1.
    pub explained: f64,
    /// Gain in BIC over levels that are all alike.
    pub bic_gain: f64,
}

/// The factor whose levels best tell the groups apart, `None` where none does.
///
/// - Formula: each reading is given to the group on its side of the divide; `G = 2 Σ n ln(observed/expected)`
///   over levels and groups, BIC gain `G - (levels - 1) ln n`, explained share `G / (2 n H)`, `H` the entropy
///   of the groups (uncertainty coefficient, Theil 1970; from memory). The factor with the largest
///   gain, so that many levels pay for their number; equal ones by name.
pub fn split_by(groups: &TwoGroups, levels: &[FactorLevel], rules: &GroupRules) -> Option<Split> {
    let mut factors: BTreeMap<&str, BTreeMap<&str, [f64; 2]>> = BTreeMap::new();
    for entry in levels {
        let counts =
            factors.entry(&entry.factor).or_default().entry(&entry.level).or_insert([0.0; 2]);
        for line in entry.sample.lines() {
            counts[usize::from(place(line.observation) > groups.divide)] += line.count;
        }
    }
    let mut best: Option<Split> = None;
    for (factor, counts) in factors {
        let Some(split) = split(factor, &counts) else {
            continue;
        };
        let named = split.explained >= NAMED_FROM && split.bic_gain > rules.bic_gain;
        if named && best.as_ref().is_none_or(|b| split.bic_gain > b.bic_gain) {
            best = Some(split);
        }
    }
    best
}

fn split(factor: &str, levels: &BTreeMap<&str, [f64; 2]>) -> Option<Split> {
    let sides = [0, 1].map(|side| levels.values().map(|c| c[side]).sum::<f64>());
    let n = sides[0] + sides[1];
    if levels.len() < 2 || sides.iter().any(|&s| s <= 0.0) {
        return None;
    }
    let entropy = -sides.iter().map(|s| s / n * (s / n).ln()).sum::<f64>();
    let mut g = 0.0;
    let (mut lower, mut upper) = (Vec::new(), Vec::new());
    for (level, counts) in levels {
        let here = counts[0] + counts[1];
        for side in 0..2 {
            if counts[side] > 0.0 {
                g += 2.0 * counts[side] * (counts[side] * n / (here * sides[side])).ln();
            }
        }
        let list = if counts[1] > counts[0] { &mut upper } else { &mut lower };
        list.push((*level).to_owned());
    }
    let parameters = (levels.len() - 1) as f64;
    (!lower.is_empty() && !upper.is_empty()).then(|| Split {
        factor: factor.to_owned(),
        lower,
        upper,
        explained: g / (2.0 * n * entropy),
        bic_gain: g - parameters * n.ln(),
    })
}
