//! Which limits a limit study looks at: the one in force, the ends of the band, the suggested one, those the
//! user asks for, and round numbers between.

use serde::Serialize;

use crate::verdict::band::{round_down, round_up};
use crate::verdict::limit::Verdict;

/// Why a limit is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// The limit in force.
    InForce,
    /// Lower end of the workable band.
    BandLow,
    /// Upper end of the workable band, rounded down to a limit step.
    BandHigh,
    /// The suggested limit.
    Suggested,
    /// Asked for by the user.
    Tried,
    /// A round number between the others.
    Round,
}

impl Origin {
    /// As printed; empty for a round number, which needs no word.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::InForce => "in force",
            Self::BandLow => "lower end of the band",
            Self::BandHigh => "upper end of the band",
            Self::Suggested => "suggested",
            Self::Tried => "asked for",
            Self::Round => "",
        }
    }
}

/// A limit to look at.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The limit, mA.
    pub limit_ma: f64,
    /// Why, in the order of [`Origin`]; at least one.
    pub origins: Vec<Origin>,
}

/// Most round numbers of a study.
const ROUND_MOST: f64 = 5.0;

/// The limits of a study, ascending, each once; `tries` in mA.
///
/// - `lowest` and `highest`: ends that the study's own proposals (ends of the band, suggestion, round numbers)
///   keep to, for example the ceiling; the limit in force and the user's values are looked at wherever they lie.
#[must_use]
pub fn candidates(
    verdict: &Verdict,
    tries: &[f64],
    step_ma: f64,
    highest: Option<f64>,
) -> Vec<Candidate> {
    let usable = |x: &f64| *x > 0.0 && x.is_finite();
    let mut named: Vec<(f64, Origin)> = Vec::new();
    let mut add = |x: Option<f64>, origin| named.extend(x.filter(usable).map(|x| (x, origin)));
    add(verdict.limit_ma, Origin::InForce);
    add(verdict.band_low_ma, Origin::BandLow);
    let high = verdict
        .band_high_ma
        .map(|high| round_down(high, step_ma))
        .filter(|high| verdict.band_low_ma.is_none_or(|low| *high >= low))
        // A band of the time before a rise may end above the limit in force: nobody is to go there.
        .filter(|high| verdict.rising.is_none() || verdict.limit_ma.is_none_or(|l| *high <= l));
    add(high, Origin::BandHigh);
    add(verdict.suggested_ma(), Origin::Suggested);
    let ends = named.iter().map(|n| n.0);
    let low_end = ends.clone().fold(f64::INFINITY, f64::min);
    let high_end =
        ends.fold(f64::NEG_INFINITY, f64::max).min(highest.filter(usable).unwrap_or(f64::INFINITY));
    named.extend(tries.iter().filter(|x| usable(x)).map(|x| (*x, Origin::Tried)));
    named.extend(round_numbers(low_end, high_end, step_ma).into_iter().map(|x| (x, Origin::Round)));
    named.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut found: Vec<Candidate> = Vec::new();
    for (limit_ma, origin) in named {
        match found.last_mut().filter(|c| same(c.limit_ma, limit_ma)) {
            Some(c) if !c.origins.contains(&origin) => c.origins.push(origin),
            Some(_) => {}
            None => found.push(Candidate { limit_ma, origins: vec![origin] }),
        }
    }
    for c in &mut found {
        c.origins.sort_unstable();
        if c.origins.len() > 1 {
            c.origins.retain(|o| *o != Origin::Round);
        }
    }
    found
}

/// Equal but for rounding.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

/// Multiples of 1, 2 or 5 times a power of ten strictly between the ends: as many as there may be.
fn round_numbers(low: f64, high: f64, step_ma: f64) -> Vec<f64> {
    let room = high - low;
    if !(room > 0.0 && room.is_finite()) {
        return Vec::new();
    }
    let mut power = 10_f64.powf((room / ROUND_MOST).log10().floor());
    let pitch = loop {
        // Ten times the smallest pitch always leaves few enough.
        match [1.0, 2.0, 5.0].iter().map(|m| m * power).find(|pitch| room / pitch <= ROUND_MOST) {
            Some(pitch) => break pitch,
            None => power *= 10.0,
        }
    };
    // A pitch finer than the limit step would name limits that cannot be set.
    let pitch = if step_ma > 0.0 { round_up(pitch, step_ma) } else { pitch };
    let first = (low / pitch).floor();
    (0..)
        .map(|k| round_down(pitch * (first + f64::from(k)) + pitch * 1e-9, pitch))
        .take_while(|x| *x < high && !same(*x, high))
        .filter(|x| *x > low && !same(*x, low))
        .collect()
}
