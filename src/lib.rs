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
//! [`review()`] is that path in one paragraph. The ground floor, [`stats`], is pure mathematics, and a crate of its own.

#![forbid(unsafe_code)]

pub mod analysis;
pub mod cli;
mod commands;
pub mod config;
pub mod day;
mod disk;
pub mod error;
pub mod input;
pub mod movement;
pub mod note;
pub mod progress;
pub mod records;
pub mod report;
pub mod review;
pub mod sample;
pub mod series;
pub mod study;
mod terminal;
pub mod verdict;
pub mod words;

use std::collections::BTreeSet;
use std::path::PathBuf;

use analysis::Questions;
use analysis::jump::Asked;
use chrono::{Datelike as _, NaiveDate};
pub use commands::command;
use config::Config;
use error::{Error, Result};
use input::earlier::Earlier;
pub use leakdrift_stats as stats;
use note::Note;
use progress::{Stage, Tell};
pub use report::Rendered;
pub use report::jump_study::JumpStudy;
pub use report::limit_study::Study;
pub use review::Review;
use review::Subject;
use series::{Collector, Pass};
pub use study::StudyRequest;
pub use terminal::warn;
use words::time::month_text;

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
    /// Whether series that need no attention have charts too.
    pub all_charts: bool,
    /// When the report is made, in local time; `None` where it must be the same each time.
    pub made_at: Option<String>,
}

/// What an investigation of jumps is made of, beside the settings.
#[derive(Debug, Clone, Default)]
pub struct JumpRequest {
    /// Files, folders and patterns.
    pub paths: Vec<PathBuf>,
    /// Name of the report.
    pub name: String,
    /// Model looked at; all where `None`.
    pub model: Option<String>,
    /// The date, where it is known.
    pub since: Option<NaiveDate>,
}

impl JumpRequest {
    /// The question that it asks, by the settings.
    fn asked(&self, config: &Config) -> Asked {
        let since = self.since.map(day::day_number);
        Asked { since, model: self.model.clone(), ..Asked::all(config) }
    }
}

/// Reads the files behind `paths` once and counts: the only part that sees rows. `progress` is told of bytes read
/// and of all bytes.
///
/// # Errors
/// Where no file is found. Where none of them can be used there is no [`Pass`], where no row can be it says so
/// ([`Pass::of_use`]).
pub fn pass(
    paths: &[PathBuf],
    config: &Config,
    progress: &(dyn Fn(u64, u64) + Sync),
) -> Result<(input::Read, Result<Pass>)> {
    read_and_count(paths, config, &|stage, done, of| {
        if stage == Stage::Read {
            progress(done, of);
        }
    })
}

fn read_and_count(
    paths: &[PathBuf],
    config: &Config,
    tell: &Tell<'_>,
) -> Result<(input::Read, Result<Pass>)> {
    let book = records::Book::new();
    let mut collector = Collector::default();
    let mut sources_with_rows = BTreeSet::new();
    let reading = |bytes, of| tell(Stage::Read, bytes, of);
    let mut read = input::read(paths, config, &book, &reading, |batch| {
        let of_record = batch.records.first().map(|r| r.source);
        sources_with_rows.extend(of_record.or(batch.unreadable.first().map(|u| u.source)));
        collector.absorb(batch);
    })?;
    let empty = read.tables.iter().enumerate().filter(|(n, _)| {
        records::SourceAt::new(*n).is_none_or(|n| !sources_with_rows.contains(&n))
    });
    read.notes.extend(
        empty.map(|(_, table)| {
            Note::new(format!("{}: a header, and no row below it", table.source))
        }),
    );
    tell(Stage::Count, 0, 0);
    let none = || Error::usage("no file could be read", "check the inputs");
    let pass = match read.tables.is_empty() {
        true => Err(read.failures.first().cloned().unwrap_or_else(none)),
        false => collector.finish(&read, &book, config),
    };
    Ok((read, pass))
}

/// What says that tables of a pass are probably misread: a line for all that show the same signs, each with what
/// likely causes it and the setting to give.
#[must_use]
pub fn misread(pass: &Pass, config: &Config) -> Vec<String> {
    let mut misread = verdict::misread::misread(pass, config);
    misread.retain(|m| !m.believed);
    verdict::misread::said(&misread).iter().map(ToString::to_string).collect()
}

/// A review before its pages, with the units that a limit study asks about.
struct Judged {
    review: Review,
    pass: Pass,
}

/// Files in, decisions out; `earlier` gives the report to compare with, by month and last day.
fn judged(
    paths: &[PathBuf],
    name: &str,
    questions: &Questions,
    earlier: impl FnOnce(&str, NaiveDate) -> Option<Earlier>,
    made_at: Option<String>,
    config: &Config,
    tell: &Tell<'_>,
) -> Result<Judged> {
    let register = input::register(config)?;
    let (mut read, pass) = read_and_count(paths, config, tell)?;
    let pass = pass?.of_use()?;
    let month = questions.check(&pass)?;
    let movement = movement::find(&pass, &register, config, tell);
    let known = analysis::Known {
        movement: &movement,
        register: &register,
        month: questions.review.then_some(month),
        jumps: questions.jumps.as_ref(),
    };
    let findings = analysis::findings(&pass, &known, config, tell);
    tell(Stage::Judge, 0, 0);
    let verdicts = verdict::judge(&pass, &known, &findings, config);
    let last = day::date_of(pass.plant.days.unwrap_or_default().1);
    if questions.month.is_some() && (last.year(), last.month()) > month {
        read.notes.push(Note::first(judged_later(month, last)));
    }
    let earlier = earlier(&month_text(month), last);
    let side_files = input::side_files(config);
    let subject = Subject { name: name.to_owned(), month, register, earlier, side_files, made_at };
    let review = Review::new(subject, &read, &pass, movement, findings, verdicts, config);
    Ok(Judged { review, pass })
}

/// What a review of a past month rests on.
fn judged_later(month: (i32, u32), last: NaiveDate) -> String {
    format!(
        "{0} is under review and the files go on to {last}: what is said of the month is of {0}, while limits, \
         movement, jumps and actions are judged from all days up to the last. For a judgement as of {0}, give \
         only files up to its end.",
        month_text(month)
    )
}

/// The whole review: files in, a judged report out; `tell` hears how far it is.
///
/// # Errors
/// What stops it: see [`error::ErrorKind`].
///
/// # Examples
/// ```
/// use leakdrift::{Request, config::Config, review};
///
/// // Thirty days of 20 units, all far below the limit of 3 mA.
/// let mut table = "tested_at,model,serial,station,set V,leakage mA,high limit mA,outcome\n".to_owned();
/// for n in 0..600 {
///     let (day, minute, ma) = (n / 20 + 1, n % 20, 0.95 + f64::from(n * 7 % 20) * 0.005);
///     table += &format!("2026-09-{day:02} 08:{minute:02}:00,M1,U{n},S1,1500,{ma:.3},3.000,pass\n");
/// }
/// let folder = tempfile::tempdir()?;
/// let export = folder.path().join("export.csv");
/// std::fs::write(&export, table)?;
///
/// let request = Request { paths: vec![export], name: "line 1".to_owned(), ..Request::default() };
/// let done = review(&request, &Config::default(), &leakdrift::progress::nobody)?;
/// let (_, page) = done.files.iter().find(|(name, _)| name == "summary.md").expect("it is there");
/// assert!(String::from_utf8_lossy(page).starts_with("# line 1: review of 2026-09"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn review(request: &Request, config: &Config, tell: &Tell<'_>) -> Result<Rendered> {
    // Before the long part: a wrong name should not cost a whole run.
    let named = request.since_report.as_deref().map(input::earlier::named).transpose()?;
    let questions =
        Questions { review: true, month: request.month, jumps: Some(Asked::all(config)) };
    let earlier = |month: &str, to| {
        named.or_else(|| input::earlier::beside(request.replaces.as_deref()?, month, to))
    };
    let made_at = request.made_at.clone();
    let Judged { review, .. } =
        judged(&request.paths, &request.name, &questions, earlier, made_at, config, tell)?;
    Ok(report::render(review, request.all_charts, tell))
}

/// The limit study of one model: the same findings as the review's, asked about other limits.
///
/// Without paths, the first band of a new model from its circuit alone.
///
/// # Errors
/// As [`review()`]; no series of the model and no circuit; a limit asked for that is no current.
pub fn limit_study(request: &StudyRequest, config: &Config, tell: &Tell<'_>) -> Result<Study> {
    if request.paths.is_empty() {
        return study::study(None, request, config);
    }
    let questions = Questions::default();
    let Judged { review, pass } =
        judged(&request.paths, &request.name, &questions, |_, _| None, None, config, tell)?;
    study::study(Some(&study::Whole { pass: &pass, review: &review, config }), request, config)
}

/// What changed the share of failures: found, or at a date that is known; all models, or one.
///
/// # Errors
/// As [`review()`]; no series of the model; a date without tests on both sides.
pub fn jump_study(request: &JumpRequest, config: &Config, tell: &Tell<'_>) -> Result<JumpStudy> {
    let asked = request.asked(config);
    let questions = Questions { jumps: Some(asked.clone()), ..Questions::default() };
    let Judged { review, .. } =
        judged(&request.paths, &request.name, &questions, |_, _| None, None, config, tell)?;
    Ok(report::jump_study::study(&review, &asked))
}
