//! leakdrift judges leakage-current limits from exported high-voltage test results.
//!
//! Every unit with a mains plug is stressed at high voltage before it ships, and its tester trips on a
//! limit that somebody typed in. This crate reads the exported results and says where each model's
//! limit should be, what is drifting, and what failed; with a report for people and one for machines.
//!
//! Data flow one way, and the rooms are read in that order:
//!
//! ```text
//! files → input → records → series → movement → analysis → verdict → report
//! ```
//!
//! [`review()`] is that path in one paragraph. The ground floor, [`stats`], is pure mathematics.

#![forbid(unsafe_code)]

pub mod analysis;
pub mod cli;
mod commands;
pub mod config;
pub mod day;
pub mod error;
pub mod input;
pub mod movement;
pub mod note;
pub mod records;
pub mod report;
pub mod sample;
pub mod series;
pub mod stats;
pub mod verdict;
pub mod words;

use std::path::PathBuf;

pub use commands::command;
use config::Config;
use error::Result;
use records::Register;
pub use report::Review;
use report::build::Parts;
pub use report::jump_study::{JumpRequest, JumpStudy};
pub use report::limit_study::{Study, StudyRequest};
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
    /// The `results.json` of an earlier review to compare with.
    pub since_report: Option<PathBuf>,
    /// Folder whose report will be replaced: compared with where no other is named and it is an earlier one.
    pub replaces: Option<PathBuf>,
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
    let read = input::read(paths, config, &book, progress, |batch| collector.absorb(batch))?;
    let pass = collector.finish(&read.tables, &book, config);
    Ok((read, pass))
}

/// Everything that was read, found out and decided, before any page is made.
#[derive(Debug)]
pub struct Examined {
    read: input::Read,
    pass: Pass,
    movement: movement::Movement,
    /// Empty until they are asked for: a limit study needs none.
    jumps: Vec<analysis::jump::Jump>,
    findings: analysis::Findings,
    verdicts: Vec<verdict::plant::SeriesVerdict>,
    register: Register,
    month: (i32, u32),
}

impl Examined {
    /// What pages are made from.
    fn parts<'a>(&'a self, config: &'a Config, name: &'a str) -> Parts<'a> {
        Parts {
            read: &self.read,
            pass: &self.pass,
            movement: &self.movement,
            jumps: &self.jumps,
            findings: &self.findings,
            verdicts: &self.verdicts,
            register: &self.register,
            config,
            name,
            month: self.month,
        }
    }
}

/// Files in, decisions out; `month` asks for a month under review, the last one where it names none.
///
/// # Errors
/// What stops it: see [`error::ErrorKind`].
pub fn examine(
    paths: &[PathBuf],
    month: Option<Option<(i32, u32)>>,
    config: &Config,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<Examined> {
    let register = input::register(config)?;
    let (read, pass) = pass(paths, config, progress)?;
    let pass = pass?;
    let movement = movement::find(&pass, &register, config);
    let under_review = report::month_under_review(&pass, month.flatten())?;
    let known = analysis::Known {
        movement: &movement,
        register: &register,
        month: month.map(|_| under_review),
    };
    let findings = analysis::findings(&pass, &known, config);
    let verdicts = verdict::plant::judge_all(&pass, &movement, &findings, config);
    Ok(Examined {
        read,
        pass,
        movement,
        jumps: Vec::new(),
        findings,
        verdicts,
        register,
        month: under_review,
    })
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
    // Before the long part: a wrong name should not cost a whole run.
    let named = request.since_report.as_deref().map(report::since::named).transpose()?;
    let mut examined = examine(&request.paths, Some(request.month), config, progress)?;
    examined.jumps =
        analysis::jump::jumps(&examined.pass, &verdict::jump::asked(config, None), &|_| true);
    let parts = examined.parts(config, &request.name);
    let earlier = named.or_else(|| {
        let to = day::date_of(examined.pass.days?.1);
        report::since::beside(
            request.replaces.as_deref()?,
            &report::build::month_text(examined.month),
            to,
        )
    });
    report::render(&parts, earlier)
}

/// The limit study of one model: the same findings as the review's, asked about other limits.
///
/// Without paths, the first band of a new model from its circuit alone.
///
/// # Errors
/// As [`review()`]; no series of the model and no circuit; a limit asked for that is no current.
pub fn limit_study(
    request: &StudyRequest,
    config: &Config,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<Study> {
    let examined = if request.paths.is_empty() {
        None
    } else {
        Some(examine(&request.paths, None, config, progress)?)
    };
    let parts = examined.as_ref().map(|e| e.parts(config, &request.name));
    report::limit_study::study(parts.as_ref(), request, config)
}

/// What changed the share of failures: found, or at a date that is known; all models, or one.
///
/// # Errors
/// As [`review()`]; no series of the model; a date without tests on both sides.
pub fn jump_study(
    request: &JumpRequest,
    config: &Config,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<JumpStudy> {
    let mut examined = examine(&request.paths, None, config, progress)?;
    report::jump_study::check(&examined.pass, request)?;
    let series = &examined.pass.series;
    let since = request.since.map(day::day_number);
    examined.jumps =
        analysis::jump::jumps(&examined.pass, &verdict::jump::asked(config, since), &|n| {
            report::jump_study::chosen(request, &series[n].key.model)
        });
    report::jump_study::study(&examined.parts(config, &request.name), request)
}
