//! What somebody must do about testers: each concern with its numbers, and its words in one place.

use std::collections::BTreeMap;

use super::{Plant, StationVerdict, Testers, large, needs_action, recorded};
use crate::analysis::units::checks::{StationChecks, WrongCheck};
use crate::analysis::units::gaps::Gap;
use crate::analysis::units::settings::{SettingChange, SettingDiffers, SettingShort};
use crate::day::{Day, day_of};
use crate::movement::check_record::{LoadRecord, OddReading};
use crate::movement::stations::{ActsAs, TesterStep};
use crate::verdict::action_kind::ActionKind;
use crate::verdict::cautions::re_test;
use crate::verdict::seen::Seen;
use crate::words::time::{day_of_time, day_text};
use crate::words::{Wording, count, three_digits};

use super::station::{PassesInDoubt, StationMove};

/// Changes of settings named in one sentence.
const CHANGES_NAMED: usize = 4;
/// Days between a step of a check load and one of its station that are one movement.
const ONE_MOVEMENT: Day = 7;
/// Step in which readings of check loads are printed, mA.
const LOAD_STEP_MA: f64 = 0.001;

/// Something about a tester or its record that somebody must act on; its subject is the station or the model.
#[derive(Debug, Clone, PartialEq)]
pub enum TesterConcern {
    /// A tester moved, as products show it.
    Moved(StationMove),
    /// A tester moved, as its check load alone shows it.
    LoadMoved {
        /// The load.
        load: String,
        /// Its step.
        step: TesterStep,
        /// Whether something is recorded of that time.
        explained: bool,
    },
    /// A station reads differently from the others on every model.
    Differs(Box<StationVerdict>),
    /// Earlier passes that would have failed at the corrected reading.
    PassesInDoubt(PassesInDoubt),
    /// A check load that must trip passed, or the other way round.
    WrongCheckLoad {
        /// Calendar day.
        day: Day,
        /// The load.
        load: String,
        /// Units tested from it to the next right answer.
        units_until_next_good: u64,
        /// Units tested before it, since the last right answer.
        units_since_last_good: u64,
    },
    /// A check load passed at a reading far from its usual one.
    OddCheckReading {
        /// The load.
        load: String,
        /// Reading and usual reading.
        odd: OddReading,
    },
    /// Production days without a check load.
    ChecksMissing {
        /// How many.
        days: u64,
    },
    /// Changes of settings of one model that no event explains.
    SettingsChanged(Vec<SettingChange>),
    /// A setting differs between stations.
    SettingsDiffer(SettingDiffers),
    /// Tests made at less than required.
    SettingsShort(SettingShort),
    /// Too good to be true.
    TooGood {
        /// What it is.
        sentence: String,
        /// What tells it from others of its station: kind and first day.
        key: String,
    },
    /// Tests made while the calibration was overdue.
    CalibrationOverdue {
        /// Instrument.
        instrument: String,
        /// Tests made.
        tests: u64,
    },
    /// Days without rows where some were expected.
    MissingDays(Gap),
}

/// A concern and the station or model that it is about.
#[derive(Debug, Clone, PartialEq)]
pub struct ConcernAt {
    /// Station or model.
    pub subject: String,
    /// The concern.
    pub concern: TesterConcern,
    /// Where and when it was seen.
    pub seen: Seen,
}

impl TesterConcern {
    /// Its place among the kinds of action.
    #[must_use]
    pub fn kind(&self) -> ActionKind {
        match self {
            Self::Moved(_) | Self::LoadMoved { .. } => ActionKind::TesterMoved,
            Self::Differs(_) => ActionKind::StationDiffers,
            Self::PassesInDoubt(_) => ActionKind::PassesInDoubt,
            Self::WrongCheckLoad { .. } => ActionKind::WrongCheckLoad,
            Self::OddCheckReading { .. } => ActionKind::OddCheckReading,
            Self::ChecksMissing { .. } => ActionKind::ChecksMissing,
            Self::SettingsChanged(_) | Self::SettingsDiffer(_) | Self::SettingsShort(_) => {
                ActionKind::SettingsDiffer
            }
            Self::TooGood { .. } => ActionKind::TooGood,
            Self::CalibrationOverdue { .. } => ActionKind::CalibrationOverdue,
            Self::MissingDays(_) => ActionKind::MissingDays,
        }
    }

    /// What orders concerns of one kind: the smaller comes first.
    #[must_use]
    pub fn before(&self) -> i64 {
        let most = |n: u64| -i64::try_from(n).unwrap_or(i64::MAX);
        match self {
            Self::PassesInDoubt(d) => most(d.would_have_failed),
            Self::WrongCheckLoad { units_until_next_good, units_since_last_good, .. } => {
                most(units_until_next_good + units_since_last_good)
            }
            Self::ChecksMissing { days } => most(*days),
            Self::CalibrationOverdue { tests, .. } => most(*tests),
            Self::MissingDays(gap) => i64::from(gap.from),
            _ => 0,
        }
    }

    /// What tells it from others of its kind and subject; mostly empty.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::WrongCheckLoad { day, load, .. } => format!("{load} {}", day_text(*day)),
            Self::MissingDays(gap) => day_text(gap.from),
            Self::CalibrationOverdue { instrument, .. } => instrument.clone(),
            _ => String::new(),
        }
    }

    /// What was found, a full sentence.
    #[must_use]
    pub fn sentence(&self, subject: &str) -> String {
        match self {
            Self::Moved(moved) => moved.sentence(subject),
            Self::LoadMoved { load, step, .. } => format!(
                "The check load {load} at {subject} reads {:+.2} % since {} ({} to {}): the tester moved.",
                step.size_pct.value,
                day_text(step.day),
                day_text(step.day_low),
                day_text(step.day_high)
            ),
            Self::Differs(station) => differs_sentence(station),
            Self::PassesInDoubt(doubt) => doubt.sentence.clone(),
            Self::WrongCheckLoad { day, load, units_until_next_good, units_since_last_good } => {
                format!(
                    "The check load {load} gave the wrong answer on {}: {} tested after it, before the next good check, and {units_since_last_good} before it, since the last good one.",
                    day_text(*day),
                    count(*units_until_next_good, "unit"),
                )
            }
            Self::OddCheckReading { load, odd } => {
                let say = Wording::new(odd.usual_ma, LOAD_STEP_MA);
                format!(
                    "The check load {load} passed at {} on {}, where it usually reads {}.",
                    say.current(odd.reading_ma),
                    day_of_time(odd.time),
                    say.current(odd.usual_ma)
                )
            }
            Self::ChecksMissing { days } => {
                format!("{} without a check load.", count(*days, "production day"))
            }
            Self::SettingsChanged(changes) => changed_sentence(changes),
            Self::SettingsDiffer(d) => {
                let values: Vec<String> =
                    d.values.iter().map(|(s, v)| format!("{s} {v}")).collect();
                format!("The {} differs between stations: {}.", d.what.words(), values.join(", "))
            }
            Self::SettingsShort(s) => format!(
                "{} made at a {} of {} {} or more, below the required {} {}, at {} from {} to {}.",
                count(s.tests, "test"),
                s.what.words(),
                three_digits(s.lowest),
                s.what.unit(),
                three_digits(s.required),
                s.what.unit(),
                s.station,
                day_text(s.from),
                day_text(s.to)
            ),
            Self::TooGood { sentence, .. } => sentence.clone(),
            Self::CalibrationOverdue { instrument, tests } => format!(
                "{} made while the calibration of {instrument} was overdue.",
                if *tests == 1 { "1 test was".to_owned() } else { format!("{tests} tests were") }
            ),
            Self::MissingDays(gap) => format!(
                "No rows from {} to {}, where the station's habit predicts some.",
                day_text(gap.from),
                day_text(gap.to)
            ),
        }
    }

    /// What to do next, a full sentence.
    #[must_use]
    pub fn next_step(&self) -> String {
        let moved = |explained: bool| {
            if explained {
                "See that what was recorded is what moved it, and compare the station with the others."
            } else {
                "Check the station with its check load and have the tester calibrated."
            }
        };
        match self {
            Self::Moved(step) => moved(step.event.is_some()),
            Self::LoadMoved { explained, .. } => moved(*explained),
            Self::Differs(station) if station.acts_as == Some(ActsAs::Milliampere) => {
                "Compare its leads and fixture with those of the other stations; a limit shared by all must allow for them."
            }
            Self::Differs(_) => "Check its meter and voltage with one load tried at every station.",
            Self::PassesInDoubt(_) => {
                return re_test(
                    "Decide on these units, listed in units-to-check.csv: re-test them or accept them in writing.",
                );
            }
            Self::WrongCheckLoad { .. } => {
                return re_test(
                    "Hold those units, listed in units-to-check.csv, the ones tested after it first; find the fault of the station, and re-test them.",
                );
            }
            Self::OddCheckReading { .. } => {
                "Find out what was connected then; hold the units tested until the next good check."
            }
            Self::ChecksMissing { .. } => {
                "Test the check loads at the start of each production day."
            }
            Self::SettingsChanged(_) | Self::SettingsDiffer(_) | Self::SettingsShort(_) => {
                "Decide which setting is right, set it everywhere, and record the change."
            }
            Self::TooGood { .. } => {
                return re_test("Check the station; re-test the units passed meanwhile.");
            }
            Self::CalibrationOverdue { .. } => {
                "Calibrate on time; if the error found is large, decide on the units passed meanwhile."
            }
            Self::MissingDays(_) => "Find the missing export and run again.",
        }
        .to_owned()
    }
}

fn differs_sentence(s: &StationVerdict) -> String {
    let hint = s.hint.map_or_else(String::new, |h| format!(" It is {h}."));
    let more = |x: f64| if x > 0.0 { "more" } else { "less" };
    let size = match (&s.offset_ma, &s.offset_pct) {
        (Some(ma), _) if s.acts_as == Some(ActsAs::Milliampere) => format!(
            "{:.4} mA {} (at 1000 V and 50 Hz) than the others on every model, as its leads and fixture would make it",
            ma.value.abs(),
            more(ma.value)
        ),
        (_, Some(pct)) => format!(
            "{} % {} than the others on every model",
            three_digits(pct.value.abs()),
            more(pct.value)
        ),
        _ => "differently from the others on every model".to_owned(),
    };
    format!("{} reads {size}.{hint}", s.station)
}

fn changed_sentence(changes: &[SettingChange]) -> String {
    // One phrase for all that changed at the same place on the same day.
    let mut phrases: Vec<(String, String)> = Vec::new();
    for c in changes {
        let (from, to) = (c.what.value_words(c.from), c.what.value_words(c.to));
        let what = format!("{} {from} → {to} {}", c.what.words(), c.back_words());
        let what = what.trim_end();
        let at = c.stations.join(" and ");
        // A file without stations: the date alone.
        let place = if at.is_empty() {
            format!("on {}", day_text(c.day))
        } else {
            format!("at {at} on {}", day_text(c.day))
        };
        match phrases.last_mut().filter(|p| p.1 == place) {
            Some(last) => last.0.push_str(&format!(", {what}")),
            None => phrases.push((what.to_owned(), place)),
        }
    }
    let mut said: Vec<String> =
        phrases.iter().take(CHANGES_NAMED).map(|(what, place)| format!("{what} {place}")).collect();
    if phrases.len() > said.len() {
        said.push(format!("and {} more", phrases.len() - said.len()));
    }
    format!("Settings changed and no event is recorded that explains it: {}.", said.join("; "))
}

/// All concerns about testers and their record.
pub(super) fn concerns(plant: &Plant<'_>, testers: &Testers) -> Vec<ConcernAt> {
    let mut all: Vec<ConcernAt> = Vec::new();
    let mut add = |subject: &str, concern: TesterConcern, seen: Seen| {
        all.push(ConcernAt { subject: subject.to_owned(), concern, seen });
    };
    for station in &testers.stations {
        let name = &station.station;
        let acted_on =
            |m: &&StationMove| needs_action(&m.step, m.event.is_some(), plant.known.month);
        for moved in station.moved.iter().filter(acted_on) {
            let seen = Seen::between(moved.step.day, moved.step.day).at(name);
            add(name, TesterConcern::Moved(moved.clone()), seen);
        }
        if station.flagged {
            let seen = Seen::since(station.moved.last().map(|m| m.step.day)).at(name);
            add(name, TesterConcern::Differs(Box::new(station.clone())), seen);
        }
        for doubt in station.doubts.iter().filter(|d| d.would_have_failed > 0) {
            let seen = Seen::between(doubt.from, doubt.to).at(name).units(doubt.would_have_failed);
            add(name, TesterConcern::PassesInDoubt(doubt.clone()), seen);
        }
    }
    for checks in plant.findings.checks.iter().flatten() {
        let station = testers.stations.iter().find(|s| s.station == checks.station);
        let moved = checks.loads.iter().flat_map(|l| load_moved(plant, l, station));
        for concern in of_checks(checks).into_iter().chain(moved) {
            let seen = seen_of_checks(checks, &concern);
            add(&checks.station, concern, seen);
        }
    }
    let mut by_model: BTreeMap<&str, Vec<SettingChange>> = BTreeMap::new();
    for c in testers.settings_changes.iter().filter(|c| c.event.is_none()) {
        by_model.entry(&c.change.series.model).or_default().push(c.change.clone());
    }
    for (model, changes) in by_model {
        let days = changes.iter().map(|c| c.day);
        let seen = Seen::on(days).of(changes.iter().map(|c| c.series.index));
        let seen = changes
            .iter()
            .flat_map(|c| &c.stations)
            .fold(seen, |seen, s| if seen.stations.contains(s) { seen } else { seen.at(s) });
        let open = changes.iter().any(|c| c.back_after.is_none());
        add(model, TesterConcern::SettingsChanged(changes), Seen { open, ..seen });
    }
    for d in &plant.findings.settings.differs {
        let seen = Seen::since(None).of([d.series.index]);
        add(&d.series.model, TesterConcern::SettingsDiffer(d.clone()), seen);
    }
    for s in &plant.findings.settings.short {
        let seen = Seen::between(s.from, s.to).of([s.series.index]).at(&s.station);
        add(&s.series.model, TesterConcern::SettingsShort(s.clone()), seen.units(s.tests));
    }
    for t in testers.too_good.iter().filter(|t| t.needs_action()) {
        let seen = Seen::between(t.days.0, t.days.1).at(&t.station).units(t.units.unwrap_or(0));
        let key = format!("{:?} {}", t.kind, t.from);
        add(&t.station, TesterConcern::TooGood { sentence: t.sentence.clone(), key }, seen);
    }
    let calibrations = testers.calibrations.iter().flatten().map(|c| &c.covered);
    for c in calibrations.filter(|c| c.tests_overdue > 0) {
        let (instrument, tests) = (c.instrument.clone(), c.tests_overdue);
        let seen = Seen::on([c.overdue_from, c.overdue_to].into_iter().flatten()).at(&c.station);
        add(&c.station, TesterConcern::CalibrationOverdue { instrument, tests }, seen);
    }
    for gap in &plant.findings.gaps {
        let seen = Seen::between(gap.from, gap.to).at(&gap.station);
        add(&gap.station, TesterConcern::MissingDays(gap.clone()), seen);
    }
    all
}

/// When a concern about check loads was seen: of a wrong answer from the last right one to the next.
fn seen_of_checks(checks: &StationChecks, concern: &TesterConcern) -> Seen {
    let seen = match concern {
        TesterConcern::WrongCheckLoad {
            day,
            load,
            units_until_next_good,
            units_since_last_good,
        } => {
            let of_it = |w: &&WrongCheck| w.load == *load && day_of(w.time, 0) == *day;
            let wrong = checks.wrong.iter().find(of_it);
            let last = wrong.and_then(|w| w.last_good).map_or(*day, |t| day_of(t, 0));
            let next = wrong.and_then(|w| w.next_good).map(|t| day_of(t, 0));
            let open = next.is_none();
            Seen { open, ..Seen::between(last, next.unwrap_or(*day)) }
                .units(units_until_next_good + units_since_last_good)
        }
        TesterConcern::OddCheckReading { odd, .. } => {
            Seen::between(day_of(odd.time, 0), day_of(odd.time, 0))
        }
        TesterConcern::ChecksMissing { .. } => Seen::on(checks.days_without.iter().copied()),
        TesterConcern::LoadMoved { step, .. } => Seen::between(step.day, step.day),
        _ => Seen::default(),
    };
    seen.at(&checks.station)
}

/// Check loads of one station: wrong answers, odd readings, days without.
#[must_use]
pub fn of_checks(checks: &StationChecks) -> Vec<TesterConcern> {
    let wrong = checks.wrong.iter().map(|w| TesterConcern::WrongCheckLoad {
        day: day_of(w.time, 0),
        load: w.load.clone(),
        units_until_next_good: w.units_until_next_good,
        units_since_last_good: w.units_since_last_good,
    });
    // A wrong answer of the same day already says that nothing was connected.
    let known =
        |odd: &OddReading| checks.wrong.iter().any(|w| day_of(w.time, 0) == day_of(odd.time, 0));
    let odd = checks.loads.iter().flat_map(|load| {
        load.odd
            .iter()
            .filter(|o| !known(o))
            .map(|o| TesterConcern::OddCheckReading { load: load.load.clone(), odd: o.clone() })
    });
    let days = checks.days_without.len() as u64;
    let missing = (days > 0).then_some(TesterConcern::ChecksMissing { days });
    wrong.chain(odd).chain(missing).collect()
}

/// Steps of a check load that need action. Where no product is shared, the load alone shows that a tester moved.
fn load_moved(
    plant: &Plant<'_>,
    load: &LoadRecord,
    station: Option<&StationVerdict>,
) -> Vec<TesterConcern> {
    let level = plant.config.confidence;
    let happened = plant.happened_at(load.station);
    let seen = |step: &TesterStep| {
        let moved = station.iter().flat_map(|s| &s.moved);
        moved.into_iter().any(|m| (m.step.day - step.day).abs() <= ONE_MOVEMENT)
    };
    let mut found = Vec::new();
    for step in &load.steps {
        let certain = step.p_value <= 1.0 - level;
        let explained = recorded(&happened, step).is_some();
        if certain
            && !seen(step)
            && large(&step.size_pct, plant.config)
            && needs_action(step, explained, plant.known.month)
        {
            let load = load.load.clone();
            found.push(TesterConcern::LoadMoved { load, step: step.clone(), explained });
        }
    }
    found
}
