//! Whether `--gate` stops: what can hurt somebody, a limit to change, a product or a tester that moved, more
//! failures.

use crate::verdict::action::Action;
use crate::verdict::action_kind::ActionKind;
use crate::verdict::plant::SeriesVerdict;
use crate::verdict::{VerdictKind, Verdicts};

/// Actions that stop a scheduled run: units that may be out with bad insulation or untested, stations that may
/// not trip, and what a tester that moved makes doubtful.
const STOPS: [ActionKind; 9] = [
    ActionKind::UnsafeLimit,
    ActionKind::PassedOpenLead,
    ActionKind::StraysPassed,
    ActionKind::PassedAgainstReading,
    ActionKind::WrongCheckLoad,
    ActionKind::OddCheckReading,
    ActionKind::PassesInDoubt,
    ActionKind::TesterMoved,
    ActionKind::StationDiffers,
];

impl Verdicts {
    /// Whether something needs action before the next unit is tested.
    #[must_use]
    pub fn stop(&self) -> bool {
        let stops = |a: &Action| STOPS.contains(&a.kind);
        let moved = |s: &SeriesVerdict| {
            s.limits.high.kind.is_some_and(VerdictKind::needs_action) || s.flag.flagged
        };
        self.series.iter().any(moved)
            || self.actions.iter().any(stops)
            || self.jumps.iter().any(|j| j.flagged)
    }
}
