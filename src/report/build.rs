//! Findings and verdicts → [`Review`]: everything a page may show, as plain values.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::format::whole;
use super::jumps;
use super::model::*;
use crate::analysis::body::describe::{Because, Which};
use crate::analysis::body::healthy::{Healthy, TailNumbers};
use crate::analysis::jump::{Jump, Scope, of_cause};
use crate::analysis::month::table::Month;
use crate::analysis::units::causes::Cause;
use crate::analysis::units::happenings;
use crate::analysis::units::settings::falls_short;
use crate::analysis::units::strays::{Lies, StrayUnit};
use crate::analysis::{Finding, Findings};
use crate::config::Config;
use crate::day::date_of;
use crate::day::month_of;
use crate::input::Read;
use crate::movement::drift::{Drift, Shape as Found};
use crate::movement::limits::LimitHistory;
use crate::movement::readings::ma;
use crate::movement::{GroupSplit, Movement, SeriesMovement};
use crate::review::{InputLine, Made, NotUsedLine, Review, RowCounts, SCHEMA, UnitLine};
use crate::series::{
    Current, NamedTest, Outcome, Pass, Register, Says, Series, SeriesKey, SetAside, Tests, ids,
};
use crate::stats::estimate::Estimate;
use crate::verdict::action::{Action, actions};
use crate::verdict::concern::{About, Concern, from_drift, from_verdict};
use crate::verdict::group::GroupBand;
use crate::verdict::jump::JumpVerdict;
use crate::verdict::physics::load;
use crate::verdict::plant::{SeriesVerdict, limit_groups};
use crate::verdict::reason::ReasonKind;
use crate::verdict::{Verdict, Verdicts};
pub use crate::words::time::{month_text, time_text};

/// Everything a report is built from.
#[derive(Debug, Clone, Copy)]
pub struct Parts<'a> {
    /// The pass.
    pub pass: &'a Pass,
    /// What moved.
    pub movement: &'a Movement,
    /// Changes of the share of failures.
    pub jumps: &'a [Jump],
    /// Findings.
    pub findings: &'a Findings,
    /// Verdicts.
    pub verdicts: &'a [SeriesVerdict],
    /// Events and calibrations.
    pub register: &'a Register,
    /// Settings.
    pub config: &'a Config,
    /// Name of the report.
    pub name: &'a str,
    /// Month under review.
    pub month: (i32, u32),
}

fn path_text(path: &std::path::Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

impl<'a> Parts<'a> {
    /// What the charts of a finished review are made from.
    #[must_use]
    pub fn new(review: &'a Review, pass: &'a Pass, config: &'a Config, month: (i32, u32)) -> Self {
        Self {
            pass,
            movement: &review.moved,
            jumps: &review.findings.jumps,
            findings: &review.findings,
            verdicts: &review.verdicts.series,
            register: &review.register,
            config,
            name: &review.name,
            month,
        }
    }
}

/// What one review is about.
#[derive(Debug)]
pub struct Subject {
    /// Name of the report.
    pub name: String,
    /// Month under review.
    pub month: (i32, u32),
    /// Events and calibrations.
    pub register: Register,
}

impl Review {
    /// Puts together what was read, found and decided.
    #[must_use]
    pub fn new(
        subject: Subject,
        read: &Read,
        pass: &Pass,
        movement: Movement,
        findings: Findings,
        verdicts: Verdicts,
        config: &Config,
    ) -> Self {
        let parts = &Parts {
            pass,
            movement: &movement,
            jumps: &findings.jumps,
            findings: &findings,
            verdicts: &verdicts.series,
            register: &subject.register,
            config,
            name: &subject.name,
            month: subject.month,
        };
        let ids = ids(&pass.series);
        let mut notes: Vec<String> =
            read.notes.iter().chain(&pass.notes).map(|n| n.0.clone()).collect();
        let series: Vec<SeriesReport> =
            (0..pass.series.len()).map(|n| series_report(parts, n, &ids[n], &mut notes)).collect();
        let testers = verdicts.testers.clone();
        notes.extend(testers.cannot_tell.map(|why| why.to_string()));
        let units = unit_lines(parts);
        let mut units_to_check: BTreeMap<String, u64> = BTreeMap::new();
        for unit in &units {
            *units_to_check.entry(unit.reason.clone()).or_default() += 1;
        }
        let jump_verdicts = jumps::verdicts(parts);
        if config.check_loads.is_empty() {
            notes.push("no check loads are named: whether the stations still trip is not known; name them under [check_loads]".to_owned());
        }
        notes.sort();
        notes.dedup();
        let (from, to) =
            pass.plant.days.map_or((NaiveDate::default(), NaiveDate::default()), |(a, b)| {
                (date_of(a), date_of(b))
            });
        let concerns = testers.concerns;
        let actions = action_lines(parts, &series, &units_to_check, &jump_verdicts, concerns);
        Self {
            schema: SCHEMA,
            month: month_text(subject.month),
            from,
            to,
            rows: RowCounts {
                read: pass.ledger.read,
                used: pass.ledger.used,
                set_aside: pass
                    .ledger
                    .set_aside
                    .iter()
                    .map(|(r, n)| (r.words().to_owned(), *n))
                    .collect(),
                unreadable: pass.ledger.unreadable,
            },
            actions,
            limit_groups: group_reports(parts),
            series,
            stations: testers.stations,
            calibration: testers.calibrations,
            checks: findings.checks.clone(),
            units_to_check,
            settings_changes: testers.settings_changes,
            settings_differ: findings.settings.differs.clone(),
            settings_short: findings.settings.short.clone(),
            gaps: Some(findings.gaps.clone()),
            too_good: testers.too_good,
            movement: testers.moved,
            jumps: Some(jumps::reports(parts, &ids, jump_verdicts)),
            since_report: None,
            cannot_tell: testers.cannot_tell,
            notes,
            settings: config.lines(),
            made: Made {
                version: env!("CARGO_PKG_VERSION").to_owned(),
                seed: config.seed,
                inputs: read
                    .files
                    .iter()
                    .map(|f| InputLine {
                        path: path_text(&f.path),
                        bytes: f.bytes,
                        sha256: f.sha256.clone(),
                    })
                    .collect(),
                failures: read.failures.iter().map(ToString::to_string).collect(),
            },
            units,
            not_used: not_used(parts),
            moved: movement,
            findings,
            verdicts,
            name: subject.name,
            register: subject.register,
        }
    }
}

/// An estimate for the model.
pub(super) fn e(estimate: Option<&Estimate>) -> Option<E> {
    estimate.cloned()
}

fn series_report(parts: &Parts<'_>, n: usize, id: &str, notes: &mut Vec<String>) -> SeriesReport {
    let (pass, config) = (parts.pass, parts.config);
    let series = &pass.series[n];
    let (moved, finding, verdict) =
        (&parts.movement.series[n], &parts.findings.series[n], &parts.verdicts[n]);
    let key = &series.key;
    let title = title(&pass.series, key);
    let mut note = |what: String| notes.push(format!("{title}: {what}"));
    if let Err(reason) = &finding.healthy {
        note(format!("no distribution: {reason}"));
    } else if let Ok(Healthy { in_use: Err(reason), .. }) = &finding.healthy {
        note(format!("no answer about the tail: {reason}"));
    }
    for reason in low_reasons(finding) {
        note(reason);
    }
    if moved.drift.shape.is_none() {
        note(format!(
            "no shape of movement: {}",
            moved
                .drift
                .no_shape
                .map_or_else(|| "too few points".to_owned(), |r| no_shape_words(r).to_owned())
        ));
    }
    if moved.drift.season_possible {
        note("rise and fall within the year: a season is possible, but the history is shorter than 24 months".to_owned());
    }
    let count = |o| series.count(o);
    let in_month = series
        .outcomes
        .iter()
        .filter(|o| crate::day::month_of(o.day) == parts.month)
        .map(|o| u64::from(o.count))
        .sum();
    SeriesReport {
        id: id.to_owned(),
        model: key.model.clone(),
        test: key.test.key().replace(' ', "_"),
        applied_v: key.applied_v(),
        frequency_hz: key.frequency_hz(),
        test_point: (!key.test_point.is_empty()).then(|| key.test_point.clone()),
        step: (!key.step.is_empty()).then(|| key.step.clone()),
        current: if key.current == Current::InPhase { "in_phase" } else { "total" },
        dwell_s: key.dwell_s(),
        units_together: key.units_together,
        units: series.units(),
        units_this_month: in_month,
        outcomes: Outcomes {
            pass: count(Outcome::Pass),
            over_limit: count(Outcome::OverLimit),
            under_limit: count(Outcome::UnderLimit),
            breakdown: count(Outcome::Breakdown) + count(Outcome::Arc),
            arc: count(Outcome::Arc),
            not_completed: count(Outcome::NotCompleted),
            not_reached: not_reached(pass, n),
        },
        limit: limit_report(pass, finding, &moved.limits),
        distribution: finding
            .healthy
            .as_ref()
            .ok()
            .map(|h| distribution(h, finding, moved, config)),
        capability: finding.healthy.as_ref().ok().and_then(|h| h.performance.as_ref()).map(|p| {
            let steady = moved.drift.shape == Some(Found::Steady);
            CapabilityReport {
                index: if steady { "C_pkU" } else { "P_pkU" }.to_owned(),
                value: p.clone(),
            }
        }),
        expected_reject_ppm: e(finding
            .healthy
            .as_ref()
            .ok()
            .and_then(|h| h.reject_share.as_ref())
            .map(|s| s.scaled(1e6))
            .as_ref()),
        observed_reject_ppm: e(finding.observed.as_ref().map(|s| s.scaled(1e6)).as_ref()),
        low_side: low_side(finding, moved),
        verdict: verdict_report(verdict, finding),
        strays: stray_report(pass, finding, config),
        retests: RetestReport {
            failed: finding.practice.failed,
            then_passed: finding.practice.then_passed,
            repeatability_ma: e(finding.repeatability.as_ref()),
            practice: finding.practice.habits.iter().map(habit_sentence).collect(),
        },
        drift: drift_report(parts, n, moved, verdict),
        months: finding.months.iter().map(month_line).collect(),
        reading_step_ma: finding.step_ma,
        limit_changed: limit_changes_of(parts.month, &moved.limits),
        month: month_report(parts, n),
        groups_since: moved.split.as_ref().and_then(groups_since),
        charts: Vec::new(),
        title,
    }
}

/// The low limit in force against healthy units and results; `None` where there is none.
fn low_side(finding: &Finding, moved: &SeriesMovement) -> Option<LowSideReport> {
    let seen = finding.observed_low.as_ref()?.as_ref().ok();
    let low = finding.healthy.as_ref().ok().and_then(|h| h.low.as_ref());
    let steady = moved.drift.shape == Some(Found::Steady);
    let share = low.and_then(|low| low.reject_share.as_ref().ok());
    let scaled = |by: f64| e(share.map(|s| s.scaled(by)).as_ref());
    Some(LowSideReport {
        index: if steady { "C_pkL" } else { "P_pkL" }.to_owned(),
        value: e(low.and_then(|low| low.performance.as_ref().ok())),
        expected_reject_ppm: scaled(1e6),
        expected_reject_ppm_at_horizon: low
            .and_then(|low| low.reject_share_at_horizon)
            .map(|share| 1e6 * share),
        rejects_per_month: scaled(finding.units_per_month()),
        observed_reject_ppm: e(seen.map(|s| s.share.scaled(1e6)).as_ref()),
        observed_rejects: seen.map(|s| whole(s.rejected)),
        observed_units: seen.map(|s| whole(s.judged)),
    })
}

/// Why numbers about the low limit are missing; a body that is missing has its own note.
fn low_reasons(finding: &Finding) -> Vec<String> {
    let mut reasons = Vec::new();
    if let Ok(Healthy { low: Some(low), .. }) = &finding.healthy {
        if let Err(reason) = &low.performance {
            reasons.push(format!("no index against the low limit: {reason}"));
        }
        if let Err(reason) = &low.reject_share {
            reasons.push(format!("no expected share below the low limit: {reason}"));
        }
    }
    if let Some(Err(_)) = &finding.observed_low {
        reasons.push("no share of results under the low limit: no unit of the period was judged at the limit in force".to_owned());
    }
    reasons
}

/// Model and conditions; with test point and step only where two series would otherwise look alike.
#[must_use]
pub fn title(all: &[Series], key: &SeriesKey) -> String {
    let mut title = key.title();
    if all.iter().filter(|s| s.key.title() == title).count() > 1 {
        if !key.test_point.is_empty() {
            title.push_str(&format!(", {}", key.test_point));
        }
        if !key.step.is_empty() {
            title.push_str(&format!(", step {}", key.step));
        }
    }
    title
}

fn no_shape_words(reason: crate::stats::shape::NoShape) -> &'static str {
    if reason == crate::stats::shape::NoShape::TooFewPoints {
        "fewer than 20 daily or weekly points"
    } else {
        "the points do not allow one"
    }
}

/// Units of a model that failed an earlier step and never came to this one.
fn not_reached(pass: &Pass, n: usize) -> u64 {
    let key = &pass.series[n].key;
    if key.step.is_empty() {
        return 0;
    }
    let before = pass
        .series
        .iter()
        .filter(|s| s.key.model == key.model && !s.key.step.is_empty() && s.key.step < key.step)
        .map(Series::units)
        .max();
    before.map_or(0, |units| units.saturating_sub(pass.series[n].units()))
}

fn limit_report(pass: &Pass, finding: &Finding, limits: &LimitHistory) -> LimitReport {
    LimitReport {
        high_ma: limits.now.high_pa.map(ma),
        low_ma: limits.now.low_pa.map(ma),
        since: limits.since.map(date_of),
        history: limits
            .changes
            .iter()
            .map(|c| LimitChange {
                from: date_of(c.day),
                high_ma: c.limits.high_pa.map(ma),
                low_ma: c.limits.low_pa.map(ma),
                station: c.station.map(|s| pass.plant.stations[usize::from(s)].clone()),
            })
            .collect(),
        open_lead_ma: finding.open_lead_ma,
    }
}

fn distribution(
    h: &Healthy,
    finding: &Finding,
    moved: &SeriesMovement,
    config: &Config,
) -> DistributionReport {
    let body = &h.body;
    let mut families: Vec<FamilyReport> = body
        .average
        .fits
        .iter()
        .map(|w| FamilyReport {
            name: w.fit.law.family().name().to_owned(),
            aicc: Some(w.fit.aicc),
            weight: w.weight,
            params: w.fit.law.params().into_iter().map(|(k, v)| (k.to_owned(), v)).collect(),
            stopped: w.fit.stopped.text().to_owned(),
        })
        .collect();
    families.extend(body.average.failed.iter().map(|(family, why)| FamilyReport {
        name: family.name().to_owned(),
        aicc: None,
        weight: 0.0,
        params: BTreeMap::new(),
        stopped: why.to_string(),
    }));
    let tail = |t: &Option<TailNumbers>| {
        t.as_ref().and_then(|t| {
            Estimate::new(t.quantile_ma, t.low_ma, t.high_ma, config.confidence, "quantile 1 − a")
        })
    };
    let q = |n: usize| e(h.quantiles[n].as_ref());
    DistributionReport {
        family: body.average.best().fit.law.family().name().to_owned(),
        families,
        goodness: GoodnessReport {
            p_value: finding.goodness.0,
            largest_gap: finding.goodness.1,
        },
        x05_ma: q(0),
        x50_ma: q(1),
        x95_ma: q(2),
        x99_ma: q(3),
        x99_865_ma: q(4),
        groups: if moved.split.is_some() || body.groups.is_some() {
            2
        } else {
            1
        },
        split_by: moved.split.as_ref().map(|s| s.split.factor.clone()),
        second_group_since: moved.split.as_ref().and_then(|s| s.since).map(date_of),
        tail: TailReport {
            in_use: match h.in_use {
                Ok(Which::Apart) => "apart",
                Ok(Which::Together) => "together",
                Err(_) => "none",
            }
            .to_owned(),
            apart_ma: tail(&h.apart),
            together_ma: tail(&h.together),
            excess_share: Some(body.excess.share.clone()),
            approximate: body
                .approximate(config.accepted_reject_share)
                .into_iter()
                .map(|why| ApproximateReport {
                    reason: why.key(),
                    sentence: why.words(),
                })
                .collect(),
        },
        in_use_because: match &body.in_use {
            Ok((_, because)) => match because {
                Because::NothingBeyond => {
                    "no stray, and no more readings in the tail than the body expects"
                }
                Because::Strays => "readings stand apart from the healthy body",
                Because::Excess => "more readings lie in the tail than the body expects",
                Because::LongTail => {
                    "more readings lie in the tail than the body expects, and a long tail explains them as well as strays would"
                }
                Because::TooSmall => "the series is too small for a tail of its own",
                Because::TwoGroups => "two groups: no single distribution describes them",
                Because::BodyTooLong => {
                    "the fitted body expects more readings in the tail than there are"
                }
            }
            .to_owned(),
            Err(reason) => reason.to_string(),
        },
    }
}

fn verdict_report(v: &SeriesVerdict, finding: &Finding) -> VerdictReport {
    let verdict = &v.verdict;
    let mut reasons: Vec<String> = verdict.reasons.iter().map(|r| r.sentence.clone()).collect();
    reasons.extend(finding.causes.iter().map(|c| {
        format!(
            "{} Its {} units are no part of the healthy body and are counted apart.",
            cause_sentence(c),
            c.units
        )
    }));
    reasons.extend(v.low.reasons.iter().map(|r| r.sentence.clone()));
    reasons.push(finding.period.sentence.clone());
    let proving = verdict.suggested.as_ref().and_then(|s| {
        let loads = s.proving.as_ref()?;
        Some(format!("{} must trip, {} must pass", load(&loads.must_trip), load(&loads.must_pass)))
    });
    VerdictReport {
        verdict: verdict.kind.map(|k| k.key().to_owned()),
        provisional: verdict.provisional,
        band_low_ma: verdict.band_low_ma.filter(|x| x.is_finite()),
        band_high_ma: verdict.band_high_ma.filter(|x| x.is_finite()),
        band_ends: band_ends(verdict),
        blind_spot_mohm: verdict.blind_spot_mohm,
        reasons,
        judged: Some(JudgedReport {
            from: verdict.judged.from,
            to: verdict.judged.to,
            units: verdict.judged.units,
        }),
        suggested_ma: verdict.suggested_ma(),
        fits_until: verdict.fits_until.map(|f| f.date),
        units_needed: verdict.units_needed,
        rejects_per_month: e(verdict.rejects_per_month.as_ref()),
        low_limit_from_ma: v.low.from_ma,
        low_limit_to_ma: v.low.to_ma,
        open_lead_passes: v.low.open_lead_passes,
        sentence: verdict.sentence.clone(),
        words: verdict.kind.map_or("no limit known", |k| k.words()).to_owned(),
        proving,
    }
}

/// Every rule about an end of the band, the lower end first.
fn band_ends(verdict: &Verdict) -> Vec<BandEndReport> {
    let Some(band) = &verdict.band else {
        return Vec::new();
    };
    let lower = verdict.reasons.iter().find(|r| r.kind == ReasonKind::LowerEnd).map(|reason| {
        BandEndReport {
            end: "low",
            rule: "healthy",
            ma: Some(band.lower_ma).filter(|x| x.is_finite()),
            sets: true,
            sentence: reason.sentence.clone(),
        }
    });
    let upper = band.ends.iter().map(|end| BandEndReport {
        end: "high",
        rule: end.kind.key(),
        ma: Some(end.ma).filter(|x| x.is_finite()),
        sets: end.kind == band.upper_set_by,
        sentence: end.sentence.clone(),
    });
    lower.into_iter().chain(upper).collect()
}

/// A lot whose failures stand out, in words.
fn cause_sentence(c: &Cause) -> String {
    format!(
        "{} {} stands out: {} of its {} units failed, {:.1} expected from all others ({} to {}).",
        c.factor,
        c.level,
        c.failed,
        c.units,
        c.expected,
        date_of(c.days.0),
        date_of(c.days.1)
    )
}

fn stray_report(pass: &Pass, finding: &Finding, config: &Config) -> StrayReport {
    StrayReport {
        above: whole(finding.strays.above),
        below: whole(finding.strays.below),
        units: finding
            .strays
            .units
            .iter()
            .take(config.strays_listed)
            .map(|u| StrayLine {
                serial: u.test.serial.clone(),
                tested_at: time_text(u.test.time),
                station: pass.plant.stations[usize::from(u.test.station)].clone(),
                reading_ma: u.reading_ma,
                side: if u.lies == Lies::Above { "above" } else { "below" },
            })
            .collect(),
    }
}

fn habit_sentence(h: &crate::analysis::units::practice::Habit) -> String {
    format!(
        "{} {} on {}: {} units tripped, {} passed in the end after {:.1} further tests each (all others: {} of {} passed)",
        h.factor, h.level, h.station, h.units, h.passed, h.tests_each, h.others.1, h.others.0
    )
}

fn drift_report(
    parts: &Parts<'_>,
    n: usize,
    moved: &SeriesMovement,
    v: &SeriesVerdict,
) -> DriftReport {
    let drift: &Drift = &moved.drift;
    let named = happenings::of_series(parts.pass, n, moved, parts.findings, parts.register)
        .name(&drift.steps);
    DriftReport {
        shape: drift.shape.map(|s| shape_key(s).to_owned()),
        since: drift.since.map(date_of),
        flagged: v.flag.flagged,
        per_month_ma: e(drift.per_month_ma.as_ref()),
        p_value: drift.shape.map(|_| moved.adjusted_p),
        rho: drift.shape.map(|_| drift.rho),
        smallest_step_ma: drift.smallest_step_ma,
        steps: drift
            .steps
            .iter()
            .zip(named)
            .map(|(s, event)| StepLine {
                date: date_of(s.day),
                date_low: date_of(s.day_low),
                date_high: date_of(s.day_high),
                size_ma: s.size_ma.clone(),
                event,
            })
            .collect(),
        explained: drift
            .explained
            .iter()
            .map(|x| ExplainedLine {
                what: match x.what {
                    crate::movement::drift::RoomFactor::Humidity => "humidity",
                    crate::movement::drift::RoomFactor::Temperature => "temperature",
                }
                .to_owned(),
                share: x.share.clone(),
            })
            .collect(),
        limit_reached_on: v.forecast.map(|f| ReachedReport {
            date: f.date,
            low: f.low,
            high: f.high,
        }),
        sentence: v.flag.sentence.clone(),
    }
}

/// The word of a shape in JSON.
#[must_use]
pub fn shape_key(shape: Found) -> &'static str {
    match shape {
        Found::Steady => "steady",
        Found::Slope => "slope",
        Found::Step => "step",
        Found::SlopeAndStep => "slope_and_step",
        Found::Season => "season",
    }
}

fn month_line(m: &Month) -> MonthLine {
    #[expect(clippy::cast_precision_loss, reason = "counts of a month")]
    let share = (m.judged > 0).then(|| m.over_limit as f64 / m.judged as f64);
    MonthLine {
        month: month_text(m.month),
        units: m.units,
        x50_ma: m.quantiles.map(|q| q[1]),
        x95_ma: m.quantiles.map(|q| q[2]),
        reject_share: share,
        p_pku: m.performance,
    }
}

/// Days of a month on which a limit changed; the first day of a series is none.
fn limit_changes_of(month: (i32, u32), limits: &LimitHistory) -> Vec<NaiveDate> {
    limits
        .changes
        .iter()
        .skip(1)
        .filter(|c| month_of(c.day) == month)
        .map(|c| date_of(c.day))
        .collect()
}

/// The month under review against the time before it; its rank is given when all are known.
fn month_report(parts: &Parts<'_>, n: usize) -> Option<MonthReport> {
    let change = parts.findings.series[n].month.as_ref()?;
    let (judged, _) = parts.verdicts[n].month.as_ref()?;
    let [before, now] = &change.failures;
    let ppm = |n: usize| e(change.expected_share[n].as_ref().map(|s| s.scaled(1e6)).as_ref());
    Some(MonthReport {
        month: month_text(change.month),
        baseline_from: change.baseline.map(|b| date_of(b.0)),
        baseline_to: change.baseline.map(|b| date_of(b.1)),
        units: change.units[1],
        units_before: change.units[0],
        x50_ma: change.typical_ma.map(|t| t[1]),
        x50_before_ma: change.typical_ma.map(|t| t[0]),
        level_pct: e(change.level_pct.as_ref()),
        room_allowed_for: change.room_allowed_for,
        room_used: judged.room_used,
        spread_ratio: e(change.spread_ratio.as_ref()),
        expected_reject_ppm: ppm(1),
        expected_reject_ppm_before: ppm(0),
        failed: now.failed,
        failure_share: e(now.share.as_ref()),
        failed_before: before.failed,
        failure_share_before: e(before.share.as_ref()),
        failure_change: e(change.failure_change.as_ref()),
        matters: judged.matters.key(),
        matters_words: judged.matters.words(),
        rank: parts.verdicts[n].month.as_ref()?.1,
        sentence: judged.sentence.clone(),
    })
}

/// Which of two groups came later, and since when.
fn groups_since(split: &GroupSplit) -> Option<String> {
    let since = date_of(split.since?);
    Some(format!(
        "A second group, {} {}, since {since}.",
        split.split.factor,
        split.came_later.join(", ")
    ))
}

fn group_reports(parts: &Parts<'_>) -> Vec<GroupReport> {
    limit_groups(parts.pass, parts.findings, parts.verdicts, parts.config)
        .into_iter()
        .map(|shared| group_report(shared.band))
        .collect()
}

/// A shared band as the report shows it.
#[must_use]
pub fn group_report(shared: GroupBand) -> GroupReport {
    GroupReport {
        group: shared.group,
        band_low_ma: shared.band_low_ma,
        band_high_ma: shared.band_high_ma,
        low_set_by: shared.low_set_by,
        high_set_by: shared.high_set_by,
        one_limit_serves: shared.one_limit_serves,
        sentence: shared.sentence,
    }
}

/// Reasons of `units-to-check.csv`.
pub(super) mod reason {
    pub const NEVER_PASSED: &str = "never passed";
    pub const OTHER_SETTINGS: &str = "passed only at other settings";
    pub const STRAY_ABOVE: &str = "passed with a reading above the healthy body";
    pub const STRAY_BELOW: &str = "passed with a reading below the healthy body";
    pub const OPEN_LEAD: &str = "passed with an open lead";
    pub const MORE_RETESTS: &str = "passed after more retests than allowed";
    pub const CONTRADICTED: &str = "passed against its reading";
    pub const OF_CAUSE: &str = "passed, of a lot whose failures stand out";
    pub const WRONG_CHECK: &str = "tested on a station before its next good check";
    pub const IN_DOUBT: &str = "passed, but would have failed at the corrected reading";
    pub const FROZEN: &str = "passed while the display stood still";
    pub const SHORT: &str = "passed at less than the required voltage or dwell";
}

fn unit_lines(parts: &Parts<'_>) -> Vec<UnitLine> {
    let (pass, config) = (parts.pass, parts.config);
    let mut lines: BTreeSet<UnitLine> = BTreeSet::new();
    let line = |why: &str, test: &NamedTest| UnitLine {
        reason: why.to_owned(),
        model: test.model.clone(),
        serial: test.serial.clone(),
        tested_at: time_text(test.time),
        station: pass.plant.stations[usize::from(test.station)].clone(),
        reading_ma: test.reading_pa.map_or_else(String::new, |pa| ma(pa).to_string()),
        place: format!("{}, row {}", path_text(&test.source.file), test.line),
    };
    for finding in &parts.findings.series {
        for StrayUnit { test, lies, .. } in &finding.strays.units {
            let why = match lies {
                Lies::Above => reason::STRAY_ABOVE,
                Lies::Below => reason::STRAY_BELOW,
                Lies::OpenLead => reason::OPEN_LEAD,
            };
            lines.insert(line(why, test));
        }
    }
    for h in pass.histories() {
        let why = if !h.passed && !h.passed_elsewhere {
            reason::NEVER_PASSED
        } else if h.passed_elsewhere {
            reason::OTHER_SETTINGS
        } else if h.retests > config.retests_allowed {
            reason::MORE_RETESTS
        } else {
            continue;
        };
        let serial = pass.first_of(h).serial().to_owned();
        lines.insert(line(why, &NamedTest { serial, ..pass.last_of(h).named() }));
    }
    for test in parts.findings.doubts.iter().flat_map(|d| &d.units) {
        lines.insert(line(reason::IN_DOUBT, test));
    }
    for test in parts.findings.too_good.frozen.iter().flat_map(|f| &f.units) {
        lines.insert(line(reason::FROZEN, test));
    }
    let wrong: Vec<(&str, i64, i64)> = parts
        .findings
        .checks
        .iter()
        .flatten()
        .flat_map(|c| {
            c.wrong.iter().map(|w| {
                // What was tested since the last right answer is as doubtful as what came after.
                let from = w.last_good.map_or(i64::MIN, |t| t + 1);
                (c.station.as_str(), from, w.next_good.unwrap_or(i64::MAX))
            })
        })
        .collect();
    let named = jumps::lots(parts);
    for test in pass.tests().flat_map(Tests::all) {
        if test.set_aside() == Some(SetAside::Contradicted) {
            lines.insert(line(reason::CONTRADICTED, &test.named()));
        }
        if test.outcome() != Outcome::Pass || test.set_aside().is_some() {
            continue;
        }
        let (station, time) = (test.station(), test.time());
        let name = &pass.plant.stations[usize::from(station)];
        if let Some(series) = test.series() {
            let levels = test.levels();
            let causes = &parts.findings.series[series].causes;
            let of_jump = |(jump, cause): &(&Jump, &_)| {
                jump.after.window.has(test.day())
                    && jump.scope == Scope::Series(series as u32)
                    && of_cause(pass, cause, station, series, test.factors())
            };
            if causes.iter().any(|c| levels[c.index] == c.level) || named.iter().any(of_jump) {
                lines.insert(line(reason::OF_CAUSE, &test.named()));
            }
            if falls_short(&pass.series[series].key, test.settings(), config) {
                lines.insert(line(reason::SHORT, &test.named()));
            }
        }
        if wrong.iter().any(|(s, from, to)| s == name && (*from..*to).contains(&time)) {
            lines.insert(line(reason::WRONG_CHECK, &test.named()));
        }
    }
    lines.into_iter().collect()
}

fn not_used(parts: &Parts<'_>) -> Vec<NotUsedLine> {
    let pass = parts.pass;
    let mut lines: Vec<NotUsedLine> = pass
        .unreadable
        .iter()
        .map(|u| {
            let source = pass.source(u.source);
            NotUsedLine {
                file: path_text(&source.file),
                sheet: source.sheet.clone().unwrap_or_default(),
                row: u.line,
                part: 0,
                kind: "unreadable",
                reason: u.column.to_string(),
                expected: u.expected.to_string(),
                found: u.found.to_string(),
                model: String::new(),
                serial: String::new(),
                tested_at: String::new(),
            }
        })
        .collect();
    for test in pass.tests().flat_map(Tests::all) {
        let Some(why) = test.set_aside() else {
            continue;
        };
        let ended = test.outcome().words();
        let found = match test.shown() {
            None => ended.to_owned(),
            Some((pa, Says::Value)) => format!("{ended} at {} mA", ma(pa)),
            Some((pa, Says::Below)) => format!("{ended} below {} mA", ma(pa)),
            Some((pa, Says::Above)) => format!("{ended} above {} mA", ma(pa)),
        };
        lines.push(NotUsedLine {
            file: path_text(&test.source().file),
            sheet: test.source().sheet.clone().unwrap_or_default(),
            row: test.line(),
            part: test.part(),
            kind: "set aside",
            reason: why.words().to_owned(),
            expected: String::new(),
            found,
            model: test.model().to_owned(),
            serial: test.serial().to_owned(),
            tested_at: time_text(test.time()),
        });
    }
    lines.sort();
    lines
}

fn action_lines(
    parts: &Parts<'_>,
    series: &[SeriesReport],
    units: &BTreeMap<String, u64>,
    jump_verdicts: &[JumpVerdict],
    of_testers: Vec<About>,
) -> Vec<Action> {
    let mut about: Vec<About> = Vec::new();
    let whole_line = || "whole line".to_owned();
    for (n, report) in series.iter().enumerate() {
        let (v, finding) = (&parts.verdicts[n], &parts.findings.series[n]);
        let subject =
            if parts.pass.series.iter().filter(|s| s.key.model == report.model).count() > 1 {
                report.title.clone()
            } else {
                report.model.clone()
            };
        let add = |concern| About { subject: subject.clone(), concern };
        about.extend(from_verdict(&subject, &v.verdict, |x| v.wording.current(x)));
        about.extend(from_drift(&subject, &v.flag, v.forecast));
        let open = finding.strays.units.iter().filter(|u| u.lies == Lies::OpenLead).count() as u64;
        if open > 0 {
            about.push(add(Concern::PassedOpenLead { units: open }));
        }
        if v.low.open_lead_passes == Some(true) {
            let workable = v
                .low
                .from_ma
                .zip(v.low.to_ma)
                .map(|(a, b)| format!("{} to {}", v.wording.current(a), v.wording.current(b)));
            about.push(add(Concern::OpenLeadWouldPass { workable }));
        }
        if v.low.cuts_into_healthy {
            let sentence = v.low.reasons.first().map_or_else(String::new, |r| r.sentence.clone());
            about.push(add(Concern::LowLimitTooHigh { sentence }));
        }
        // A jump says it better: since when, and how sure.
        let alone = |c: &&Cause| !jumps::covers(parts, n, &c.factor, &c.level);
        about.extend(finding.causes.iter().filter(alone).map(|c| {
            add(Concern::Jump {
                sentence: cause_sentence(c),
                next_step: "Test its units that passed again before shipment (units-to-check.csv)."
                    .to_owned(),
            })
        }));
        let more = finding.practice.habits.iter().map(|h| h.units).sum::<u64>();
        if more > 0 {
            about.push(add(Concern::RetestedUntilPass {
                units: more,
                allowed: u64::from(parts.config.retests_allowed),
            }));
        }
    }
    about.extend(jumps::concerns(parts, jump_verdicts));
    let mut count = |why: &str, concern: fn(u64) -> Concern| {
        if let Some(&units) = units.get(why) {
            about.push(About { subject: whole_line(), concern: concern(units) });
        }
    };
    count(reason::CONTRADICTED, |units| Concern::PassedAgainstReading { units });
    count(reason::NEVER_PASSED, |units| Concern::NeverPassed { units });
    about.extend(of_testers);
    actions(&about)
}
