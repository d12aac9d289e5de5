//! The limit study of one series: every candidate limit with what it costs, hides and would have done, the
//! recommendation, and the reading that the circuit should give.
//!
//! It asks the review's own findings about other limits; each candidate is judged by the same rules as the
//! limit in force. A trip at a lower limit is counted as *might pass* and never as a pass: the voltage was
//! cut. Retests and minutes are those of units rejected so far, minutes within one shift (8 h: a later test
//! follows a repair). A recommendation never leaves the workable band, nor the band of models that share
//! the limit, and a change note is refused for any limit outside it.

use crate::analysis::units::what_if::{Recount, RetestCost, ShareAt, recount, retest_cost, shares};
use crate::analysis::{Asked, Finding};
use crate::config::Config;
use crate::movement::SeriesMovement;
use crate::series::Pass;
use crate::stats::estimate::Estimate;
use crate::verdict::band::BandInput;
use crate::verdict::candidate::{Candidate, Origin, candidates};
use crate::verdict::evidence::Evidence;
use crate::verdict::expected::{self, Circuit, Comparison, Expected};
use crate::verdict::group::GroupBand;
use crate::verdict::limit::{VerdictKind, judge};
use crate::verdict::physics::ProvingLoads;
use crate::verdict::plant::SeriesVerdict;
use crate::verdict::recommend::{Recommendation, recommend};
use crate::verdict::suggest::blind_spot_mohm;
use crate::words::resistance;

/// One candidate limit. Currents in mA, resistance in MΩ.
#[derive(Debug, Clone, PartialEq)]
pub struct WhatIf {
    /// The limit and why it is looked at.
    pub candidate: Candidate,
    /// The verdict it would get; `None` where no body is known.
    pub verdict: Option<VerdictKind>,
    /// Share of healthy units above it, now and at the end of the horizon.
    pub share: ShareAt,
    /// Healthy units rejected a month.
    pub rejects_per_month: Option<Estimate>,
    /// What it would have done to the history.
    pub recount: Recount,
    /// Lowest resistance of a steady leak that passes, typical unit.
    pub blind_spot_mohm: Option<f64>,
    /// The same for a unit that reads low.
    pub blind_spot_low_reader_mohm: Option<f64>,
    /// The blind spot in words.
    pub blind_spot: String,
    /// Room below the ceiling; below zero where it lies above.
    pub to_ceiling_ma: Option<f64>,
    /// Room below the end of the tester's range.
    pub to_range_ma: Option<f64>,
    /// Further tests a month against the limit in force; below zero where it saves.
    pub retests_per_month: Option<f64>,
    /// Minutes a month spent on rejected units, against the limit in force.
    pub minutes_per_month: Option<f64>,
    /// The loads that prove it.
    pub loads: Option<ProvingLoads>,
}

/// The study of one series.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitStudy {
    /// Index of the series in the pass.
    pub series: usize,
    /// The limit in force.
    pub limit_ma: Option<f64>,
    /// Voltage, kind of current, caps and steps.
    pub setting: BandInput,
    /// Candidates, ascending.
    pub what_if: Vec<WhatIf>,
    /// Shares along a fine row of limits, for the chart.
    pub curve: Vec<(ShareAt, Option<f64>, Option<f64>)>,
    /// What to do.
    pub recommendation: Recommendation,
    /// What rejected units cost.
    pub retests: Option<RetestCost>,
    /// The reading that the circuit should give, with the measured one beside it.
    pub expected: Option<(Circuit, Expected, Option<Comparison>)>,
    /// Strays above the body that passed, over the whole history.
    pub strays_passed: u64,
}

/// What a study is made of.
#[derive(Debug, Clone, Copy)]
pub struct Of<'a> {
    /// The pass.
    pub pass: &'a Pass,
    /// Index of the series.
    pub n: usize,
    /// How it moved.
    pub moved: &'a SeriesMovement,
    /// What was found.
    pub finding: &'a Finding,
    /// What was asked of its body.
    pub asked: &'a Asked,
    /// What was decided.
    pub decided: &'a SeriesVerdict,
    /// Limits asked for by the user, mA.
    pub tries: &'a [f64],
    /// The model's circuit, where it is known.
    pub circuit: Option<Circuit>,
    /// The band that models with the same limit share.
    pub group: Option<&'a GroupBand>,
    /// Settings.
    pub config: &'a Config,
}

/// Points of the curve.
const CURVE_POINTS: usize = 60;

/// Studies the limit of one series.
#[must_use]
pub fn study(of: &Of<'_>) -> LimitStudy {
    let evidence = of.decided.evidence.sound();
    let limit_ma = evidence.limit_ma();
    let setting = &evidence.setting;
    let verdict = &of.decided.verdict;
    let highest = [setting.ceiling_ma, setting.tester_range_ma]
        .into_iter()
        .flatten()
        .fold(None, |least: Option<f64>, x| Some(least.map_or(x, |l| l.min(x))));
    let chosen = candidates(verdict, limit_ma, of.tries, setting.step_ma(), highest);
    let limits: Vec<f64> = chosen.iter().map(|c| c.limit_ma).collect();
    let row = curve_limits(&limits, setting.x50_ma);
    let ask: Vec<f64> = limits.iter().chain(&row).copied().collect();
    let healthy = of.finding.healthy.as_ref().ok();
    let all = healthy.map_or_else(
        || ask.iter().map(|&limit_ma| no_share(limit_ma)).collect(),
        |h| shares(of.asked, h, &ask),
    );
    let (of_candidates, of_row) = all.split_at(limits.len());
    let counted = recount(of.pass, of.n, &of.moved.readings, &of.finding.strays, &limits);
    let retests = retest_cost(of.pass, of.n);
    let per_month = of.finding.units_per_month();
    let now = limit_ma.and_then(|limit| {
        let at = limits.iter().position(|l| (l - limit).abs() <= 1e-9 * limit)?;
        Some(of_candidates[at].now.as_ref()?.value * per_month)
    });
    let what_if = chosen
        .into_iter()
        .zip(of_candidates)
        .zip(counted)
        .map(|((candidate, share), recount)| {
            what_if(
                candidate,
                share.clone(),
                recount,
                &evidence,
                (now, retests, per_month),
                of.config,
            )
        })
        .collect();
    let blind = |limit: f64, healthy: f64| blind_spot_mohm(setting, limit, healthy);
    let say = of.decided.wording;
    LimitStudy {
        series: of.n,
        limit_ma,
        what_if,
        curve: of_row
            .iter()
            .map(|s| {
                (
                    s.clone(),
                    blind(s.limit_ma, setting.x50_ma),
                    evidence.x05_ma.and_then(|low| blind(s.limit_ma, low)),
                )
            })
            .collect(),
        recommendation: recommend(verdict, limit_ma, setting, of.group, of.config),
        retests,
        expected: of.circuit.and_then(|circuit| {
            let e = expected::expected(&circuit)?;
            let x50 = healthy.and_then(|h| h.quantiles[1].as_ref());
            let compared = x50.and_then(|x| expected::compare(&circuit, &e, x, say));
            Some((circuit, e, compared))
        }),
        strays_passed: evidence.strays_passed,
        setting: setting.clone(),
    }
}

fn no_share(limit_ma: f64) -> ShareAt {
    ShareAt { limit_ma, now: None, at_horizon: None }
}

/// Limits of the curve: from a little above the typical reading to a little above the highest candidate,
/// evenly on the scale of logs.
fn curve_limits(limits: &[f64], x50: f64) -> Vec<f64> {
    let (Some(low), Some(high)) = (limits.first(), limits.last()) else {
        return Vec::new();
    };
    let from = (low * 0.97).min(low - 0.25 * (low - x50)).max(1.0001 * x50);
    let to = high * 1.03;
    if !(from > 0.0 && to > from) {
        return Vec::new();
    }
    let ratio = (to / from).ln() / (CURVE_POINTS - 1) as f64;
    (0..CURVE_POINTS).map(|k| from * (ratio * k as f64).exp()).collect()
}

fn what_if(
    candidate: Candidate,
    share: ShareAt,
    recount: Recount,
    evidence: &Evidence,
    (now, retests, per_month): (Option<f64>, Option<RetestCost>, f64),
    config: &Config,
) -> WhatIf {
    let limit_ma = candidate.limit_ma;
    let setting = &evidence.setting;
    let in_force = candidate.origins.contains(&Origin::InForce);
    let would = judge(
        &Evidence {
            high_limit_ma: Some(limit_ma),
            expected_reject_share: share.now.clone(),
            // Rejects seen are of the limit in force; for another limit only the expected ones count.
            healthy_rejects_seen: if in_force { evidence.healthy_rejects_seen } else { 0.0 },
            limit_reached_on: evidence.limit_reached_on.filter(|_| in_force),
            ..evidence.clone()
        },
        config,
    );
    let rejects_per_month = share.now.as_ref().map(|s| s.scaled(per_month));
    let more = rejects_per_month.as_ref().zip(now).map(|(r, n)| r.value - n);
    let retests_per_month = more.zip(retests).map(|(more, r)| more * r.tests_each);
    let minutes_per_month =
        more.zip(retests.and_then(|r| r.minutes_each)).map(|(more, minutes)| more * minutes);
    let loads = setting.applied_v.and_then(|v| {
        crate::verdict::physics::proving_loads(
            v,
            limit_ma,
            config.trip_load_factor,
            config.pass_load_factor,
        )
    });
    WhatIf {
        verdict: would.kind,
        rejects_per_month,
        blind_spot: blind_spot_words(would.blind_spot_mohm, setting),
        blind_spot_mohm: would.blind_spot_mohm,
        blind_spot_low_reader_mohm: would.blind_spot_low_reader_mohm,
        to_ceiling_ma: setting.ceiling_ma.map(|c| c - limit_ma),
        to_range_ma: setting.tester_range_ma.map(|r| r - limit_ma),
        retests_per_month,
        minutes_per_month,
        loads,
        candidate,
        share,
        recount,
    }
}

fn blind_spot_words(blind: Option<f64>, setting: &BandInput) -> String {
    match (blind, setting.applied_v) {
        (Some(r), _) => format!("a steady leak of {} would still pass", resistance(r)),
        (None, None) => "not known: no test voltage is known".to_owned(),
        (None, Some(_)) => "none: a typical unit would be rejected".to_owned(),
    }
}
