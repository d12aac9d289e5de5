//! The charts of jumps in failures: which are drawn of which jump, and the question each answers.

use rayon::prelude::*;

use super::failures::{self, Failures};
use super::one_series::OneSeries;
use super::{Chart, ChartError, jump_causes, jump_readings, jump_split};
use crate::analysis::jump::Scope;
use crate::review::{JumpChart, Review};
use crate::verdict::jump::{Answer, JudgedJump};

/// A chart drawn, or why not.
pub struct Drawn<T> {
    /// Where it belongs.
    pub shown: JumpChart,
    /// Its ink.
    pub ink: Result<T, ChartError>,
}

/// The charts of the jumps that are told in full; `whole` takes in one that stands alone, and draws failures over
/// time for each. `ink` draws one, as far as it is asked for.
pub fn drawn<T: Send>(
    review: &Review,
    whole: bool,
    ink: fn(&Chart) -> Result<T, ChartError>,
) -> Vec<Drawn<T>> {
    let jumps = review.jumps.as_deref().unwrap_or_default();
    let mut jobs: Vec<(usize, &str, &str)> = Vec::new();
    for (n, jump) in jumps.iter().enumerate() {
        if !(jump.is_told() || whole && jumps.len() == 1) {
            continue;
        }
        if whole && matches!(jump.found.scope, Scope::Series(_)) {
            jobs.push((n, "failures", "How did failures move over time?"));
        }
        // Of another mix nothing is a cause: the parts say it.
        if jump.answer != Answer::Mix {
            jobs.push((n, "causes", "What explains the change?"));
        }
        jobs.push((n, "readings", "Did the readings move?"));
        jobs.push((n, "parts", "What is the change made of?"));
    }
    jobs.into_par_iter()
        .filter_map(|(n, what, question)| {
            let jump = &jumps[n];
            let chart = match what {
                "failures" => match jump.found.scope {
                    Scope::Series(n) => over_time(review, n as usize, jump),
                    _ => return None,
                },
                "causes" => jump_causes::chart(&jump_causes::of(&jump.found)),
                "readings" => jump_readings::chart(&jump_readings::of(&jump.found)?),
                _ => jump_split::chart(&jump_split::of(&jump.found)?),
            };
            let path = format!("charts/jump-{}-{what}.png", n + 1);
            let shown = JumpChart { jump: n, path, question: question.to_owned() };
            Some(Drawn { shown, ink: chart.and_then(|c| ink(&c)) })
        })
        .collect()
}

/// Failures of a series over time, with a jump marked.
fn over_time(review: &Review, n: usize, jump: &JudgedJump) -> Result<Chart, ChartError> {
    let series = OneSeries::new(review, n);
    let scope = jump.found.place.title.clone();
    failures::chart(&Failures { scope, ..failures::from(&series, Some(&jump.found)) })
}
