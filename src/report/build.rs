//! Findings and verdicts → [`Review`]: everything a page may show, as plain values.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::format::whole;
use super::model::*;
use crate::analysis::body::healthy::Healthy;
use crate::analysis::units::strays::Lies;
use crate::analysis::{Finding, Findings};
use crate::config::Config;
use crate::day::date_of;
use crate::input::Read;
use crate::movement::Movement;
use crate::review::{InputLine, Made, Review, ReviewedSeries, SCHEMA, StrayLine, Strays};
use crate::series::{NamedSeries, Pass, Register};
use crate::verdict::Verdicts;
use crate::verdict::action::actions;
use crate::verdict::concern::{About, concerns_of_series};
use crate::verdict::jump::{self, JudgedJump};
use crate::verdict::plant::{SeriesVerdict, SharedLimit};
use crate::verdict::since;
use crate::verdict::units::{WhyCheck, concerns_of_units, units_to_check};
use crate::words::path_text;
pub use crate::words::time::{month_text, time_text};

/// Everything a report is built from.
#[derive(Debug, Clone, Copy)]
pub struct Parts<'a> {
    /// The pass.
    pub pass: &'a Pass,
    /// What moved.
    pub movement: &'a Movement,
    /// Changes of the share of failures, judged.
    pub jumps: &'a [JudgedJump],
    /// Findings.
    pub findings: &'a Findings,
    /// Verdicts.
    pub verdicts: &'a [SeriesVerdict],
    /// Models that share one limit.
    pub limit_groups: &'a [SharedLimit],
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
            jumps: &review.verdicts.jumps,
            findings: &review.findings,
            verdicts: &review.verdicts.series,
            limit_groups: &review.verdicts.limit_groups,
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
            jumps: &verdicts.jumps,
            findings: &findings,
            verdicts: &verdicts.series,
            limit_groups: &verdicts.limit_groups,
            register: &subject.register,
            config,
            name: &subject.name,
            month: subject.month,
        };
        let mut notes: Vec<String> =
            read.notes.iter().chain(&pass.notes).map(|n| n.0.clone()).collect();
        let series: Vec<ReviewedSeries> = NamedSeries::all(pass, subject.month)
            .into_iter()
            .enumerate()
            .map(|(n, named)| {
                notes.extend(notes_of_series(parts, n, &named.title));
                reviewed(parts, n, named)
            })
            .collect();
        let testers = verdicts.testers.clone();
        notes.extend(testers.cannot_tell.map(|why| why.to_string()));
        let units = units_to_check(pass, parts.findings, config);
        let mut by_reason: BTreeMap<WhyCheck, u64> = BTreeMap::new();
        for unit in &units {
            *by_reason.entry(unit.why).or_default() += 1;
        }
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
        concerns.extend(jump::concerns(parts.jumps));
        concerns.extend(concerns_of_units(&by_reason));
        concerns.extend(testers.concerns.into_iter().map(About::from));
        let actions = actions(&concerns);
        Self {
            schema: SCHEMA,
            month: month_text(subject.month),
            from,
            to,
            rows: pass.ledger.clone(),
            actions,
            limit_groups: verdicts.limit_groups.iter().map(|g| g.band.clone()).collect(),
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
            jumps: Some(verdicts.jumps.clone()),
            jump_charts: Vec::new(),
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

impl Review {
    /// What is new, open and closed since an earlier report.
    #[must_use]
    pub fn since(&self, earlier: Earlier) -> Since {
        let series = self.series.iter().zip(&self.verdicts.series).map(|(s, v)| since::Standing {
            series: &s.named.id,
            title: &s.named.title,
            verdict: v.limits.high.kind,
        });
        since::since(&self.actions, series, earlier)
    }
}

fn reviewed(parts: &Parts<'_>, n: usize, named: NamedSeries) -> ReviewedSeries {
    let (moved, finding) = (&parts.movement.series[n], &parts.findings.series[n]);
    ReviewedSeries::new(
        named,
        moved,
        finding,
        &parts.verdicts[n],
        strays(parts.pass, finding, parts.config),
    )
}

/// What a reader must know of one series; each begins with its title.
#[must_use]
pub fn notes_of_series(parts: &Parts<'_>, n: usize, title: &str) -> Vec<String> {
    let (moved, finding) = (&parts.movement.series[n], &parts.findings.series[n]);
    let mut notes = Vec::new();
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
    notes
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
