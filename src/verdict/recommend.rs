//! What to do about a high limit, in one decision: change it, keep it, or first find out more.
//!
//! Takes a verdict, gives a [`Recommendation`] of numbers and reasons that serialises as `recommendation` of a
//! limit study.

use serde::{Serialize, Serializer};

use crate::config::Config;
use crate::verdict::band::{BandInput, round_down, round_up};
use crate::verdict::cautions::WHO_DECIDES;
use crate::verdict::evidence::Forecast;
use crate::verdict::group::GroupBand;
use crate::verdict::limit::{Verdict, VerdictKind};
use crate::verdict::physics::{self, ProvingLoads};
use crate::verdict::reason::Reason;
use crate::verdict::suggest::{Raise, blind_spot_mohm};
use crate::words::{Wording, object};

/// What is recommended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Advice {
    /// Have another limit approved and set.
    Change,
    /// Have a first limit approved and set: none is known.
    Set,
    /// Keep the limit in force.
    Keep,
    /// Keep it, never raise it, and find out what drifts.
    KeepUntil,
    /// Nothing can be recommended before more is known.
    FindOut,
    /// No limit works: something else must change.
    NoneWorks,
}

/// A recommendation.
#[derive(Debug, Clone, PartialEq)]
pub struct Recommendation {
    /// What to do.
    pub advice: Advice,
    /// The limit in force, mA.
    pub limit_ma: Option<f64>,
    /// The limit to set, mA: inside the workable band, never above a stated ceiling or range. `None` where
    /// nothing is to be set.
    pub to_ma: Option<f64>,
    /// A tighter limit that is possible, where the one in force may stay.
    pub tighter_ma: Option<f64>,
    /// Until when the limit in force fits, where drift ends it.
    pub fits_until: Option<Forecast>,
    /// Why, and what would help.
    pub because: Vec<Because>,
    /// The loads that prove the limit to set, or else the limit in force.
    pub loads: Option<ProvingLoads>,
    /// Blind spot of the limit to set, MΩ.
    pub blind_spot_mohm: Option<f64>,
    /// How its currents are printed.
    pub say: Wording,
}

/// What speaks for a recommendation.
#[derive(Debug, Clone, PartialEq)]
pub enum Because {
    /// A reason of the verdict.
    Verdict(Reason),
    /// What the models can share that are tested at one limit.
    Shared(GroupBand),
    /// They need limits of their own.
    OwnLimits,
    /// The limit in force fits this model, but not every one of the group.
    NotForAll,
    /// Raising the limit lets a larger leak pass, here in a typical unit.
    LargerLeak(Raise),
    /// The limit in force is unsafe, whatever the readings say.
    UnsafeNow,
}

/// Whether a reason explains a recommendation.
fn explains(reason: &Reason) -> bool {
    matches!(
        reason,
        Reason::AboveCeiling(_)
            | Reason::AboveTesterRange(_)
            | Reason::TooFewUnits { .. }
            | Reason::NoTailEstimate
            | Reason::NoBand { .. }
            | Reason::BelowHealthy(_)
            | Reason::FewRejects { .. }
            | Reason::AboveUpperEnd(_)
            | Reason::AboveEarlierEnd(_)
            | Reason::InsideBand(_)
            | Reason::Rising { .. }
            | Reason::BandBefore(_)
            | Reason::NoBandBefore(_)
            | Reason::HealthyMeanwhile { .. }
            | Reason::BetweenBounds(_)
            | Reason::AnswersDisagree { .. }
            | Reason::ExcessTooCommon { .. }
            | Reason::Provisional(_)
    )
}

/// Whether a reason says what helps.
fn helps(reason: &Reason) -> bool {
    matches!(
        reason,
        Reason::WhatHelps(_)
            | Reason::UnitsDecide(_)
            | Reason::RetestsDecide
            | Reason::MayRise
            | Reason::AskForLeakPath { .. }
            | Reason::LeakPathWithoutVoltage(_)
    )
}

/// The recommendation that follows from a verdict.
///
/// - `group`: the band that all models share which are tested at one limit; the limit to set keeps to it.
#[must_use]
pub fn recommend(
    verdict: &Verdict,
    setting: &BandInput,
    group: Option<&GroupBand>,
    config: &Config,
) -> Recommendation {
    let limit_ma = verdict.limit_ma;
    let reasons = verdict.reasons.iter();
    let mut because: Vec<Because> = reasons
        .clone()
        .filter(|r| explains(r))
        .chain(reasons.filter(|r| helps(r)))
        .map(|r| Because::Verdict(r.clone()))
        .collect();
    let caps = [setting.ceiling_ma, setting.tester_range_ma];
    let allowed = |ma: &f64| *ma > 0.0 && caps.into_iter().flatten().all(|cap| *ma <= cap);
    let suggested = verdict.suggested.as_ref();
    let tighter_ma = suggested.filter(|s| s.only_tighter).map(|s| s.limit_ma).filter(allowed);
    let wanted = suggested.filter(|s| !s.only_tighter).map(|s| s.limit_ma);
    let unsafe_now = verdict.above_ceiling || verdict.above_tester_range;

    let mut decided = first_decision(verdict, wanted, unsafe_now);
    if let Some(group) = group {
        decided = keep_to_group(decided, verdict, group, setting, &mut because);
    }
    let (mut advice, to_ma) = (decided.0, decided.1.filter(allowed));
    if to_ma.is_none() && matches!(advice, Advice::Change | Advice::Set) {
        advice = Advice::FindOut;
    }
    if let Some((to, limit)) = to_ma.zip(limit_ma).filter(|(to, limit)| to > limit) {
        because.push(Because::LargerLeak(Raise::new(setting, limit, to)));
    }
    if advice == Advice::FindOut && unsafe_now {
        because.push(Because::UnsafeNow);
    }
    let loads_for = to_ma.or(limit_ma.filter(allowed));
    Recommendation {
        advice,
        limit_ma,
        to_ma,
        tighter_ma,
        fits_until: verdict.fits_until,
        because,
        loads: setting
            .applied_v
            .zip(loads_for)
            .and_then(|(v, at)| physics::proving_loads(v, at, config)),
        blind_spot_mohm: to_ma.and_then(|to| blind_spot_mohm(setting, to, setting.x50_ma)),
        say: Wording::new(setting.x50_ma, setting.step_ma()),
    }
}

/// What the verdict alone recommends: the advice and the limit to set.
fn first_decision(
    verdict: &Verdict,
    wanted: Option<f64>,
    unsafe_now: bool,
) -> (Advice, Option<f64>) {
    let to = |advice| wanted.map_or((Advice::FindOut, None), |to| (advice, Some(to)));
    match verdict.kind {
        Some(VerdictKind::NoWorkableBand) => (Advice::NoneWorks, None),
        Some(VerdictKind::TooTight | VerdictKind::TooLoose) => to(Advice::Change),
        Some(VerdictKind::Moving) if unsafe_now => (Advice::FindOut, None),
        Some(VerdictKind::Moving) => (Advice::KeepUntil, None),
        Some(VerdictKind::Fits) => (Advice::Keep, None),
        // A lower limit inside the band is the safe direction, but only an unsafe one must go now.
        Some(VerdictKind::NotEnoughData) if unsafe_now => to(Advice::Change),
        Some(VerdictKind::NotEnoughData) => (Advice::FindOut, None),
        None => to(Advice::Set),
    }
}

/// The decision for a model whose limit others share: inside the shared band, or none.
fn keep_to_group(
    decided: (Advice, Option<f64>),
    verdict: &Verdict,
    group: &GroupBand,
    setting: &BandInput,
    because: &mut Vec<Because>,
) -> (Advice, Option<f64>) {
    because.push(Because::Shared(group.clone()));
    let (Some(low), true) = (group.band_low_ma, group.one_limit_serves) else {
        because.push(Because::OwnLimits);
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
        (Advice::Keep, _) if low <= high => match verdict.limit_ma {
            // Good for this model, but not for another one of the group.
            Some(limit) if !fits(limit) => {
                because.push(Because::NotForAll);
                (Advice::Change, Some(limit.clamp(low, high)))
            }
            _ => decided,
        },
        (Advice::Change | Advice::Set, _) => (Advice::FindOut, None),
        other => other,
    }
}

impl Because {
    /// What speaks for it, in a full sentence.
    #[must_use]
    pub fn sentence(&self, say: Wording) -> String {
        match self {
            Self::Verdict(reason) => reason.sentence(say),
            Self::Shared(group) => group.sentence(),
            Self::OwnLimits => {
                "The models of the group need limits of their own, or two groups, before this \
                 limit is changed."
                    .to_owned()
            }
            Self::NotForAll => {
                "The limit in force fits this model, but not every model of the group.".to_owned()
            }
            Self::LargerLeak(raise) => format!("{}.", raise.words(say)),
            Self::UnsafeNow => {
                "The limit in force is unsafe as it stands: bring it down to what the stated \
                 standard and the tester allow, whatever the readings say."
                    .to_owned()
            }
        }
    }
}

impl Recommendation {
    /// The recommendation in one sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        let say = self.say;
        let now = self.limit_ma.map_or_else(|| "the limit".to_owned(), |l| say.current(l));
        match (self.advice, self.to_ma) {
            (Advice::Change, Some(to)) => {
                let verb = if self.limit_ma.is_some_and(|l| to > l) { "Raise" } else { "Lower" };
                format!("{verb} the limit from {now} to {}. {WHO_DECIDES}", say.current(to))
            }
            (Advice::Set, Some(to)) => {
                format!("No limit is known; set one of {}. {WHO_DECIDES}", say.current(to))
            }
            (Advice::Keep, _) => match self.tighter_ma {
                None => format!("Keep {now}."),
                Some(t) => format!(
                    "Keep {now}, or tighten it to {}, which would find a changed product earlier.",
                    say.current(t)
                ),
            },
            (Advice::KeepUntil, _) => {
                let until =
                    self.fits_until.map_or_else(String::new, |f| format!(" until {}", f.date));
                format!("Keep {now}{until}, and find what changed: a limit never follows a drift.")
            }
            (Advice::NoneWorks, _) => {
                "No limit can be recommended: none keeps healthy units and stops a harmful leak."
                    .to_owned()
            }
            _ => "No limit can be recommended yet.".to_owned(),
        }
    }

    /// Why, and what would help, in full sentences.
    #[must_use]
    pub fn reasons(&self) -> Vec<String> {
        self.because.iter().map(|b| b.sentence(self.say)).collect()
    }
}

impl Serialize for Recommendation {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        object!(to;
            "advice": self.advice,
            "to_ma": self.to_ma,
            "tighter_ma": self.tighter_ma,
            "sentence": self.sentence(),
            "because": self.reasons(),
            "blind_spot_mohm": self.blind_spot_mohm,
            "loads": self.loads,
        )
    }
}
