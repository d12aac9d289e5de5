//! What is said of an incident: one sentence on what one cause did, and the next step.
//!
//! Short enough that ten are read in a minute; the long sentence of each part stands where its evidence is. Nothing
//! here asks for a re-test: the list of units says what to do first with each, in the one phrase.

use super::{Cause, Ground, Group, Together};
use crate::analysis::units::happenings;
use crate::analysis::units::settings::SettingChange;
use crate::analysis::units::strays::Lies;
use crate::day::Day;
use crate::series::Tests;
use crate::verdict::concern::{About, Concern};
use crate::verdict::jump::{JudgedJump, Step, why};
use crate::verdict::moved::in_short;
use crate::verdict::seen::Seen;
use crate::verdict::tester::TesterConcern;
use crate::verdict::tester::station::PassesInDoubt;
use crate::words::numbers::share_pct;
use crate::words::time::day_text;
use crate::words::{capital, count, signed_percent};

/// Units tested so long before the last day of the record may have left the house.
const MAY_BE_SHIPPED: Day = 7;
/// A product that began to rise so long after something was recorded may do so because of it.
const BECAUSE: Day = 7;
/// Open leads in a row that are told.
const IN_A_ROW: usize = 3;

/// An incident in words.
pub(super) struct Told {
    pub what: String,
    pub next_step: String,
    /// The same below the line that says once what to trace means.
    pub step_below: String,
    /// Models, series and stations.
    pub places: Vec<String>,
}

/// Says what one cause did and what to do next.
pub(super) fn told(ground: &Ground<'_>, together: &Together<'_>, seen: &Seen) -> Told {
    let parts: Vec<&About> = together.members.iter().map(|m| m.about).collect();
    let told = Parts { ground, parts: &parts };
    let what = match &together.cause {
        Cause::Check { station, .. } => capital(&told.check(station, seen)),
        Cause::Limits { .. } => capital(&told.limits()),
        Cause::Tester { .. } => capital(&told.tester()),
        Cause::Jump(n) => capital(&told.share(&ground.jumps[*n])),
        Cause::Product(n) => capital(&told.product(*n)),
        Cause::Plant(_) => capital(&told.plant()),
        // Sentences of their own: one may begin with the name of a file.
        _ => told.joined(),
    };
    let is_asked = |a: &&About| matches!(a.concern, Concern::NeverPassed { .. });
    let are_units = together.group() == Group::UnitsToTrace && !parts.iter().any(is_asked);
    let [in_full, below] = if are_units { trace(ground, seen) } else { [""; 2] };
    let mut steps: Vec<String> = Vec::new();
    for about in &parts {
        let step = told.step(about);
        if !step.is_empty() && !steps.contains(&step) {
            steps.push(step);
        }
    }
    let places = match &together.cause {
        Cause::Limits { model } => vec![model.clone()],
        _ => told.subjects(),
    };
    let steps = |first: &'static str| {
        let all = Some(first).filter(|s| !s.is_empty());
        all.into_iter().chain(steps.iter().map(String::as_str)).collect::<Vec<_>>().join(" ")
    };
    Told { what: ended(what), next_step: steps(in_full), step_below: steps(below), places }
}

/// With one full stop.
fn ended(what: String) -> String {
    format!("{}.", what.trim_end_matches('.'))
}

/// What to do with units that may have left the house.
pub(super) const TRACE: &str = "Trace; if shipped, tell whoever answers for product safety.";

/// What to do with units: hold what is still in the house, trace what may have left it; in full, and below
/// [`Group::heading_step`].
fn trace(ground: &Ground<'_>, seen: &Seen) -> [&'static str; 2] {
    let old = seen.from.is_some_and(|first| first + MAY_BE_SHIPPED < ground.today());
    if old { [TRACE, "Trace."] } else { ["Hold them."; 2] }
}

struct Parts<'a> {
    ground: &'a Ground<'a>,
    parts: &'a [&'a About],
}

impl<'a> Parts<'a> {
    fn testers(&self) -> impl Iterator<Item = &'a TesterConcern> {
        self.parts.iter().filter_map(|a| match &a.concern {
            Concern::Tester(tester) => Some(tester),
            _ => None,
        })
    }

    /// A wrong check load, and the open leads that passed in its time.
    fn check(&self, station: &str, seen: &Seen) -> String {
        let wrong = self.testers().find_map(|t| match t {
            TesterConcern::WrongCheckLoad {
                day,
                load,
                units_until_next_good,
                units_since_last_good,
            } => Some(format!(
                "the check load {load} gave the wrong answer on {}: no good check covers {units_until_next_good} units \
                 after it and {units_since_last_good} before it",
                day_text(*day)
            )),
            _ => None,
        });
        let Some(wrong) = wrong else { return self.joined() };
        let days = seen.from.zip(seen.last);
        let leads = days.map_or((0, 0), |(from, to)| self.open_leads(station, from, to));
        match leads {
            (0, _) => wrong,
            (passed, row) => {
                let row = if row >= IN_A_ROW { format!(", {row} in a row") } else { String::new() };
                format!("{wrong}; {passed} passed with no lead connected{row}")
            }
        }
    }

    /// Open leads that passed at a station in these days, and the longest row of them in one series.
    fn open_leads(&self, station: &str, from: Day, to: Day) -> (u64, usize) {
        let Ground { pass, findings, .. } = self.ground;
        let (mut passed, mut longest) = (0, 0);
        for (n, finding) in findings.series.iter().enumerate() {
            let own = finding.strays.units.iter().filter(|u| {
                u.lies == Lies::OpenLead
                    && pass.plant.stations[usize::from(u.test.station)] == station
                    && (from..=to).contains(&u.test.day)
            });
            let leads: Vec<(i64, u32)> = own.clone().map(|u| (u.test.time, u.test.line)).collect();
            passed += own.map(|u| u64::from(u.test.count)).sum::<u64>();
            let Some(at) = pass.plant.stations.iter().position(|s| s == station) else { continue };
            let of_station = |t: &Tests<'_>| usize::from(t.station) == at;
            let mut row = 0;
            for test in pass.tests_of(n).filter(of_station).flat_map(|t| t.within(from, to).used())
            {
                row = if leads.contains(&(test.time(), test.line())) { row + 1 } else { 0 };
                longest = longest.max(row);
            }
        }
        (passed, longest)
    }

    /// The limits of a model: how they came about, what they let through, the verdict on them.
    fn limits(&self) -> String {
        let opened = self.testers().find_map(|t| match t {
            TesterConcern::SettingsChanged(changes) => Some(limits_changed(changes)),
            _ => None,
        });
        // What did pass says that it would.
        let passed = self.parts.iter().any(|a| matches!(a.concern, Concern::PassedOpenLead { .. }));
        let others = self.parts.iter().filter(|a| match a.concern {
            Concern::Tester(_) => false,
            Concern::OpenLeadWouldPass { .. } => !passed,
            _ => true,
        });
        let changed = opened.map(|changed| format!("limits changed without a record: {changed}"));
        let said = changed.into_iter().chain(others.map(|a| self.short(a)));
        said.collect::<Vec<_>>().join("; ")
    }

    /// A step of a tester, the passes it puts in doubt, and the failures it adds.
    fn tester(&self) -> String {
        let mut said: Vec<String> = Vec::new();
        for about in self.parts {
            said.push(match &about.concern {
                Concern::Tester(TesterConcern::PassesInDoubt(doubt)) => self.doubt(about, doubt),
                Concern::Jump { .. } => match self.jump_of(about) {
                    Some(jump) => self.jump(jump),
                    None => self.short(about),
                },
                _ => self.short(about),
            });
        }
        said.join("; ")
    }

    fn doubt(&self, about: &About, doubt: &PassesInDoubt) -> String {
        let station = self.ground.testers.stations.iter().find(|s| s.station == about.subject);
        let step = station
            .and_then(|s| s.moved.iter().find(|m| (doubt.to..=doubt.to + 7).contains(&m.step.day)));
        let recorded = step
            .and_then(|m| m.event.as_ref())
            .map_or_else(String::new, |event| format!(" ({event})"));
        let load = step
            .and_then(|m| m.check_load_pct.as_ref())
            .map_or("", |_| ", as its check load shows too");
        let most = doubt.by_series.first().map_or_else(String::new, |s| {
            let only = if doubt.by_series.len() == 1 { "all" } else { "most" };
            format!(", {only} of {}", s.model)
        });
        format!(
            "readings until {} were too low by {}{recorded}{load}: {} passes ({} to {}{most}) would have failed",
            day_text(doubt.to),
            signed_percent(doubt.raised_pct.value).trim_start_matches('+'),
            doubt.would_have_failed,
            doubt.low,
            doubt.high
        )
    }

    fn jump_of(&self, about: &About) -> Option<&'a JudgedJump> {
        self.ground.jumps.iter().find(|j| j.place_of(about))
    }

    /// A change of the share of failures: from what to what, and why.
    fn jump(&self, jump: &JudgedJump) -> String {
        let found = &jump.found;
        let ended = found.ended.map(|e| day_text(e.day));
        let since = match &ended {
            Some(day) => format!("from {} to {day}", day_text(found.date.day)),
            None => format!("since {}", day_text(found.date.day)),
        };
        format!("{since} {}", self.share(jump))
    }

    /// The same where its days stand beside it.
    fn share(&self, jump: &JudgedJump) -> String {
        let found = &jump.found;
        let ended = found.ended.map(|e| day_text(e.day));
        format!(
            "{} of units {}, before that {}: {}{}",
            share_pct(found.after.share.value),
            if ended.is_some() { "failed" } else { "fail" },
            share_pct(found.before.share.value),
            why(found),
            ended.map_or_else(String::new, |day| format!("; ended {day}"))
        )
    }

    /// A product that moves, and what was recorded when it began.
    fn product(&self, n: usize) -> String {
        let Ground { pass, known, findings, series, .. } = self.ground;
        let (moved, verdict) = (&known.movement.series[n], &series[n]);
        let short = in_short(&moved.drift, true, verdict.wording);
        let began = moved.drift.since.or(moved.drift.steps.first().map(|s| s.day));
        let happened = happenings::of_series(pass, n, moved, &findings.recorded(known.register));
        let recorded = began
            .and_then(|day| happened.recorded_between(day - BECAUSE, day, day + BECAUSE))
            .map_or_else(String::new, |what| format!("; recorded about then: {what}"));
        let reached = verdict.forecast.map_or_else(String::new, |f| {
            format!("; too many healthy rejects from {}{}", f.date, f.interval())
        });
        let others: Vec<String> = self
            .parts
            .iter()
            .filter_map(|a| self.jump_of(a).map(|jump| format!("; {}", self.jump(jump))))
            .collect();
        format!("{short}{recorded}{reached}{}", others.concat())
    }

    /// A question of the whole plant: asked once, with how many it is asked of.
    fn plant(&self) -> String {
        let Some(first) = self.parts.first() else { return String::new() };
        let (n, days) = (self.parts.len(), |t: &TesterConcern| match t {
            TesterConcern::ChecksMissing { days } => Some(*days),
            _ => None,
        });
        match &first.concern {
            Concern::Tester(TesterConcern::ChecksMissing { .. }) => {
                let days: u64 = self.testers().filter_map(days).sum();
                format!("{} without a check load", count(days, "production day"))
            }
            Concern::OpenLeadWouldPass { .. } => {
                "a test with no unit connected would pass".to_owned()
            }
            Concern::NotEnoughData { .. } if n > 1 => {
                format!("too few units to judge the limits of {n} series")
            }
            Concern::NoLimitKnown if n > 1 => {
                format!("no high limit is known for {n} series")
            }
            Concern::LeakPathNotStated { .. } => format!(
                "no smallest harmful leak path is stated for {} series: the upper ends of their bands prove nothing",
                first.seen.series.len()
            ),
            _ => self.short(first),
        }
    }

    /// What the parts are about, each once.
    fn subjects(&self) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for about in self.parts {
            if !all.contains(&about.subject) {
                all.push(about.subject.clone());
            }
        }
        all
    }

    /// Parts one after the other, the worst first.
    fn joined(&self) -> String {
        self.parts.iter().map(|a| self.short(a)).collect::<Vec<_>>().join("; ")
    }

    /// One part in a few words, without its full stop.
    fn short(&self, about: &About) -> String {
        let verdict = about.seen.series.first().map(|n| &self.ground.series[*n]);
        match (&about.concern, verdict) {
            (Concern::PassedOpenLead { units }, _) => {
                format!("{} passed with no lead connected", count(*units, "unit"))
            }
            (Concern::StraysPassed { units }, _) => {
                format!("{} passed with suspect insulation", count(*units, "unit"))
            }
            (Concern::TooLoose { .. } | Concern::TooTight { .. }, Some(v)) => {
                let high = &v.limits.high;
                let say = |ma: Option<f64>| ma.map(|ma| v.wording.current(ma)).unwrap_or_default();
                let proven = if high.high_end_is_proven() { "" } else { ", not proven" };
                format!(
                    "the limit of {} is {}: {} to {} would work{proven}",
                    say(high.limit_ma),
                    high.kind.map_or("", |kind| kind.words()),
                    say(high.band_low_ma),
                    say(high.band_high_ma)
                )
            }
            (Concern::OpenLeadWouldPass { .. }, _) => "an unconnected lead would pass".to_owned(),
            _ => about.concern.sentence(&about.subject).trim_end_matches('.').to_owned(),
        }
    }

    /// What to do about one part beyond its units; empty where that is all.
    fn step(&self, about: &About) -> String {
        let high = about.seen.series.first().map(|n| &self.ground.series[*n]);
        match (&about.concern, high) {
            // What a raise costs stands in the sentence that names it, wherever it stands.
            (Concern::TooTight { raise: Some(raise), .. }, _) => format!("{raise}."),
            (Concern::TooLoose { suggested: Some(to), .. }, _) => {
                format!("Have a limit of {to} approved and set it.")
            }
            (Concern::OpenLeadWouldPass { .. }, _) if self.parts.len() > 1 && self.is_plant() => {
                "Set low limits (models.csv).".to_owned()
            }
            (Concern::OpenLeadWouldPass { .. }, Some(v)) if v.limits.low.suggested_ma.is_some() => {
                let to = v.limits.low.suggested_ma.map(|ma| v.wording.current(ma));
                format!("Set a low limit of {}.", to.unwrap_or_default())
            }
            (Concern::OpenLeadWouldPass { next_step }, _) => next_step.clone(),
            (Concern::NeverPassed { .. }, _) => {
                "See that each was scrapped, or repaired and tested.".to_owned()
            }
            (Concern::PassedAgainstReading { .. }, _) => {
                "Find out who released them and why.".to_owned()
            }
            (Concern::RetestedUntilPass { .. }, _) => {
                "No further test of these units: decide in writing, by the readings they had."
                    .to_owned()
            }
            (Concern::PassedOpenLead { .. } | Concern::StraysPassed { .. }, _) => String::new(),
            (Concern::Jump { .. }, _) => self.jump_of(about).map_or_else(String::new, jump_step),
            (Concern::Tester(TesterConcern::WrongCheckLoad { .. }), _) => {
                "Find the fault of the station.".to_owned()
            }
            (Concern::Tester(TesterConcern::PassesInDoubt(_)), _) => {
                "Decide on each in writing.".to_owned()
            }
            (Concern::Tester(TesterConcern::TooGood { .. }), _) => "Check the station.".to_owned(),
            (Concern::Tester(TesterConcern::SettingsChanged(_)), _) if self.parts.len() > 1 => {
                "Record the change.".to_owned()
            }
            _ => about.concern.next_step(),
        }
    }

    fn is_plant(&self) -> bool {
        self.parts.iter().all(|a| matches!(a.concern, Concern::OpenLeadWouldPass { .. }))
    }
}

/// What to do about a change of the share of failures; of a lot without its units, which are told.
fn jump_step(jump: &JudgedJump) -> String {
    match &jump.next_step.step {
        Step::HoldUnits { levels, .. } => format!("Hold what is left of {levels}."),
        Step::FindMovement => String::new(),
        step => step.to_string(),
    }
}

/// The limits that changed, each once: from what to what.
fn limits_changed(changes: &[SettingChange]) -> String {
    let mut said: Vec<String> = Vec::new();
    for change in changes.iter().filter(|c| c.what.is_limit()) {
        let what = change.what.words();
        let (from, to) = (change.what.value_words(change.from), change.what.value_words(change.to));
        let phrase = format!("{what} {from} → {to}");
        if !said.contains(&phrase) {
            said.push(phrase);
        }
    }
    said.join(", ")
}
