//! Whether `--gate` stops: a limit to change, a product or a tester that moved, more failures.

use crate::verdict::action::{Action, ActionKind};
use crate::verdict::limit::VerdictKind;
use crate::verdict::plant::SeriesVerdict;

/// Whether something needs action before the next unit is tested; `jumped` where a rise of failures is flagged.
#[must_use]
pub fn stops(series: &[SeriesVerdict], actions: &[Action], jumped: bool) -> bool {
    let limit_to_change =
        |s: &SeriesVerdict| s.limits.high.kind.is_some_and(VerdictKind::needs_action);
    let of_tester =
        |a: &Action| matches!(a.kind, ActionKind::TesterMoved | ActionKind::StationDiffers);
    series.iter().any(|s| limit_to_change(s) || s.flag.flagged)
        || actions.iter().any(of_tester)
        || jumped
}
