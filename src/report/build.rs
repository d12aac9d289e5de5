//! Findings and verdicts → [`Review`]: everything a page may show, as plain values.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::format::whole;
use super::jumps;
use super::model::*;
use crate::analysis::body::healthy::Healthy;
use crate::analysis::jump::Jump;
use crate::analysis::units::strays::Lies;
use crate::analysis::{Finding, Findings};
use crate::config::Config;
use crate::day::date_of;
use crate::input::Read;
use crate::movement::Movement;
use crate::review::{InputLine, Made, Review, ReviewedSeries, SCHEMA, StrayLine, Strays};
use crate::series::{NamedSeries, Pass, Register, ids};
use crate::stats::estimate::Estimate;
use crate::verdict::action::actions;
use crate::verdict::concern::concerns_of_series;
use crate::verdict::group::GroupBand;
use crate::verdict::physics::load;
use crate::verdict::plant::{SeriesVerdict, limit_groups};
use crate::verdict::reason::ReasonKind;
use crate::verdict::units::{WhyCheck, concerns_of_units, units_to_check};
use crate::verdict::{Verdict, Verdicts};
use crate::words::path_text;
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
        let series: Vec<ReviewedSeries> = NamedSeries::all(pass, subject.month)
            .into_iter()
            .enumerate()
            .map(|(n, named)| reviewed(parts, n, named, &mut notes))
            .collect();
        let testers = verdicts.testers.clone();
        notes.extend(testers.cannot_tell.map(|why| why.to_string()));
        let units = units_to_check(pass, parts.findings, config);
        let mut by_reason: BTreeMap<WhyCheck, u64> = BTreeMap::new();
        for unit in &units {
            *by_reason.entry(unit.why).or_default() += 1;
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
        let mut concerns = concerns_of_series(pass, parts.findings, parts.verdicts, config);
        concerns.extend(jumps::concerns(parts, &jump_verdicts));
        concerns.extend(concerns_of_units(&by_reason));
        concerns.extend(testers.concerns);
        let actions = actions(&concerns);
        Self {
            schema: SCHEMA,
            month: month_text(subject.month),
            from,
            to,
            rows: pass.ledger.clone(),
            actions,
            limit_groups: group_reports(parts),
            series,
            stations: testers.stations,
            calibration: testers.calibrations,
            checks: findings.checks.clone(),
            units_to_check: by_reason,
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
            not_used: pass.not_used(),
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

fn reviewed(
    parts: &Parts<'_>,
    n: usize,
    named: NamedSeries,
    notes: &mut Vec<String>,
) -> ReviewedSeries {
    let (pass, config) = (parts.pass, parts.config);
    let (moved, finding, verdict) =
        (&parts.movement.series[n], &parts.findings.series[n], &parts.verdicts[n]);
    let mut note = |what: String| notes.push(format!("{}: {what}", named.title));
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
    ReviewedSeries::new(
        named,
        moved,
        finding,
        verdict,
        verdict_report(verdict, finding),
        month_report(parts, n),
        strays(pass, finding, config),
    )
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

fn no_shape_words(reason: crate::stats::shape::NoShape) -> &'static str {
    if reason == crate::stats::shape::NoShape::TooFewPoints {
        "fewer than 20 daily or weekly points"
    } else {
        "the points do not allow one"
    }
}

fn verdict_report(v: &SeriesVerdict, finding: &Finding) -> VerdictReport {
    let verdict = &v.verdict;
    let mut reasons: Vec<String> = verdict.reasons.iter().map(|r| r.sentence.clone()).collect();
    reasons.extend(finding.causes.iter().map(|c| {
        format!("{c} Its {} units are no part of the healthy body and are counted apart.", c.units)
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

fn strays(pass: &Pass, finding: &Finding, config: &Config) -> Strays {
    Strays {
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
