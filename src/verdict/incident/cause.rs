//! What did it: the cause that a concern belongs to.
//!
//! Concerns of one cause are one incident. A cause says nothing of how bad it is, so that an incident stays the same
//! one when it gets worse, or better.

use std::collections::BTreeSet;

use super::Ground;
use crate::analysis::jump::Scope;
use crate::analysis::units::strays::Lies;
use crate::day::Day;
use crate::movement::stations::TesterStep;
use crate::verdict::action_kind::ActionKind;
use crate::verdict::concern::{About, Concern};
use crate::verdict::jump::{Answer, JudgedJump};
use crate::verdict::tester::{StationMove, TesterConcern};
use crate::verdict::units::{UnitToCheck, WhyCheck};

/// Days between a step of a tester and what it did.
const ONE_MOVEMENT: Day = 7;

/// A cause; stations by name, series and jumps by index.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// A station whose check load gave a wrong or odd answer on a day.
    Check {
        /// Station.
        station: String,
        /// Day of the answer.
        day: Day,
    },
    /// The limits of a model.
    Limits {
        /// Model.
        model: String,
    },
    /// A step of a tester, counted along the station's history; `None` where a calibration alone shows it.
    Tester {
        /// Station.
        station: String,
        /// Which of its steps.
        step: Option<usize>,
    },
    /// A change of the share of failures.
    Jump(usize),
    /// A lot that stands out by itself.
    Lot {
        /// Index of the series.
        series: usize,
        /// Its factor and level.
        named: String,
    },
    /// A product that moves.
    Product(usize),
    /// Readings of a series that do not belong with its healthy units.
    Strays(usize),
    /// Units of a series tested until they pass.
    Retests(usize),
    /// Settings of a model other than limits.
    Settings {
        /// Model.
        model: String,
    },
    /// Something at a station that stands for itself.
    Station {
        /// Station.
        station: String,
        /// Kind of action.
        kind: ActionKind,
        /// What tells it from others of its kind: a day, an instrument.
        key: String,
    },
    /// One question of the whole plant.
    Plant(ActionKind),
    /// Files that are probably misread.
    Misread(String),
}

impl Cause {
    /// The jump that it is.
    #[must_use]
    pub fn jump(&self) -> Option<usize> {
        if let Self::Jump(n) = self { Some(*n) } else { None }
    }
}

/// The cause of each concern, in their order.
pub(super) fn of_all(ground: &Ground<'_>, concerns: &[About], units: &[UnitToCheck]) -> Vec<Cause> {
    let all = Concerns { ground, concerns, units };
    concerns.iter().map(|about| all.cause(about)).collect()
}

struct Concerns<'a> {
    ground: &'a Ground<'a>,
    concerns: &'a [About],
    units: &'a [UnitToCheck],
}

impl Concerns<'_> {
    fn cause(&self, about: &About) -> Cause {
        let series = about.seen.series.first().copied().unwrap_or_default();
        let limits = || Cause::Limits { model: self.model(series) };
        match &about.concern {
            Concern::Misread { .. } => Cause::Misread(about.subject.clone()),
            Concern::UnsafeLimit { .. }
            | Concern::TooLoose { .. }
            | Concern::NoWorkableBand { .. }
            | Concern::TooTight { .. }
            | Concern::LowLimitTooHigh { .. } => limits(),
            Concern::PassedOpenLead { .. } => self.wrong_check(series).unwrap_or_else(limits),
            Concern::OpenLeadWouldPass { .. } if self.decides_limits(series) => limits(),
            Concern::StraysPassed { .. } => self
                .lot_of_strays(series)
                .or_else(|| self.lets_strays_pass(series).then(limits))
                .unwrap_or(Cause::Strays(series)),
            Concern::RetestedUntilPass { .. } => Cause::Retests(series),
            Concern::Drift { .. } => Cause::Product(series),
            Concern::Jump { alone, .. } => {
                match self.ground.jumps.iter().position(|j| j.place_of(about)) {
                    Some(n) => self.of_jump(n),
                    None => Cause::Lot { series, named: alone.clone().unwrap_or_default() },
                }
            }
            Concern::PassedAgainstReading { .. }
            | Concern::NeverPassed { .. }
            | Concern::OpenLeadWouldPass { .. }
            | Concern::LeakPathNotStated { .. }
            | Concern::NotEnoughData { .. }
            | Concern::NoLimitKnown => Cause::Plant(about.concern.kind()),
            Concern::Tester(tester) => self.of_tester(&about.subject, tester),
        }
    }

    fn of_tester(&self, subject: &str, tester: &TesterConcern) -> Cause {
        let station = subject.to_owned();
        let step = |about: (Day, Day)| self.step_about(subject, about);
        match tester {
            TesterConcern::WrongCheckLoad { day, .. } => Cause::Check { station, day: *day },
            TesterConcern::OddCheckReading { odd, .. } => {
                let known = self.check_about(subject, odd.day);
                Cause::Check { station, day: known.unwrap_or(odd.day) }
            }
            TesterConcern::PassesInDoubt(doubt) => {
                // Readings that rose were too low before; those that fell without a calibration are so since.
                let at = step((doubt.to, doubt.to + 1)).or(step((doubt.from, doubt.from)));
                Cause::Tester { station, step: at }
            }
            TesterConcern::Moved(moved) => {
                Cause::Tester { station, step: step((moved.step.day, moved.step.day)) }
            }
            TesterConcern::LoadMoved { step: moved, .. } => {
                Cause::Tester { station, step: step((moved.day, moved.day)) }
            }
            TesterConcern::SettingsChanged(changes) => {
                let model = subject.to_owned();
                if changes.iter().any(|c| c.what.is_limit()) {
                    Cause::Limits { model }
                } else {
                    Cause::Settings { model }
                }
            }
            TesterConcern::SettingsDiffer(_) | TesterConcern::SettingsShort(_) => {
                Cause::Settings { model: subject.to_owned() }
            }
            // One habit: no station is better served by a row of its own.
            TesterConcern::ChecksMissing { .. } => Cause::Plant(ActionKind::ChecksMissing),
            TesterConcern::TooGood { key, .. } => {
                Cause::Station { station, kind: tester.kind(), key: key.clone() }
            }
            TesterConcern::Differs(_)
            | TesterConcern::CalibrationOverdue { .. }
            | TesterConcern::MissingDays(_) => {
                Cause::Station { station, kind: tester.kind(), key: tester.key() }
            }
        }
    }

    fn model(&self, series: usize) -> String {
        self.ground.pass.series[series].key.model.clone()
    }

    /// Which step of a station lies in, or next to, these days.
    fn step_about(&self, station: &str, (from, to): (Day, Day)) -> Option<usize> {
        let station = self.ground.testers.stations.iter().find(|s| s.station == station)?;
        let near = |s: &TesterStep| (from - ONE_MOVEMENT..=to + ONE_MOVEMENT).contains(&s.day);
        station.moved.iter().position(|m| near(&m.step))
    }

    /// The day of a wrong check load of the station whose time holds this day.
    fn check_about(&self, station: &str, day: Day) -> Option<Day> {
        let own = self.concerns.iter().filter(|a| a.subject == station);
        own.filter(|a| a.seen.from.is_some_and(|from| from <= day))
            .filter(|a| a.seen.open || a.seen.last.is_some_and(|last| day <= last))
            .find_map(|a| match &a.concern {
                Concern::Tester(TesterConcern::WrongCheckLoad { day, .. }) => Some(*day),
                _ => None,
            })
    }

    /// The wrong check load in whose time every open lead of a series passed.
    fn wrong_check(&self, series: usize) -> Option<Cause> {
        let plant = &self.ground.pass.plant;
        let strays = &self.ground.findings.series[series].strays.units;
        let found: BTreeSet<Option<Cause>> = strays
            .iter()
            .filter(|u| u.lies == Lies::OpenLead)
            .map(|u| {
                let station = &plant.stations[usize::from(u.test.station)];
                let day = self.check_about(station, u.test.day)?;
                Some(Cause::Check { station: station.clone(), day })
            })
            .collect();
        let mut found = found.into_iter();
        found.next().filter(|_| found.next().is_none()).flatten()
    }

    /// Whether somebody must decide on limits of the model anyway: then its low limit goes with them.
    fn decides_limits(&self, series: usize) -> bool {
        let model = self.model(series);
        let of_model = |a: &About| {
            a.seen.series.first().is_some_and(|n| self.ground.pass.series[*n].key.model == model)
        };
        self.concerns.iter().filter(|a| of_model(a)).any(|a| match &a.concern {
            Concern::UnsafeLimit { .. }
            | Concern::TooLoose { .. }
            | Concern::TooTight { .. }
            | Concern::NoWorkableBand { .. }
            | Concern::LowLimitTooHigh { .. } => true,
            Concern::PassedOpenLead { .. } => self.wrong_check(series).is_none(),
            Concern::Tester(tester @ TesterConcern::SettingsChanged(_)) => {
                matches!(self.of_tester(&a.subject, tester), Cause::Limits { .. })
            }
            _ => false,
        })
    }

    /// Whether the limit of a series is so high that what is damaged passes.
    fn lets_strays_pass(&self, series: usize) -> bool {
        self.concerns.iter().any(|a| {
            a.seen.series == [series]
                && matches!(a.concern, Concern::TooLoose { .. } | Concern::UnsafeLimit { .. })
        })
    }

    /// The jump of whose lot most strays of a series are.
    fn lot_of_strays(&self, series: usize) -> Option<Cause> {
        let of = |why: WhyCheck| {
            self.units
                .iter()
                .filter(move |u| u.why == why && u.series == Some(series))
                .map(|u| (&u.serial, u.day))
        };
        let strays: Vec<_> = of(WhyCheck::StrayAbove).collect();
        let lots: BTreeSet<_> = of(WhyCheck::OfCause).collect();
        let jump = self.ground.jumps.iter().position(|j| {
            let found = &j.found;
            let inside = |day: Day| found.after.window.has(day);
            let own = strays
                .iter()
                .filter(|(serial, day)| inside(*day) && lots.contains(&(*serial, *day)));
            found.scope == Scope::Series(u32::try_from(series).unwrap_or(u32::MAX))
                && found.lots().next().is_some()
                && 2 * own.count() > strays.len()
        })?;
        Some(self.of_jump(jump))
    }

    /// A jump is a tester's or a product's movement where that is what it is made of.
    fn of_jump(&self, n: usize) -> Cause {
        let jump = &self.ground.jumps[n];
        self.step_of_jump(jump).or_else(|| self.product_of_jump(jump)).unwrap_or(Cause::Jump(n))
    }

    fn step_of_jump(&self, jump: &JudgedJump) -> Option<Cause> {
        if jump.answer != Answer::ReadingsMoved {
            return None;
        }
        jump.found.each().find_map(|each| {
            let Scope::Station(s) = each.scope else { return None };
            let station = self.ground.pass.plant.stations[usize::from(s)].clone();
            let steps = self.ground.testers.stations.iter().find(|t| t.station == station)?;
            let allowed = each.date.low..=each.date.high;
            let near = |d: Day| (d - each.date.day).abs();
            let at = |(_, m): &(usize, &StationMove)| allowed.contains(&m.step.day);
            let moved = steps.moved.iter().enumerate().filter(at);
            let (step, _) = moved.min_by_key(|(_, m)| near(m.step.day))?;
            Some(Cause::Tester { station, step: Some(step) })
        })
    }

    fn product_of_jump(&self, jump: &JudgedJump) -> Option<Cause> {
        let Scope::Series(n) = jump.found.scope else { return None };
        let series = n as usize;
        let moves = self.ground.series[series].flag.flagged;
        (moves && jump.answer == Answer::ReadingsMoved).then_some(Cause::Product(series))
    }
}

impl JudgedJump {
    /// Whether a concern is about this change.
    pub(super) fn place_of(&self, about: &About) -> bool {
        self.needs_action && self.found.place.subject == about.subject && self.seen() == about.seen
    }
}
