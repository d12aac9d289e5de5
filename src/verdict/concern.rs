//! What somebody must act on: findings and verdicts turned into concerns.

use chrono::NaiveDate;

use crate::movement::material::DriftFlag;
use crate::verdict::evidence::Forecast;
use crate::verdict::limit::{Verdict, VerdictKind};

/// Something that somebody must act on. The numbers are those the line prints.
#[derive(Debug, Clone, PartialEq)]
pub enum Concern {
    /// A limit above the stated ceiling, or a limit that can never trip; with the verdict's sentence.
    UnsafeLimit {
        /// What is wrong.
        sentence: String,
    },
    /// Units passed while no lead was connected.
    PassedOpenLead {
        /// How many.
        units: u64,
    },
    /// Strays above that passed: suspect insulation.
    StraysPassed {
        /// How many.
        units: u64,
    },
    /// Passes whose reading lies above the limit in force.
    PassedAgainstReading {
        /// How many.
        units: u64,
    },
    /// A check load that must trip passed, or the other way round.
    WrongCheckLoad {
        /// Day.
        day: NaiveDate,
        /// The load's name.
        load: String,
        /// Product units tested since the last good check.
        units_since_last_good: u64,
    },
    /// A check load that passed at a reading far from its usual one.
    OddCheckReading {
        /// The finding.
        sentence: String,
    },
    /// Earlier passes that would have failed at the corrected reading.
    PassesInDoubt {
        /// How many.
        units: u64,
        /// How they came about.
        sentence: String,
    },
    /// Units whose last test is no pass.
    NeverPassed {
        /// How many.
        units: u64,
    },
    /// Failures jumped.
    Jump {
        /// First sentence of the finding.
        sentence: String,
        /// What to check next.
        next_step: String,
    },
    /// An unconnected lead would pass.
    OpenLeadWouldPass {
        /// Workable low limit, printed, where one exists.
        workable: Option<String>,
    },
    /// A limit that passes harmful leaks.
    TooLoose {
        /// The verdict's sentence.
        sentence: String,
        /// The suggested limit, printed.
        suggested: Option<String>,
    },
    /// No limit works.
    NoWorkableBand {
        /// The verdict's sentence.
        sentence: String,
    },
    /// The product drifts toward the limit, or moved.
    Drift {
        /// The flag's sentence.
        sentence: String,
        /// When the limit is reached.
        reached: Option<Forecast>,
    },
    /// A tester moved.
    TesterMoved {
        /// The finding.
        sentence: String,
        /// Whether an event or a calibration explains it.
        explained: bool,
    },
    /// A station reads differently from the others on every model.
    StationDiffers {
        /// The finding.
        sentence: String,
        /// Whether it is leads and fixture, not meter or voltage.
        leads: bool,
    },
    /// A limit that rejects healthy units.
    TooTight {
        /// The verdict's sentence.
        sentence: String,
        /// The suggested limit, printed.
        suggested: Option<String>,
    },
    /// A low limit that rejects healthy units.
    LowLimitTooHigh {
        /// The finding.
        sentence: String,
    },
    /// Units tested again until they passed.
    RetestedUntilPass {
        /// Units with more retests than allowed.
        units: u64,
        /// Retests allowed.
        allowed: u64,
    },
    /// Voltage, dwell or limit differ from what they should be.
    SettingsDiffer {
        /// The finding.
        sentence: String,
    },
    /// Too good to be true: frozen display, no failure where others see several.
    TooGood {
        /// The finding.
        sentence: String,
    },
    /// Tests made while the calibration was overdue.
    CalibrationOverdue {
        /// Instrument.
        instrument: String,
        /// Tests made.
        tests: u64,
    },
    /// Production days without a check load.
    ChecksMissing {
        /// Days.
        days: u64,
    },
    /// Days without rows where some were expected.
    MissingDays {
        /// First day.
        from: NaiveDate,
        /// Last day.
        to: NaiveDate,
    },
    /// The data do not decide.
    NotEnoughData {
        /// The verdict's sentence.
        sentence: String,
        /// Units that would decide.
        units_needed: Option<u64>,
    },
    /// No limit known.
    NoLimitKnown,
}

/// A concern and what it is about.
#[derive(Debug, Clone, PartialEq)]
pub struct About {
    /// The series, model or station.
    pub subject: String,
    /// The concern.
    pub concern: Concern,
}

/// The concerns that follow from a verdict; `print` writes a current of the series. Strays that passed are
/// among them.
#[must_use]
pub fn from_verdict(subject: &str, verdict: &Verdict, print: impl Fn(f64) -> String) -> Vec<About> {
    let suggested = verdict.suggested_ma().map(print);
    let sentence = verdict.sentence.clone();
    let mut found = Vec::new();
    if verdict.above_ceiling || verdict.above_tester_range {
        let first = verdict.reasons.first().map_or_else(String::new, |r| r.sentence.clone());
        found.push(Concern::UnsafeLimit { sentence: first });
    }
    if verdict.strays_passed > 0 {
        found.push(Concern::StraysPassed { units: verdict.strays_passed });
    }
    match verdict.kind {
        // The unsafe limit already has its line, and the same next step.
        Some(VerdictKind::TooLoose) if verdict.above_ceiling || verdict.above_tester_range => {}
        Some(VerdictKind::TooLoose) => found.push(Concern::TooLoose { sentence, suggested }),
        Some(VerdictKind::TooTight) => found.push(Concern::TooTight { sentence, suggested }),
        Some(VerdictKind::NoWorkableBand) => found.push(Concern::NoWorkableBand { sentence }),
        Some(VerdictKind::NotEnoughData) => {
            found.push(Concern::NotEnoughData { sentence, units_needed: verdict.units_needed })
        }
        Some(VerdictKind::Fits) => {}
        None => found.push(Concern::NoLimitKnown),
    }
    found.into_iter().map(|concern| About { subject: subject.to_owned(), concern }).collect()
}

/// The concern that follows from a drift flag; `None` where nothing is flagged.
#[must_use]
pub fn from_drift(subject: &str, flag: &DriftFlag, reached: Option<Forecast>) -> Option<About> {
    flag.flagged.then(|| About {
        subject: subject.to_owned(),
        concern: Concern::Drift { sentence: flag.sentence.clone(), reached },
    })
}
