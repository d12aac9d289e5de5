//! Charts of changes of the share of failures: what each shows of which numbers.

use super::build::Parts;
use super::chart::failures::Jump as Marked;
use super::chart::jump_causes::{self, Bar, Causes};
use super::chart::jump_readings::{self, Readings, Side};
use super::chart::jump_split::{self, Part, Split};
use super::chart::{Chart, ChartError, draw};
use super::jump_model::JumpReport;
use super::pictures;
use crate::analysis::jump::{Jump, Scope, Window};
use crate::day::date_of;
use crate::movement::readings::ma;
use crate::series::Says;
use crate::verdict::jump::levels;
use crate::words::currents::PRINTED_IN_UA_BELOW_MA;

/// A chart drawn, or why not.
pub struct Drawn {
    /// Place of the change.
    pub jump: usize,
    /// Path below the report's folder.
    pub path: String,
    /// The question it answers.
    pub question: String,
    /// Its bytes.
    pub png: Result<Vec<u8>, ChartError>,
}

/// The charts of the changes chosen; `whole` also draws failures over time for each.
#[must_use]
pub fn drawn(parts: &Parts<'_>, reports: &[JumpReport], whole: bool) -> Vec<Drawn> {
    use rayon::prelude::*;
    let mut jobs: Vec<(usize, &str, &str)> = Vec::new();
    for (n, report) in reports.iter().enumerate() {
        if !(report.material || report.date_given || whole && reports.len() == 1) {
            continue;
        }
        if whole && matches!(parts.jumps[n].scope, Scope::Series(_)) {
            jobs.push((n, "failures", "How did failures move over time?"));
        }
        jobs.push((n, "causes", "What explains the change?"));
        jobs.push((n, "readings", "Did the readings move?"));
        jobs.push((n, "parts", "What is the change made of?"));
    }
    jobs.into_par_iter()
        .filter_map(|(n, what, question)| {
            let (jump, report) = (&parts.jumps[n], &reports[n]);
            let scope = report.scope.as_str();
            let chart = match what {
                "failures" => {
                    let Scope::Series(s) = jump.scope else {
                        return None;
                    };
                    pictures::of_failures_with(parts, s as usize, scope, Some(marked(jump)))
                }
                "causes" => causes(jump, scope),
                "readings" => readings(parts, jump, scope)?,
                _ => split(jump, scope)?,
            };
            Some(Drawn {
                jump: n,
                path: format!("charts/jump-{}-{what}.png", n + 1),
                question: question.to_owned(),
                png: chart.and_then(|c| draw::png(&c)),
            })
        })
        .collect()
}

/// A change as the failures chart marks it.
#[must_use]
pub fn marked(jump: &Jump) -> Marked {
    Marked {
        day: jump.date.day,
        low: jump.date.low,
        high: jump.date.high,
        before: jump.before.share.value,
        after: jump.after.share.value,
    }
}

fn days(window: Window) -> String {
    format!("{} to {}", date_of(window.from), date_of(window.to))
}

fn causes(jump: &Jump, scope: &str) -> Result<Chart, ChartError> {
    let found = &jump.explained;
    let excess = found.failures - found.expected;
    let mut bars: Vec<Bar> = found
        .causes
        .iter()
        .map(|c| Bar {
            words: format!("{}\n{:.0} units", levels(&c.what), c.units),
            excess: c.failures - c.expected,
            failures: c.failures,
            expected: c.expected,
            named: true,
        })
        .collect();
    let sum = |of: fn(&Bar) -> f64| bars.iter().map(of).sum::<f64>();
    let (failures, expected) = (
        (found.failures - sum(|b| b.failures)).max(0.0),
        (found.expected - sum(|b| b.expected)).max(0.0),
    );
    bars.push(Bar {
        words: if found.causes.is_empty() {
            "all units".to_owned()
        } else {
            "all other units".to_owned()
        },
        excess: failures - expected,
        failures,
        expected,
        named: false,
    });
    jump_causes::chart(&Causes {
        scope: scope.to_owned(),
        period: format!("first tests of {}", days(jump.worse().window)),
        excess,
        came_with: found.coincides.first().map(|c| levels(&c.what)),
        bars,
    })
}

fn split(jump: &Jump, scope: &str) -> Option<Result<Chart, ChartError>> {
    let p = jump.parts.as_ref()?;
    let part = |words: &str, e: &crate::stats::estimate::Estimate| Part {
        words: words.to_owned(),
        size: (e.value, e.low, e.high),
    };
    let parts = vec![
        part("another mix of units", &p.mix),
        part("another limit", &p.limit),
        part("readings moved\nas a whole", &p.shift),
        part("a separate group\nover the limit", &p.strays),
        part("breakdowns", &p.breakdown),
        part("other outcomes", &p.other),
        part("together", &p.rise),
    ];
    Some(jump_split::chart(&Split {
        scope: scope.to_owned(),
        period: format!(
            "change of the share of failures, {} against {}",
            days(jump.after.window),
            days(jump.before.window)
        ),
        parts,
    }))
}

fn readings(parts: &Parts<'_>, jump: &Jump, scope: &str) -> Option<Result<Chart, ChartError>> {
    let Scope::Series(n) = jump.scope else {
        return None;
    };
    let series = &parts.pass.series[n as usize];
    let typical =
        series.tally.iter().find(|l| l.says == Says::Value).map_or(1.0, |l| ma(l.value_pa));
    let (unit, factor) = if typical < PRINTED_IN_UA_BELOW_MA { ("µA", 1e3) } else { ("mA", 1.0) };
    let side = |window: Window, words: &str| {
        let mut limits: std::collections::BTreeMap<i64, u32> = std::collections::BTreeMap::new();
        for o in series.outcomes.iter().filter(|o| window.has(o.day)) {
            if let Some(high) = o.limits.high_pa {
                *limits.entry(high).or_default() += o.count;
            }
        }
        let lines = || series.tally.iter().filter(|l| window.has(l.day));
        Side {
            words: format!("{words}, {}", days(window)),
            readings: lines()
                .filter(|l| l.says == Says::Value)
                .map(|l| (factor * ma(l.value_pa), f64::from(l.count)))
                .collect(),
            tripped: lines().filter(|l| l.says == Says::Above).map(|l| f64::from(l.count)).sum(),
            limit: limits
                .iter()
                .max_by_key(|(_, count)| **count)
                .map(|(high, _)| factor * ma(*high)),
        }
    };
    Some(jump_readings::chart(&Readings {
        scope: scope.to_owned(),
        unit: unit.to_owned(),
        step: factor * parts.findings.series[n as usize].step_ma,
        moved: jump.moved,
        before: side(jump.before.window, "before"),
        after: side(jump.after.window, "since"),
    }))
}
