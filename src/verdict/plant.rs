//! Findings of a whole plant → verdicts: every series by the same rules.

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::body::describe::Which;
use crate::analysis::body::healthy::{Healthy, TailNumbers};
use crate::analysis::body::rise::{BeforeRise, NoBefore, Rise, RiseKind};
use crate::analysis::units::strays::Lies;
use crate::analysis::{Finding, Findings};
use crate::config::Config;
use crate::day::date_of;

use crate::movement::material::{DriftFlag, DriftNumbers, drift_numbers, flag};
use crate::movement::period::Judged;
use crate::movement::readings::ma;
use crate::movement::{Movement, SeriesMovement};
use crate::series::{Current, Pass, Series};
use crate::verdict::band::{Band, BandInput, OtherLeakPath};
use crate::verdict::evidence::{Answer, Before, Evidence, Forecast, RiseEvidence, Tail};
use crate::verdict::group::{GroupBand, Member, share_limit};
use crate::verdict::limit::judge as judge_limit;
use crate::verdict::limits::JudgedLimits;
use crate::verdict::low_limit::{LowEvidence, judge_low};
use crate::verdict::month::{self, MonthJudged};
use crate::verdict::physics::LeakAdds;
use crate::verdict::reason::Reason;
use crate::words::Wording;
use crate::words::numbers::whole;

/// What was decided about one series.
#[derive(Debug)]
pub struct SeriesVerdict {
    /// Both limits.
    pub limits: JudgedLimits,
    /// Whether it drifts.
    pub flag: DriftFlag,
    /// When the limit is reached.
    pub forecast: Option<Forecast>,
    /// How currents of this series are printed.
    pub wording: Wording,
    /// What it was reached from.
    pub evidence: Evidence,
    /// The month under review; `None` where it has no unit.
    pub month: Option<MonthJudged>,
}

impl SeriesVerdict {
    /// Takes back what was decided, since a file of the series is probably misread.
    fn withhold(&mut self) {
        self.limits.high = self.limits.high.withheld();
        let low = &mut self.limits.low;
        (low.open_lead_passes, low.from_ma, low.to_ma, low.suggested_ma) = (None, None, None, None);
        low.reasons.clear();
        self.limits.apart.clear();
        self.flag = DriftFlag {
            flagged: false,
            certain: false,
            material: Vec::new(),
            sentence: Reason::Misread.sentence(self.wording),
        };
        self.forecast = None;
        self.month = None;
    }
}

/// Judges every series; nothing is decided about those `withheld`.
#[must_use]
pub fn judge_all(
    pass: &Pass,
    movement: &Movement,
    findings: &Findings,
    withheld: &BTreeSet<usize>,
    config: &Config,
) -> Vec<SeriesVerdict> {
    let mut verdicts: Vec<SeriesVerdict> = pass
        .series
        .iter()
        .zip(&movement.series)
        .zip(&findings.series)
        .map(|((series, moved), finding)| judge_series(series, moved, finding, config))
        .collect();
    withheld.iter().for_each(|n| verdicts[*n].withhold());
    month::rank(verdicts.iter_mut().filter_map(|v| v.month.as_mut()));
    verdicts
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
    let in_use = healthy.and_then(|h| h.in_use.as_ref().ok()).copied();
    let strays_above = healthy.map_or(0.0, |h| h.body.strays.above.count);
    Evidence {
        setting,
        high_limit_ma: counted.limit_ma,
        x05_ma: healthy.and_then(|h| h.quantiles[0].as_ref()).map(|e| e.value),
        apart: healthy.and_then(|h| h.apart.as_ref()).map(tail_of),
        together: healthy.and_then(|h| h.together.as_ref()).map(tail_of),
        in_use: answer_of(in_use),
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
        rise: None,
        may_rise: false,
    }
}

fn tail_of(t: &TailNumbers) -> Tail {
    Tail {
        quantile_ma: t.quantile_ma.value,
        lower_ma: t.lower_ma,
        upper_ma: t.upper_ma,
        upper_at_horizon_ma: t.upper_at_horizon_ma,
    }
}

fn answer_of(in_use: Option<Which>) -> Answer {
    if in_use == Some(Which::Apart) { Answer::Apart } else { Answer::Together }
}

/// A rise as evidence.
#[must_use]
pub fn rise_of(rise: &Rise) -> RiseEvidence {
    let before = |b: &BeforeRise| {
        let x50 = b.healthy.quantiles[1].as_ref().ok_or(NoBefore::NotDescribed)?;
        Ok(Before {
            x50_ma: x50.value,
            apart: b.healthy.apart.as_ref().map(tail_of),
            together: b.healthy.together.as_ref().map(tail_of),
            in_use: answer_of(b.healthy.in_use.as_ref().ok().copied()),
            judged: b.judged,
        })
    };
    RiseEvidence {
        kind: rise.kind,
        since: rise.since.map(date_of),
        earliest: rise.earliest.map(date_of),
        before: rise.before.as_ref().map_err(|e| *e).and_then(before),
    }
}

fn judge_series(
    series: &Series,
    moved: &SeriesMovement,
    finding: &Finding,
    config: &Config,
) -> SeriesVerdict {
    let limit_ma = moved.limits.now.high_pa.map(ma);
    let healthy = finding.healthy.as_ref().ok();
    let setting = setting_of(series, moved, finding, config);
    let (x50_ma, wording) = (setting.x50_ma, Wording::new(setting.x50_ma, finding.step_ma));
    let mut evidence = evidence_of(
        setting,
        healthy,
        &Counted {
            limit_ma,
            judged: Judged {
                from: date_of(moved.period.from),
                to: date_of(moved.period.to),
                units: whole(finding.units_judged),
                production_days: finding.days_judged,
                lots: finding.lots_judged,
            },
            trips: finding.trips_judged,
            units_per_month: finding.units_per_month(),
            strays_passed: finding.strays.passed(Lies::Above),
        },
    );
    let low = LowEvidence {
        low_limit_ma: moved.limits.now.low_pa.map(ma),
        open_lead_ma: finding.open_lead_ma,
        healthy: healthy.and_then(|h| h.low_side).map(|b| Tail {
            quantile_ma: b.value,
            lower_ma: b.lower,
            upper_ma: b.upper,
            upper_at_horizon_ma: None,
        }),
        x50_ma,
        x05_ma: evidence.x05_ma,
        reading_step_ma: evidence.setting.reading_step_ma,
        healthy_under_limit: finding.healthy_under_limit,
        limit_step_ma: evidence.setting.step_ma(),
    };
    let numbers = DriftNumbers {
        reject_share_now: healthy.and_then(|h| h.reject_share.as_ref()).map(|e| e.value),
        reject_share_at_horizon: healthy.and_then(|h| h.reject_share_at_horizon),
        ..drift_numbers(moved, config)
    };
    let flag = flag(&numbers, config);
    // A step is a boundary only where it is certain and material; a slope is by its flag.
    let material = |r: &&Rise| r.kind == RiseKind::Step || flag.flagged;
    evidence.rise = finding.rise.as_ref().filter(material).map(rise_of);
    evidence.may_rise = finding.may_rise;
    SeriesVerdict {
        limits: JudgedLimits {
            high: judge_limit(&evidence, config),
            low: judge_low(&low, config),
            apart: finding.causes.clone(),
            period: finding.period.clone(),
        },
        flag,
        forecast: evidence.limit_reached_on,
        month: finding.month.as_ref().map(|change| month::judge_month(change, &wording, config)),
        wording,
        evidence,
    }
}

/// The lowest leak path stated for a model other than `model`.
fn other_leak_path(model: &str, config: &Config) -> Option<OtherLeakPath> {
    let stated = config.model.iter().filter(|(name, _)| name.as_str() != model);
    stated
        .filter_map(|(name, m)| {
            Some(OtherLeakPath { model: name.clone(), mohm: m.leak_path_mohm? })
        })
        .min_by(|a, b| a.mohm.total_cmp(&b.mohm))
}

/// Voltage, kind of current, typical reading, caps and steps of a series.
fn setting_of(
    series: &Series,
    moved: &SeriesMovement,
    finding: &Finding,
    config: &Config,
) -> BandInput {
    let key = &series.key;
    let model = config.model(&key.model);
    let healthy = finding.healthy.as_ref().ok();
    let x50 = healthy.and_then(|h| h.quantiles[1].as_ref()).map(|e| e.value);
    BandInput {
        x50_ma: x50.unwrap_or_else(|| moved.typical_now_ma()),
        upper_now_ma: f64::INFINITY,
        adds: if key.test.is_dc() || key.current == Current::InPhase {
            LeakAdds::InPhase
        } else {
            LeakAdds::AtRightAngles
        },
        applied_v: key.applied_v(),
        leak_path_mohm: model.leak_path_mohm,
        other_leak_path: other_leak_path(&key.model, config),
        ceiling_ma: config.ceiling.get(key.test.key()).copied(),
        tester_range_ma: config.tester.range_ma,
        reading_step_ma: finding.step_ma,
        limit_step_ma: model.limit_step_ma.or(config.limit_step_ma),
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
                    band_ma: verdicts[n].limits.high.band.as_ref().and_then(Band::workable_ma),
                }
            })
            .collect();
        let step_ma =
            series.iter().map(|&n| verdicts[n].evidence.setting.step_ma()).fold(0.0, f64::max);
        SharedLimit { band: share_limit(&group, &members, step_ma), series }
    };
    groups.into_iter().map(one).collect()
}
