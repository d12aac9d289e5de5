//! The verdict on the limit of a product that rises: a limit never follows a drift.
//!
//! Rising leakage may be insulation that goes bad: moisture, a wrong part, a worn process. So the band is that of the
//! time before the rise, what healthy units read today is told as that and never as a band, and no limit above the
//! one in force is named. The verdict is `moving`; `too loose` only above an upper end that something stated sets,
//! since a rule of thumb of the time before proves nothing; `too tight` never.

use chrono::NaiveDate;
use serde::Serialize;

use crate::config::Config;
use crate::verdict::band::{Band, round_up};
use crate::verdict::evidence::{Evidence, RiseEvidence};
use crate::verdict::kind::{AnswerVerdict, Decided, VerdictKind, no_band};
use crate::verdict::reason::{Above, Reason};
use crate::verdict::suggest::{Suggestion, suggest};

/// A rise of the product, as told beside its verdict. Currents in mA.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rising {
    /// Since when; `None` since the first day.
    pub since: Option<NaiveDate>,
    /// What all but the accepted share of healthy units stay under today, at the most; `None` where not known.
    pub healthy_today_ma: Option<f64>,
    /// The same at the end of the planning horizon, where a slope carries it.
    pub healthy_at_horizon_ma: Option<f64>,
    /// The least limit that spares what healthy units read today.
    pub spares_today_ma: Option<f64>,
    /// First day of the time before, which the band is of; `None` where there is no band.
    pub band_from: Option<NaiveDate>,
    /// Last day of it.
    pub band_to: Option<NaiveDate>,
}

/// What a rise means for the band, and what healthy units read meanwhile.
pub(super) fn reasons(evidence: &Evidence) -> Vec<Reason> {
    let Some((rise, told)) = evidence.rise.as_ref().zip(told(evidence)) else { return Vec::new() };
    let band = match &rise.before {
        Ok(before) => Reason::BandBefore(before.judged),
        Err(why) => Reason::NoBandBefore(*why),
    };
    let reads = told.healthy_today_ma.map(|today_ma| Reason::HealthyMeanwhile {
        today_ma,
        at_horizon_ma: told.healthy_at_horizon_ma,
    });
    [band].into_iter().chain(reads).collect()
}

/// The rise as it is told beside the verdict.
pub(super) fn told(evidence: &Evidence) -> Option<Rising> {
    let rise = evidence.rise.as_ref()?;
    let finite = |x: &f64| x.is_finite();
    let today = evidence.answers().first().map(|(_, tail)| *tail);
    let before = rise.before.as_ref().ok();
    Some(Rising {
        since: rise.since,
        healthy_today_ma: today.map(|t| t.upper_ma).filter(finite),
        healthy_at_horizon_ma: today.and_then(|t| t.upper_at_horizon_ma).filter(finite),
        spares_today_ma: Some(spares_today_ma(evidence, evidence.setting.step_ma())).filter(finite),
        band_from: before.map(|b| b.judged.from),
        band_to: before.map(|b| b.judged.to),
    })
}

/// Decides on `limit_ma`, by the answers of the time before the rise; none where that is not known.
pub(super) fn decide(
    evidence: &Evidence,
    rise: &RiseEvidence,
    before: &[AnswerVerdict],
    limit_ma: f64,
    reasons: &mut Vec<Reason>,
) -> Decided {
    let until = evidence.limit_reached_on;
    let moving = Decided { fits_until: until, ..Decided::of(VerdictKind::Moving) };
    let RiseEvidence { kind, since, earliest, .. } = *rise;
    reasons.push(Reason::Rising { kind, since, earliest, limit_ma, until });
    let Some(used) = before.first() else { return moving };
    if before.iter().all(|a| a.kind == Some(VerdictKind::NoWorkableBand)) {
        return no_band(evidence, used, reasons);
    }
    let above =
        Above { limit_ma, end_ma: used.band.upper_ma, proven: used.band.upper_set_by.is_proven() };
    if limit_ma <= above.end_ma {
        return moving;
    }
    reasons.push(Reason::AboveEarlierEnd(above));
    if above.proven { Decided::of(VerdictKind::TooLoose) } else { moving }
}

/// What all but the accepted share of healthy units stay under today, rounded up to a limit step, mA: a limit that
/// is lowered spares them. Infinite where that is not known.
pub(super) fn spares_today_ma(evidence: &Evidence, step_ma: f64) -> f64 {
    let upper = evidence.answers().first().map_or(f64::INFINITY, |(_, tail)| tail.upper_ma);
    round_up(upper.max(evidence.setting.x50_ma), step_ma)
}

/// The limit to suggest while the product rises: only one that lies below the limit in force, spares what healthy
/// units read today, and works by the band of the time before.
pub(super) fn lower_only(
    evidence: &Evidence,
    before: &Evidence,
    band: &Band,
    limit_ma: Option<f64>,
    config: &Config,
) -> Option<Suggestion> {
    let spares = spares_today_ma(evidence, band.step_ma);
    let (low, high) = band.workable_ma()?;
    let high = limit_ma.map_or(high, |limit| high.min(limit));
    let open = Band { lower_ma: low.max(spares), upper_ma: high, ..band.clone() };
    suggest(&before.setting, &open, None, config)
        .filter(|s| limit_ma.is_none_or(|limit| s.limit_ma < limit))
}
