//! What somebody must act on: findings and verdicts turned into concerns.

use crate::movement::material::DriftFlag;
use crate::verdict::evidence::Forecast;
use crate::verdict::limit::{Verdict, VerdictKind};
use crate::verdict::tester::TesterConcern;

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
    /// The data do not decide.
    NotEnoughData {
        /// The verdict's sentence.
        sentence: String,
        /// Units that would decide.
        units_needed: Option<u64>,
    },
    /// No limit known.
    NoLimitKnown,
    /// About a tester or its record.
    Tester(TesterConcern),
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
