//! Commands: settings and arguments in, exit status out.

use std::io::IsTerminal;
use std::path::PathBuf;

use indicatif::{ProgressBar, ProgressStyle};

use crate::cli::{
    Cli, Command, CommonArgs, JumpArgs, LimitsArgs, PeekArgs, ReviewArgs, SampleArgs, TallyArgs,
};
use crate::config::Config;
use crate::error::{Error, Result};
use crate::{
    JumpRequest, Request, StudyRequest, jump_study, limit_study, pass, report, review, sample,
};

/// Exit status where a file or sheet could not be read.
const INCOMPLETE: u8 = 1;
/// Exit status of `--gate` where something needs action.
const GATE: u8 = 3;

/// Runs one command; gives the exit status of design section 13.
///
/// # Errors
/// What stops the command; exit status 2.
pub fn command(cli: Cli) -> Result<u8> {
    match cli.command {
        Command::Review(args) => run_review(&args),
        Command::Limits(args) => run_limits(&args),
        Command::Jump(args) => run_jump(&args),
        Command::Peek(args) => run_peek(&args),
        Command::Tally(args) => run_tally(&args),
        Command::Sample(args) => run_sample(&args),
        Command::Config => {
            print!("{}", crate::config::reference::reference());
            Ok(0)
        }
    }
}

fn run_review(args: &ReviewArgs) -> Result<u8> {
    let config = settings(&args.input.paths, &args.input.common)?;
    let name = config.name.clone().unwrap_or_else(|| name_of(&args.input.paths[0]));
    let month = args.month.as_deref().map(month).transpose()?;
    let out = args
        .out
        .clone()
        .unwrap_or_else(|| PathBuf::from("reports").join(report::folder_name(&name)));
    let request = Request {
        paths: args.input.paths.clone(),
        name: name.clone(),
        month,
        since_report: args.since_report.clone(),
        replaces: Some(out.clone()),
    };
    report::write::check_folder(&out)?;
    let bar = Bar::new(&args.input.common);
    let done = review(&request, &config, &|at, all| bar.at(at, all))?;
    bar.finish();
    report::write::write_whole(&out, &done.files)?;
    for failure in &done.review.made.failures {
        eprintln!("warning: {failure}");
    }
    if !args.input.common.quiet {
        print!("{}", report::closing(&done.review, &out, args.input.common.verbose));
    }
    if args.gate && done.review.needs_action() {
        return Ok(GATE);
    }
    Ok(if done.review.made.failures.is_empty() { 0 } else { INCOMPLETE })
}

fn run_limits(args: &LimitsArgs) -> Result<u8> {
    let config = settings(&args.paths, &args.common)?;
    let name = config
        .name
        .clone()
        .or_else(|| args.paths.first().map(|p| name_of(p)))
        .unwrap_or_else(|| "new".to_owned());
    let out = args.out.clone().unwrap_or_else(|| {
        let folder = report::folder_name(&format!("{name}-limits-{}", args.model));
        PathBuf::from("reports").join(folder)
    });
    report::write::check_folder(&out)?;
    let request = StudyRequest {
        paths: args.paths.clone(),
        name,
        model: args.model.clone(),
        test: args.test.clone(),
        tries: args.tries.clone(),
        note_for: args.note_for,
        expect_nf: args.expect_nf,
        tolerance_pct: args.tolerance_pct,
        applied_v: args.applied_v,
        frequency_hz: args.frequency_hz,
    };
    let bar = Bar::new(&args.common);
    let done = limit_study(&request, &config, &|at, all| bar.at(at, all))?;
    bar.finish();
    report::write::write_whole(&out, &done.files)?;
    let failures = &done.report.made.failures;
    for failure in failures {
        eprintln!("warning: {failure}");
    }
    if !args.common.quiet {
        print!("{}", report::limit_study::closing(&done.report, &out));
    }
    Ok(if failures.is_empty() { 0 } else { INCOMPLETE })
}

fn run_jump(args: &JumpArgs) -> Result<u8> {
    let config = settings(&args.input.paths, &args.input.common)?;
    let name = config.name.clone().unwrap_or_else(|| name_of(&args.input.paths[0]));
    let out = args.out.clone().unwrap_or_else(|| {
        PathBuf::from("reports").join(report::folder_name(&format!("{name}-jump")))
    });
    report::write::check_folder(&out)?;
    let since = args.since.as_deref().map(day).transpose()?;
    let request =
        JumpRequest { paths: args.input.paths.clone(), name, model: args.model.clone(), since };
    let bar = Bar::new(&args.input.common);
    let done = jump_study(&request, &config, &|at, all| bar.at(at, all))?;
    bar.finish();
    report::write::write_whole(&out, &done.files)?;
    let failures = &done.report.made.failures;
    for failure in failures {
        eprintln!("warning: {failure}");
    }
    if !args.input.common.quiet {
        print!("{}", report::jump_study::closing(&done.report, &out));
    }
    if args.gate && done.report.jumps.iter().any(|j| j.flagged) {
        return Ok(GATE);
    }
    Ok(if failures.is_empty() { 0 } else { INCOMPLETE })
}

/// `2026-09-14` as a day.
fn day(text: &str) -> Result<chrono::NaiveDate> {
    chrono::NaiveDate::parse_from_str(text, "%Y-%m-%d").map_err(|_| {
        Error::usage(
            format!("--since: expected a day like 2026-09-14, found {text:?}"),
            "write it as YYYY-MM-DD",
        )
    })
}

fn run_peek(args: &PeekArgs) -> Result<u8> {
    let config = settings(&args.input.paths, &args.input.common)?;
    let bar = Bar::new(&args.input.common);
    let (read, counted) = pass(&args.input.paths, &config, &|at, all| bar.at(at, all))?;
    bar.finish();
    let peek = report::peek::Peek::new(&read, counted.as_ref().ok(), &config);
    if args.json {
        println!("{}", peek.json());
    } else {
        print!("{}", peek.text());
    }
    if let Err(error) = counted {
        eprintln!("{error}");
    }
    if let Some(file) = &args.write_config {
        let file = file.clone().unwrap_or_else(|| Config::place_beside(&args.input.paths));
        report::peek::start_config(&peek, &file)?;
        eprintln!("settings started in {}", file.display());
    }
    Ok(if read.failures.is_empty() { 0 } else { INCOMPLETE })
}

fn run_tally(args: &TallyArgs) -> Result<u8> {
    let config = settings(&args.input.paths, &args.input.common)?;
    let bar = Bar::new(&args.input.common);
    let (read, counted) = pass(&args.input.paths, &config, &|at, all| bar.at(at, all))?;
    bar.finish();
    let lines = crate::series::save(&counted?, &args.out)?;
    for failure in &read.failures {
        eprintln!("warning: {failure}");
    }
    if !args.input.common.quiet {
        println!("{lines} lines written to {}", args.out.display());
    }
    Ok(if read.failures.is_empty() { 0 } else { INCOMPLETE })
}

fn run_sample(args: &SampleArgs) -> Result<u8> {
    let factory = sample::plan(args.seed);
    sample::write(&factory, &args.dir)
        .map_err(|e| Error::usage(e.to_string(), "choose a folder that can be written to"))?;
    println!(
        "demonstration exports written to {0}; review them with `leakdrift review {0}`",
        args.dir.display()
    );
    Ok(0)
}

fn settings(paths: &[PathBuf], args: &CommonArgs) -> Result<Config> {
    match args.config.clone().or_else(|| Config::beside(paths)) {
        Some(path) => Config::read(&path),
        None => Ok(Config::default()),
    }
}

/// The report's name where the settings give none: that of the first path.
fn name_of(path: &std::path::Path) -> String {
    let whole = path.canonicalize().unwrap_or_else(|_| path.to_owned());
    whole.file_stem().map_or_else(|| "review".to_owned(), |n| n.to_string_lossy().into_owned())
}

/// `2026-10` as year and month.
fn month(text: &str) -> Result<(i32, u32)> {
    let parsed = text.split_once('-').and_then(|(y, m)| {
        let (y, m): (i32, u32) = (y.parse().ok()?, m.parse().ok()?);
        (y >= 1970 && (1..=12).contains(&m)).then_some((y, m))
    });
    parsed.ok_or_else(|| {
        Error::usage(
            format!("--month: expected a month like 2026-10, found {text:?}"),
            "write it as YYYY-MM",
        )
    })
}

/// A progress bar on a terminal, nothing in a pipe.
struct Bar(Option<ProgressBar>);

impl Bar {
    fn new(args: &CommonArgs) -> Self {
        if args.quiet || !std::io::stderr().is_terminal() {
            return Self(None);
        }
        let bar = ProgressBar::new(0);
        if let Ok(style) =
            ProgressStyle::with_template("reading {bar:30} {bytes}/{total_bytes} {eta}")
        {
            bar.set_style(style);
        }
        Self(Some(bar))
    }

    fn at(&self, at: u64, all: u64) {
        if let Some(bar) = &self.0 {
            bar.set_length(all);
            bar.set_position(at);
        }
    }

    fn finish(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
