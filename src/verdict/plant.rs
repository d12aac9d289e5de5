//! Findings of a whole plant → verdicts: first which period of each series is judged, then the judgement.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::Rules;
use super::band::{Band, BandInput};
use super::evidence::{Answer, Evidence, Forecast, Judged, Tail};
use super::group::{GroupBand, Member, share_limit};
use super::limit::{Verdict, judge};
use super::low_limit::{LowEvidence, LowLimit, judge_low};
use super::month::{MonthJudged, judge_month};
use super::movement::{DriftFlag, DriftNumbers, Shape, Step, established, flag};
use super::period::{DayUnits, Period, horizon_end, judged_from};
use super::physics::LeakAdds;
use super::wording::Wording;
use crate::analysis::body::Which;
use crate::analysis::drift::{Drift, Shape as Found};
use crate::analysis::healthy::{Healthy, TailNumbers};
use crate::analysis::readings::ma;
use crate::analysis::{Finding, Findings, Judge, Movement, SeriesMovement};
use crate::config::Config;
use crate::records::{Current, Day, Outcome, date_of, day_number};
use crate::series::{Pass, Series};

/// What was decided about one series.
#[derive(Debug)]
pub struct SeriesVerdict {
    /// The limit's verdict.
    pub verdict: Verdict,
    /// The low limit.
    pub low: LowLimit,
    /// Whether it drifts.
    pub flag: DriftFlag,
    /// Why this period.
    pub period: String,
    /// When the limit is reached.
    pub forecast: Option<Forecast>,
    /// How currents of this series are printed.
    pub wording: Wording,
    /// What it was reached from.
    pub evidence: Evidence,
    /// The month under review with its place among all series, 1 first; `None` where it has no unit.
    pub month: Option<(MonthJudged, usize)>,
}

/// The rules of these settings.
#[must_use]
pub fn rules(config: &Config) -> Rules {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked settings: small and above zero"
    )]
    let whole = |x: f64| x.round().max(0.0) as u64;
    Rules {
        accepted_reject_share: config.accepted_reject_share,
        confidence: config.confidence,
        horizon_months: u32::try_from(whole(config.horizon_months)).unwrap_or(6),
        judged_months: u32::try_from(whole(config.judged_months)).unwrap_or(6),
        judged_months_season: u32::try_from(whole(config.judged_months_season)).unwrap_or(12),
        judged_units_min: whole(config.judged_units),
        verdict_units: whole(config.verdict_units),
        verdict_days: u64::from(config.verdict_days),
        verdict_lots: u64::from(config.verdict_lots),
        provisional_units: whole(config.provisional_units),
        too_tight_rejects: config.too_tight_rejects,
        guard_pct: config.tester.accuracy_pct,
        guard_steps: config.tester.accuracy_steps,
        drift_room_share: config.material_room_share,
        drift_reading_steps: config.material_steps,
        step_room_share: config.material_step_room_share,
        step_typical_share: config.material_step_typical_share,
        retests_allowed: u64::from(config.retests_allowed),
        ..Rules::default()
    }
}

/// Which period of each series is judged, and whether its readings are carried along a slope.
#[must_use]
pub fn periods(pass: &Pass, movement: &Movement, config: &Config) -> Vec<(Judge, String)> {
    let rules = rules(config);
    pass.series
        .iter()
        .zip(&movement.series)
        .map(|(series, moved)| period(series, moved, movement, &rules))
        .collect()
}

fn period(
    series: &Series,
    moved: &SeriesMovement,
    movement: &Movement,
    rules: &Rules,
) -> (Judge, String) {
    let limit_ma = moved.limits.now.high_pa.map(ma);
    let x50 = typical_now(moved);
    let mut steps: Vec<(Day, f64, f64)> =
        moved.drift.steps.iter().map(|s| (s.day, s.size_ma.value, moved.adjusted_p)).collect();
    if let Ok(stations) = &movement.stations {
        for (n, station) in stations.stations.iter().enumerate() {
            let used = moved.readings.iter().any(|r| usize::from(r.station) == n);
            for step in station.moved.iter().filter(|_| used) {
                steps.push((step.day, step.size_pct.value / 100.0 * x50, step.p_value));
            }
        }
    }
    let mut boundaries: Vec<Day> = steps
        .into_iter()
        .filter(|(day, size_ma, adjusted_p)| {
            established(
                &Step { date: date_of(*day), size_ma: *size_ma, adjusted_p: *adjusted_p },
                x50,
                limit_ma,
                rules,
            )
        })
        .map(|s| s.0)
        .collect();
    boundaries.sort_unstable();
    boundaries.dedup();
    let mut days: Vec<DayUnits> = Vec::new();
    for group in series.outcomes.chunk_by(|a, b| a.day == b.day) {
        let units = group
            .iter()
            .filter(|o| o.outcome != Outcome::NotCompleted)
            .map(|o| u64::from(o.count))
            .sum();
        days.push(DayUnits { day: date_of(group[0].day), units });
    }
    let dates: Vec<NaiveDate> = boundaries.iter().map(|d| date_of(*d)).collect();
    let season = moved.drift.shape == Some(Found::Season);
    let first = days.first().map_or_else(NaiveDate::default, |d| d.day);
    let (from, to, sentence) = match judged_from(&dates, &days, season, rules) {
        Some(Period { judged, sentence, .. }) => (judged.from, judged.to, sentence),
        None => (first, first, "no unit was judged".to_owned()),
    };
    let flag = flag(&drift_numbers(moved, limit_ma, None, rules), rules);
    // Whether rejects pass the accepted share is only known once readings are carried: a slope that is
    // certain and of enough reading steps is carried, and its flag is decided after that.
    let enough = moved.drift.per_month_ma.as_ref().is_some_and(|m| {
        m.value.abs() * f64::from(rules.horizon_months)
            >= rules.drift_reading_steps * moved.readings.last().map_or(0.0, |r| r.step_ma)
    });
    let slope = flag.certain
        && enough
        && matches!(moved.drift.shape, Some(Found::Slope | Found::SlopeAndStep));
    let judge = Judge {
        from: day_number(from),
        to: day_number(to),
        slope,
        horizon: day_number(horizon_end(first, to, rules)),
        boundaries,
    };
    (judge, sentence)
}

/// Typical reading of the last points.
fn typical_now(moved: &SeriesMovement) -> f64 {
    let last: Vec<f64> = moved.points.iter().rev().take(25).map(|p| p.value_ma).collect();
    crate::stats::trend::median(&last)
        .or_else(|| moved.readings.last().map(|r| r.ma))
        .unwrap_or(0.0)
}

fn drift_numbers(
    moved: &SeriesMovement,
    limit_ma: Option<f64>,
    finding: Option<&Finding>,
    rules: &Rules,
) -> DriftNumbers {
    let healthy = finding.and_then(|f| f.healthy.as_ref().ok());
    DriftNumbers {
        x50_ma: typical_now(moved),
        high_limit_ma: limit_ma,
        reading_step_ma: moved.readings.last().map_or(0.0, |r| r.step_ma),
        reject_share_now: healthy.and_then(|h| h.reject_share.as_ref()).map(|e| e.value),
        reject_share_at_horizon: healthy.and_then(|h| h.reject_share_at_horizon),
        ..numbers_of(&moved.drift, moved.adjusted_p, rules)
    }
}

/// What a movement says by itself; readings, limit and rejects are left at nothing for the caller to give.
#[must_use]
pub fn numbers_of(drift: &Drift, adjusted_p: f64, rules: &Rules) -> DriftNumbers {
    let sloped = matches!(drift.shape, Some(Found::Slope | Found::SlopeAndStep));
    DriftNumbers {
        shape: drift.shape.map(|s| match s {
            Found::Steady => Shape::Steady,
            Found::Slope => Shape::Slope,
            Found::Step => Shape::Step,
            Found::SlopeAndStep => Shape::SlopeAndStep,
            Found::Season => Shape::Season,
        }),
        adjusted_p: drift.shape.map(|_| adjusted_p),
        x50_ma: 0.0,
        high_limit_ma: None,
        reading_step_ma: 0.0,
        change_in_horizon_ma: drift
            .per_month_ma
            .as_ref()
            .filter(|_| sloped)
            .map(|e| e.value * f64::from(rules.horizon_months)),
        largest_step_ma: drift
            .steps
            .iter()
            .map(|s| s.size_ma.value)
            .max_by(|a, b| a.abs().total_cmp(&b.abs())),
        reject_share_now: None,
        reject_share_at_horizon: None,
    }
}

/// Judges every series.
#[must_use]
pub fn judge_all(
    pass: &Pass,
    movement: &Movement,
    findings: &Findings,
    periods: &[(Judge, String)],
    config: &Config,
) -> Vec<SeriesVerdict> {
    let rules = rules(config);
    let mut verdicts: Vec<SeriesVerdict> = pass
        .series
        .iter()
        .zip(&movement.series)
        .zip(&findings.series)
        .zip(periods)
        .map(|(((series, moved), finding), (_, sentence))| {
            judge_series(series, moved, finding, sentence, config, &rules)
        })
        .collect();
    rank_months(&mut verdicts);
    verdicts
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
    period: &str,
    config: &Config,
    rules: &Rules,
) -> SeriesVerdict {
    let key = &series.key;
    let model = config.model(&key.model);
    let limit_ma = moved.limits.now.high_pa.map(ma);
    let healthy = finding.healthy.as_ref().ok();
    let quantile = |n: usize| healthy.and_then(|h| h.quantiles[n].as_ref()).map(|e| e.value);
    let x50 = quantile(1).unwrap_or_else(|| typical_now(moved));
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
        from: date_of(finding.judge.from),
        to: date_of(finding.judge.to),
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count")]
        units: finding.units_judged as u64,
        production_days: finding.days_judged,
        lots: finding.lots_judged,
    };
    let passed = finding
        .strays
        .units
        .iter()
        .filter(|u| u.lies == crate::analysis::unit_lists::Lies::Above)
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
    let verdict = judge(&evidence, rules);
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
        rules,
    );
    let flag = flag(&drift_numbers(moved, limit_ma, Some(finding), rules), rules);
    SeriesVerdict {
        verdict,
        low,
        flag,
        period: period.to_owned(),
        forecast: evidence.limit_reached_on,
        month: finding.month.as_ref().map(|change| {
            let say = Wording::new(x50, finding.step_ma);
            (judge_month(change, limit_ma, &say, rules), 0)
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

/// Whether a station's offset is certain and large enough to be flagged: the larger of 1 % and half the
/// stated accuracy.
#[must_use]
pub fn station_flagged(offset_pct: &crate::stats::estimate::Estimate, config: &Config) -> bool {
    let least = 1.0_f64.max(config.tester.accuracy_pct / 2.0);
    offset_pct.value.abs() >= least && !offset_pct.contains(0.0)
}
