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
    let sorted = worst_first(concerns.to_vec());
    sorted.iter().enumerate().map(|(n, about)| line(n + 1, about)).collect()
}

/// Concerns in the order of the table.
#[must_use]
pub fn worst_first(mut concerns: Vec<About>) -> Vec<About> {
    concerns.sort_by_cached_key(|about| {
        let About { subject, concern, .. } = about;
        (concern.kind(), concern.before(), subject.clone(), concern.sentence(subject))
    });
    concerns
}

fn line(rank: usize, about: &About) -> Action {
    let About { subject, concern, .. } = about;
    Action {
        rank,
        kind: concern.kind(),
        key: concern.key(),
        subject: subject.clone(),
        sentence: concern.sentence(subject),
        next_step: concern.next_step(),
    }
}
