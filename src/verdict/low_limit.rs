//! The low limit: would an unconnected lead pass, and where a low limit would work.

use crate::config::Config;
use crate::verdict::band::{Guard, round_down, round_up};
use crate::verdict::evidence::Tail;
use crate::words::Wording;

/// What the verdict on a low limit needs. Currents in mA.
#[derive(Debug, Clone, PartialEq)]
pub struct LowEvidence {
    /// The low limit in force; `None` or 0 where there is none.
    pub low_limit_ma: Option<f64>,
    /// What the station shows with no unit connected (the highest station of the series).
    pub open_lead_ma: Option<f64>,
    /// The reading that `1 - a` of the healthy body lies above, with its one-sided bounds.
    pub healthy: Option<Tail>,
    /// Typical reading X50.
    pub x50_ma: f64,
    /// A unit that reads low, X05.
    pub x05_ma: Option<f64>,
    /// Reading step at the size of the reading.
    pub reading_step_ma: f64,
    /// Under-limit rows of the period whose shown value lies clear above the open-lead reading, or all
    /// under-limit rows where the open-lead reading is unknown.
    pub healthy_under_limit: u64,
    /// The step in which limits are set.
    pub limit_step_ma: f64,
}

/// One finding about the low limit, with its numbers in mA.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(
    missing_docs,
    reason = "open_ma is what an unconnected lead reads, limit_ma the low limit in force"
)]
pub enum LowReason {
    /// There is none: an unconnected lead passes.
    NoLowLimit,
    /// An unconnected lead passes.
    OpenLeadPasses { open_ma: f64, limit_ma: f64 },
    /// An unconnected lead is found.
    OpenLeadFound { open_ma: f64, limit_ma: f64 },
    /// Not known whether an unconnected lead passes.
    OpenLeadUnknown { limit_ma: f64 },
    /// Where a low limit would work.
    Workable { from_ma: f64, to_ma: f64 },
    /// An open lead reads like a healthy unit.
    NoneWorks { open_ma: f64, healthy_ma: f64 },
    /// Up to where a low limit would work; from where is not known.
    AtMost { to_ma: f64 },
    /// The healthy body's lower end is not known.
    HealthyUnknown,
    /// The low limit rejects so many healthy units.
    CutsIntoHealthy { limit_ma: f64, units: u64 },
}

/// The verdict on a low limit.
#[derive(Debug, Clone, PartialEq)]
pub struct LowLimit {
    /// Whether a test with no unit connected would pass; `None` where the open-lead reading is unknown
    /// and there is a low limit.
    pub open_lead_passes: Option<bool>,
    /// Lowest workable low limit, mA: the first limit step above the open-lead reading.
    pub from_ma: Option<f64>,
    /// Highest workable low limit, mA: the last limit step at or below the healthy body's lower bound.
    pub to_ma: Option<f64>,
    /// The one to set, mA: about half of what a unit reads that reads low, a guard band away from an unconnected
    /// lead and from healthy units; `None` where that is not known or leaves no room.
    pub suggested_ma: Option<f64>,
    /// Why; at least one.
    pub reasons: Vec<LowReason>,
    /// How its currents are printed.
    pub say: Wording,
}

impl LowLimit {
    /// That it rejects healthy units, in a sentence; `None` where it does not, or not certainly.
    #[must_use]
    pub fn cuts_into_healthy(&self) -> Option<String> {
        let cuts = |r: &&LowReason| matches!(r, LowReason::CutsIntoHealthy { .. });
        self.reasons.iter().find(cuts).map(|r| r.sentence(self.say))
    }
}

/// Judges the low limit.
///
/// - An open lead passes where its reading is not below the low limit, or where there is none.
/// - The limit cuts into the healthy body where it lies above the upper bound of the reading that `1 - a`
///   of the body lies above, and as many under-limit rows as `too tight` asks read clear of an open lead.
#[must_use]
pub fn judge_low(evidence: &LowEvidence, config: &Config) -> LowLimit {
    let positive = |x: &f64| *x > 0.0 && x.is_finite();
    let limit = evidence.low_limit_ma.filter(positive);
    let open = evidence.open_lead_ma.filter(|x| *x >= 0.0 && x.is_finite());
    let healthy = evidence.healthy.filter(|t| !t.lower_ma.is_nan() && !t.upper_ma.is_nan());
    let step = evidence.limit_step_ma;
    let (first, open_lead_passes) = match (limit, open) {
        (None, _) => (LowReason::NoLowLimit, Some(true)),
        (Some(limit_ma), Some(open_ma)) if open_ma >= limit_ma => {
            (LowReason::OpenLeadPasses { open_ma, limit_ma }, Some(true))
        }
        (Some(limit_ma), Some(open_ma)) => {
            (LowReason::OpenLeadFound { open_ma, limit_ma }, Some(false))
        }
        (Some(limit_ma), None) => (LowReason::OpenLeadUnknown { limit_ma }, None),
    };
    let workable = match (open, healthy) {
        (Some(open_ma), Some(body)) => {
            // At the open-lead reading itself the lead would pass.
            let above = if step > 0.0 && step.is_finite() {
                round_down(open_ma, step) + step
            } else {
                open_ma
            };
            let (from_ma, to_ma) = (round_up(above, step), round_down(body.lower_ma, step));
            if from_ma <= to_ma && to_ma > open_ma {
                LowReason::Workable { from_ma, to_ma }
            } else {
                LowReason::NoneWorks { open_ma, healthy_ma: body.lower_ma.max(0.0) }
            }
        }
        (None, Some(body)) => LowReason::AtMost { to_ma: round_down(body.lower_ma, step).max(0.0) },
        (_, None) => LowReason::HealthyUnknown,
    };
    let (from_ma, to_ma) = match workable {
        LowReason::Workable { from_ma, to_ma } => (Some(from_ma), Some(to_ma)),
        _ => (None, None),
    };
    let suggested_ma =
        from_ma.zip(to_ma).and_then(|(from, to)| one_to_set(from, to, evidence, config));
    let units = evidence.healthy_under_limit;
    let cut = limit
        .zip(healthy)
        .filter(|(limit, body)| *limit > body.upper_ma && units as f64 >= config.too_tight_rejects)
        .map(|(limit_ma, _)| LowReason::CutsIntoHealthy { limit_ma, units });
    LowLimit {
        open_lead_passes,
        from_ma,
        to_ma,
        suggested_ma,
        reasons: [first, workable].into_iter().chain(cut).collect(),
        say: Wording::new(evidence.x50_ma, step),
    }
}

/// Half of X05 on a limit step, kept a guard band inside the workable range.
fn one_to_set(from: f64, to: f64, evidence: &LowEvidence, config: &Config) -> Option<f64> {
    let guard = |ma: f64| Guard::at(ma, evidence.reading_step_ma, config).ma;
    let step = evidence.limit_step_ma;
    let low = round_up(from + guard(from), step);
    let high = round_down(to - guard(to), step);
    let half = round_up(evidence.x05_ma.unwrap_or(evidence.x50_ma) / 2.0, step);
    (low <= high).then(|| half.clamp(low, high))
}
