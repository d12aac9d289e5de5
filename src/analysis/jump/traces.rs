//! What the rows themselves tell of a rise: how failures lie in time, and what became of them on a second test.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::cause::Cause;
use super::cells::Counted;
use super::change::{Scope, Window};
use super::factors::Tested;
use crate::series::{Pass, Test, Tests};

/// Failures of one station so close together make a run, seconds…
const RUN_S: i64 = 600;
/// …from this many.
const RUN_FAILURES: usize = 3;

/// Failures of one station close together.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// How many.
    pub failures: u64,
    /// The station.
    pub station: String,
}

/// How failures of the rise lie in time, and their retests.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Traces {
    /// Failures looked at: those of the first cause where one is named, else all.
    pub failures: u64,
    /// Of these, in runs of three or more within ten minutes at one station.
    pub in_runs: u64,
    /// Most within ten minutes.
    #[serde(skip)]
    pub most_in_run: Option<Run>,
    /// Days with a failure.
    #[serde(rename = "days_with_failures")]
    pub days_with: u64,
    /// Production days of that time.
    pub days: u64,
    /// Failures tested again.
    pub retested: u64,
    /// Of these, passed in the end as they were set up first.
    pub then_passed: u64,
    /// Passed in the end, but at other settings: repeats at a lower voltage, as after a repair.
    pub passed_at_other_settings: u64,
    /// Of those passed as first set up, at another station.
    pub passed_elsewhere: u64,
    /// The same for the time before: tested again and passed.
    #[serde(skip)]
    pub before: (u64, u64),
}

impl Traces {
    /// Whether most failures lie in runs.
    #[must_use]
    pub fn in_bursts(&self) -> bool {
        self.failures > 0 && 2 * self.in_runs >= self.failures
    }
}

/// Whether a unit is of the cause.
#[must_use]
pub fn of_cause(cause: &Cause, unit: &Tested<'_>) -> bool {
    cause.series.contains(&unit.series())
        && cause.what.0.iter().all(|named| unit.level(&named.factor) == named.level)
}

/// Reads the rows of a scope in both windows.
#[must_use]
pub fn traces(
    pass: &Pass,
    scope: Scope,
    counted: Counted,
    (before, after): (Window, Window),
    cause: Option<&Cause>,
) -> Traces {
    let of = |test: Test<'_>| {
        cause.is_none_or(|c| Tested::of(pass, test).is_some_and(|unit| of_cause(c, &unit)))
    };
    let mut found = Traces::default();
    let mut times: BTreeMap<u16, Vec<i64>> = BTreeMap::new();
    let (mut days, mut with) = (BTreeSet::new(), BTreeSet::new());
    let in_scope = |t: &Tests<'_>| t.series.is_some_and(|n| scope.has(n, t.station));
    for test in pass.tests().filter(in_scope).flat_map(|t| t.within(after.from, after.to).used()) {
        if !of(test) {
            continue;
        }
        let day = test.day();
        days.insert(day);
        if counted.counts(test.outcome()) {
            found.failures += 1;
            with.insert(day);
            times.entry(test.station()).or_default().push(test.time());
        }
    }
    (found.days, found.days_with) = (days.len() as u64, with.len() as u64);
    for (station, list) in &mut times {
        list.sort_unstable();
        let mut in_run = vec![false; list.len()];
        let mut last = 0;
        for first in 0..list.len() {
            last = last.max(first);
            while last + 1 < list.len() && list[last + 1] - list[first] <= RUN_S {
                last += 1;
            }
            let run = last + 1 - first;
            if run >= RUN_FAILURES {
                in_run[first..=last].fill(true);
                if found.most_in_run.as_ref().is_none_or(|most| run as u64 > most.failures) {
                    let station = pass.plant.stations[usize::from(*station)].clone();
                    found.most_in_run = Some(Run { failures: run as u64, station });
                }
            }
        }
        found.in_runs += in_run.iter().filter(|r| **r).count() as u64;
    }
    for h in pass.histories() {
        let inside = scope.has(h.series as usize, h.station);
        if !inside || !counted.counts(h.outcome) || h.retests == 0 {
            continue;
        }
        if before.has(h.day) {
            found.before.0 += 1;
            found.before.1 += u64::from(h.passed || h.passed_elsewhere);
        } else if after.has(h.day) && of(pass.first_of(h)) {
            found.retested += 1;
            found.then_passed += u64::from(h.passed);
            found.passed_at_other_settings += u64::from(h.passed_elsewhere);
            found.passed_elsewhere += u64::from(h.passed && pass.last_of(h).station() != h.station);
        }
    }
    found
}
