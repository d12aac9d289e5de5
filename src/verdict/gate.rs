//! Whether `--gate` stops: a limit to change, a product or a tester that moved, more failures.

use crate::verdict::action::Action;
use crate::verdict::action_kind::ActionKind;
use crate::verdict::plant::SeriesVerdict;
use crate::verdict::{VerdictKind, Verdicts};

impl Verdicts {
    /// Whether something needs action before the next unit is tested.
    #[must_use]
    pub fn stop(&self) -> bool {
        let of_tester =
            |a: &Action| matches!(a.kind, ActionKind::TesterMoved | ActionKind::StationDiffers);
        let moved = |s: &SeriesVerdict| {
            s.limits.high.kind.is_some_and(VerdictKind::needs_action) || s.flag.flagged
        };
        self.series.iter().any(moved)
            || self.actions.iter().any(of_tester)
            || self.jumps.iter().any(|j| j.flagged)
    }
}
