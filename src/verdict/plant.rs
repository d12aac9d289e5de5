//! Findings of a whole plant → verdicts: every series by the same rules.

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::body::describe::Which;
use crate::analysis::body::healthy::{Healthy, TailNumbers};
use crate::analysis::body::offsets::AtStation;
use crate::analysis::body::rise::{BeforeRise, NoBefore, Rise, RiseKind};
use crate::analysis::units::strays::Lies;
use crate::analysis::{Finding, Findings};
use crate::config::Config;
use crate::day::date_of;

use crate::movement::material::{DriftFlag, DriftNumbers, drift_numbers, flag};
use crate::movement::period::Judged;
use crate::movement::readings::ma;
use crate::movement::scale::Carry;
use crate::movement::{Movement, SeriesMovement};
use crate::series::{Current, Pass, Series, SeriesKey};
use crate::verdict::band::{Band, BandInput, OtherLeakPath};
use crate::verdict::evidence::{Answer, Before, Evidence, Forecast, HoldsAt, RiseEvidence, Tail};
use crate::verdict::group::{GroupBand, Member, share_limit};
use crate::verdict::limit::judge as judge_limit;
use crate::verdict::limits::JudgedLimits;
use crate::verdict::low_limit::{LowEvidence, judge_low};
use crate::verdict::month::{self, EndedJump, MonthJudged};
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
        .enumerate()
        .map(|(n, ((series, moved), finding))| {
            let month = finding.month.as_ref();
            let ended = month.and_then(|m| EndedJump::of(series, &findings.jumps, n, m.month));
            judge_series(pass, series, moved, finding, ended, config)
        })
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
        typical_ma: setting.x50_ma,
        setting,
        high_limit_ma: counted.limit_ma,
        holds_at: None,
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
        of_step_ma: t.of_step_ma,
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

/// The stations that a limit in force at all of them must serve.
struct Ends {
    highest: AtStation,
    lowest: AtStation,
}

impl Ends {
    /// By what typical units read at each station that runs at the limit in force; those with a limit of their own
    /// are told in the table of stations. `None` where no station is known.
    fn of(finding: &Finding, moved: &SeriesMovement, x50_ma: f64) -> Option<Self> {
        let in_force = moved.limits.now.high_pa.map(ma);
        let common = |s: &&AtStation| in_force.is_none() || s.limit_ma == in_force;
        let reads = |s: &AtStation| s.carry.at_station(x50_ma);
        let at = || finding.at_stations.iter().filter(common);
        let by = |a: &&AtStation, b: &&AtStation| reads(a).total_cmp(&reads(b));
        Some(Self { highest: *at().max_by(by)?, lowest: *at().min_by(by)? })
    }

    /// The evidence, on the scale of the series, as these stations show it: whatever serves there serves everywhere.
    fn take(&self, evidence: &mut Evidence, pass: &Pass) {
        let (high, low) = (self.highest.carry, self.lowest.carry);
        let name = |s: &AtStation| pass.plant.stations[usize::from(s.station)].clone();
        let x50 = evidence.setting.x50_ma;
        // The band is of the time before a rise.
        let before = evidence.rise.as_ref().and_then(|r| r.before.as_ref().ok()).map(|b| b.x50_ma);
        let typical = before.unwrap_or(x50);
        evidence.holds_at = Some(HoldsAt {
            highest: name(&self.highest),
            highest_typical_ma: high.at_station(typical),
            lowest: name(&self.lowest),
            lowest_typical_ma: low.at_station(typical),
            before_rise: before.is_some(),
        })
        .filter(|at| {
            at.highest_typical_ma - at.lowest_typical_ma >= evidence.setting.reading_step_ma / 2.0
        });
        let tail = |t: &mut Option<Tail>| *t = t.map(|t| t.at_station(high));
        tail(&mut evidence.apart);
        tail(&mut evidence.together);
        evidence.setting.x50_ma = low.at_station(x50);
        evidence.x05_ma = evidence.x05_ma.map(|x| low.at_station(x));
        if let Some(Ok(before)) = evidence.rise.as_mut().map(|r| r.before.as_mut()) {
            tail(&mut before.apart);
            tail(&mut before.together);
            before.x50_ma = low.at_station(before.x50_ma);
        }
    }
}

fn judge_series(
    pass: &Pass,
    series: &Series,
    moved: &SeriesMovement,
    finding: &Finding,
    ended: Option<EndedJump>,
    config: &Config,
) -> SeriesVerdict {
    let limit_ma = moved.limits.now.high_pa.map(ma);
    let healthy = finding.healthy.as_ref().ok();
    let setting = setting_of(series, moved, finding, config);
    let wording = Wording::new(setting.x50_ma, finding.step_ma);
    let ends = Ends::of(finding, moved, setting.x50_ma);
    let lowest = ends.as_ref().map_or(Carry::AS_SHOWN, |e| e.lowest.carry);
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
    if let Some(ends) = ends {
        ends.take(&mut evidence, pass);
    }
    let low = LowEvidence {
        low_limit_ma: moved.limits.now.low_pa.map(ma),
        open_lead_ma: finding.open_lead_ma,
        healthy: healthy.and_then(|h| h.low_side).map(|b| {
            let (quantile_ma, lower_ma, upper_ma) = (b.value, b.lower, b.upper);
            Tail { quantile_ma, lower_ma, upper_ma, of_step_ma: 0.0, upper_at_horizon_ma: None }
                .at_station(lowest)
        }),
        x50_ma: evidence.setting.x50_ma,
        x05_ma: evidence.x05_ma,
        reading_step_ma: evidence.setting.reading_step_ma,
        healthy_under_limit: finding.healthy_under_limit,
        limit_step_ma: evidence.setting.step_ma(),
    };
    SeriesVerdict {
        limits: JudgedLimits {
            high: judge_limit(&evidence, config),
            low: judge_low(&low, config),
            apart: finding.causes.clone(),
            period: finding.period.clone(),
        },
        flag,
        forecast: evidence.limit_reached_on,
        month: finding
            .month
            .as_ref()
            .map(|change| month::judge_month(change, ended, &wording, config)),
        wording,
        evidence,
    }
}

/// The lowest leak path stated for another model.
fn other_leak_path(key: &SeriesKey, config: &Config) -> Option<OtherLeakPath> {
    let stated = config.model.iter().filter(|(name, _)| !key.names().contains(&name.as_str()));
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
    let model = key.settings(config);
    let healthy = finding.healthy.as_ref().ok();
    let x50 = healthy.and_then(|h| h.quantiles[1].as_ref()).map(|e| e.value);
    BandInput {
        x50_ma: x50.unwrap_or_else(|| moved.typical_now_ma()),
        upper_now_ma: f64::INFINITY,
        of_step_ma: 0.0,
        adds: if key.test.is_dc() || key.current == Current::InPhase {
            LeakAdds::InPhase
        } else {
            LeakAdds::AtRightAngles
        },
        applied_v: key.applied_v(),
        leak_path_mohm: model.leak_path_mohm,
        other_leak_path: other_leak_path(key, config),
        ceiling_ma: config.ceiling.ma(key.test.key()),
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
        if let Some(group) = &series.key.settings(config).limit_group {
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
