//! What is said of a change of the share of failures: each sentence as what it tells, and its words.

use std::fmt::{self, Display, Formatter};

use serde::{Serialize, Serializer};

use crate::analysis::jump::cells::{Counted, Failures};
use crate::analysis::jump::{Dated, Jump, Levels, LimitMove, Mixed, Named, Run};
use crate::day::date_of;
use crate::verdict::jump::counts::{Tally, Times};
use crate::words::{capital, count, percent, three_digits};

/// The same change at another place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlsoAt {
    /// The place.
    pub scope: String,
    /// Identity of the series, where it is one.
    pub series: Option<String>,
    /// Before.
    pub before: Tally,
    /// Since then.
    pub after: Tally,
}

impl AlsoAt {
    /// Of a change that is told with another.
    #[must_use]
    pub fn of(jump: &Jump) -> Self {
        Self {
            scope: jump.place.title.clone(),
            series: jump.place.series.clone(),
            before: Tally::of(&jump.before, jump.counted),
            after: Tally::of(&jump.after, jump.counted),
        }
    }
}

/// Trips while a direct voltage still rose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charging {
    /// So many.
    pub tripped: u64,
    /// Of so many failures.
    pub failures: u64,
}

/// Another mix, and what it makes.
#[derive(Debug, Clone, PartialEq)]
pub struct MixSaid {
    /// Whether more fail since.
    pub rises: bool,
    /// Of what; models, where `None`.
    pub factor: Option<String>,
    /// The levels that made the most of it.
    pub levels: Vec<Mixed>,
    /// What it makes.
    pub size: PartSaid,
}

/// Since when, and from which share to which.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Since {
    /// Since when.
    pub date: Dated,
    /// When it came back.
    pub ended: Option<Dated>,
    /// Which failures.
    pub counted: Counted,
    /// Before.
    pub before: Tally,
    /// Since then.
    pub after: Tally,
}

/// A part of the change beside the change, shares of units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartSaid {
    /// The part.
    pub part: f64,
    /// The change.
    pub of: f64,
}

/// What one cause explains.
#[derive(Debug, Clone, PartialEq)]
pub struct Explains {
    /// Whether it is the strongest; others explain of what remains.
    pub first: bool,
    /// The cause.
    pub levels: Levels,
    /// Failures that it explains.
    pub explained: u64,
    /// Failures beyond those expected, in all.
    pub excess: u64,
    /// Its failures.
    pub failed: u64,
    /// Its units.
    pub units: u64,
    /// Failures expected of them.
    pub expected: f64,
    /// How many times as often as before.
    pub times: Option<Times>,
}

/// What came with the date, or went with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Coincides {
    /// Whether more fail since the date.
    pub rises: bool,
    /// What every unit of the worse side was of.
    pub levels: Vec<Levels>,
    /// Whether no unit of the other side was of it; hardly one otherwise.
    pub unused_else: bool,
}

/// What became of failures tested again.
#[derive(Debug, Clone, PartialEq)]
pub struct Retested {
    /// Failures tested again.
    pub retested: u64,
    /// Of these, passed in the end.
    pub passed: u64,
    /// Of these, at other settings than first.
    pub at_other_settings: u64,
    /// Of these, at another station.
    pub elsewhere: u64,
    /// The same before the date, tested and passed; `None` where too few.
    pub otherwise: Option<(u64, u64)>,
    /// Whether that points to the test.
    pub of_the_test: bool,
}

/// One sentence about a change.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs, reason = "fields are told with their variants")]
pub enum Said {
    /// Since when and from what to what.
    Since { place: String, since: Since },
    /// What the failures of the worse side were.
    Kinds { rises: bool, failures: Failures },
    /// It is another limit; `left` of the change remains at the same one.
    IsTheLimit { moves: Vec<LimitMove>, rises: bool, left: PartSaid },
    /// Another limit makes a part.
    Limit { moves: Vec<LimitMove>, size: PartSaid },
    /// Trips while a direct voltage still rose are charging current.
    Charging(Charging),
    /// Another mix makes a part.
    Mix(MixSaid),
    /// Readings that moved as a whole, by this ratio, make a part.
    Shift { ratio: Option<f64>, size: PartSaid },
    /// What cannot be told from the date.
    Coincides(Coincides),
    /// The same date and cause at other places.
    Also(Vec<AlsoAt>),
    /// No level recorded explains it.
    NothingExplains,
    /// What a cause explains.
    Explains(Explains),
    /// Levels used together with a cause.
    SameUnits { levels: Levels, others: Vec<Named> },
    /// Levels with the same failures that fit nearly as well.
    Rivals(Vec<Named>),
    /// Share of the excess that stays unexplained.
    Unexplained(f64),
    /// Factors that are no cause, the ratio of a typical reading that stayed, and whether limits did.
    Unmoved { factors: Vec<String>, typical: Option<f64>, limits: bool },
    /// Most failures came in runs.
    InRuns { in_runs: u64, failures: u64, most: Option<Run> },
    /// Failures are spread over days, and whether that points to the product.
    Spread { failures: u64, days_with: u64, days: u64, of_the_product: bool },
    /// What became of failures tested again; `otherwise` is tested again and passed of the other side.
    Retested(Retested),
    /// It grew rather than jumped.
    Gradual,
    /// What is recorded in that time.
    Recorded(String),
}

impl Serialize for Said {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
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

/// What failed, as a noun.
fn noun(counted: Counted) -> &'static str {
    match counted {
        Counted::Failed => "failures",
        Counted::OverLimit => "results over the limit",
        Counted::UnderLimit => "results under the low limit",
        Counted::Breakdown => "breakdowns",
        Counted::NotCompleted => "tests not completed",
    }
}

impl Since {
    /// The same as [`Display`] in a few words, for a title.
    #[must_use]
    pub fn in_short(&self) -> String {
        let Self { date, ended, counted, before, after } = self;
        let back = ended.map_or_else(String::new, |end| format!(", back on {}", date_of(end.day)));
        format!(
            "{} {} from {} to {} on {}{back}",
            noun(*counted),
            if after.share > before.share { "rose" } else { "fell" },
            percent(before.share),
            percent(after.share),
            date_of(date.day)
        )
    }
}

fn range(date: Dated) -> String {
    if date.low == date.high {
        date_of(date.day).to_string()
    } else {
        format!("{} (between {} and {})", date_of(date.day), date_of(date.low), date_of(date.high))
    }
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn list(items: &[impl Display], last: &str) -> String {
    let words: Vec<String> = items.iter().map(ToString::to_string).collect();
    match words.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., end] => format!("{} {last} {end}", most.join(", ")),
    }
}

fn points(share: f64) -> String {
    format!("{} points", three_digits(100.0 * share.abs()))
}

/// Which limits, from what to what, and where.
fn limit_words(moves: &[LimitMove]) -> String {
    let value =
        |ma: Option<f64>| ma.map_or("none".to_owned(), |ma| format!("{} mA", three_digits(ma)));
    let mut kinds: Vec<(&LimitMove, Vec<String>)> = Vec::new();
    for m in moves {
        let station = format!("{} ({})", m.station, date_of(m.day));
        let same = |k: &LimitMove| (k.high, k.from_ma, k.to_ma) == (m.high, m.from_ma, m.to_ma);
        match kinds.iter_mut().find(|(k, _)| same(k)) {
            Some((_, stations)) => stations.push(station),
            None => kinds.push((m, vec![station])),
        }
    }
    let words: Vec<String> = kinds
        .iter()
        .map(|(m, stations)| {
            format!(
                "the {} limit went from {} to {} on {}",
                if m.high { "high" } else { "low" },
                value(m.from_ma),
                value(m.to_ma),
                list(stations, "and")
            )
        })
        .collect();
    list(&words, "and")
}

impl Display for Since {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let Self { date, ended, counted, before, after } = self;
        write!(
            f,
            "since {} {} of units {} ({after}), before {} ({before})",
            range(*date),
            percent(after.share),
            verb(*counted),
            percent(before.share),
        )?;
        match ended {
            Some(end) => write!(f, "; it came back on {} to what it was.", range(*end)),
            None => f.write_str("."),
        }
    }
}

impl Display for PartSaid {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "{} of the change of {}", points(self.part), points(self.of))
    }
}

impl Display for Explains {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let named = self.levels.to_string();
        let lead = if self.first { capital(&named) } else { format!("Of what remains, {named}") };
        // One decimal where it is small.
        let decimals = usize::from(self.expected < 10.0);
        write!(
            f,
            "{lead} explains {} of the {} failures beyond those expected: {} of its {} failed, {:.decimals$} expected",
            self.explained,
            self.excess,
            self.failed,
            count(self.units, "unit"),
            self.expected,
        )?;
        match &self.times {
            Some(times) => write!(f, ": {times}."),
            None => f.write_str("."),
        }
    }
}

impl Display for Charging {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} of the {} tripped while the voltage still rose: that is charging current, capacitance times the speed of the ramp, and says nothing of the insulation.",
            self.tripped,
            count(self.failures, "failure")
        )
    }
}

impl Display for MixSaid {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let Self { rises, factor, levels, size } = self;
        let factor = factor.as_deref().unwrap_or("model");
        let (more, of) = if *rises { ("More", "more") } else { ("Fewer", "fewer") };
        if levels.is_empty() {
            return write!(
                f,
                "{more} units came of what failed more often before already ({factor}): that makes {size}."
            );
        }
        let each: Vec<String> = levels
            .iter()
            .map(|m| {
                format!(
                    "{factor} {} {} of the units after {}, of which {} failed before",
                    m.level,
                    percent(m.share_after),
                    percent(m.share_before),
                    percent(m.failed_before)
                )
            })
            .collect();
        write!(
            f,
            "The mix changed, {of} units came of what failed more often before already: {}; that makes {size}.",
            each.join("; ")
        )
    }
}

impl Display for AlsoAt {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}, {} to {} ({})",
            self.scope,
            percent(self.before.share),
            percent(self.after.share),
            self.after
        )
    }
}

impl Explains {
    /// The same without its numbers in detail, for a title.
    #[must_use]
    pub fn in_short(&self) -> String {
        format!(
            "{} explains {} of the {} failures beyond those expected",
            self.levels, self.explained, self.excess
        )
    }
}

impl Display for Coincides {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let (is, them) = if self.levels.len() == 1 { ("was", "it") } else { ("were", "they") };
        let (when, other, anything) = if self.rises {
            ("since then", "before", "began")
        } else {
            ("before", "since then", "ended")
        };
        let hardly = if self.unused_else { "not" } else { "hardly" };
        write!(
            f,
            "Every unit {when} was of {}, which {is} {hardly} in use {other}: {them} cannot be told from anything else that {anything} on that day.",
            list(&self.levels, "and")
        )
    }
}

impl Display for Said {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Since { place, since } => write!(f, "{place}: {since}"),
            Self::Kinds { rises, failures } => kinds(f, *rises, failures),
            Self::IsTheLimit { moves, rises, left } => {
                let same = if left.part / left.of < 0.1 {
                    format!("the share did not {}", if *rises { "rise" } else { "fall" })
                } else {
                    format!("only {left} are left")
                };
                write!(
                    f,
                    "It is the limit, not the product: {}; counted at the same limit on both sides, {same}.",
                    limit_words(moves)
                )
            }
            Self::Limit { moves, size } => {
                write!(f, "In that time {}: that makes {size}.", limit_words(moves))
            }
            Self::Charging(charging) => charging.fmt(f),
            Self::Mix(mix) => mix.fmt(f),
            Self::Also(places) => {
                let each: Vec<String> = places.iter().map(AlsoAt::to_string).collect();
                write!(f, "The same date and cause at {}.", list(&each, "and"))
            }
            Self::Shift { ratio, size } => {
                f.write_str("Readings moved as a whole")?;
                if let Some(ratio) = ratio {
                    write!(f, " by {:+.1} %", 100.0 * (ratio - 1.0))?;
                }
                write!(f, ": that makes {size}.")
            }
            Self::Coincides(what) => what.fmt(f),
            Self::NothingExplains => f
                .write_str("No station, lot, operator, shift or other level recorded explains it."),
            Self::Explains(what) => what.fmt(f),
            Self::SameUnits { levels, others } => write!(
                f,
                "{} and {} cannot be told apart: they were used together.",
                capital(&levels.to_string()),
                list(others, "and")
            ),
            Self::Rivals(others) => write!(
                f,
                "The same failures are those of {}, which fits nearly as well.",
                list(others, "and")
            ),
            Self::Unexplained(share) => {
                write!(f, "{} of the excess stays unexplained.", percent(*share))
            }
            Self::Unmoved { factors, typical, limits } => unmoved(f, factors, *typical, *limits),
            Self::InRuns { in_runs, failures, most } => {
                write!(f, "{in_runs} of {} came in runs", count(*failures, "failure"))?;
                if let Some(Run { failures, station }) = most {
                    write!(f, ", at most {failures} within ten minutes")?;
                    if !station.is_empty() {
                        write!(f, " on {station}")?;
                    }
                }
                f.write_str(": that points to a lead, a fixture or a setting.")
            }
            Self::Spread { failures, days_with, days, of_the_product } => write!(
                f,
                "The {} are spread over {days_with} of {}: {}.",
                count(*failures, "failure"),
                count(*days, "production day"),
                if *of_the_product {
                    "that points to the product, not to a lead"
                } else {
                    "no single hour or lead made them"
                }
            ),
            Self::Retested(retested) => retested.fmt(f),
            Self::Gradual => f.write_str(
                "An even change describes these days better than a sudden one: look for something that grows, not for one date.",
            ),
            Self::Recorded(what) => write!(f, "Recorded in that time: {what}."),
        }
    }
}

fn kinds(f: &mut Formatter<'_>, rises: bool, failures: &Failures) -> fmt::Result {
    let kinds: Vec<String> = [
        (failures.over, "over the limit"),
        (failures.breakdown, "by breakdown"),
        (failures.under, "under the low limit"),
        (failures.unclassed, "by a class not known"),
    ]
    .into_iter()
    .filter(|(n, _)| *n > 0.0)
    .map(|(n, words)| format!("{n:.0} {words}"))
    .collect();
    let when = if rises { "Since then" } else { "Before" };
    write!(f, "{when} they failed: {}.", list(&kinds, "and"))
}

impl Display for Retested {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "Tested again, {} of {} passed in the end", self.passed, self.retested)?;
        match self.at_other_settings {
            0 => {}
            all if all == self.passed => {
                f.write_str(", all at other settings than first, as after a repair")?;
            }
            some => write!(f, ", {some} of these at other settings than first, as after a repair")?,
        }
        if self.elsewhere > 0 {
            write!(f, ", {} of these at another station", self.elsewhere)?;
        }
        if let Some((tested, passed)) = self.otherwise {
            write!(f, " (otherwise {passed} of {tested})")?;
        }
        if self.of_the_test {
            f.write_str(": that points to the test rather than the product")?;
        }
        f.write_str(".")
    }
}

/// `lots`, `frequencies`.
fn plural(factor: &str) -> String {
    factor.strip_suffix('y').map_or_else(|| format!("{factor}s"), |stem| format!("{stem}ies"))
}

fn unmoved(
    f: &mut Formatter<'_>,
    factors: &[String],
    typical: Option<f64>,
    limits: bool,
) -> fmt::Result {
    let mut said = Vec::new();
    if !factors.is_empty() {
        let plural: Vec<String> = factors.iter().map(|f| plural(f)).collect();
        said.push(format!("not the cause: {} (no level of them stands out)", list(&plural, "and")));
    }
    if let Some(ratio) = typical {
        said.push(format!("the median as shown did not move ({:+.1} %)", 100.0 * (ratio - 1.0)));
    }
    if limits {
        said.push("no limit changed".to_owned());
    }
    write!(f, "{}.", capital(&said.join("; ")))
}
