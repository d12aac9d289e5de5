//! Changes of the share of failures → what pages and `results.json` show of them.

use super::build::Parts;
use super::format::whole;
use super::jump_model::{CauseReport, JumpReport, PartsReport, TracesReport};
use crate::analysis::jump::{Cause, Jump, Scope};
use crate::analysis::units::happenings;
use crate::day::date_of;
use crate::series::{Pass, subject, title};
use crate::verdict::concern::{About, Concern};
use crate::verdict::jump::{JumpVerdict, coincides, each, judge, levels};
use crate::words::capital;

/// A scope for people.
#[must_use]
pub fn place(pass: &Pass, scope: Scope) -> String {
    match scope {
        Scope::Series(n) => title(&pass.series, &pass.series[n as usize].key),
        Scope::Station(s) => format!("station {}", pass.plant.stations[usize::from(s)]),
        Scope::Overall => "whole line".to_owned(),
    }
}

/// What an action is about: the series' title, the model where it has one series, or the station.
#[must_use]
pub fn about(pass: &Pass, scope: Scope) -> String {
    match scope {
        Scope::Series(n) => subject(&pass.series, &pass.series[n as usize].key),
        Scope::Station(s) => pass.plant.stations[usize::from(s)].clone(),
        Scope::Overall => "whole line".to_owned(),
    }
}

/// The verdicts of all changes, in their order.
#[must_use]
pub fn verdicts(parts: &Parts<'_>) -> Vec<JumpVerdict> {
    parts
        .jumps
        .iter()
        .map(|j| {
            let mut verdict = judge(parts.pass, j, &|s| place(parts.pass, s), parts.config);
            if let Some(what) = recorded(parts, j) {
                verdict.sentences.push(format!("Recorded in that time: {what}."));
                verdict.next_step =
                    format!("Look first at what is recorded: {what}. {}", verdict.next_step);
            }
            verdict
        })
        .collect()
}

/// What is recorded between the days on which a change may have begun; lots are the causes' to name, and the
/// whole line has no record of its own.
fn recorded(parts: &Parts<'_>, jump: &Jump) -> Option<String> {
    let happened = match jump.scope {
        Scope::Series(n) => {
            let n = n as usize;
            let moved = &parts.movement.series[n];
            happenings::of_series(parts.pass, n, moved, &parts.findings.recorded(parts.register))
        }
        Scope::Station(s) => {
            happenings::of_station(parts.pass, s, &parts.findings.recorded(parts.register))
        }
        Scope::Overall => return None,
    };
    let day = jump.date;
    happened.recorded_between(day.low, day.day, day.high)
}

/// All changes as the report shows them.
#[must_use]
pub fn reports(parts: &Parts<'_>, ids: &[String], verdicts: Vec<JumpVerdict>) -> Vec<JumpReport> {
    parts
        .jumps
        .iter()
        .zip(verdicts)
        .map(|(jump, verdict)| report(parts.pass, jump, verdict, ids))
        .collect()
}

/// What somebody must do about changes: rises that are flagged, and falls that no limit explains.
#[must_use]
pub fn concerns(parts: &Parts<'_>, verdicts: &[JumpVerdict]) -> Vec<About> {
    let last = parts.pass.plant.days.map_or(0, |d| d.1);
    parts
        .jumps
        .iter()
        .zip(verdicts)
        .filter(|(jump, verdict)| {
            verdict.flagged
                || verdict.material && !jump.rises() && !verdict.is_limit && jump.is_recent(last)
        })
        .map(|(jump, verdict)| About {
            subject: about(parts.pass, jump.scope),
            concern: Concern::Jump {
                sentence: short(jump, verdict),
                next_step: verdict.next_step.clone(),
            },
        })
        .collect()
}

/// The first sentence without its scope, and what explains it.
fn short(jump: &Jump, verdict: &JumpVerdict) -> String {
    let first = verdict.sentences.first().map_or("", String::as_str);
    let first = first.split_once(": ").map_or(first, |(_, rest)| rest);
    let mut said = capital(first);
    if let Some(c) = jump.explained.causes.first() {
        let excess = jump.explained.failures - jump.explained.expected;
        said.push_str(&format!(
            " {} of the {} failures beyond those expected: {}.",
            whole((c.failures - c.expected).min(excess)),
            whole(excess),
            levels(&c.what)
        ));
    } else if !jump.explained.coincides.is_empty() {
        said.push(' ');
        said.push_str(&coincides(jump.rises(), &jump.explained.coincides));
    }
    said
}

fn report(pass: &Pass, jump: &Jump, verdict: JumpVerdict, ids: &[String]) -> JumpReport {
    let counts =
        |s: &crate::analysis::jump::Side| [whole(s.units), whole(s.failures.of(jump.counted))];
    let e = |e: &crate::stats::estimate::Estimate| e.clone();
    JumpReport {
        scope: place(pass, jump.scope),
        scope_kind: match jump.scope {
            Scope::Series(_) => "series",
            Scope::Station(_) => "station",
            Scope::Overall => "overall",
        },
        series: match jump.scope {
            Scope::Series(n) => ids.get(n as usize).cloned(),
            _ => None,
        },
        outcome: jump.counted.key(),
        date: date_of(jump.date.day),
        date_low: date_of(jump.date.low),
        date_high: date_of(jump.date.high),
        ended: jump.ended.map(|d| date_of(d.day)),
        before: e(&jump.before.share),
        after: e(&jump.after.share),
        counts_before: counts(&jump.before),
        counts_after: counts(&jump.after),
        p_value: jump.p_value,
        dispersion: jump.phi,
        flagged: verdict.flagged,
        material: verdict.material,
        gradual: jump.gradual,
        date_given: jump.given,
        outcomes: jump.outcomes.iter().map(|o| o.key()).collect(),
        parts: jump.parts.as_ref().map(|p| PartsReport {
            mix: e(&p.mix),
            limit: e(&p.limit),
            shift: e(&p.shift),
            strays: e(&p.strays),
            breakdown: e(&p.breakdown),
            other: e(&p.other),
            rise: e(&p.rise),
            mix_of: p.mix_of.clone(),
        }),
        causes: jump.explained.causes.iter().map(cause).collect(),
        coincides: jump.explained.coincides.iter().map(cause).collect(),
        excess: jump.explained.failures - jump.explained.expected,
        unexplained_share: jump.explained.unexplained,
        not_causes: jump.explained.cleared.clone(),
        traces: TracesReport {
            failures: jump.traces.failures,
            in_runs: jump.traces.in_runs,
            days_with_failures: jump.traces.days_with,
            days: jump.traces.days,
            retested: jump.traces.retested,
            then_passed: jump.traces.then_passed,
            passed_elsewhere: jump.traces.passed_elsewhere,
        },
        sentences: verdict.sentences,
        next_step: verdict.next_step,
        charts: Vec::new(),
    }
}

fn cause(c: &Cause) -> CauseReport {
    let join = |of: fn(&crate::analysis::jump::Named) -> &str| {
        c.what.iter().map(of).collect::<Vec<_>>().join(" + ")
    };
    CauseReport {
        factor: join(|n| &n.factor),
        level: join(|n| &n.level),
        failures: whole(c.failures),
        units: whole(c.units),
        expected: c.expected,
        ratio: c.ratio.as_ref().filter(|r| r.value.is_finite()).cloned(),
        share_of_excess: c.share_of_excess,
        odds_within_days: c.within_days.as_ref().and_then(|m| m.odds_ratio.as_ref()).cloned(),
        others_failed: c.within_days.as_ref().map(|m| whole(m.others_failed)),
        p_value: c.p_value,
        units_before: whole(c.units_before),
        same_units: each(&c.same_units),
        rivals: each(&c.rivals),
    }
}
