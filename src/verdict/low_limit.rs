//! The low limit: would an unconnected lead pass, and where a low limit would work.

use crate::config::Config;
use crate::verdict::band::{round_down, round_up};
use crate::verdict::evidence::Tail;
use crate::words::{Wording, count};

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
    /// Under-limit rows of the period whose shown value lies clear above the open-lead reading, or all
    /// under-limit rows where the open-lead reading is unknown.
    pub healthy_under_limit: u64,
    /// The step in which limits are set.
    pub limit_step_ma: f64,
}

/// The kinds of finding about a low limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LowKind {
    /// An unconnected lead passes.
    OpenLeadPasses,
    /// An unconnected lead is found.
    OpenLeadFound,
    /// Not known whether an unconnected lead passes.
    OpenLeadUnknown,
    /// The low limit rejects healthy units.
    CutsIntoHealthy,
    /// Where a low limit would work.
    Workable,
    /// An open lead reads like a healthy unit.
    NoWorkable,
    /// The healthy body's lower end is not known.
    HealthyUnknown,
}

impl LowKind {
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::OpenLeadPasses => "open_lead_passes",
            Self::OpenLeadFound => "open_lead_found",
            Self::OpenLeadUnknown => "open_lead_unknown",
            Self::CutsIntoHealthy => "cuts_into_healthy",
            Self::Workable => "workable",
            Self::NoWorkable => "no_workable",
            Self::HealthyUnknown => "healthy_unknown",
        }
    }
}

/// One finding about the low limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LowReason {
    /// Its kind.
    pub kind: LowKind,
    /// A full sentence.
    pub sentence: String,
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
    /// The low limit rejects healthy units: its under-limit rows are left-censored healthy units.
    pub cuts_into_healthy: bool,
    /// Why; at least one.
    pub reasons: Vec<LowReason>,
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
    let say = Wording::new(evidence.x50_ma, step);
    let mut reasons = Vec::new();
    let mut add = |kind, sentence: String| reasons.push(LowReason { kind, sentence });

    let open_lead_passes = match (limit, open) {
        (None, _) => {
            add(
                LowKind::OpenLeadPasses,
                "There is no low limit: a test with no unit connected passes.".to_owned(),
            );
            Some(true)
        }
        (Some(limit), Some(open)) => {
            let (low, o) = (say.current(limit), say.current(open));
            if open >= limit {
                add(
                    LowKind::OpenLeadPasses,
                    format!("An unconnected lead reads {o} and passes the low limit of {low}."),
                );
            } else {
                add(
                    LowKind::OpenLeadFound,
                    format!("An unconnected lead reads {o} and fails the low limit of {low}."),
                );
            }
            Some(open >= limit)
        }
        (Some(limit), None) => {
            add(
                LowKind::OpenLeadUnknown,
                format!(
                    "Whether an unconnected lead fails the low limit of {} is not known: record one test with no \
                     unit connected.",
                    say.current(limit)
                ),
            );
            None
        }
    };

    let (mut from_ma, mut to_ma) = (None, None);
    match (open, healthy) {
        (Some(open), Some(body)) => {
            // At the open-lead reading itself the lead would pass.
            let from =
                if step > 0.0 && step.is_finite() { round_down(open, step) + step } else { open };
            let from = round_up(from, step);
            let to = round_down(body.lower_ma, step);
            if from <= to && to > open {
                add(
                    LowKind::Workable,
                    format!(
                        "A low limit works from {} (above an unconnected lead) to {} (below healthy units).",
                        say.current(from),
                        say.current(to)
                    ),
                );
                (from_ma, to_ma) = (Some(from), Some(to));
            } else {
                add(
                    LowKind::NoWorkable,
                    format!(
                        "No low limit works: an unconnected lead reads {} and healthy units go down to {}. Shorten or \
                         reroute the leads, or check the connection by other means.",
                        say.current(open),
                        say.estimate(body.lower_ma.max(0.0))
                    ),
                );
            }
        }
        (None, Some(body)) => add(
            LowKind::OpenLeadUnknown,
            format!(
                "A low limit of at most {} spares healthy units; how low it may be needs the open-lead reading.",
                say.current(round_down(body.lower_ma, step).max(0.0))
            ),
        ),
        (_, None) => add(
            LowKind::HealthyUnknown,
            "The lower end of the healthy units is not known.".to_owned(),
        ),
    }

    let cut = limit.zip(healthy).filter(|(limit, body)| {
        *limit > body.upper_ma && evidence.healthy_under_limit as f64 >= config.too_tight_rejects
    });
    if let Some((limit, _)) = cut {
        add(
            LowKind::CutsIntoHealthy,
            format!(
                "The low limit of {} cuts into the healthy units: {} below it read more than an unconnected lead.",
                say.current(limit),
                count(evidence.healthy_under_limit, "unit")
            ),
        );
    }
    LowLimit { open_lead_passes, from_ma, to_ma, cuts_into_healthy: cut.is_some(), reasons }
}
