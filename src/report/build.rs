//! Findings and verdicts → [`Review`]: everything a page may show, as plain values.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::format::whole;
use super::jumps;
use super::model::*;
use crate::analysis::body::healthy::Healthy;
use crate::analysis::jump::{Jump, Scope, of_cause};
use crate::analysis::units::causes::Cause;
use crate::analysis::units::settings::falls_short;
use crate::analysis::units::strays::{Lies, StrayUnit};
use crate::analysis::{Finding, Findings};
use crate::config::Config;
use crate::day::date_of;
use crate::input::Read;
use crate::movement::Movement;
use crate::movement::readings::ma;
use crate::review::{
    InputLine, Made, NotUsedLine, Review, ReviewedSeries, SCHEMA, StrayLine, Strays, UnitLine,
};
use crate::series::{NamedSeries, NamedTest, Outcome, Pass, Register, Says, SetAside, Tests, ids};
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
        let series: Vec<ReviewedSeries> = NamedSeries::all(pass, subject.month)
            .into_iter()
            .enumerate()
            .map(|(n, named)| reviewed(parts, n, named, &mut notes))
            .collect();
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
            rows: pass.ledger.clone(),
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
    series: &[ReviewedSeries],
    units: &BTreeMap<String, u64>,
    jump_verdicts: &[JumpVerdict],
    of_testers: Vec<About>,
) -> Vec<Action> {
    let mut about: Vec<About> = Vec::new();
    let whole_line = || "whole line".to_owned();
    for (n, report) in series.iter().enumerate() {
        let (v, finding) = (&parts.verdicts[n], &parts.findings.series[n]);
        let subject =
            if parts.pass.series.iter().filter(|s| s.key.model == report.named.key.model).count()
                > 1
            {
                report.named.title.clone()
            } else {
                report.named.key.model.clone()
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
