//! Whether `--gate` stops: units to hold or trace, a limit to change, a product or a tester that moved, more failures.
//!
//! Asked of the incidents that are open: what somebody decided about stops no run, until something joins it. Questions
//! that every plant has for long (a leak path that nobody stated, too few units) stop none, nor does a missing export.

use crate::verdict::Verdicts;
use crate::verdict::action_kind::ActionKind;
use crate::verdict::incident::{Group, Incident};

/// Actions that stop a scheduled run beside units to hold or trace.
const STOPS: [ActionKind; 8] = [
    ActionKind::UnsafeLimit,
    ActionKind::TooLoose,
    ActionKind::NoWorkableBand,
    ActionKind::TooTight,
    ActionKind::Drift,
    ActionKind::Jump,
    ActionKind::TesterMoved,
    ActionKind::StationDiffers,
];

impl Verdicts {
    /// Whether something needs action before the next unit is tested.
    #[must_use]
    pub fn stop(&self) -> bool {
        let kinds = |i: &Incident| -> Vec<ActionKind> {
            i.actions_of(&self.actions).map(|action| action.kind).collect()
        };
        let stops = |i: &Incident| {
            let kinds = kinds(i);
            // Units that failed and never passed are in every plant: they are listed.
            let only_failed = kinds.iter().all(|k| *k == ActionKind::NeverPassed);
            kinds.iter().any(|k| STOPS.contains(k))
                || (i.group == Group::UnitsToTrace && !only_failed)
        };
        self.incidents.iter().any(|i| !i.is_closed() && stops(i))
    }
}
