//! leakdrift judges leakage-current limits from exported high-voltage test results.
//!
//! Every unit with a mains plug is stressed at high voltage before it ships, and its tester trips on a
//! limit that somebody typed in. This crate reads the exported results and says where each model's
//! limit should be, what is drifting, and what failed; with a report for people and one for machines.
//!
//! Data flow one way, and the rooms are read in that order:
//!
//! ```text
//! files → input → records → series → analysis → verdict → report
//! ```
//!
//! [`review()`] is that path in one paragraph. The ground floor, [`stats`], is pure mathematics.

#![forbid(unsafe_code)]

pub mod analysis;
pub mod cli;
mod commands;
pub mod config;
pub mod error;
pub mod input;
pub mod note;
pub mod records;
pub mod report;
pub mod sample;
pub mod series;
pub mod stats;
pub mod verdict;

use std::path::PathBuf;

pub use commands::command;
use config::Config;
use error::Result;
pub use report::Review;
use report::build::Parts;
use report::register::Register;
use series::{Collector, Pass};

/// What a review is made of, beside the settings.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// Files, folders and patterns.
    pub paths: Vec<PathBuf>,
    /// Name of the report.
    pub name: String,
    /// Month under review; the last one in the files where `None`.
    pub month: Option<(i32, u32)>,
}

/// Reads the files behind `paths` once and counts: the only part that sees rows.
///
/// # Errors
/// Where nothing can be read or used.
pub fn pass(
    paths: &[PathBuf],
    config: &Config,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<(input::Read, Result<Pass>)> {
    let book = records::Book::new();
    let mut collector = Collector::default();
    let read = input::read(paths, config, &book, progress, |batch| {
        collector.absorb(batch)
    })?;
    let pass = collector.finish(&read.tables, &book, config);
    Ok((read, pass))
}

/// The whole review: files in, a judged report out.
///
/// # Errors
/// What stops it: see [`error::ErrorKind`].
pub fn review(
    request: &Request,
    config: &Config,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<Review> {
    let register = Register::read(config)?;
    let (read, pass) = pass(&request.paths, config, progress)?;
    let pass = pass?;
    let month = report::month_under_review(&pass, request.month)?;
    let movement = analysis::movement(&pass, config);
    let periods = verdict::plant::periods(&pass, &movement, config);
    let judges: Vec<analysis::Judge> = periods.iter().map(|(judge, _)| judge.clone()).collect();
    let findings = analysis::findings(&pass, &movement, &judges, config);
    let verdicts = verdict::plant::judge_all(&pass, &movement, &findings, &periods, config);
    report::render(&Parts {
        read: &read,
        pass: &pass,
        movement: &movement,
        findings: &findings,
        verdicts: &verdicts,
        register: &register,
        config,
        name: &request.name,
        month,
    })
}
