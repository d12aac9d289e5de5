//! Findings of a whole plant → verdicts: every series by the same config.

use std::collections::BTreeMap;

use crate::analysis::body::describe::Which;
use crate::analysis::body::healthy::{Healthy, TailNumbers};
use crate::analysis::{Finding, Findings, Known};
use crate::config::Config;
use crate::day::date_of;
use crate::movement::SeriesMovement;
use crate::movement::material::{DriftFlag, DriftNumbers, drift_numbers, flag};
use crate::movement::period::Judged;
use crate::movement::readings::ma;
use crate::series::{Current, Pass, Series};
use crate::verdict::band::{Band, BandInput};
use crate::verdict::evidence::{Answer, Evidence, Forecast, Tail};
use crate::verdict::group::{GroupBand, Member, share_limit};
use crate::verdict::limit::{Verdict, judge};
use crate::verdict::low_limit::{LowEvidence, LowLimit, judge_low};
use crate::verdict::month::{MonthJudged, judge_month};
use crate::verdict::physics::LeakAdds;
use crate::verdict::{Verdicts, tester};
use crate::words::Wording;

/// What was decided about one series.
#[derive(Debug)]
pub struct SeriesVerdict {
    /// The limit's verdict.
    pub verdict: Verdict,
    /// The low limit.
    pub low: LowLimit,
    /// Whether it drifts.
    pub flag: DriftFlag,
    /// When the limit is reached.
    pub forecast: Option<Forecast>,
    /// How currents of this series are printed.
    pub wording: Wording,
    /// What it was reached from.
    pub evidence: Evidence,
    /// The month under review with its place among all series, 1 first; `None` where it has no unit.
    pub month: Option<(MonthJudged, usize)>,
}

/// Judges every series, then the testers.
#[must_use]
pub fn judge_all(pass: &Pass, known: &Known<'_>, findings: &Findings, config: &Config) -> Verdicts {
    let mut verdicts: Vec<SeriesVerdict> = pass
        .series
        .iter()
        .zip(&known.movement.series)
        .zip(&findings.series)
        .map(|((series, moved), finding)| judge_series(series, moved, finding, config))
        .collect();
    rank_months(&mut verdicts);
    let testers = tester::judge(pass, known, findings, &verdicts, config);
    Verdicts { series: verdicts, testers }
}

/// Orders the months: what matters most first, then what used the larger share of the room.
fn rank_months(verdicts: &mut [SeriesVerdict]) {
    let mut order: Vec<usize> =
        (0..verdicts.len()).filter(|n| verdicts[*n].month.is_some()).collect();
    let of = |n: usize| {
        let month = verdicts[n].month.as_ref().map(|m| &m.0);
        let used = month.and_then(|m| m.room_used).map_or(0.0, f64::abs);
        (month.map(|m| m.matters), used)
    };
    order.sort_by(|a, b| {
        let ((x, used_x), (y, used_y)) = (of(*a), of(*b));
        x.cmp(&y).then(used_y.total_cmp(&used_x)).then(a.cmp(b))
    });
    for (rank, n) in order.into_iter().enumerate() {
        if let Some(month) = &mut verdicts[n].month {
            month.1 = rank + 1;
        }
    }
}

/// What is counted in the period judged, beside the healthy body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    /// The limit in force, mA.
    pub limit_ma: Option<f64>,
    /// The units.
    pub judged: Judged,
    /// Over-limit results at the limit in force.
    pub trips: f64,
    /// Units a month.
    pub units_per_month: f64,
    /// Strays above the body that passed.
    pub strays_passed: u64,
}

/// The evidence for a verdict: what the body says and what was counted.
#[must_use]
pub fn evidence_of(setting: BandInput, healthy: Option<&Healthy>, counted: &Counted) -> Evidence {
    let tail = |t: &TailNumbers| Tail {
        quantile_ma: t.quantile_ma,
        lower_ma: t.lower_ma,
        upper_ma: t.upper_ma,
        upper_at_horizon_ma: t.upper_at_horizon_ma,
    };
    let in_use = healthy.and_then(|h| h.in_use.as_ref().ok()).copied();
    let strays_above = healthy.map_or(0.0, |h| h.body.strays.above.count);
    Evidence {
        setting,
        high_limit_ma: counted.limit_ma,
        x05_ma: healthy.and_then(|h| h.quantiles[0].as_ref()).map(|e| e.value),
        apart: healthy.and_then(|h| h.apart.as_ref()).map(tail),
        together: healthy.and_then(|h| h.together.as_ref()).map(tail),
        in_use: if in_use == Some(Which::Apart) { Answer::Apart } else { Answer::Together },
        excess_share: healthy.map(|h| h.body.excess.share.value),
        judged: counted.judged,
        healthy_rejects_seen: match in_use {
            Some(Which::Apart) => (counted.trips - strays_above).max(0.0),
            _ => counted.trips,
        },
        expected_reject_share: healthy.and_then(|h| h.reject_share.clone()),
        units_per_month: counted.units_per_month,
        strays_passed: counted.strays_passed,
        limit_reached_on: healthy.and_then(|h| h.crossing).map(|c| Forecast {
            date: date_of(c.day),
            low: date_of(c.low),
            high: c.high.map(date_of),
        }),
    }
}

fn judge_series(
    series: &Series,
    moved: &SeriesMovement,
    finding: &Finding,
    config: &Config,
) -> SeriesVerdict {
    let key = &series.key;
    let model = config.model(&key.model);
    let limit_ma = moved.limits.now.high_pa.map(ma);
    let healthy = finding.healthy.as_ref().ok();
    let quantile = |n: usize| healthy.and_then(|h| h.quantiles[n].as_ref()).map(|e| e.value);
    let x50 = quantile(1).unwrap_or_else(|| moved.typical_now_ma());
    let adds = if key.test.is_dc() || key.current == Current::InPhase {
        LeakAdds::InPhase
    } else {
        LeakAdds::AtRightAngles
    };
    let setting = BandInput {
        x50_ma: x50,
        upper_now_ma: f64::INFINITY,
        upper_at_horizon_ma: None,
        adds,
        applied_v: key.applied_v(),
        leak_path_mohm: model.leak_path_mohm,
        ceiling_ma: config.ceiling.get(key.test.key()).copied(),
        tester_range_ma: config.tester.range_ma,
        reading_step_ma: finding.step_ma,
        limit_step_ma: model.limit_step_ma.or(config.limit_step_ma),
    };
    let judged = Judged {
        from: date_of(moved.period.from),
        to: date_of(moved.period.to),
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count")]
        units: finding.units_judged as u64,
        production_days: finding.days_judged,
        lots: finding.lots_judged,
    };
    let passed = finding
        .strays
        .units
        .iter()
        .filter(|u| u.lies == crate::analysis::units::strays::Lies::Above)
        .count() as u64;
    let evidence = evidence_of(
        setting,
        healthy,
        &Counted {
            limit_ma,
            judged,
            trips: finding.trips_judged,
            units_per_month: finding.units_per_month(),
            strays_passed: passed,
        },
    );
    let verdict = judge(&evidence, config);
    let low = judge_low(
        &LowEvidence {
            low_limit_ma: moved.limits.now.low_pa.map(ma),
            open_lead_ma: finding.open_lead_ma,
            healthy: healthy.and_then(|h| h.low_side).map(|(value, lower, upper)| Tail {
                quantile_ma: value,
                lower_ma: lower,
                upper_ma: upper,
                upper_at_horizon_ma: None,
            }),
            x50_ma: x50,
            healthy_under_limit: finding.healthy_under_limit,
            limit_step_ma: evidence.setting.limit_step_ma.unwrap_or(finding.step_ma),
        },
        config,
    );
    let numbers = DriftNumbers {
        reject_share_now: healthy.and_then(|h| h.reject_share.as_ref()).map(|e| e.value),
        reject_share_at_horizon: healthy.and_then(|h| h.reject_share_at_horizon),
        ..drift_numbers(moved, config)
    };
    let flag = flag(&numbers, config);
    SeriesVerdict {
        verdict,
        low,
        flag,
        forecast: evidence.limit_reached_on,
        month: finding.month.as_ref().map(|change| {
            let say = Wording::new(x50, finding.step_ma);
            (judge_month(change, limit_ma, &say, config), 0)
        }),
        wording: Wording::new(x50, finding.step_ma),
        evidence,
    }
}

/// The band of models that share one limit, with the series that it is of.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedLimit {
    /// The shared band.
    pub band: GroupBand,
    /// Indices of its series in the pass.
    pub series: Vec<usize>,
}

/// The shared bands of every `limit_group` of the settings, one for each kind of test.
#[must_use]
pub fn limit_groups(
    pass: &Pass,
    findings: &Findings,
    verdicts: &[SeriesVerdict],
    config: &Config,
) -> Vec<SharedLimit> {
    let mut groups: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (n, series) in pass.series.iter().enumerate() {
        if let Some(group) = config.model(&series.key.model).limit_group {
            groups.entry(format!("{group}, {}", series.key.test.words())).or_default().push(n);
        }
    }
    let one = |(group, series): (String, Vec<usize>)| {
        let members: Vec<Member> = series
            .iter()
            .map(|&n| {
                let key = &pass.series[n].key;
                let twice =
                    series.iter().filter(|&&m| pass.series[m].key.model == key.model).count() > 1;
                let healthy = findings.series[n].healthy.as_ref().ok();
                Member {
                    name: if twice { key.title() } else { key.model.clone() },
                    x50_ma: healthy.and_then(|h| h.quantiles[1].as_ref()).map_or(0.0, |q| q.value),
                    band_ma: verdicts[n].verdict.band.as_ref().and_then(Band::workable_ma),
                }
            })
            .collect();
        let step_ma =
            series.iter().map(|&n| verdicts[n].evidence.setting.step_ma()).fold(0.0, f64::max);
        SharedLimit { band: share_limit(&group, &members, step_ma), series }
    };
    groups.into_iter().map(one).collect()
}
