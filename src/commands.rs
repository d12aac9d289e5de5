//! Commands: settings and arguments in, exit status out.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};

use crate::cli::{
    Cli, Command, CommonArgs, InputArgs, JumpArgs, LimitsArgs, PeekArgs, ReviewArgs, SampleArgs,
    TallyArgs,
};
use crate::config::Config;
use crate::error::{Error, Result};
use crate::input::Read;
use crate::series::Pass;
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
        Command::Config(args) => {
            let page = match args.columns {
                true => crate::input::columns::reference(),
                false => crate::config::reference::reference(),
            };
            print!("{page}");
            Ok(0)
        }
    }
}

/// What a command that writes a folder has made.
struct Page {
    /// Relative path and content of each file.
    files: Vec<(String, Vec<u8>)>,
    /// Files and sheets that could not be read.
    failures: Vec<String>,
    /// What is said of it on the terminal.
    closing: String,
    /// Whether it was asked to tell by its exit status that something needs action, and something does.
    gate: bool,
}

/// What such a command is asked for.
struct Asked<'a> {
    paths: &'a [PathBuf],
    common: &'a CommonArgs,
    /// The folder, where one is named.
    out: Option<&'a Path>,
    /// What follows the report's name in that of a folder that is not named.
    suffix: String,
}

/// What a page is made with.
struct Making<'a> {
    config: Config,
    name: String,
    out: PathBuf,
    progress: &'a (dyn Fn(u64, u64) + Sync),
}

/// The path of every command that writes a folder: settings, files, page, folder, warnings, closing text, status.
fn write_page(asked: &Asked<'_>, make: impl FnOnce(&Making<'_>) -> Result<Page>) -> Result<u8> {
    let config = settings(asked.paths, asked.common)?;
    let of_path = || asked.paths.first().map_or_else(|| "new".to_owned(), |p| name_of(p));
    let name = config.name.clone().unwrap_or_else(of_path);
    let out = asked.out.map_or_else(
        || PathBuf::from("reports").join(report::folder_name(&format!("{name}{}", asked.suffix))),
        Path::to_owned,
    );
    // Before the long part: a wrong name should not cost a whole run.
    report::write::check_folder(&out)?;
    let bar = Bar::new(asked.common);
    let progress = |at, all| bar.at(at, all);
    let page = make(&Making { config, name, out: out.clone(), progress: &progress })?;
    bar.finish();
    report::write::write_whole(&out, &page.files)?;
    for failure in &page.failures {
        eprintln!("warning: {failure}");
    }
    if !asked.common.quiet {
        print!("{}", page.closing);
    }
    Ok(match page.gate {
        true => GATE,
        false if page.failures.is_empty() => 0,
        false => INCOMPLETE,
    })
}

fn run_review(args: &ReviewArgs) -> Result<u8> {
    let InputArgs { paths, common } = &args.input;
    let asked = Asked { paths, common, out: args.out.as_deref(), suffix: String::new() };
    write_page(&asked, |making| {
        let request = Request {
            paths: paths.clone(),
            name: making.name.clone(),
            month: args.month.as_deref().map(month).transpose()?,
            since_report: args.since_report.clone(),
            replaces: Some(making.out.clone()),
        };
        let done = review(&request, &making.config, making.progress)?;
        Ok(Page {
            closing: report::closing(&done.review, &making.out, common.verbose),
            gate: args.gate && done.review.stop,
            failures: done.review.made.failures,
            files: done.files,
        })
    })
}

fn run_limits(args: &LimitsArgs) -> Result<u8> {
    let asked = Asked {
        paths: &args.paths,
        common: &args.common,
        out: args.out.as_deref(),
        suffix: format!("-limits-{}", args.model),
    };
    write_page(&asked, |making| {
        let request = StudyRequest {
            paths: args.paths.clone(),
            name: making.name.clone(),
            model: args.model.clone(),
            test: args.test.clone(),
            tries: args.tries.clone(),
            note_for: args.note_for,
            expect_nf: args.expect_nf,
            tolerance_pct: args.tolerance_pct,
            applied_v: args.applied_v,
            frequency_hz: args.frequency_hz,
        };
        let done = limit_study(&request, &making.config, making.progress)?;
        Ok(Page {
            closing: report::limit_study::closing(&done.report, &making.out),
            gate: false,
            failures: done.report.made.failures,
            files: done.files,
        })
    })
}

fn run_jump(args: &JumpArgs) -> Result<u8> {
    let InputArgs { paths, common } = &args.input;
    let asked = Asked { paths, common, out: args.out.as_deref(), suffix: "-jump".to_owned() };
    write_page(&asked, |making| {
        let request = JumpRequest {
            paths: paths.clone(),
            name: making.name.clone(),
            model: args.model.clone(),
            since: args.since.as_deref().map(day).transpose()?,
        };
        let done = jump_study(&request, &making.config, making.progress)?;
        Ok(Page {
            closing: report::jump_study::closing(&done.report, &making.out),
            gate: args.gate && done.report.jumps.iter().any(|j| j.flagged),
            failures: done.report.made.failures,
            files: done.files,
        })
    })
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

/// Reads and counts, with a bar.
fn count(args: &InputArgs, config: &Config) -> Result<(Read, Result<Pass>)> {
    let bar = Bar::new(&args.common);
    let counted = pass(&args.paths, config, &|at, all| bar.at(at, all))?;
    bar.finish();
    Ok(counted)
}

fn status_of(read: &Read) -> u8 {
    if read.failures.is_empty() { 0 } else { INCOMPLETE }
}

fn run_peek(args: &PeekArgs) -> Result<u8> {
    let config = settings(&args.input.paths, &args.input.common)?;
    let (read, counted) = count(&args.input, &config)?;
    let peek = report::peek::Peek::new(&read, counted.as_ref().ok(), &config);
    if args.json {
        println!("{}", peek.json());
    } else {
        print!("{}", peek.text());
    }
    let counted = counted.and_then(Pass::of_use);
    let usable = counted.is_ok();
    if let Err(error) = counted {
        eprintln!("{error}");
    }
    if let Some(file) = &args.write_config {
        let in_use = || config.path.clone();
        let place = || Config::place_beside(&args.input.paths);
        let file = file.clone().or_else(in_use).unwrap_or_else(place);
        eprintln!("{}", report::peek::start_config(&peek, &file, &config)?);
    }
    Ok(if usable { status_of(&read) } else { INCOMPLETE })
}

fn run_tally(args: &TallyArgs) -> Result<u8> {
    let config = settings(&args.input.paths, &args.input.common)?;
    let (read, counted) = count(&args.input, &config)?;
    let lines = crate::series::save(&counted?.of_use()?, &args.out)?;
    for failure in &read.failures {
        eprintln!("warning: {failure}");
    }
    if !args.input.common.quiet {
        println!("{lines} lines written to {}", args.out.display());
    }
    Ok(status_of(&read))
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
    if let Some(path) = &args.config {
        return Config::read(path);
    }
    let Some(path) = Config::beside(paths)? else { return Ok(Config::default()) };
    let config = Config::read(&path)?;
    if config.lies_above(paths) && !args.quiet {
        eprintln!("settings: {}, above the inputs", path.display());
    }
    Ok(config)
}

/// The report's name where the settings give none: that of the first path.
fn name_of(path: &Path) -> String {
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
