//! What a change of the share of failures means: whether it is flagged, what is said of it, and the next step.

pub mod counts;
pub mod said;
mod step;

use serde::Serialize;
use serde::ser::{SerializeMap, Serializer};

use crate::analysis::jump::cells::Counted;
use crate::analysis::jump::factors::{FactorKind, kind};
use crate::analysis::jump::{Cause, Jump, LimitMove, Mixed, Parts, Scope, Side};
use crate::analysis::units::happenings;
use crate::analysis::{Findings, Known};
use crate::config::Config;
use crate::day::{Day, date_of};
use crate::series::Pass;
use crate::stats::estimate::Estimate;
use crate::verdict::concern::{About, Concern};
use crate::verdict::seen::Seen;
use crate::words::capital;
use crate::words::numbers::whole;
use counts::{Tally, Times};
use said::{AlsoAt, Charging, Coincides, Explains, MixSaid, PartSaid, Retested, Said, Since};
pub use step::{NextStep, Step};

/// A part this large a share of the change is told.
const PART_TOLD: f64 = 0.20;
/// A change that began, or ended, so many days before the last is history.
const RECENT_DAYS: Day = 31;
/// Failures, or failures tested again, from which it is told what became of them.
const FEWEST_TOLD: u64 = 3;
/// Days with failures from which they are spread.
const FEWEST_DAYS: u64 = 5;
/// Factors that are told to be no cause, at most.
const CLEARED_TOLD: usize = 6;
/// A typical reading that moved by less stayed where it was.
const UNMOVED: f64 = 0.005;

/// A change with what is decided about it: one entry of `jumps` of `results.json`.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedJump {
    /// The finding.
    pub found: Jump,
    /// Whether more fail, clearly and by enough to matter, still or until lately.
    pub flagged: bool,
    /// Whether it is large enough to matter, up or down.
    pub material: bool,
    /// Whether somebody must act: it is flagged, or fewer fail lately and no limit explains it.
    pub needs_action: bool,
    /// What it is.
    pub answer: Answer,
    /// What is said of it, in order; the first says since when and from what to what.
    pub said: Vec<Said>,
    /// What to check next.
    pub next_step: NextStep,
}

/// Judges every change found.
#[must_use]
pub fn judge_all(
    pass: &Pass,
    known: &Known<'_>,
    findings: &Findings,
    config: &Config,
) -> Vec<JudgedJump> {
    let last = pass.plant.days.map_or(0, |d| d.1);
    let judged = |jump| judge(jump, recorded(pass, known, findings, jump), last, config);
    findings.jumps.iter().map(judged).collect()
}

/// What is recorded between the days on which a change may have begun; lots are the causes' to name, and the
/// whole line has no record of its own.
fn recorded(pass: &Pass, known: &Known<'_>, findings: &Findings, jump: &Jump) -> Option<String> {
    let happened = match jump.scope {
        Scope::Series(n) => {
            let moved = &known.movement.series[n as usize];
            happenings::of_series(pass, n as usize, moved, &findings.recorded(known.register))
        }
        Scope::Station(s) => happenings::of_station(pass, s, &findings.recorded(known.register)),
        Scope::Overall => return None,
    };
    happened.recorded_between(jump.date.low, jump.date.day, jump.date.high)
}

/// Judges a change; `recorded` is what is known of its time, `last` the last production day.
#[must_use]
pub fn judge(jump: &Jump, recorded: Option<String>, last: Day, config: &Config) -> JudgedJump {
    let material = jump.each().any(|j| is_material(j, config));
    let ended_lately = |day: Day| day + RECENT_DAYS >= last;
    let answer = Answer::of(jump);
    let flagged = material && jump.rises() && jump.ended.is_none_or(|e| ended_lately(e.day));
    let fewer = material
        && !jump.rises()
        && !matches!(answer, Answer::Limit | Answer::Mix)
        && ended_lately(jump.ended.map_or(jump.date.day, |e| e.day));
    JudgedJump {
        flagged,
        material,
        needs_action: flagged || fewer,
        answer,
        said: said(jump, answer, recorded.as_ref()),
        next_step: NextStep { recorded, step: step(jump, answer) },
        found: jump.clone(),
    }
}

/// Whether a change is clear, and large enough to matter.
fn is_material(jump: &Jump, config: &Config) -> bool {
    let (before, after) = (jump.before.share.value, jump.after.share.value);
    let (low, high) = (before.min(after), before.max(after));
    jump.p_value <= config.jump_p
        && jump.worse().failures.of(jump.counted) >= config.jump_failures
        && high >= config.jump_ratio * low
        && high - low >= config.jump_rise
}

impl JudgedJump {
    /// Whether it is told in full: it matters, or somebody asked for its date.
    #[must_use]
    pub fn is_told(&self) -> bool {
        self.material || self.found.given
    }

    /// Since when, until when, of which series, and the units that passed and must be looked at.
    #[must_use]
    pub fn seen(&self) -> Seen {
        let jump = &self.found;
        let seen = match jump.ended {
            Some(ended) => Seen::between(jump.date.day, ended.day),
            None => Seen::since(Some(jump.date.day)),
        };
        let passed = match self.next_step.step {
            Step::HoldUnits { passed, .. } => passed,
            _ => 0,
        };
        let own = match jump.scope {
            Scope::Series(n) => Some(n as usize),
            Scope::Station(_) | Scope::Overall => None,
        };
        let seen = seen.of(own).units(passed);
        if let Scope::Station(_) = jump.scope { seen.at(&jump.place.subject) } else { seen }
    }

    /// The paragraph about it.
    #[must_use]
    pub fn paragraph(&self) -> String {
        self.said.iter().map(Said::to_string).collect::<Vec<_>>().join(" ")
    }

    /// Since when and from what to what, without its place; and what explains it.
    #[must_use]
    pub fn headline(&self) -> String {
        let jump = &self.found;
        let since = capital(&since(jump).to_string());
        if let Some(mixed) = mixed(jump).filter(|_| self.answer == Answer::Mix) {
            return format!("{since} {mixed}");
        }
        if let Some(charging) = charging(jump).filter(|_| self.answer == Answer::ChargingCurrent) {
            return format!("{since} {charging}");
        }
        match explains(jump).next() {
            Some(Explains { levels, explained, excess, .. }) => format!(
                "{since} {explained} of the {excess} failures beyond those expected: {levels}."
            ),
            None => match coincides(jump) {
                Some(c) => format!("{since} {c}"),
                None => since,
            },
        }
    }
}

/// What somebody must do about changes.
#[must_use]
pub fn concerns(jumps: &[JudgedJump]) -> Vec<About> {
    jumps
        .iter()
        .filter(|j| j.needs_action)
        .map(|j| About {
            subject: j.found.place.subject.clone(),
            concern: Concern::Jump {
                sentence: j.headline(),
                alone: None,
                next_step: j.next_step.to_string(),
            },
            seen: j.seen(),
        })
        .collect()
}

impl Serialize for JudgedJump {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let j = &self.found;
        let counts = |s: &Side| [whole(s.units), whole(s.failures.of(j.counted))];
        let mut map = to.serialize_map(None)?;
        map.serialize_entry("scope", &j.place.title)?;
        map.serialize_entry("scope_kind", &j.scope)?;
        map.serialize_entry("series", &j.place.series)?;
        map.serialize_entry("outcome", &j.counted)?;
        map.serialize_entry("date", &date_of(j.date.day))?;
        map.serialize_entry("date_low", &date_of(j.date.low))?;
        map.serialize_entry("date_high", &date_of(j.date.high))?;
        map.serialize_entry("ended", &j.ended.map(|e| date_of(e.day)))?;
        map.serialize_entry("before", &j.before.share)?;
        map.serialize_entry("after", &j.after.share)?;
        map.serialize_entry("counts_before", &counts(&j.before))?;
        map.serialize_entry("counts_after", &counts(&j.after))?;
        map.serialize_entry("p_value", &j.p_value)?;
        map.serialize_entry("dispersion", &j.phi)?;
        map.serialize_entry("answer", &self.answer)?;
        map.serialize_entry("flagged", &self.flagged)?;
        map.serialize_entry("material", &self.material)?;
        map.serialize_entry("gradual", &j.gradual)?;
        map.serialize_entry("date_given", &j.given)?;
        map.serialize_entry("outcomes", &j.outcomes)?;
        map.serialize_entry("also", &j.also.iter().map(AlsoAt::of).collect::<Vec<_>>())?;
        map.serialize_entry("parts", &j.parts)?;
        map.serialize_entry("causes", &j.explained.causes)?;
        map.serialize_entry("coincides", &j.explained.coincides)?;
        map.serialize_entry("excess", &j.explained.excess)?;
        map.serialize_entry("unexplained_share", &j.explained.unexplained_share)?;
        map.serialize_entry("not_causes", &j.explained.not_causes)?;
        map.serialize_entry("traces", &j.traces)?;
        map.serialize_entry("sentences", &self.said)?;
        map.serialize_entry("next_step", &self.next_step)?;
        map.end()
    }
}

/// What a change is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// Another limit.
    Limit,
    /// Trips while a direct voltage still rose.
    ChargingCurrent,
    /// More units, or fewer, of what failed more often before.
    Mix,
    /// Readings that moved as a whole.
    ReadingsMoved,
    /// A level of a factor, or several.
    Cause,
    /// A level that came with the date, and cannot be told from it.
    CameWithTheDate,
    /// Nothing that is recorded.
    NotExplained,
}

/// A part of a change, the answer where it rules, and its words.
type Ruling = (Answer, fn(&Parts) -> f64, &'static str);

/// Parts that answer a change by themselves; of two that rule the first.
const RULING: [Ruling; 4] = [
    (Answer::Limit, |p| p.limit.value, "another limit"),
    (Answer::ChargingCurrent, |p| p.charging.value, "charging current"),
    (Answer::Mix, |p| p.mix.value, "another mix of units"),
    (Answer::ReadingsMoved, |p| p.shift.value, "readings that moved as a whole"),
];

impl Answer {
    /// The answer to a change.
    fn of(jump: &Jump) -> Self {
        let answers = |(answer, of, _): &&Ruling| {
            // A mix that rules without a factor that is certain is told, and answers nothing.
            if *answer == Self::Mix { jump.is_mix() } else { jump.rules(of) }
        };
        if let Some((answer, ..)) = RULING.iter().find(answers) {
            *answer
        } else if !jump.explained.causes.is_empty() {
            Self::Cause
        } else if !jump.explained.coincides.is_empty() {
            Self::CameWithTheDate
        } else {
            Self::NotExplained
        }
    }
}

fn said(jump: &Jump, answer: Answer, recorded: Option<&String>) -> Vec<Said> {
    let is_limit = answer == Answer::Limit;
    let mut said = vec![Said::Since { place: jump.place.title.clone(), since: since(jump) }];
    if jump.counted == Counted::Failed {
        let failures = jump.worse().failures;
        if failures.of(Counted::Failed) > 0.0 {
            said.push(Said::Kinds { rises: jump.rises(), failures });
        }
    }
    said.extend(parts(jump, is_limit));
    if !is_limit {
        said.extend(causes(jump));
    }
    if !jump.also.is_empty() {
        said.push(Said::Also(jump.also.iter().map(AlsoAt::of).collect()));
    }
    said.extend(unmoved(jump));
    if !is_limit {
        said.extend(traces(jump, answer));
    }
    if jump.gradual {
        said.push(Said::Gradual);
    }
    said.extend(recorded.cloned().map(Said::Recorded));
    said
}

/// Since when and from what to what.
#[must_use]
pub fn since(jump: &Jump) -> Since {
    Since {
        date: jump.date,
        ended: jump.ended,
        counted: jump.counted,
        before: Tally::of(&jump.before, jump.counted),
        after: Tally::of(&jump.after, jump.counted),
    }
}

/// Parts large and certain enough to be told.
fn parts(jump: &Jump, is_limit: bool) -> Vec<Said> {
    let mut said = Vec::new();
    let Some(parts) = &jump.parts else {
        return said;
    };
    let told = |e: &Estimate| {
        (e.value / parts.rise.value >= PART_TOLD && !(e.low <= 0.0 && e.high >= 0.0))
            .then_some(PartSaid { part: e.value, of: parts.rise.value })
    };
    let moves: Vec<LimitMove> =
        jump.limits.iter().filter(|m| concerned(m, jump.counted)).cloned().collect();
    if !moves.is_empty() {
        if is_limit {
            let left = 1.0 - parts.limit.value / parts.rise.value;
            let left = PartSaid { part: left * parts.rise.value, of: parts.rise.value };
            said.push(Said::IsTheLimit { moves, rises: jump.rises(), left });
        } else if let Some(size) = told(&parts.limit) {
            said.push(Said::Limit { moves, size });
        }
    }
    if told(&parts.charging).is_some() {
        said.extend(charging(jump).map(Said::Charging));
    }
    if told(&parts.mix).is_some() {
        said.extend(mixed(jump).map(Said::Mix));
    }
    if let Some(size) = told(&parts.shift) {
        said.push(Said::Shift { ratio: jump.moved, size });
    }
    said
}

/// Trips while a direct voltage still rose, on the side with more failures.
fn charging(jump: &Jump) -> Option<Charging> {
    let failures = &jump.worse().failures;
    (failures.charging > 0.0).then(|| Charging {
        tripped: whole(failures.charging),
        failures: whole(failures.of(jump.counted)),
    })
}

/// The mix, with the levels that made it.
fn mixed(jump: &Jump) -> Option<MixSaid> {
    let parts = jump.parts.as_ref()?;
    Some(MixSaid {
        rises: jump.rises(),
        factor: parts.mix_of.clone(),
        levels: parts.mixed.clone(),
        size: PartSaid { part: parts.mix.value, of: parts.rise.value },
    })
}

/// The levels that made a mix with their shares of the units before and since, three at most; empty where none did.
fn mixed_in_short(jump: &Jump) -> String {
    let Some(MixSaid { factor: Some(factor), levels, .. }) = mixed(jump) else {
        return String::new();
    };
    let shares = |m: &Mixed| {
        format!("{} {:.0} % → {:.0} %", m.level, 100.0 * m.share_before, 100.0 * m.share_after)
    };
    let levels: Vec<String> = levels.iter().take(3).map(shares).collect();
    format!(" ({factor} {})", levels.join(", "))
}

/// Whether a limit makes such failures.
fn concerned(m: &LimitMove, counted: Counted) -> bool {
    match counted {
        Counted::OverLimit => m.high,
        Counted::UnderLimit => !m.high,
        _ => true,
    }
}

/// What each cause explains, the strongest first.
fn explains(jump: &Jump) -> impl Iterator<Item = Explains> {
    let found = &jump.explained;
    found.causes.iter().enumerate().map(|(n, cause)| Explains {
        first: n == 0,
        levels: cause.what.clone(),
        explained: whole((cause.failures - cause.expected).min(found.excess)),
        excess: whole(found.excess),
        failed: whole(cause.failures),
        units: whole(cause.units),
        expected: cause.expected,
        times: Times::of(cause),
    })
}

/// What explains it, in a few words: a cause, a part that makes most of it, what it cannot be told from, or nothing.
#[must_use]
pub fn why(jump: &Jump) -> String {
    if let Some(cause) = explains(jump).next() {
        return cause.in_short();
    }
    if let Some((answer, _, part)) = RULING.iter().find(|(_, of, _)| jump.rules(of)) {
        let levels = if *answer == Answer::Mix { mixed_in_short(jump) } else { String::new() };
        return format!("no cause named; mostly {part}{levels}");
    }
    match jump.explained.coincides.first() {
        Some(c) => format!("it goes with {}, not to be told from the date", c.what),
        None => "no level recorded explains the change".to_owned(),
    }
}

/// What came with the date, or went with it.
fn coincides(jump: &Jump) -> Option<Coincides> {
    let list = &jump.explained.coincides;
    (!list.is_empty()).then(|| Coincides {
        rises: jump.rises(),
        unused_else: list.iter().all(|c| c.units_before < 0.5),
        levels: list.iter().map(|c| c.what.clone()).collect(),
    })
}

fn causes(jump: &Jump) -> Vec<Said> {
    let found = &jump.explained;
    let with_the_date = coincides(jump).map(Said::Coincides);
    if found.causes.is_empty() {
        let of_itself =
            jump.rules(|p| p.limit.value + p.mix.value + p.charging.value + p.shift.value);
        let nothing = (!of_itself).then_some(Said::NothingExplains);
        return with_the_date.or(nothing).into_iter().collect();
    }
    let mut said = Vec::new();
    for (explains, cause) in explains(jump).zip(&found.causes) {
        said.push(Said::Explains(explains));
        if !cause.same_units.is_empty() {
            let others = cause.same_units.clone();
            said.push(Said::SameUnits { levels: cause.what.clone(), others });
        }
        if !cause.rivals.is_empty() {
            said.push(Said::Rivals(cause.rivals.clone()));
        }
    }
    if found.unexplained_share >= PART_TOLD {
        said.push(Said::Unexplained(found.unexplained_share));
        said.extend(with_the_date);
    }
    said
}

fn unmoved(jump: &Jump) -> Option<Said> {
    let mut factors = jump.explained.not_causes.clone();
    factors.truncate(CLEARED_TOLD);
    if jump.explained.causes.is_empty() && !jump.rises() {
        factors.clear();
    }
    let typical = jump.moved.filter(|m| (m - 1.0).abs() < UNMOVED);
    let limits = jump.limits.is_empty();
    (!factors.is_empty() || typical.is_some() || limits).then_some(Said::Unmoved {
        factors,
        typical,
        limits,
    })
}

fn traces(jump: &Jump, answer: Answer) -> Vec<Said> {
    let t = &jump.traces;
    let mut said = Vec::new();
    if t.failures < FEWEST_TOLD {
        return said;
    }
    if t.in_bursts() {
        said.push(Said::InRuns {
            in_runs: t.in_runs,
            failures: t.failures,
            most: t.most_in_run.clone(),
        });
    } else if t.days_with >= FEWEST_DAYS && answer != Answer::Mix {
        let moved = answer == Answer::ReadingsMoved;
        said.push(Said::Spread {
            failures: t.failures,
            days_with: t.days_with,
            days: t.days,
            of_the_product: !moved && !matches!(jump.scope, Scope::Station(_)),
        });
    }
    if t.retested >= FEWEST_TOLD {
        said.push(Said::Retested(Retested {
            retested: t.retested,
            passed: t.then_passed + t.passed_at_other_settings,
            at_other_settings: t.passed_at_other_settings,
            elsewhere: t.passed_elsewhere,
            otherwise: (t.before.0 >= FEWEST_TOLD).then_some(t.before),
            of_the_test: 2 * t.then_passed >= t.retested && jump.rises(),
        }));
    }
    said
}

fn step(jump: &Jump, answer: Answer) -> Step {
    match answer {
        Answer::Limit => Step::DecideLimit,
        _ if !jump.rises() => Step::TryLoads,
        Answer::ChargingCurrent => {
            Step::SlowRamp { set: jump.named().find(|c| is_set(c)).map(|c| c.what.clone()) }
        }
        Answer::Mix => Step::PlanForMix,
        Answer::ReadingsMoved => Step::FindMovement,
        Answer::Cause | Answer::CameWithTheDate | Answer::NotExplained => {
            match jump.named().next() {
                Some(cause) => about(cause),
                None if jump.traces.in_bursts() => Step::LookAtLeads,
                None => Step::AskWhatChanged,
            }
        }
    }
}

/// Whether a cause is what was set for a test.
fn is_set(cause: &Cause) -> bool {
    cause.what.0.iter().any(|n| kind(&n.factor) == FactorKind::Set)
}

/// What to do about a cause: it is where, by whom, or of what units are made.
fn about(cause: &Cause) -> Step {
    let (levels, rivals) = (cause.what.clone(), cause.rivals.clone());
    let factors: Vec<&str> = levels.0.iter().map(|n| n.factor.as_str()).collect();
    if is_set(cause) {
        Step::DecideSetting { levels, rivals }
    } else if factors == ["station"] {
        Step::CheckStation { levels, rivals }
    } else if factors.iter().all(|f| ["operator", "shift", "station"].contains(f)) {
        Step::WatchTesting { levels, rivals }
    } else {
        Step::HoldUnits { levels, rivals, passed: whole(cause.units - cause.failures) }
    }
}
