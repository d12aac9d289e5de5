//! What a command asks beside what is asked of every series, and whether the files can answer it.

use super::jump;
use crate::config::nearest;
use crate::day::{date_of, month_of};
use crate::error::{Error, Result};
use crate::series::Pass;
use crate::words::time::month_text;

/// Models that a message names at most.
const MODELS_NAMED: usize = 20;

/// What is asked: nothing by default.
#[derive(Debug, Clone, Default)]
pub struct Questions {
    /// Whether a month is held against the time before it.
    pub review: bool,
    /// The month under review; the last one in the files where `None`.
    pub month: Option<(i32, u32)>,
    /// What is asked about jumps in failures; `None` where nothing is.
    pub jumps: Option<jump::Asked>,
}

impl Questions {
    /// Checks that the files hold what is asked about, before the long part; gives the month under review.
    ///
    /// # Errors
    /// No test in the month, no series of the model, or a date without production days on both sides.
    pub fn check(&self, pass: &Pass) -> Result<(i32, u32)> {
        if let Some(asked) = &self.jumps {
            jumps_in(pass, asked)?;
        }
        month_in(pass, self.month)
    }
}

/// The month under review: the one asked for, else the last with products.
fn month_in(pass: &Pass, asked: Option<(i32, u32)>) -> Result<(i32, u32)> {
    let (first, last) = pass.plant.days.unwrap_or((0, 0));
    let Some(month) = asked else {
        return Ok(month_of(last));
    };
    let tested = pass.plant.station_days.values().flatten().any(|d| month_of(*d) == month);
    if tested {
        return Ok(month);
    }
    Err(Error::usage(
        format!(
            "--month {}: expected a month with tests, found none; the files hold {} to {}",
            month_text(month),
            month_text(month_of(first)),
            month_text(month_of(last)),
        ),
        "name one of them",
    ))
}

/// That the files hold no such model: those that it looks like, else all of them as far as a line holds them.
#[must_use]
pub fn no_such_model(model: &str, known: &[&str]) -> String {
    let near = nearest(model, known.iter().copied());
    let hold = match near.is_empty() {
        true if known.len() > MODELS_NAMED => {
            format!(
                "they hold {} others, among them {}",
                known.len(),
                known[..MODELS_NAMED].join(", ")
            )
        }
        true => format!("they hold {}", known.join(", ")),
        false => {
            let quoted: Vec<String> = near.iter().map(|m| format!("{m:?}")).collect();
            format!("the nearest of {} is {}", known.len(), quoted.join(", "))
        }
    };
    format!("--model: expected a model of the files, found {model:?}; {hold}")
}

/// Whether the model and the date asked for are in the files.
fn jumps_in(pass: &Pass, asked: &jump::Asked) -> Result<()> {
    let models = || pass.series.iter().map(|s| s.key.model.as_str());
    if let Some(model) = &asked.model
        && !models().any(|m| asked.looks_at(m))
    {
        let mut known: Vec<&str> = models().collect();
        known.dedup();
        return Err(Error::usage(no_such_model(model, &known), "name one of them"));
    }
    let (first, last) = pass.plant.days.unwrap_or((0, 0));
    match asked.since {
        Some(since) if since <= first || since > last => Err(Error::usage(
            format!(
                "--since {}: expected a date with tests before it and from it on, found one {} of the files, which hold {} to {}",
                date_of(since),
                if since > last { "after the last day" } else { "that is not after the first day" },
                date_of(first),
                date_of(last)
            ),
            "name a date with tests on both sides of it",
        )),
        _ => Ok(()),
    }
}
