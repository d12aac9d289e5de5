//! The limit study of one series: every candidate limit with what it costs, hides and would have done, the
//! recommendation, and the reading that the circuit should give.
//!
//! Takes what a review found about the series and asks it about other limits; gives a [`LimitStudy`], which is
//! the study's part of `results.json` (schema `leakdrift.limits/1`). Each candidate is judged by the same rules
//! as the limit in force. A trip at a lower limit is counted as *might pass* and never as a pass: the voltage
//! was cut. Retests and minutes are those of units rejected so far, minutes within one shift (8 h: a later test follows a
//! repair). A recommendation never leaves the workable band, nor the band of models that share the limit, and a
//! change note is refused for any limit outside it.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::analysis::units::what_if::{
    MonthRecount, Recount, RecountUnit, RetestCost, ShareAt, recount, retest_cost, shares,
};
use crate::analysis::{Asked, Finding};
use crate::config::Config;
use crate::movement::SeriesMovement;
use crate::series::Pass;
use crate::stats::estimate::Estimate;
use crate::stats::expected_share::{ExpectedAtHorizon, ExpectedShare};
use crate::verdict::candidate::{Candidate, Origin, candidates};
use crate::verdict::evidence::Evidence;
use crate::verdict::expected::{Beside, Circuit, Expectation, compare, expected};
use crate::verdict::group::GroupBand;
use crate::verdict::limit::{VerdictKind, judge};
use crate::verdict::physics::{ProvingLoads, proving_loads};
use crate::verdict::plant::SeriesVerdict;
use crate::verdict::recommend::{Recommendation, recommend};
use crate::verdict::suggest::blind_spot_mohm;
use crate::words::resistance;

/// One candidate limit: an entry of `candidates`. Currents in mA, resistance in MΩ.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhatIf {
    /// The limit.
    pub limit_ma: f64,
    /// Why it is looked at, in the order of [`Origin`]; at least one.
    pub origins: Vec<Origin>,
    /// The verdict it would get; `None` where no body is known.
    pub verdict: Option<VerdictKind>,
    /// Healthy units rejected, per million.
    pub expected_reject_ppm: Option<ExpectedShare>,
    /// The same at the end of the planning horizon, where a slope is established.
    #[serde(flatten)]
    pub at_horizon: ExpectedAtHorizon,
    /// Healthy units rejected a month.
    pub rejects_per_month: Option<ExpectedShare>,
    /// Lowest resistance of a steady leak that passes, typical unit.
    pub blind_spot_mohm: Option<f64>,
    /// The same for a unit that reads low.
    pub blind_spot_low_reader_mohm: Option<f64>,
    /// The blind spot in words.
    pub blind_spot: BlindSpot,
    /// Room below the ceiling; below zero where it lies above.
    pub to_ceiling_ma: Option<f64>,
    /// Room below the end of the tester's range.
    pub to_range_ma: Option<f64>,
    /// Passes of the history that it would have rejected.
    pub would_reject: u64,
    /// Trips of the history at a lower limit, which it might have passed.
    pub might_pass: u64,
    /// Strays that passed and that it would have rejected.
    pub strays_caught: u64,
    /// Further tests a month against the limit in force; below zero where it saves.
    pub retests_per_month: Option<f64>,
    /// Minutes a month spent on rejected units, against the limit in force.
    pub minutes_per_month: Option<f64>,
    /// The loads that prove it.
    pub loads: Option<ProvingLoads>,
    /// What it would have done, month by month.
    pub months: Vec<MonthRecount>,
    /// Units concerned, where they are few; in `units-affected.csv`.
    #[serde(skip)]
    pub units: Vec<RecountUnit>,
}

/// What a steady leak would have to be to pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BlindSpot {
    /// At least so many MΩ, in a typical unit.
    From(f64),
    /// None: a typical unit would be rejected.
    None,
    /// Not known, for want of a test voltage.
    NoVoltage,
}

impl fmt::Display for BlindSpot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::From(mohm) => {
                write!(f, "a steady leak of {} would still pass", resistance(*mohm))
            }
            Self::None => f.write_str("none: a typical unit would be rejected"),
            Self::NoVoltage => f.write_str("not known: no test voltage is known"),
        }
    }
}

impl Serialize for BlindSpot {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// The study of one series, as in `results.json` after the keys of the series itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitStudy {
    /// Index of the series in the pass.
    #[serde(skip)]
    pub series: usize,
    /// What to do.
    pub recommendation: Recommendation,
    /// Limits looked at, ascending.
    pub candidates: Vec<WhatIf>,
    /// What a rejected unit costs; `None` where none was rejected.
    pub rejected_unit: Option<RetestCost>,
    /// The reading that the circuit should give, with the measured one beside it.
    pub expected: Option<Expectation>,
    /// Ceiling for this kind of test.
    pub ceiling_ma: Option<f64>,
    /// End of the tester's range.
    pub tester_range_ma: Option<f64>,
    /// Smallest harmful leak path.
    pub leak_path_mohm: Option<f64>,
    /// Step in which limits are set; 0 where none is known.
    pub limit_step_ma: f64,
    /// Strays above the body that passed, over the whole history.
    pub strays_passed: u64,
    /// Share of healthy units that a limit may reject.
    #[serde(skip)]
    pub accepted_share: f64,
    /// Typical reading.
    #[serde(skip)]
    pub typical_ma: f64,
    /// Shares and blind spots along a fine row of limits, for the chart.
    #[serde(skip)]
    pub curve: Vec<CurvePoint>,
}

impl LimitStudy {
    /// The candidate at a limit; equal but for rounding.
    #[must_use]
    pub fn at(&self, limit_ma: f64) -> Option<&WhatIf> {
        self.candidates.iter().find(|c| (c.limit_ma - limit_ma).abs() <= 1e-9 * limit_ma)
    }
}

/// One limit along the row of the chart.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvePoint {
    /// The limit.
    pub limit_ma: f64,
    /// Share of healthy units above it, a fraction of 1.
    pub share: Option<Estimate>,
    /// Lowest resistance of a steady leak that passes, typical unit.
    pub blind_spot_mohm: Option<f64>,
    /// The same for a unit that reads low.
    pub blind_spot_low_reader_mohm: Option<f64>,
}

/// A series to be studied: what the review says of it, and what is asked.
#[derive(Debug, Clone, Copy)]
pub struct Studied<'a> {
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
pub fn study(of: &Studied<'_>) -> LimitStudy {
    let config = of.config;
    let evidence = of.decided.evidence.sound();
    let setting = &evidence.setting;
    let verdict = &of.decided.limits.high;
    // While the product rises nothing above the limit in force is looked at unasked.
    let in_force = verdict.limit_ma.filter(|_| verdict.rising.is_some());
    let highest = [setting.ceiling_ma, setting.tester_range_ma, in_force]
        .into_iter()
        .flatten()
        .fold(None, |least: Option<f64>, x| Some(least.map_or(x, |l| l.min(x))));
    let chosen = candidates(verdict, of.tries, setting.step_ma(), highest);
    let limits: Vec<f64> = chosen.iter().map(|c| c.limit_ma).collect();
    let row = curve_limits(&limits, setting.x50_ma);
    let ask: Vec<f64> = limits.iter().chain(&row).copied().collect();
    let healthy = of.finding.healthy.as_ref().ok();
    let mut of_candidates = healthy.map_or_else(
        || ask.iter().map(|&limit_ma| no_share(limit_ma)).collect(),
        |h| shares(of.asked, h, &ask),
    );
    let of_row = of_candidates.split_off(limits.len());
    let counted = recount(of.pass, of.n, &of.asked.shown, &of.finding.strays, &limits);
    let rejected_unit = retest_cost(of.pass, of.n);
    let per_month = of.finding.units_per_month();
    let now = verdict.limit_ma.and_then(|limit| {
        let at = limits.iter().position(|l| (l - limit).abs() <= 1e-9 * limit)?;
        Some(of_candidates[at].now.as_ref()?.value * per_month)
    });
    let costs = Costs { per_month, now, rejected_unit };
    let candidates = chosen
        .into_iter()
        .zip(of_candidates)
        .zip(counted)
        .map(|((candidate, share), recount)| {
            what_if(candidate, share, recount, &evidence, &costs, config)
        })
        .collect();
    let blind = |limit: f64, healthy: f64| blind_spot_mohm(setting, limit, healthy);
    let curve = of_row.into_iter().map(|s| CurvePoint {
        limit_ma: s.limit_ma,
        share: s.now,
        blind_spot_mohm: blind(s.limit_ma, setting.x50_ma),
        blind_spot_low_reader_mohm: evidence.x05_ma.and_then(|low| blind(s.limit_ma, low)),
    });
    LimitStudy {
        series: of.n,
        recommendation: recommend(verdict, setting, of.group, config),
        candidates,
        rejected_unit,
        expected: of.circuit.and_then(|circuit| {
            let reading = expected(&circuit)?;
            let x50 = healthy.and_then(|h| h.quantiles[1].as_ref());
            let compared = x50.and_then(|x| compare(&circuit, &reading, x));
            let beside = compared.map_or(Beside::NotMeasured, Beside::Measured);
            Some(Expectation { circuit, reading, beside, say: of.decided.wording })
        }),
        ceiling_ma: setting.ceiling_ma,
        tester_range_ma: setting.tester_range_ma,
        leak_path_mohm: setting.leak_path_mohm,
        limit_step_ma: setting.step_ma(),
        strays_passed: evidence.strays_passed,
        accepted_share: config.accepted_reject_share,
        typical_ma: evidence.typical_ma,
        curve: curve.collect(),
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

/// What rejected units cost, to set a candidate beside the limit in force.
struct Costs {
    /// Units a month.
    per_month: f64,
    /// Healthy units rejected a month at the limit in force.
    now: Option<f64>,
    rejected_unit: Option<RetestCost>,
}

fn what_if(
    candidate: Candidate,
    share: ShareAt,
    recount: Recount,
    evidence: &Evidence,
    costs: &Costs,
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
    let units = evidence.judged.units;
    let told = |unit: f64| share.now.as_ref().map(|s| ExpectedShare::new(s, units, unit));
    let rejects_per_month = told(costs.per_month);
    let more = rejects_per_month.as_ref().zip(costs.now).map(|(r, n)| r.value - n);
    let each = |of: fn(&RetestCost) -> Option<f64>| {
        more.zip(costs.rejected_unit.as_ref().and_then(of)).map(|(more, each)| more * each)
    };
    WhatIf {
        limit_ma,
        origins: candidate.origins,
        verdict: would.kind,
        expected_reject_ppm: told(1e6),
        at_horizon: ExpectedAtHorizon::new(share.at_horizon, units),
        rejects_per_month,
        blind_spot: match (would.blind_spot_mohm, setting.applied_v) {
            (Some(mohm), _) => BlindSpot::From(mohm),
            (None, None) => BlindSpot::NoVoltage,
            (None, Some(_)) => BlindSpot::None,
        },
        blind_spot_mohm: would.blind_spot_mohm,
        blind_spot_low_reader_mohm: would.blind_spot_low_reader_mohm,
        to_ceiling_ma: setting.ceiling_ma.map(|c| c - limit_ma),
        to_range_ma: setting.tester_range_ma.map(|r| r - limit_ma),
        would_reject: recount.rejected(),
        might_pass: recount.might_pass(),
        strays_caught: recount.strays_caught,
        retests_per_month: each(|r| Some(r.tests_each)),
        minutes_per_month: each(|r| r.minutes_each),
        loads: setting.applied_v.and_then(|v| proving_loads(v, limit_ma, config)),
        months: recount.months,
        units: recount.units,
    }
}
