//! What was read, found and decided, put together; nothing is asked here.

use std::collections::BTreeMap;

use super::{First, InputLine, Made, Review, ReviewedSeries, SCHEMA, StrayLine, Strays, notes};
use crate::analysis::Findings;
use crate::analysis::units::strays::StrayList;
use crate::config::Config;
use crate::day::date_of;
use crate::input::earlier::Earlier;
use crate::input::{Read, SideFile};
use crate::movement::Movement;
use crate::series::{NamedSeries, Pass, Register};
use crate::verdict::Verdicts;
use crate::verdict::cautions::ALL;
use crate::verdict::incident::{Evidence, Incident, ToTrace};
use crate::verdict::jump::JudgedJump;
use crate::verdict::misread::said;
use crate::verdict::plant::SeriesVerdict;
use crate::verdict::since::{Standing, since};
use crate::verdict::units::{UnitToCheck, WhyCheck};
use crate::words::numbers::whole;
use crate::words::path_text;
use crate::words::time::{month_text, time_text};

/// Series that need attention, worst first: those that an incident is about, not a question to the whole plant.
fn attention(
    series: &[ReviewedSeries],
    jumps: &[JudgedJump],
    incidents: &[Incident],
) -> Vec<usize> {
    let mut found: Vec<usize> = Vec::new();
    for evidence in incidents.iter().flat_map(|i| &i.evidence) {
        let id = match evidence {
            Evidence::Series(id) => Some(id),
            Evidence::Jump(n) => jumps.get(*n).and_then(|j| j.found.place.series.as_ref()),
            _ => None,
        };
        let at = id.and_then(|id| series.iter().position(|s| s.named.id == *id));
        found.extend(at.filter(|n| !found.contains(n)));
    }
    found
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
    /// An earlier report to compare with.
    pub earlier: Option<Earlier>,
    /// Settings, events, register and decisions.
    pub side_files: Vec<SideFile>,
    /// When it is made, in local time; `None` where the report must be the same each time.
    pub made_at: Option<String>,
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
        let series: Vec<ReviewedSeries> = NamedSeries::all(pass, subject.month)
            .into_iter()
            .enumerate()
            .map(|(n, named)| {
                let (moved, finding) = (&movement.series[n], &findings.series[n]);
                let strays = strays(&finding.strays, pass, config);
                ReviewedSeries::new(named, moved, finding, &verdicts.series[n], strays)
            })
            .collect();
        let stop = verdicts.stop();
        let Verdicts {
            misread,
            believed,
            series: decided,
            testers,
            limit_groups,
            plants,
            jumps,
            units,
            actions,
            incidents,
        } = verdicts;
        let of_series = series.iter().zip(&movement.series).zip(&findings.series);
        let noted = || read.notes.iter().chain(&pass.notes);
        let mut notes: Vec<String> = noted()
            .filter(|n| !n.first)
            .map(ToString::to_string)
            .chain(of_series.flat_map(|((s, m), f)| notes::of_series(&s.named.title, m, f)))
            .chain(said(&believed).into_iter().map(|s| notes::believed(&s)))
            .chain(notes::unmatched(read, pass, config))
            .chain(notes::of_stations(testers.cannot_tell, &movement))
            .chain(config.check_loads.is_empty().then(|| notes::NO_CHECK_LOADS.to_owned()))
            .collect();
        notes.sort();
        notes.dedup();
        let (from, to) = pass.plant.days.unwrap_or_default();
        let attention = attention(&series, &jumps, &incidents);
        let standing = series.iter().zip(&decided).map(|(s, v)| standing(s, v));
        let since_report =
            subject.earlier.map(|earlier| since(&actions, &incidents, standing, earlier));
        Self {
            schema: SCHEMA,
            name: subject.name,
            month: month_text(subject.month),
            first: First::new(misread, noted()),
            from: date_of(from),
            to: date_of(to),
            rows: pass.ledger.clone(),
            stations: testers.stations,
            limit_groups: limit_groups.iter().map(|g| g.band.clone()).collect(),
            plants,
            calibration: testers.calibrations,
            checks: findings.checks.clone(),
            units_to_check: by_reason(&units),
            units_to_trace: ToTrace::new(&units, &incidents),
            settings_changes: testers.settings_changes,
            settings_differ: findings.settings.differs.clone(),
            settings_short: findings.settings.short.clone(),
            gaps: Some(findings.gaps.clone()),
            too_good: testers.too_good,
            movement: testers.moved,
            jumps: Some(jumps),
            jump_charts: Vec::new(),
            charts: Vec::new(),
            attention,
            yields: findings.yields.clone(),
            costs: findings.costs.clone(),
            made_by: config.made_by.clone(),
            made_at: subject.made_at.filter(|_| config.made_by.is_some()),
            since_report,
            cannot_tell: testers.cannot_tell,
            notes,
            settings: config.lines(),
            ceilings: config.ceiling.all().collect(),
            made: Made::new(read, subject.side_files, config),
            actions,
            incidents,
            cautions: ALL,
            not_used: pass.not_used(),
            series,
            moved: movement,
            findings,
            decided,
            shared_limits: limit_groups,
            units,
            stop,
            register: subject.register,
        }
    }
}

/// How a series stands, for a later report.
fn standing<'a>(series: &'a ReviewedSeries, decided: &SeriesVerdict) -> Standing<'a> {
    Standing {
        series: &series.named.id,
        title: &series.named.title,
        verdict: decided.limits.high.kind,
    }
}

/// Units to check by reason.
fn by_reason(units: &[UnitToCheck]) -> BTreeMap<WhyCheck, u64> {
    let mut counts: BTreeMap<WhyCheck, u64> = BTreeMap::new();
    for unit in units {
        *counts.entry(unit.why).or_default() += u64::from(unit.units);
    }
    counts
}

/// Strays of a series; those that passed are listed as far as the settings allow.
fn strays(found: &StrayList, pass: &Pass, config: &Config) -> Strays {
    let listed = found.units.iter().take(config.strays_listed).map(|u| StrayLine {
        serial: u.test.serial.clone(),
        tested_at: time_text(u.test.time),
        station: pass.plant.stations[usize::from(u.test.station)].clone(),
        reading_ma: u.reading_ma,
        side: if u.lies.is_above() { "above" } else { "below" },
        points_to: u.lies,
    });
    Strays { above: whole(found.above), below: whole(found.below), units: listed.collect() }
}

impl Made {
    fn new(read: &Read, side_files: Vec<SideFile>, config: &Config) -> Self {
        let inputs = read.files.iter().map(|f| InputLine {
            path: path_text(&f.path),
            bytes: f.bytes,
            sha256: f.sha256.clone(),
        });
        Self {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            seed: config.seed,
            inputs: inputs.collect(),
            side_files: side_files
                .into_iter()
                .map(|f| InputLine { path: path_text(&f.name), bytes: f.bytes, sha256: f.sha256 })
                .collect(),
            failures: read.failures.iter().map(ToString::to_string).collect(),
        }
    }
}
