//! What somebody must act on: findings and verdicts turned into concerns.

use crate::analysis::Findings;
use crate::analysis::units::causes::Cause;
use crate::analysis::units::strays::Lies;
use crate::config::Config;
use crate::movement::material::DriftFlag;
use crate::series::{Pass, subject};
use crate::verdict::evidence::Forecast;
use crate::verdict::limit::{Verdict, VerdictKind};
use crate::verdict::plant::SeriesVerdict;
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

/// What somebody must do about single series.
#[must_use]
pub fn concerns_of_series(
    pass: &Pass,
    findings: &Findings,
    verdicts: &[SeriesVerdict],
    config: &Config,
) -> Vec<About> {
    let mut about: Vec<About> = Vec::new();
    for (n, (v, finding)) in verdicts.iter().zip(&findings.series).enumerate() {
        let subject = subject(&pass.series, &pass.series[n].key);
        let mut found = Vec::new();
        let open = finding.strays.units.iter().filter(|u| u.lies == Lies::OpenLead).count() as u64;
        if open > 0 {
            found.push(Concern::PassedOpenLead { units: open });
        }
        if v.low.open_lead_passes == Some(true) {
            let range = v.low.from_ma.zip(v.low.to_ma);
            let workable =
                range.map(|(a, b)| format!("{} to {}", v.wording.current(a), v.wording.current(b)));
            found.push(Concern::OpenLeadWouldPass { workable });
        }
        if v.low.cuts_into_healthy {
            let sentence = v.low.reasons.first().map_or_else(String::new, |r| r.sentence.clone());
            found.push(Concern::LowLimitTooHigh { sentence });
        }
        // A jump says it better: since when, and how sure.
        let alone = |c: &&Cause| !findings.jumps.iter().any(|j| j.covers(n, &c.factor, &c.level));
        found.extend(finding.causes.iter().filter(alone).map(|c| Concern::Jump {
            sentence: c.to_string(),
            next_step:
                "Test its units that passed again before shipment (units-to-check.csv).".to_owned(),
        }));
        let more = finding.practice.habits.iter().map(|h| h.units).sum::<u64>();
        if more > 0 {
            let allowed = u64::from(config.retests_allowed);
            found.push(Concern::RetestedUntilPass { units: more, allowed });
        }
        about.extend(from_verdict(&subject, &v.verdict, |x| v.wording.current(x)));
        about.extend(from_drift(&subject, &v.flag, v.forecast));
        about.extend(found.into_iter().map(|concern| About { subject: subject.clone(), concern }));
    }
    about
}
