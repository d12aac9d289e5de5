//! What a change of the share of failures means: whether it is flagged, the paragraph that says what happened,
//! and the next step.

use crate::analysis::jump::cells::Counted;
use crate::analysis::jump::{Cause, Dated, Jump, LimitMove, Named, Scope};
use crate::config::Config;
use crate::day::date_of;
use crate::series::Pass;
use crate::words::{capital, count, percent, three_digits};

/// A part this large a share of the change is told.
const PART_TOLD: f64 = 0.20;
/// A part this large a share of the change is what the change is.
const PART_RULES: f64 = 0.50;

/// What is decided about one change.
#[derive(Debug, Clone, PartialEq)]
pub struct JumpVerdict {
    /// Whether more fail, clearly and by enough to matter, still or until lately.
    pub flagged: bool,
    /// Whether it is large enough to matter, up or down.
    pub material: bool,
    /// Whether most of it is another limit.
    pub is_limit: bool,
    /// The paragraph: sentences for a shift leader, the first says since when and from what to what.
    pub sentences: Vec<String>,
    /// What to check next.
    pub next_step: String,
}

/// Judges a change; `place` names a scope for people.
#[must_use]
pub fn judge(
    pass: &Pass,
    jump: &Jump,
    place: &dyn Fn(Scope) -> String,
    config: &Config,
) -> JumpVerdict {
    let (before, after) = (jump.before.share.value, jump.after.share.value);
    let (low, high) = (before.min(after), before.max(after));
    let failures = jump.worse().failures.of(jump.counted);
    let material = jump.p_value <= config.jump_p
        && failures >= config.jump_failures
        && high >= config.jump_ratio * low
        && high - low >= config.jump_rise;
    let last = pass.plant.days.map_or(0, |d| d.1);
    let recent = jump.ended.is_none() || jump.is_recent(last);
    let is_limit = part(jump, |p| p.limit.value).is_some_and(|s| s >= PART_RULES);
    JumpVerdict {
        flagged: material && jump.rises() && recent,
        material,
        is_limit,
        sentences: sentences(pass, jump, place, is_limit),
        next_step: next_step(jump, is_limit),
    }
}

/// Share of the change that one part makes.
fn part(jump: &Jump, of: impl Fn(&crate::analysis::jump::Parts) -> f64) -> Option<f64> {
    let parts = jump.parts.as_ref()?;
    (parts.rise.value != 0.0).then(|| of(parts) / parts.rise.value)
}

/// What failed, as a verb.
fn verb(counted: Counted) -> &'static str {
    match counted {
        Counted::Failed => "fail",
        Counted::OverLimit => "end over the limit",
        Counted::UnderLimit => "end under the low limit",
        Counted::Breakdown => "break down",
        Counted::NotCompleted => "are not completed",
    }
}

fn range(date: Dated) -> String {
    if date.low == date.high {
        date_of(date.day).to_string()
    } else {
        format!("{} (between {} and {})", date_of(date.day), date_of(date.low), date_of(date.high))
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts of units")]
fn whole(x: f64) -> u64 {
    x.max(0.0).round() as u64
}

/// A number expected, with one decimal where it is small.
fn expected(x: f64) -> String {
    if x < 10.0 { format!("{x:.1}") } else { format!("{x:.0}") }
}

/// Each level in words: `lot HE-26-31`.
#[must_use]
pub fn each(what: &[Named]) -> Vec<String> {
    what.iter().map(|n| format!("{} {}", n.factor, n.level)).collect()
}

/// Levels that belong together in words: `lot HE-26-31 together with station A2`.
#[must_use]
pub fn levels(what: &[Named]) -> String {
    each(what).join(" together with ")
}

fn list(words: &[String], last: &str) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., end] => format!("{} {last} {end}", most.join(", ")),
    }
}

/// Two shares printed so that they differ.
fn from_to(before: f64, after: f64) -> (String, String) {
    (percent(before), percent(after))
}

fn sentences(
    pass: &Pass,
    jump: &Jump,
    place: &dyn Fn(Scope) -> String,
    is_limit: bool,
) -> Vec<String> {
    let mut said = vec![first(jump, place)];
    said.extend(outcomes(jump));
    said.extend(parts(pass, jump, is_limit));
    if !is_limit {
        said.extend(causes(jump));
    }
    said.extend(unmoved(jump));
    if !is_limit {
        said.extend(traces(pass, jump));
    }
    if jump.gradual {
        said.push(
            "An even change describes these days better than a sudden one: look for something that grows, not for one date."
                .to_owned(),
        );
    }
    said
}

fn first(jump: &Jump, place: &dyn Fn(Scope) -> String) -> String {
    let (before, after) = from_to(jump.before.share.value, jump.after.share.value);
    let side = |s: &crate::analysis::jump::Side| {
        format!("{} of {}", whole(s.failures.of(jump.counted)), count(whole(s.units), "unit"))
    };
    let mut text = format!(
        "{}: since {} {after} of units {} ({}), before {before} ({})",
        place(jump.scope),
        range(jump.date),
        verb(jump.counted),
        side(&jump.after),
        side(&jump.before),
    );
    match jump.ended {
        Some(end) => text.push_str(&format!("; it came back on {} to what it was.", range(end))),
        None => text.push('.'),
    }
    text
}

/// What the failures of the worse side were, where several kinds count.
fn outcomes(jump: &Jump) -> Option<String> {
    if jump.counted != Counted::Failed {
        return None;
    }
    let f = &jump.worse().failures;
    let kinds: Vec<String> = [
        (f.over, "over the limit"),
        (f.breakdown, "by breakdown"),
        (f.under, "under the low limit"),
    ]
    .into_iter()
    .filter(|(n, _)| *n > 0.0)
    .map(|(n, words)| format!("{} {words}", whole(n)))
    .collect();
    let when = if jump.rises() { "Since then" } else { "Before" };
    (!kinds.is_empty()).then(|| format!("{when} they failed: {}.", list(&kinds, "and")))
}

fn limit_words(pass: &Pass, moves: &[LimitMove], counted: Counted) -> Option<String> {
    let value = |pa: Option<i64>| {
        pa.map_or_else(
            || "none".to_owned(),
            |pa| format!("{} mA", three_digits(crate::movement::readings::ma(pa))),
        )
    };
    // Which limit, from what to what, and where.
    type Kind = (bool, Option<i64>, Option<i64>, Vec<String>);
    let mut kinds: Vec<Kind> = Vec::new();
    let concerned = |m: &&LimitMove| match counted {
        Counted::OverLimit => m.high,
        Counted::UnderLimit => !m.high,
        _ => true,
    };
    for m in moves.iter().filter(concerned) {
        let station =
            format!("{} ({})", pass.plant.stations[usize::from(m.station)], date_of(m.day));
        match kinds.iter_mut().find(|k| (k.0, k.1, k.2) == (m.high, m.from_pa, m.to_pa)) {
            Some(k) => k.3.push(station),
            None => kinds.push((m.high, m.from_pa, m.to_pa, vec![station])),
        }
    }
    let words: Vec<String> = kinds
        .iter()
        .map(|(high, from, to, stations)| {
            format!(
                "the {} limit went from {} to {} on {}",
                if *high { "high" } else { "low" },
                value(*from),
                value(*to),
                list(stations, "and")
            )
        })
        .collect();
    (!words.is_empty()).then(|| list(&words, "and"))
}

fn parts(pass: &Pass, jump: &Jump, is_limit: bool) -> Vec<String> {
    let mut said = Vec::new();
    let points = |x: f64| format!("{} points", three_digits(100.0 * x.abs()));
    let Some(parts) = &jump.parts else {
        return said;
    };
    let told = |e: &crate::stats::estimate::Estimate| {
        e.value / parts.rise.value >= PART_TOLD && !(e.low <= 0.0 && e.high >= 0.0)
    };
    let limits = limit_words(pass, &jump.limits, jump.counted);
    if let Some(words) = &limits {
        if is_limit {
            let left = 1.0 - parts.limit.value / parts.rise.value;
            let same = if left < 0.1 {
                format!("the share did not {}", if jump.rises() { "rise" } else { "fall" })
            } else {
                format!(
                    "only {} of the change of {} are left",
                    points(left * parts.rise.value),
                    points(parts.rise.value)
                )
            };
            said.push(format!(
                "It is the limit, not the product: {words}; counted at the same limit on both sides, {same}."
            ));
        } else if told(&parts.limit) {
            said.push(format!(
                "In that time {words}: that makes {} of the change of {}.",
                points(parts.limit.value),
                points(parts.rise.value),
            ));
        }
    }
    if told(&parts.mix) {
        let of = parts.mix_of.as_deref().unwrap_or("model");
        said.push(format!(
            "More units came of what failed more often before already ({of}): that makes {} of the change of {}.",
            points(parts.mix.value),
            points(parts.rise.value),
        ));
    }
    if told(&parts.shift) {
        said.push(format!(
            "Readings moved as a whole{}: that makes {} of the change of {}.",
            jump.moved.map_or_else(String::new, |m| format!(" by {:+.1} %", 100.0 * (m - 1.0))),
            points(parts.shift.value),
            points(parts.rise.value),
        ));
    }
    said
}

fn causes(jump: &Jump) -> Vec<String> {
    let found = &jump.explained;
    let excess = found.failures - found.expected;
    if found.causes.is_empty() {
        if !found.coincides.is_empty() {
            return vec![coincides(jump.rises(), &found.coincides)];
        }
        let limit_or_mix = part(jump, |p| p.limit.value + p.mix.value + p.shift.value)
            .is_some_and(|s| s >= PART_RULES);
        return if limit_or_mix {
            Vec::new()
        } else {
            vec!["No station, lot, operator, shift or other level recorded explains it.".to_owned()]
        };
    }
    let mut said = Vec::new();
    for (n, cause) in found.causes.iter().enumerate() {
        let named = levels(&cause.what);
        let lead = if n == 0 { capital(&named) } else { format!("Of what remains, {named}") };
        let mine = cause.failures - cause.expected;
        said.push(format!(
            "{lead} explains {} of the {} failures beyond those expected: {} of its {} failed, {} expected.",
            whole(mine.min(excess)),
            whole(excess),
            whole(cause.failures),
            count(whole(cause.units), "unit"),
            expected(cause.expected),
        ));
        said.extend(doubt(cause));
    }
    if found.unexplained >= PART_TOLD {
        said.push(format!("{} of the excess stays unexplained.", percent(found.unexplained)));
        if !found.coincides.is_empty() {
            said.push(coincides(jump.rises(), &found.coincides));
        }
    }
    said
}

/// What came with the date, or went with it.
#[must_use]
pub fn coincides(rises: bool, list_of: &[Cause]) -> String {
    let names: Vec<String> = list_of.iter().map(|c| levels(&c.what)).collect();
    let (is, them) = if names.len() == 1 { ("was", "it") } else { ("were", "they") };
    let (when, other, anything) =
        if rises { ("since then", "before", "began") } else { ("before", "since then", "ended") };
    let hardly = if list_of.iter().all(|c| c.units_before < 0.5) { "not" } else { "hardly" };
    format!(
        "Every unit {when} was of {}, which {is} {hardly} in use {other}: {them} cannot be told from anything else that {anything} on that day.",
        list(&names, "and")
    )
}

/// What a cause cannot be told from.
fn doubt(cause: &Cause) -> Vec<String> {
    let named = capital(&levels(&cause.what));
    let others = |names: &[Named]| list(&each(names), "and");
    let mut said = Vec::new();
    if !cause.same_units.is_empty() {
        said.push(format!(
            "{named} and {} cannot be told apart: they were used together.",
            others(&cause.same_units)
        ));
    }
    if !cause.rivals.is_empty() {
        said.push(format!(
            "The same failures are those of {}, which fits nearly as well.",
            others(&cause.rivals)
        ));
    }
    said
}

fn unmoved(jump: &Jump) -> Option<String> {
    let mut plural: Vec<String> = jump.explained.cleared.iter().map(|f| format!("{f}s")).collect();
    plural.truncate(6);
    let mut said = Vec::new();
    if !plural.is_empty() && (!jump.explained.causes.is_empty() || jump.rises()) {
        said.push(format!("not the cause: {} (no level of them stands out)", list(&plural, "and")));
    }
    if let Some(m) = jump.moved.filter(|m| (m - 1.0).abs() < 0.01) {
        said.push(format!("the typical reading did not move ({:+.1} %)", 100.0 * (m - 1.0)));
    }
    if jump.limits.is_empty() {
        said.push("no limit changed".to_owned());
    }
    (!said.is_empty()).then(|| format!("{}.", capital(&said.join("; "))))
}

fn traces(pass: &Pass, jump: &Jump) -> Vec<String> {
    let t = &jump.traces;
    let mut said = Vec::new();
    if t.failures < 3 {
        return said;
    }
    if t.in_bursts() {
        let most = t.most_in_run.map_or_else(String::new, |(n, s)| {
            format!(", at most {n} within ten minutes on {}", pass.plant.stations[usize::from(s)])
        });
        said.push(format!(
            "{} of {} came in runs{most}: that points to a lead, a fixture or a setting.",
            t.in_runs,
            count(t.failures, "failure")
        ));
    } else if t.days_with >= 5 {
        let moved = part(jump, |p| p.shift.value).is_some_and(|s| s >= PART_RULES);
        let product = if moved || matches!(jump.scope, Scope::Station(_)) {
            ": no single hour or lead made them"
        } else {
            ": that points to the product, not to a lead"
        };
        said.push(format!(
            "The {} are spread over {} of {}{product}.",
            count(t.failures, "failure"),
            t.days_with,
            count(t.days, "production day")
        ));
    }
    if t.retested >= 3 {
        let before = if t.before.0 >= 3 {
            format!(" (otherwise {} of {})", t.before.1, t.before.0)
        } else {
            String::new()
        };
        let elsewhere = if t.passed_elsewhere > 0 {
            format!(", {} of these at another station", t.passed_elsewhere)
        } else {
            String::new()
        };
        let points = if 2 * t.then_passed >= t.retested && jump.rises() {
            ": that points to the test rather than the product"
        } else {
            ""
        };
        said.push(format!(
            "Tested again, {} of {} passed in the end{elsewhere}{before}{points}.",
            t.then_passed, t.retested
        ));
    }
    said
}

fn next_step(jump: &Jump, is_limit: bool) -> String {
    if is_limit {
        return "Decide whether the new limit is meant: look at it with `leakdrift limits`."
            .to_owned();
    }
    if !jump.rises() {
        return "Test a load that must fail on each station: fewer failures can be a tester that no longer trips."
            .to_owned();
    }
    let rules = |of: fn(&crate::analysis::jump::Parts) -> f64| {
        part(jump, of).is_some_and(|s| s >= PART_RULES)
    };
    if rules(|p| p.mix.value) {
        return "Nothing fails more often than before: plan for the new mix, or improve what fails most."
            .to_owned();
    }
    if rules(|p| p.shift.value) {
        return "Find out why readings moved: see the movement of the series and of its stations."
            .to_owned();
    }
    let found = &jump.explained;
    if let Some(cause) = found.causes.first().or(found.coincides.first()) {
        let mut named = levels(&cause.what);
        if !cause.rivals.is_empty() {
            named.push_str(&format!(" or {}", list(&each(&cause.rivals), "or")));
        }
        let factors: Vec<&str> = cause.what.iter().map(|n| n.factor.as_str()).collect();
        let passed = whole(cause.units - cause.failures);
        return if factors == ["station"] {
            format!(
                "Check leads, fixture and settings of {named}; test some of its failed units at another station."
            )
        } else if factors.iter().all(|f| ["operator", "shift", "station"].contains(f)) {
            format!("Watch how units are connected and tested: {named}.")
        } else {
            format!(
                "Hold what is left of {named}; test its {} that passed again before shipment (units-to-check.csv).",
                count(passed, "unit")
            )
        };
    }
    if jump.traces.in_bursts() {
        return "Look at leads and fixtures; test failed units again at another station."
            .to_owned();
    }
    "Test failed units again at another station, and ask what changed on that date: parts, process, leads, settings."
        .to_owned()
}
