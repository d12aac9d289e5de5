//! What needs action: one line each with its next step, worst first.

use serde::Serialize;

pub use crate::verdict::action_kind::ActionKind;
use crate::verdict::concern::About;

/// One line of the table "what needs action".
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Action {
    /// 1 is the worst; no two lines share a rank.
    pub rank: usize,
    /// Its kind.
    pub kind: ActionKind,
    /// What tells it from others of its kind and subject: a day, an instrument; mostly empty.
    pub key: String,
    /// The series, model or station it is about.
    pub subject: String,
    /// What was found, a full sentence.
    pub sentence: String,
    /// What to do next, a full sentence.
    pub next_step: String,
}

/// The table: worst kind first; within a kind the nearer date or the larger number, then by subject.
#[must_use]
pub fn actions(concerns: &[About]) -> Vec<Action> {
    let mut lines: Vec<(i64, Action)> = concerns.iter().map(line).collect();
    lines.sort_by(|(p, a), (q, b)| {
        (a.kind, p, &a.subject, &a.sentence).cmp(&(b.kind, q, &b.subject, &b.sentence))
    });
    let ranked = lines.into_iter().enumerate();
    ranked.map(|(i, (_, action))| Action { rank: i + 1, ..action }).collect()
}

/// A line without its rank, and its place among lines of one kind.
fn line(about: &About) -> (i64, Action) {
    let About { subject, concern } = about;
    let action = Action {
        rank: 0,
        kind: concern.kind(),
        key: concern.key(),
        subject: subject.clone(),
        sentence: concern.sentence(subject),
        next_step: concern.next_step(),
    };
    (concern.before(), action)
}
