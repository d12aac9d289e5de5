//! Units that somebody must look at, each with why.
//!
//! Takes what was found about units and the walks of `series`; decides which units are named. A unit may stand
//! there for several reasons.

use std::collections::BTreeSet;
use std::fmt;

use rayon::prelude::*;
use serde::{Serialize, Serializer};

use crate::analysis::Findings;
use crate::analysis::jump::{Cause, Jump, Scope, Tested, of_cause};
use crate::analysis::units::settings::falls_short;
use crate::analysis::units::strays::Lies;
use crate::config::Config;
use crate::day::Day;
use crate::movement::readings::ma;
use crate::series::{NamedTest, Outcome, Pass, SetAside, Test, Tests, UnitHistory};
use crate::verdict::cautions::re_test;
use crate::verdict::concern::{About, Concern};
use crate::verdict::seen::Seen;
use crate::words::path_text;
use crate::words::time::time_text;

/// Why a unit must be looked at; in the order of the words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WhyCheck {
    /// Its last test is no pass.
    NeverPassed,
    /// Tested again more often than allowed.
    MoreRetests,
    /// Its reading contradicts the pass.
    Contradicted,
    /// Voltage or dwell below what is required.
    FellShort,
    /// Failed, and passed at other settings.
    OtherSettings,
    /// One of a run of equal readings.
    Frozen,
    /// A stray above: suspect insulation.
    StrayAbove,
    /// High, where a long tail explains it as well.
    NotDecided,
    /// A stray below: suspect connection.
    StrayBelow,
    /// At the reading of a station without a unit.
    OpenLead,
    /// Below the body, but near to it.
    ReadsLow,
    /// The tester read too low.
    InDoubt,
    /// Of a lot, or another level of what units are made of, whose failures stand out.
    OfCause,
    /// After a wrong answer of a check load, before its next right one.
    AfterWrongCheck,
    /// Before a wrong answer of a check load, since its last right one.
    BeforeWrongCheck,
}

impl fmt::Display for WhyCheck {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(match self {
            Self::NeverPassed => "never passed",
            Self::MoreRetests => "passed after more retests than allowed",
            Self::Contradicted => "passed against its reading",
            Self::FellShort => "passed at less than the required voltage or dwell",
            Self::OtherSettings => "passed only at other settings",
            Self::Frozen => "passed while the display stood still",
            Self::StrayAbove => "passed with a reading above the healthy body",
            Self::NotDecided => "passed high in a long tail: healthy or not is not decided",
            Self::StrayBelow => "passed with a reading below the healthy body",
            Self::OpenLead => "passed with an open lead",
            Self::ReadsLow => "passed, reads low: a part may be missing",
            Self::InDoubt => "passed, but would have failed at the corrected reading",
            Self::OfCause => "passed, of a lot whose failures stand out",
            Self::AfterWrongCheck => "passed after a wrong check load, before the next good one",
            Self::BeforeWrongCheck => "passed before a wrong check load, after the last good one",
        })
    }
}

impl WhyCheck {
    /// What to do first with such a unit.
    #[must_use]
    pub fn first_step(self) -> String {
        match self {
            Self::NeverPassed => "See that it was scrapped, or repaired and tested.".to_owned(),
            Self::NotDecided => re_test("Hold it where it still is, and re-test it."),
            Self::OtherSettings => {
                "See that what was changed between the tests was a repair.".to_owned()
            }
            Self::MoreRetests => {
                "Hold it, or trace it where it was shipped. No further test: decide in writing, by the readings it had."
                    .to_owned()
            }
            Self::Contradicted => re_test(
                "Find out who released it; hold it, or trace it where it was shipped, and re-test it.",
            ),
            Self::OpenLead | Self::StrayBelow => re_test(
                "It is as good as untested: hold it, or trace it where it was shipped, and re-test it.",
            ),
            Self::ReadsLow => re_test("Look for a missing part, and re-test it."),
            Self::InDoubt => {
                re_test("Decide in writing: accept it, or hold or trace it and re-test it.")
            }
            Self::FellShort
            | Self::Frozen
            | Self::StrayAbove
            | Self::OfCause
            | Self::AfterWrongCheck
            | Self::BeforeWrongCheck => {
                re_test("Hold it, or trace it where it was shipped, and re-test it.")
            }
        }
    }
}

impl Serialize for WhyCheck {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// One unit to check.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct UnitToCheck {
    /// Why.
    pub why: WhyCheck,
    /// Model.
    pub model: String,
    /// Serial as first written.
    pub serial: String,
    /// When.
    pub tested_at: String,
    /// Where.
    pub station: String,
    /// Reading in mA as text; empty where none.
    pub reading_ma: String,
    /// File, sheet and row.
    pub place: String,
    /// Units it stands for: several where it is a line of a tally.
    pub units: u32,
    /// Production day of that test.
    pub day: Day,
    /// Index of its series.
    pub series: Option<usize>,
    /// Lot; empty where none is known.
    pub lot: String,
    /// What that test ended with.
    pub outcome: Outcome,
    /// The high limit it was tested against, mA as text; empty where none is known.
    pub limit_ma: String,
    /// Id of the incident that it belongs to; empty where no incident names it.
    pub incident: String,
}

/// Every unit that somebody must look at, by reason, model, serial and time; none of the series `withheld`, whose
/// readings and outcomes may not be what was tested.
#[must_use]
pub fn units_to_check(
    pass: &Pass,
    findings: &Findings,
    withheld: &BTreeSet<usize>,
    config: &Config,
) -> Vec<UnitToCheck> {
    let judged = |series: Option<usize>| series.is_none_or(|n| !withheld.contains(&n));
    let mut found: Vec<UnitToCheck> = Vec::new();
    let mut add = |why, test: &NamedTest| {
        if judged(test.series) {
            found.push(unit(pass, why, test));
        }
    };
    for stray in findings.series.iter().flat_map(|f| &f.strays.units) {
        let why = match stray.lies {
            Lies::Above => WhyCheck::StrayAbove,
            Lies::NotDecided => WhyCheck::NotDecided,
            Lies::Below => WhyCheck::StrayBelow,
            Lies::ReadsLow => WhyCheck::ReadsLow,
            Lies::OpenLead => WhyCheck::OpenLead,
        };
        add(why, &stray.test);
    }
    for history in pass.histories() {
        if let Some(why) = of_retests(history, config.retests_allowed) {
            let serial = pass.first_of(history).serial().to_owned();
            add(why, &NamedTest { serial, ..pass.last_of(history).named() });
        }
    }
    for test in findings.doubts.iter().flat_map(|d| &d.units) {
        add(WhyCheck::InDoubt, test);
    }
    for test in findings.too_good.frozen.iter().flat_map(|f| &f.units) {
        add(WhyCheck::Frozen, test);
    }
    let suspect = Suspect::new(pass, findings, config);
    let reasons = |test: Test<'_>| {
        let against = test.set_aside() == Some(SetAside::Contradicted);
        let passed = test.outcome() == Outcome::Pass;
        let first = passed && test.set_aside().is_none();
        let of_first = first.then(|| suspect.of(test)).into_iter().flatten();
        // A pass on a retest rests on the same check load.
        let unchecked = (passed && test.is_of_a_product()).then(|| suspect.unchecked(test));
        let all = against.then_some(WhyCheck::Contradicted).into_iter().chain(of_first);
        let all = all.chain(unchecked.flatten());
        all.map(move |why| unit(pass, why, &test.named())).collect::<Vec<_>>()
    };
    let tests: Vec<Tests<'_>> = pass.tests().filter(|t| judged(t.series)).collect();
    found.par_extend(tests.into_par_iter().flat_map_iter(|t| t.all().flat_map(reasons)));
    found.par_sort();
    found.dedup();
    found
}

/// What of it somebody must act on beside what other findings say.
#[must_use]
pub fn concerns_of_units(units: &[UnitToCheck]) -> Vec<About> {
    let about = |why: WhyCheck, concern: fn(u64) -> Concern| {
        let all = units.iter().filter(|u| u.why == why);
        let n = all.clone().map(|u| u64::from(u.units)).sum();
        (n > 0).then(|| About {
            subject: "whole line".to_owned(),
            concern: concern(n),
            seen: Seen::on(all.map(|u| u.day)).units(n),
        })
    };
    let against = about(WhyCheck::Contradicted, |units| Concern::PassedAgainstReading { units });
    let never = about(WhyCheck::NeverPassed, |units| Concern::NeverPassed { units });
    against.into_iter().chain(never).collect()
}

fn unit(pass: &Pass, why: WhyCheck, test: &NamedTest) -> UnitToCheck {
    UnitToCheck {
        why,
        model: test.model.clone(),
        serial: test.serial.clone(),
        tested_at: time_text(test.time),
        station: pass.plant.stations[usize::from(test.station)].clone(),
        reading_ma: test.reading_pa.map_or_else(String::new, |pa| ma(pa).to_string()),
        place: format!("{}, row {}", path_text(&test.source.file), test.line),
        units: test.count,
        day: test.day,
        series: test.series,
        lot: test.lot.clone(),
        outcome: test.outcome,
        limit_ma: test.limit_pa.map_or_else(String::new, |pa| ma(pa).to_string()),
        incident: String::new(),
    }
}

/// What became of a unit that failed first.
fn of_retests(history: &UnitHistory, allowed: u32) -> Option<WhyCheck> {
    if history.passed_elsewhere {
        Some(WhyCheck::OtherSettings)
    } else if !history.passed {
        Some(WhyCheck::NeverPassed)
    } else if history.retests > allowed {
        Some(WhyCheck::MoreRetests)
    } else {
        None
    }
}

/// What makes a pass suspect that is none of the other findings.
struct Suspect<'a> {
    pass: &'a Pass,
    findings: &'a Findings,
    config: &'a Config,
    /// Jumps with a cause of what units are made of.
    of_jumps: Vec<(&'a Jump, &'a Cause)>,
    wrong: Vec<BetweenChecks<'a>>,
}

/// What a station tested from a wrong answer of a check load to the next right one should have been stopped; what
/// it tested before, since the last right one, is as little proven.
struct BetweenChecks<'a> {
    station: &'a str,
    from: i64,
    wrong: i64,
    to: i64,
}

impl<'a> Suspect<'a> {
    fn new(pass: &'a Pass, findings: &'a Findings, config: &'a Config) -> Self {
        let wrong = findings.checks.iter().flatten().flat_map(|c| {
            c.wrong.iter().map(|w| BetweenChecks {
                station: &c.station,
                from: w.last_good.map_or(i64::MIN, |t| t + 1),
                wrong: w.time,
                to: w.next_good.unwrap_or(i64::MAX),
            })
        });
        let of_jumps =
            findings.jumps.iter().flat_map(Jump::each).flat_map(|j| j.lots().map(move |c| (j, c)));
        Self { pass, findings, config, of_jumps: of_jumps.collect(), wrong: wrong.collect() }
    }

    /// The reasons of one pass.
    fn of(&self, test: Test<'_>) -> impl Iterator<Item = WhyCheck> {
        let of_series = test.series().map(|n| (self.of_cause(test, n), self.short(test, n)));
        let (of_cause, short) = of_series.unwrap_or((false, false));
        [of_cause.then_some(WhyCheck::OfCause), short.then_some(WhyCheck::FellShort)]
            .into_iter()
            .flatten()
    }

    /// Whether no check load vouches for a pass.
    fn unchecked(&self, test: Test<'_>) -> Option<WhyCheck> {
        let (name, time) = (&self.pass.plant.stations[usize::from(test.station())], test.time());
        let own = self.wrong.iter().filter(|w| w.station == name && (w.from..w.to).contains(&time));
        let is_after = own.map(|w| w.wrong <= time).max()?;
        Some(if is_after { WhyCheck::AfterWrongCheck } else { WhyCheck::BeforeWrongCheck })
    }

    fn of_cause(&self, test: Test<'_>, n: usize) -> bool {
        let levels = test.levels();
        let causes = &self.findings.series[n].causes;
        causes.iter().any(|c| levels[c.index] == c.level)
            || self.of_jumps.iter().any(|(jump, cause)| {
                jump.after.window.has(test.day())
                    && jump.scope == Scope::Series(n as u32)
                    && Tested::of(self.pass, test).is_some_and(|unit| of_cause(cause, &unit))
            })
    }

    fn short(&self, test: Test<'_>, n: usize) -> bool {
        falls_short(&self.pass.series[n].key, test.settings(), self.config)
    }
}
