//! Incidents: everything that one cause did is one row, in four groups, worst first.
//!
//! Takes the concerns in their order and gives incidents; each concern is part of exactly one, so no line of the
//! table of actions is lost. What belongs together is decided by what was found, never by words: a wrong check load
//! takes the open leads between its good checks; what a model's limits let through stands with them; the passes that a
//! tester's step puts in doubt stand with the failures that it adds; strays of a lot stand with the lot. What is the
//! same question of many models (a leak path that is not stated, a low limit that is missing, too few units) is one row
//! for the whole plant: with 800 models it would be 800 rows that nobody reads. Rejected: grouping by date alone, which
//! joins what only happened in one week, and a row for each model and station, which is the table there was.

mod cause;
mod id;
mod to_trace;
mod told;

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

pub use cause::Cause;
pub use to_trace::ToTrace;

use crate::analysis::{Findings, Known};
use crate::config::Config;
use crate::day::{Day, date_of};
use crate::series::{Decision, Pass};
use crate::verdict::action::Action;
use crate::verdict::action_kind::ActionKind;
use crate::verdict::concern::{About, Concern};
use crate::verdict::jump::JudgedJump;
use crate::verdict::plant::SeriesVerdict;
use crate::verdict::seen::Seen;
use crate::verdict::tester::{TesterConcern, Testers};
use crate::verdict::units::{UnitToCheck, WhyCheck};

/// What an incident asks for, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Group {
    /// Units to hold, or to trace where they may have left.
    UnitsToTrace,
    /// Limits to decide on.
    LimitsToDecide,
    /// Products and testers that moved.
    ToWatch,
    /// The record to put right.
    RecordToPutRight,
}

impl Group {
    /// All of them, worst first.
    pub const ALL: [Self; 4] =
        [Self::UnitsToTrace, Self::LimitsToDecide, Self::ToWatch, Self::RecordToPutRight];

    /// As printed.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::UnitsToTrace => "units to hold or trace",
            Self::LimitsToDecide => "limits to decide",
            Self::ToWatch => "to watch",
            Self::RecordToPutRight => "the record to put right",
        }
    }

    /// What is said once for all its rows; empty where there is nothing.
    #[must_use]
    pub fn heading_step(self) -> &'static str {
        match self {
            Self::UnitsToTrace => told::TRACE,
            _ => "",
        }
    }

    /// The group of one action that is about so many units.
    fn of(kind: ActionKind, units: u64) -> Self {
        use ActionKind as K;
        match kind {
            K::PassedOpenLead
            | K::StraysPassed
            | K::PassedAgainstReading
            | K::WrongCheckLoad
            | K::OddCheckReading
            | K::PassesInDoubt
            | K::NeverPassed
            | K::RetestedUntilPass => Self::UnitsToTrace,
            K::Jump | K::TooGood | K::SettingsDiffer if units > 0 => Self::UnitsToTrace,
            K::UnsafeLimit
            | K::TooLoose
            | K::NoWorkableBand
            | K::OpenLeadWouldPass
            | K::TooTight
            | K::LowLimitTooHigh
            | K::LeakPathNotStated
            | K::NotEnoughData
            | K::NoLimitKnown => Self::LimitsToDecide,
            K::Jump | K::Drift | K::TesterMoved | K::StationDiffers | K::TooGood => Self::ToWatch,
            K::ProbablyMisread
            | K::SettingsDiffer
            | K::CalibrationOverdue
            | K::ChecksMissing
            | K::MissingDays => Self::RecordToPutRight,
        }
    }
}

/// Where the evidence of an incident stands: the name of a place in the report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Evidence {
    /// The section of a series, by its id.
    Series(String),
    /// A jump, by its place in the list.
    Jump(usize),
    /// A section of the testers' record.
    Testers(&'static str),
    /// The list of units to check.
    Units,
    /// Rows not used, and files.
    Rows,
    /// The table of all series.
    AllSeries,
}

impl Evidence {
    /// The name of the place: letters, digits, `-` and `_` only.
    #[must_use]
    pub fn anchor(&self) -> String {
        let plain = |c: char| {
            if c.is_alphanumeric() || c == '-' || c == '_' { c } else { '-' }
        };
        match self {
            Self::Series(id) => format!("series-{}", id.chars().map(plain).collect::<String>()),
            Self::Jump(n) => format!("jump-{}", n + 1),
            Self::Testers(section) => (*section).to_owned(),
            Self::Units => "units-to-check".to_owned(),
            Self::Rows => "rows-not-used".to_owned(),
            Self::AllSeries => "all-series".to_owned(),
        }
    }
}

impl Serialize for Evidence {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&self.anchor())
    }
}

/// Everything that one cause did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Incident {
    /// The same in every later report, as long as its cause is.
    pub id: String,
    /// What it asks for.
    pub group: Group,
    /// What was found, in one sentence.
    pub what: String,
    /// Models, series and stations.
    #[serde(rename = "where")]
    pub places: Vec<String>,
    /// First seen; `null` where no day is known.
    pub from: Option<NaiveDate>,
    /// Last seen; `null` while it goes on.
    pub to: Option<NaiveDate>,
    /// The last day on which a unit or an event joined it.
    pub last_joined: Option<NaiveDate>,
    /// Whether it still goes on.
    pub open: bool,
    /// Units that somebody must look at.
    pub units: u64,
    /// What to do next.
    pub next_step: String,
    /// The same below [`Group::heading_step`].
    #[serde(skip)]
    pub step_below: String,
    /// Where its evidence stands.
    pub evidence: Vec<Evidence>,
    /// Ranks of its actions.
    pub actions: Vec<usize>,
    /// What somebody decided about it; `null` where nobody did.
    pub decision: Option<Decided>,
}

/// A decision about an incident.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Decided {
    /// The decision.
    #[serde(flatten)]
    pub made: Decision,
    /// Whether it closes the incident: nothing joined after its day.
    pub closes: bool,
}

impl Incident {
    /// Whether a decision closed it.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.decision.as_ref().is_some_and(|d| d.closes)
    }

    /// Its actions, of all that there are in order of rank.
    pub fn actions_of<'a>(&self, all: &'a [Action]) -> impl Iterator<Item = &'a Action> {
        self.actions.iter().filter_map(|rank| all.get(rank - 1))
    }
}

/// What incidents are made from, beside the concerns.
#[derive(Debug, Clone, Copy)]
pub struct Ground<'a> {
    /// The counted rows.
    pub pass: &'a Pass,
    /// What was known before anything was asked.
    pub known: &'a Known<'a>,
    /// What was found out.
    pub findings: &'a Findings,
    /// Verdicts of all series.
    pub series: &'a [SeriesVerdict],
    /// Testers and their record.
    pub testers: &'a Testers,
    /// Changes of the share of failures.
    pub jumps: &'a [JudgedJump],
    /// The settings.
    pub config: &'a Config,
}

/// Concerns of one cause, worst first.
#[derive(Debug)]
struct Together<'a> {
    cause: Cause,
    members: Vec<Member<'a>>,
}

/// One of them, with its rank among all.
#[derive(Debug, Clone, Copy)]
struct Member<'a> {
    rank: usize,
    about: &'a About,
}

impl Ground<'_> {
    /// Incidents of `concerns`, which come worst first: their places are the ranks of their actions. Each unit is
    /// given the incident that names it.
    #[must_use]
    pub fn incidents(&self, concerns: &[About], units: &mut [UnitToCheck]) -> Vec<Incident> {
        let causes = cause::of_all(self, concerns, units);
        let mut together: BTreeMap<Cause, Vec<Member<'_>>> = BTreeMap::new();
        for (n, (cause, about)) in causes.iter().zip(concerns).enumerate() {
            together.entry(cause.clone()).or_default().push(Member { rank: n + 1, about });
        }
        let mut all: Vec<Together<'_>> =
            together.into_iter().map(|(cause, members)| Together { cause, members }).collect();
        // Ids are given in the order of causes: the same whatever is worst today.
        let ids = id::of_all(self, all.iter().map(|t| &t.cause));
        let mut ids: BTreeMap<Cause, String> =
            all.iter().map(|t| t.cause.clone()).zip(ids).collect();
        all.sort_by_key(|t| (t.group(), t.members[0].rank));
        for unit in units.iter_mut() {
            let named = concerns.iter().zip(&causes).find(|(about, _)| names(about, unit));
            unit.incident = named.map_or_else(String::new, |(_, cause)| ids[cause].clone());
        }
        all.iter().map(|t| self.incident(t, ids.remove(&t.cause).unwrap_or_default())).collect()
    }

    fn incident(&self, together: &Together<'_>, id: String) -> Incident {
        let seen = together.seen();
        let said = told::told(self, together, &seen);
        Incident {
            group: together.group(),
            what: said.what,
            places: said.places,
            from: seen.from.map(date_of),
            to: seen.last.filter(|_| !seen.open).map(date_of),
            last_joined: seen.last.map(date_of),
            open: seen.open,
            units: seen.units,
            next_step: said.next_step,
            step_below: said.step_below,
            evidence: self.evidence(together),
            actions: together.members.iter().map(|m| m.rank).collect(),
            decision: self.known.register.decision_about(&id).map(|made| Decided {
                made: made.clone(),
                closes: seen.last.is_none_or(|last| last <= made.when),
            }),
            id,
        }
    }

    /// Where each member's evidence stands, each place once.
    fn evidence(&self, together: &Together<'_>) -> Vec<Evidence> {
        let mut found: Vec<Evidence> = Vec::new();
        let mut add = |e: Evidence| {
            if !found.contains(&e) {
                found.push(e);
            }
        };
        if let Some(n) = together.cause.jump() {
            add(Evidence::Jump(n));
        }
        for Member { about, .. } in &together.members {
            match &about.concern {
                Concern::Tester(tester) => add(Evidence::Testers(section(tester))),
                Concern::Misread { .. } => add(Evidence::Rows),
                Concern::NeverPassed { .. } | Concern::PassedAgainstReading { .. } => {
                    add(Evidence::Units);
                }
                Concern::Jump { .. } => {
                    let own = |j: &JudgedJump| j.place_of(about);
                    let jump = self.jumps.iter().position(own);
                    jump.map(Evidence::Jump).into_iter().for_each(&mut add);
                }
                _ if about.seen.series.len() > SERIES_LINKED => add(Evidence::AllSeries),
                _ => {
                    for n in &about.seen.series {
                        add(Evidence::Series(self.pass.called[*n].id.clone()));
                    }
                }
            }
        }
        found
    }

    /// The last production day.
    fn today(&self) -> Day {
        self.pass.plant.days.map_or(0, |d| d.1)
    }
}

/// Series that one action links one by one.
const SERIES_LINKED: usize = 3;

impl Together<'_> {
    fn group(&self) -> Group {
        let groups =
            self.members.iter().map(|m| Group::of(m.about.concern.kind(), m.about.seen.units));
        groups.min().unwrap_or(Group::RecordToPutRight)
    }

    /// First and last day, all places, and the units of all parts; strays of a lot are units of the lot.
    fn seen(&self) -> Seen {
        let mut all = Seen::default();
        for Member { about, .. } in &self.members {
            let counted = self.cause.jump().is_some()
                && matches!(about.concern, Concern::StraysPassed { .. });
            let units = if counted { 0 } else { about.seen.units };
            all = all.with(&about.seen.clone().units(units));
        }
        all
    }
}

/// The section of the testers' record that a concern is of.
fn section(concern: &TesterConcern) -> &'static str {
    match concern {
        TesterConcern::Moved(_) | TesterConcern::Differs(_) | TesterConcern::PassesInDoubt(_) => {
            "stations"
        }
        TesterConcern::LoadMoved { .. }
        | TesterConcern::WrongCheckLoad { .. }
        | TesterConcern::OddCheckReading { .. }
        | TesterConcern::ChecksMissing { .. } => "check-loads",
        TesterConcern::SettingsChanged(_)
        | TesterConcern::SettingsDiffer(_)
        | TesterConcern::SettingsShort(_) => "settings",
        TesterConcern::TooGood { .. } => "too-good-to-be-true",
        TesterConcern::CalibrationOverdue { .. } => "calibration",
        TesterConcern::MissingDays(_) => "gaps-in-the-record",
    }
}

/// Whether a concern is what a unit is listed for.
fn names(about: &About, unit: &UnitToCheck) -> bool {
    let seen = &about.seen;
    let of_series = unit.series.is_some_and(|n| seen.series.contains(&n));
    let at_station = seen.stations.contains(&unit.station);
    let in_time = seen.from.is_none_or(|d| d <= unit.day)
        && (seen.open || seen.last.is_none_or(|d| unit.day <= d));
    match (unit.why, &about.concern) {
        (WhyCheck::NeverPassed, Concern::NeverPassed { .. })
        | (WhyCheck::Contradicted, Concern::PassedAgainstReading { .. }) => true,
        (WhyCheck::OpenLead, Concern::PassedOpenLead { .. })
        | (WhyCheck::StrayAbove, Concern::StraysPassed { .. })
        | (WhyCheck::MoreRetests, Concern::RetestedUntilPass { .. }) => of_series,
        (WhyCheck::OfCause, Concern::Jump { .. }) => of_series && in_time && seen.units > 0,
        (why, Concern::Tester(tester)) => match (why, tester) {
            (WhyCheck::InDoubt, TesterConcern::PassesInDoubt(_))
            | (WhyCheck::Frozen, TesterConcern::TooGood { .. })
            | (
                WhyCheck::AfterWrongCheck | WhyCheck::BeforeWrongCheck,
                TesterConcern::WrongCheckLoad { .. },
            ) => at_station && in_time,
            (WhyCheck::FellShort, TesterConcern::SettingsShort(_)) => of_series && at_station,
            _ => false,
        },
        _ => false,
    }
}
