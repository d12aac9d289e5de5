//! What to check next of a change of the share of failures, and its words.

use std::fmt::{self, Display, Formatter};

use serde::{Serialize, Serializer};

use super::said::list;
use crate::analysis::jump::{Levels, Named};
use crate::verdict::cautions::re_test;
use crate::words::count;

/// What to check next, after what is recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct NextStep {
    /// What is recorded between the days on which the change may have begun.
    pub recorded: Option<String>,
    /// The step.
    pub step: Step,
}

/// What to check; of a cause with the levels that it cannot be told from.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs, reason = "fields are told with their variants")]
pub enum Step {
    /// Whether the new limit is meant.
    DecideLimit,
    /// Whether the stations still trip, where fewer fail.
    TryLoads,
    /// The ramp, and what was set with it.
    SlowRamp { set: Option<Levels> },
    /// The new mix, nothing fails more often.
    PlanForMix,
    /// Why readings moved.
    FindMovement,
    /// Whether a setting is meant.
    DecideSetting { levels: Levels, rivals: Vec<Named> },
    /// Leads, fixture and settings of a station.
    CheckStation { levels: Levels, rivals: Vec<Named> },
    /// How units are connected and tested.
    WatchTesting { levels: Levels, rivals: Vec<Named> },
    /// What units are made of: hold the rest, test again what passed.
    HoldUnits { levels: Levels, rivals: Vec<Named>, passed: u64 },
    /// Leads and fixtures, since failures came in runs.
    LookAtLeads,
    /// Anything that changed on that date.
    AskWhatChanged,
}

impl Serialize for NextStep {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl Display for NextStep {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        if let Some(what) = &self.recorded {
            write!(f, "Look first at what is recorded: {what}. ")?;
        }
        self.step.fmt(f)
    }
}

impl Display for Step {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let named = |levels: &Levels, rivals: &[Named]| {
            if rivals.is_empty() {
                levels.to_string()
            } else {
                format!("{levels} or {}", list(rivals, "or"))
            }
        };
        match self {
            Self::DecideLimit => f.write_str(
                "Decide whether the new limit is meant: look at it with `leakdrift limits`.",
            ),
            Self::TryLoads => f.write_str(
                "Test a load that must fail on each station: fewer failures can be a tester that no longer trips.",
            ),
            Self::SlowRamp { set } => {
                let set = set.as_ref().map_or_else(String::new, |set| format!(" ({set})"));
                f.write_str(&re_test(&format!(
                    "Find out why the ramp was so short{set}; let the voltage rise slowly enough for the charging current to stay under the limit, and re-test these units so."
                )))
            }
            Self::DecideSetting { levels, rivals } => f.write_str(&re_test(&format!(
                "Decide whether {} is meant, set what is right everywhere and record it; re-test the failed units at that.",
                named(levels, rivals)
            ))),
            Self::PlanForMix => f.write_str(
                "Nothing fails more often than before: plan for the new mix, or improve what fails most.",
            ),
            Self::FindMovement => f.write_str(
                "Find out why readings moved: see the movement of the series and of its stations.",
            ),
            Self::CheckStation { levels, rivals } => f.write_str(&re_test(&format!(
                "Check leads, fixture and settings of {}; re-test some of its failed units at another station.",
                named(levels, rivals)
            ))),
            Self::WatchTesting { levels, rivals } => {
                write!(f, "Watch how units are connected and tested: {}.", named(levels, rivals))
            }
            Self::HoldUnits { levels, rivals, passed } => f.write_str(&re_test(&format!(
                "Hold what is left of {}; re-test its {} that passed before shipment (units-to-check.csv).",
                named(levels, rivals),
                count(*passed, "unit")
            ))),
            Self::LookAtLeads => f.write_str(&re_test(
                "Look at leads and fixtures; re-test failed units at another station.",
            )),
            Self::AskWhatChanged => f.write_str(&re_test(
                "Re-test failed units at another station, and ask what changed on that date: parts, process, leads, settings.",
            )),
        }
    }
}
