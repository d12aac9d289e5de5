//! What to do about a high limit, in one decision: change it, keep it, or first find out more.

use crate::config::Config;
use crate::verdict::band::{BandInput, round_down, round_up};
use crate::verdict::cautions::WHO_DECIDES;
use crate::verdict::group::GroupBand;
use crate::verdict::limit::{Verdict, VerdictKind};
use crate::verdict::physics::{self, ProvingLoads};
use crate::verdict::reason::ReasonKind;
use crate::verdict::suggest::blind_spot_mohm;
use crate::words::{Wording, resistance};

/// What is recommended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Advice {
    /// Have another limit approved and set.
    Change,
    /// Have a first limit approved and set: none is known.
    Set,
    /// Keep the limit in force.
    Keep,
    /// Keep it, and find out what drifts before it no longer fits.
    KeepUntil,
    /// Nothing can be recommended before more is known.
    FindOut,
    /// No limit works: something else must change.
    NoneWorks,
}

impl Advice {
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Change => "change",
            Self::Set => "set",
            Self::Keep => "keep",
            Self::KeepUntil => "keep_until",
            Self::FindOut => "find_out",
            Self::NoneWorks => "none_works",
        }
    }
}

/// A recommendation.
#[derive(Debug, Clone, PartialEq)]
pub struct Recommendation {
    /// What to do.
    pub advice: Advice,
    /// The limit to set, mA: inside the workable band, never above a stated ceiling or range. `None` where
    /// nothing is to be set.
    pub to_ma: Option<f64>,
    /// A tighter limit that is possible, where the one in force may stay.
    pub tighter_ma: Option<f64>,
    /// The recommendation in one sentence.
    pub sentence: String,
    /// Why, and what would help; full sentences.
    pub because: Vec<String>,
    /// The loads that prove the limit to set, or else the limit in force.
    pub loads: Option<ProvingLoads>,
    /// The limit that those loads prove, mA.
    pub loads_for_ma: Option<f64>,
    /// Blind spot of the limit to set, MΩ.
    pub blind_spot_mohm: Option<f64>,
}

/// Kinds of reason that explain a recommendation.
const WHY: [ReasonKind; 15] = [
    ReasonKind::AboveCeiling,
    ReasonKind::AboveTesterRange,
    ReasonKind::TooFewUnits,
    ReasonKind::NoTailEstimate,
    ReasonKind::NoBand,
    ReasonKind::BelowHealthy,
    ReasonKind::FewRejects,
    ReasonKind::AboveUpperEnd,
    ReasonKind::InsideBand,
    ReasonKind::FitsUntil,
    ReasonKind::BetweenBounds,
    ReasonKind::AnswersDisagree,
    ReasonKind::ExcessTooCommon,
    ReasonKind::BandClosesWithDrift,
    ReasonKind::Provisional,
];
/// Kinds of reason that say what helps.
const HELPS: [ReasonKind; 4] = [
    ReasonKind::WhatHelps,
    ReasonKind::WhatDecides,
    ReasonKind::AskForLeakPath,
    ReasonKind::LeakPathWithoutVoltage,
];

/// The recommendation that follows from a verdict.
///
/// - `group`: the band that all models share which are tested at one limit; the limit to set keeps to it.
#[must_use]
pub fn recommend(
    verdict: &Verdict,
    limit_ma: Option<f64>,
    setting: &BandInput,
    group: Option<&GroupBand>,
    config: &Config,
) -> Recommendation {
    let say = Wording::new(setting.x50_ma, setting.step_ma());
    let mut because: Vec<String> = Vec::new();
    for kinds in [&WHY[..], &HELPS[..]] {
        because.extend(
            verdict.reasons.iter().filter(|r| kinds.contains(&r.kind)).map(|r| r.sentence.clone()),
        );
    }
    let caps = [setting.ceiling_ma, setting.tester_range_ma];
    let allowed = |ma: &f64| *ma > 0.0 && caps.into_iter().flatten().all(|cap| *ma <= cap);
    let suggested = verdict.suggested.as_ref();
    let tighter_ma = suggested.filter(|s| s.only_tighter).map(|s| s.limit_ma);
    let wanted = suggested.filter(|s| !s.only_tighter).map(|s| s.limit_ma);
    let unsafe_now = verdict.above_ceiling || verdict.above_tester_range;

    let (mut advice, mut to_ma) = match (verdict.kind, limit_ma) {
        (Some(VerdictKind::NoWorkableBand), _) => (Advice::NoneWorks, None),
        (Some(VerdictKind::TooTight | VerdictKind::TooLoose), _) => match wanted {
            Some(to) => (Advice::Change, Some(to)),
            None => (Advice::FindOut, None),
        },
        (Some(VerdictKind::Fits), _) if verdict.fits_until.is_some() => (Advice::KeepUntil, None),
        (Some(VerdictKind::Fits), _) => (Advice::Keep, None),
        (Some(VerdictKind::NotEnoughData), _) => match wanted {
            // A lower limit inside the band is the safe direction, but only an unsafe one must go now.
            Some(to) if unsafe_now => (Advice::Change, Some(to)),
            _ => (Advice::FindOut, None),
        },
        (None, _) => match wanted {
            Some(to) => (Advice::Set, Some(to)),
            None => (Advice::FindOut, None),
        },
    };
    if let Some(group) = group {
        let kept = keep_to_group((advice, to_ma), limit_ma, verdict, group, setting, &mut because);
        (advice, to_ma) = kept;
    }
    to_ma = to_ma.filter(allowed);
    if to_ma.is_none() && matches!(advice, Advice::Change | Advice::Set) {
        advice = Advice::FindOut;
    }
    if let Some((to, limit)) = to_ma.zip(limit_ma).filter(|(to, limit)| to > limit) {
        because.extend(larger_leak(setting, limit, to));
    }
    if advice == Advice::FindOut && unsafe_now {
        because.push(
            "The limit in force is unsafe as it stands: bring it down to what the stated standard and the \
             tester allow, whatever the readings say."
                .to_owned(),
        );
    }
    let sentence = sentence(advice, to_ma, limit_ma, tighter_ma, verdict, say);
    let loads_for_ma = to_ma.or(limit_ma.filter(allowed));
    Recommendation {
        advice,
        to_ma,
        tighter_ma: tighter_ma.filter(allowed),
        sentence,
        because,
        loads: setting.applied_v.zip(loads_for_ma).and_then(|(v, at)| {
            physics::proving_loads(v, at, config.trip_load_factor, config.pass_load_factor)
        }),
        loads_for_ma,
        blind_spot_mohm: to_ma.and_then(|to| blind_spot_mohm(setting, to, setting.x50_ma)),
    }
}

/// What a raised limit gives away.
fn larger_leak(setting: &BandInput, from: f64, to: f64) -> Option<String> {
    let blind = |limit: f64| blind_spot_mohm(setting, limit, setting.x50_ma);
    Some(format!(
        "Raising a limit is the unsafe direction: in a typical unit a steady leak down to {} passes at {}, down \
         to {} at {}.",
        resistance(blind(from)?),
        Wording::new(setting.x50_ma, setting.step_ma()).current(from),
        resistance(blind(to)?),
        Wording::new(setting.x50_ma, setting.step_ma()).current(to),
    ))
}

/// The decision for a model whose limit others share: inside the shared band, or none.
fn keep_to_group(
    decided: (Advice, Option<f64>),
    limit_ma: Option<f64>,
    verdict: &Verdict,
    group: &GroupBand,
    setting: &BandInput,
    because: &mut Vec<String>,
) -> (Advice, Option<f64>) {
    because.push(group.sentence.clone());
    let (Some(low), true) = (group.band_low_ma, group.one_limit_serves) else {
        because.push(
            "The models of the group need limits of their own, or two groups, before this limit is changed."
                .to_owned(),
        );
        return match decided.0 {
            Advice::Change | Advice::Set => (Advice::FindOut, None),
            other => (other, None),
        };
    };
    let high = group
        .band_high_ma
        .unwrap_or(f64::INFINITY)
        .min(verdict.band_high_ma.unwrap_or(f64::INFINITY));
    let low = low.max(verdict.band_low_ma.unwrap_or(0.0));
    let step = setting.step_ma();
    let (low, high) = (round_up(low, step), round_down(high, step));
    let fits = |x: f64| x >= low * (1.0 - 1e-9) && x <= high * (1.0 + 1e-9);
    match decided {
        (advice @ (Advice::Change | Advice::Set), Some(to)) if low <= high => {
            (advice, Some(to.clamp(low, high)))
        }
        (Advice::Keep, _) if low <= high => match limit_ma {
            // Good for this model, but not for another one of the group.
            Some(limit) if !fits(limit) => {
                because.push(
                    "The limit in force fits this model, but not every model of the group."
                        .to_owned(),
                );
                (Advice::Change, Some(limit.clamp(low, high)))
            }
            _ => decided,
        },
        (Advice::Change | Advice::Set, _) => (Advice::FindOut, None),
        other => other,
    }
}

fn sentence(
    advice: Advice,
    to_ma: Option<f64>,
    limit_ma: Option<f64>,
    tighter_ma: Option<f64>,
    verdict: &Verdict,
    say: Wording,
) -> String {
    let now = limit_ma.map_or_else(|| "the limit".to_owned(), |l| say.current(l));
    match (advice, to_ma) {
        (Advice::Change, Some(to)) => {
            let verb = if limit_ma.is_some_and(|l| to > l) { "Raise" } else { "Lower" };
            format!("{verb} the limit from {now} to {}. {WHO_DECIDES}", say.current(to))
        }
        (Advice::Set, Some(to)) => {
            format!("No limit is known; set one of {}. {WHO_DECIDES}", say.current(to))
        }
        (Advice::Keep, _) => tighter_ma.map_or_else(
            || format!("Keep {now}."),
            |t| {
                format!(
                    "Keep {now}, or tighten it to {}, which would find a changed product earlier.",
                    say.current(t)
                )
            },
        ),
        (Advice::KeepUntil, _) => {
            let date =
                verdict.fits_until.map_or_else(String::new, |f| format!(" until {}", f.date));
            format!(
                "Keep {now}{date}, and find what drifts before then: a limit that follows a drift hides it."
            )
        }
        (Advice::NoneWorks, _) => {
            "No limit can be recommended: none keeps healthy units and stops a harmful leak."
                .to_owned()
        }
        _ => "No limit can be recommended yet.".to_owned(),
    }
}
