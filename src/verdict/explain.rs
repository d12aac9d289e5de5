//! The parts of a verdict that only add information: where the ends of the band come from, and what to suggest.

use crate::config::Config;
use crate::verdict::band::{Band, BandInput, UpperKind};
use crate::verdict::evidence::{Evidence, Whose};
use crate::verdict::kind::{AnswerVerdict, VerdictKind};
use crate::verdict::physics;
use crate::verdict::reason::{LowerEnd, Reason, Short};
use crate::verdict::suggest::Suggestion;

/// Why the verdict is provisional; `None` where the period holds enough.
pub(super) fn provisional(evidence: &Evidence, config: &Config) -> Option<Reason> {
    let judged = &evidence.judged;
    let short: Vec<Short> = [
        (Some(judged.units), config.verdict_units, "unit"),
        (Some(judged.production_days), config.verdict_days, "production day"),
        (judged.lots, config.verdict_lots, "lot"),
    ]
    .into_iter()
    .filter_map(|(holds, needs, of)| {
        let holds = holds.filter(|holds| *holds < needs)?;
        Some(Short { holds, needs, of })
    })
    .collect();
    (!short.is_empty()).then_some(Reason::Provisional(short))
}

/// Where the lower end comes from; `None` where the data do not bound it.
pub(super) fn lower_end(
    used: &AnswerVerdict,
    at: Option<String>,
    config: &Config,
) -> Option<Reason> {
    let band = &used.band;
    let lower = LowerEnd {
        share: 1.0 - config.accepted_reject_share,
        tail: used.tail,
        at,
        answer: used.answer,
        confidence: config.confidence,
        lower_ma: band.lower_ma,
        step_ma: band.step_ma,
    };
    lower.lower_ma.is_finite().then_some(Reason::LowerEnd(lower))
}

/// Where the upper end comes from; asks for a leak path where none bounds it.
pub(super) fn band(setting: &BandInput, band: &Band, of: &Whose) -> Vec<Reason> {
    let mut reasons: Vec<Reason> = band
        .ends
        .iter()
        .map(|end| Reason::UpperEnd { end: *end, sets: band.is_set_by(end), of: of.clone() })
        .collect();
    let stated = setting.leak_path_mohm;
    if let Some(mohm) =
        stated.filter(|_| band.ends.iter().all(|e| e.rule.kind() != UpperKind::LeakPath))
    {
        reasons.push(Reason::LeakPathWithoutVoltage(mohm));
    }
    let by_distance = matches!(band.upper_set_by, UpperKind::TwiceAsFar | UpperKind::TwiceTypical);
    let hidden = physics::hidden_leak_ma(setting.adds, band.upper_ma, setting.x50_ma);
    if let (true, Some(leak_ma)) = (by_distance && band.upper_ma.is_finite(), hidden) {
        let (typical_ma, of) = (setting.x50_ma, of.clone());
        reasons.push(Reason::AskForLeakPath { leak_ma, typical_ma, of });
    }
    reasons
}

/// The suggestion that stands beside this verdict: always where the limit does not fit, as advice where
/// the limit lies far above it, and no raise while the data do not decide or the readings may rise.
pub(super) fn keep_suggestion(
    suggestion: Option<Suggestion>,
    kind: Option<VerdictKind>,
    limit: Option<f64>,
    evidence: &Evidence,
    config: &Config,
) -> Option<Suggestion> {
    let s = suggestion?;
    let Some(limit) = limit else { return Some(s) };
    match kind {
        Some(VerdictKind::NoWorkableBand) => None,
        Some(VerdictKind::Fits) => {
            let x50 = evidence.setting.x50_ma;
            let far = limit - x50 > config.tighter_advice_factor * (s.limit_ma - x50);
            far.then_some(Suggestion { only_tighter: true, ..s })
        }
        // Raising a limit is the unsafe direction: not on data that do not decide, nor on readings that may rise.
        Some(VerdictKind::NotEnoughData) if s.limit_ma > limit => None,
        _ if s.limit_ma > limit && evidence.may_rise => None,
        Some(VerdictKind::Moving) => Some(Suggestion { only_tighter: true, ..s }),
        _ => Some(s),
    }
}

/// That the limit only repeats the ceiling.
pub(super) fn ceiling_repeated(
    limit: Option<f64>,
    setting: &BandInput,
    suggestion: Option<&Suggestion>,
) -> Option<Reason> {
    let (limit_ma, ceiling) = limit.zip(setting.ceiling_ma)?;
    // Half a step: the same setting as far as the tester can be set.
    let same = (limit_ma - ceiling).abs() <= (setting.step_ma() / 2.0).max(1e-9 * ceiling);
    let suggested_ma = suggestion.map(|s| s.limit_ma);
    same.then_some(Reason::RepeatsCeiling { limit_ma, suggested_ma })
}

/// The suggested limit with its proving loads, or why there is none.
pub(super) fn suggestion(
    suggestion: Option<&Suggestion>,
    kind: Option<VerdictKind>,
    judged: bool,
    may_rise: bool,
) -> Option<Reason> {
    match (suggestion, kind) {
        (Some(s), _) => Some(Reason::Suggested(s.clone())),
        (None, Some(VerdictKind::TooTight)) if judged && may_rise => Some(Reason::MayRise),
        (None, Some(VerdictKind::TooTight | VerdictKind::TooLoose) | None) if judged => {
            Some(Reason::NoLimitBetween)
        }
        (None, Some(VerdictKind::NotEnoughData)) if judged => Some(Reason::NotRaised),
        _ => None,
    }
}
