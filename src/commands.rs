//! Commands: settings and arguments in, exit status out.

use std::path::{Path, PathBuf};

use clap::CommandFactory as _;

use crate::cli::{
    Cli, Command, CommonArgs, InputArgs, JumpArgs, LimitsArgs, PeekArgs, ReviewArgs, SampleArgs,
    TallyArgs,
};
use crate::config::Config;
use crate::error::{Error, Result};
use crate::input::Read;
use crate::progress::{Stage, Tell};
use crate::report::origin::{Origin, REVIEW};
use crate::review::First;
use crate::series::{self, Beside, Ledger, Pass, SerialsAs};
use crate::terminal::{Shown, print, print_json, warn, warn_of};
use crate::{
    JumpRequest, Request, StudyRequest, disk, input, jump_study, limit_study, misread, pass,
    report, review, sample,
};

/// Exit status where a file or sheet could not be read, or what is printed could not be.
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
        Command::Config(args) => printed(&match args.columns {
            true => input::columns::reference(),
            false => crate::config::reference::reference(),
        }),
        Command::Schema => printed(crate::review::RESULTS_SCHEMA),
        Command::Completions(args) => {
            let mut text = Vec::new();
            clap_complete::generate(args.shell, &mut Cli::command(), "leakdrift", &mut text);
            printed(&String::from_utf8_lossy(&text))
        }
        Command::Man(args) => printed(&manual(args.command.as_deref())?),
    }
}

/// For commands that only print.
fn printed(text: &str) -> Result<u8> {
    print(text).map(|()| 0)
}

/// The page of the program or of one command.
fn manual(of: Option<&str>) -> Result<String> {
    let mut whole = Cli::command();
    // What each command takes is known once it is built.
    whole.build();
    let command = match of {
        None => &whole,
        Some(name) => whole.find_subcommand(name).ok_or_else(|| {
            let known: Vec<&str> = whole.get_subcommands().map(clap::Command::get_name).collect();
            Error::usage(
                format!("man: expected a command, found {name:?}"),
                format!("name one of {}", known.join(", ")),
            )
        })?,
    };
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone())
        .render(&mut page)
        .map_err(|e| Error::io("write", Path::new("the page"), e))?;
    Ok(String::from_utf8_lossy(&page).into_owned())
}

/// What a command that writes a folder has made.
struct Page {
    /// Relative path and content of each file.
    files: Vec<(String, Vec<u8>)>,
    /// Files and sheets that could not be read, or are probably misread.
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
    /// What is asked; it follows the report's name in that of a folder that is not named.
    asked: String,
    /// A report that the user names as an earlier one.
    since: Option<&'a Path>,
}

/// What a page is made with.
struct Making<'a> {
    config: Config,
    name: String,
    out: PathBuf,
    tell: &'a Tell<'a>,
}

/// The path of every command that writes a folder: settings, files, page, folder, warnings, closing text, status.
fn write_page(asked: &Asked<'_>, make: impl FnOnce(&Making<'_>) -> Result<Page>) -> Result<u8> {
    let config = settings(asked.paths, asked.common)?;
    let of_path = || asked.paths.first().map_or_else(|| "new".to_owned(), |p| name_of(p));
    let name = config.name.clone().unwrap_or_else(of_path);
    let out = asked.out.map_or_else(
        || {
            let name = match asked.asked.as_str() {
                REVIEW => name.clone(),
                other => format!("{name}-{}", other.replacen(' ', "-", 1)),
            };
            PathBuf::from("reports").join(report::folder_name(&name))
        },
        Path::to_owned,
    );
    // Before the long part: a wrong name should not cost a whole run.
    let origin =
        Origin::new(&asked.asked, config.name.as_deref(), config.path.as_deref(), asked.paths);
    let claim = report::write::claim(&out)?;
    origin.may_replace(&out, asked.since)?;
    if let Some(read) = read_from(asked.paths, &config)?.into_iter().find(|p| claim.holds(p)) {
        return Err(would_lose("--out", &read));
    }
    let shown = Shown::new(asked.common.quiet, asked.common.verbose);
    shown.say(&settings_used(&config));
    let tell = |stage, done, of| shown.at(stage, done, of);
    let mut page = make(&Making { config, name, out: out.clone(), tell: &tell })?;
    page.files.push(origin.file(&out));
    tell(Stage::Write, 0, page.files.len() as u64);
    claim.write(&page.files)?;
    shown.finish();
    warn_of(&page.failures, "results.json lists them all");
    let said = say(asked.common.quiet, &page.closing);
    Ok(if page.gate { GATE } else { said.max(status_of(&page.failures)) })
}

/// Files that are read: what is written may take the place of none.
fn read_from(paths: &[PathBuf], config: &Config) -> Result<Vec<PathBuf>> {
    let mut files =
        if paths.is_empty() { Vec::new() } else { input::discover::discover(paths, config)?.files };
    files.extend(config.path.clone());
    files.extend(config.side_files());
    Ok(files)
}

fn would_lose(option: &str, read: &Path) -> Error {
    Error::usage(
        format!("{option}: {} is read by this run and would be lost", read.display()),
        "name another place",
    )
}

/// What is said when something was written; its own status: what was written stands, heard or not.
fn say(quiet: bool, text: &str) -> u8 {
    if quiet {
        return 0;
    }
    match print(text) {
        Ok(()) => 0,
        Err(e) => {
            warn(&format!("warning: {e}"));
            INCOMPLETE
        }
    }
}

/// What a report lacks: files that are probably misread, and those that could not be read.
fn not_whole(first: &First, failures: Vec<String>) -> Vec<String> {
    first.misread_lines().into_iter().chain(failures).collect()
}

fn run_review(args: &ReviewArgs) -> Result<u8> {
    let InputArgs { paths, common } = &args.input;
    let asked = Asked {
        paths,
        common,
        out: args.out.as_deref(),
        asked: REVIEW.to_owned(),
        since: args.since_report.as_deref(),
    };
    write_page(&asked, |making| {
        let request = Request {
            paths: paths.clone(),
            name: making.name.clone(),
            month: args.month.as_deref().map(month).transpose()?,
            since_report: args.since_report.clone(),
            replaces: Some(making.out.clone()),
            all_charts: args.all_charts,
            made_at: (!args.reproducible).then(crate::day::now_text),
        };
        let done = review(&request, &making.config, making.tell)?;
        Ok(Page {
            closing: report::closing(&done.review, &making.out, common.verbose),
            gate: args.gate && done.review.stop,
            failures: not_whole(&done.review.first, done.review.made.failures),
            files: done.files,
        })
    })
}

fn run_limits(args: &LimitsArgs) -> Result<u8> {
    let asked = Asked {
        paths: &args.paths,
        common: &args.common,
        out: args.out.as_deref(),
        asked: format!("limits {}", args.model),
        since: None,
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
        let done = limit_study(&request, &making.config, making.tell)?;
        Ok(Page {
            closing: report::limit_study::closing(&done.report, &making.out),
            gate: false,
            failures: not_whole(&done.report.first, done.report.made.failures),
            files: done.files,
        })
    })
}

fn run_jump(args: &JumpArgs) -> Result<u8> {
    let InputArgs { paths, common } = &args.input;
    let asked =
        Asked { paths, common, out: args.out.as_deref(), asked: "jump".to_owned(), since: None };
    write_page(&asked, |making| {
        let request = JumpRequest {
            paths: paths.clone(),
            name: making.name.clone(),
            model: args.model.clone(),
            since: args.since.as_deref().map(day).transpose()?,
        };
        let done = jump_study(&request, &making.config, making.tell)?;
        Ok(Page {
            closing: report::jump_study::closing(&done.report, &making.out),
            gate: args.gate && done.report.jumps.iter().any(|j| j.flagged),
            failures: not_whole(&done.report.first, done.report.made.failures),
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
fn count(paths: &[PathBuf], common: &CommonArgs, config: &Config) -> Result<(Read, Result<Pass>)> {
    let shown = Shown::new(common.quiet, common.verbose);
    shown.say(&settings_used(config));
    let counted = pass(paths, config, &|bytes, of| shown.at(Stage::Read, bytes, of))?;
    shown.finish();
    Ok(counted)
}

fn status_of<T>(failures: &[T]) -> u8 {
    if failures.is_empty() { 0 } else { INCOMPLETE }
}

fn run_peek(args: &PeekArgs) -> Result<u8> {
    let config = settings(&args.input.paths, &args.input.common)?;
    let (read, counted) = count(&args.input.paths, &args.input.common, &config)?;
    let peek = report::peek::Peek::new(&read, counted.as_ref().ok(), &config);
    if args.json {
        print_json(&peek.json())?;
    } else {
        print(&peek.text())?;
    }
    let counted = counted.and_then(Pass::of_use);
    let misread = counted.as_ref().map_or_else(|_| Vec::new(), |pass| misread(pass, &config));
    warn_of(&misread, "`leakdrift review` lists them all");
    let usable = counted.is_ok() && misread.is_empty();
    if let Err(error) = counted {
        warn(&error.to_string());
    }
    if let Some(file) = &args.write_config {
        let in_use = || config.path.clone();
        let place = || Config::place_beside(&args.input.paths);
        let file = file.clone().or_else(in_use).unwrap_or_else(place);
        warn(&report::peek::start_config(&peek, &file, &config)?);
    }
    Ok(if usable { status_of(&read.failures) } else { INCOMPLETE })
}

fn run_tally(args: &TallyArgs) -> Result<u8> {
    let TallyArgs { paths, common, out, rows, .. } = args;
    let config = settings(paths, common)?;
    if let Some(engine) = &args.sql {
        return printed(&series::sql(engine, &args.table, &config)?);
    }
    let read_from = read_from(paths, &config)?;
    for (option, file) in [("--out", out), ("--rows", rows)] {
        if let Some(file) = file {
            may_be_written(option, file, &read_from)?;
        }
    }
    if out.as_ref().zip(rows.as_ref()).is_some_and(|(out, rows)| out == rows) {
        return Err(Error::usage(
            "--out and --rows: expected two files, found one",
            "name another place for one of them",
        ));
    }
    let (read, counted) = count(paths, common, &config)?;
    let counted = counted?.of_use()?;
    if let [first, rest @ ..] = &misread(&counted, &config)[..] {
        rest.iter().for_each(|more| warn(&format!("warning: {more}")));
        return Err(Error::usage(
            first.clone(),
            "no tally is written, which would hand these numbers on without this warning: put it right, leave it out, or name it under [files] believed",
        ));
    }
    if let Some(tally) = read.tables.iter().find(|t| rows.is_some() && t.is_tally()) {
        return Err(Error::usage(
            format!("--rows: expected files of single tests, found a tally: {}", tally.source),
            "leave it out: its lines stand for many units, and no row can be made of them",
        ));
    }
    let mut said_first: Vec<String> = read
        .notes
        .iter()
        .chain(&counted.notes)
        .filter(|note| note.first)
        .map(ToString::to_string)
        .chain(read.failures.iter().map(ToString::to_string))
        .collect();
    warn_of(&said_first, "what is written keeps them all");
    let made_of = input::made_of(&read);
    let mut said = 0;
    if let Some(out) = out {
        let beside = Beside { said_first: &said_first, made_of: &made_of };
        let lines = series::save(&counted, &beside, out)?;
        said = say(common.quiet, &format!("{lines} lines written to {}\n", out.display()));
    }
    if let Some(rows) = rows {
        said_first.extend(unreadable_rows(&counted));
        let beside = Beside { said_first: &said_first, made_of: &made_of };
        let serials = match args.without_serials {
            true => SerialsAs::Numbers,
            false => SerialsAs::Written,
        };
        let written = series::save_rows(&counted, &config, serials, &beside, rows)?;
        let text = format!("{written} rows written to {}\n", rows.display());
        said = said.max(say(common.quiet, &text));
    }
    Ok(said.max(status_of(&read.failures)))
}

/// What a file of rows cannot hold.
fn unreadable_rows(pass: &Pass) -> Option<String> {
    let Ledger { read, unreadable, .. } = pass.ledger;
    (unreadable > 0).then(|| {
        format!(
            "{unreadable} of {read} rows could not be understood and are not in the file of rows"
        )
    })
}

/// Refuses to write a tally or rows over what is read, or over what is neither.
fn may_be_written(option: &str, file: &Path, read_from: &[PathBuf]) -> Result<()> {
    if let Some(read) = read_from.iter().find(|p| disk::is_same(p, file)) {
        return Err(would_lose(option, read));
    }
    if !is_parquet_or_nothing(file) {
        return Err(Error::usage(
            format!(
                "{option} {}: expected no file yet, or a Parquet file, found another",
                file.display()
            ),
            "it would be lost: name another file, or move it away",
        ));
    }
    Ok(())
}

/// Whether a tally may be written over what is there: nothing, no file at all (a pipe), or a Parquet file.
fn is_parquet_or_nothing(path: &Path) -> bool {
    use std::io::Read as _;
    let mut start = Vec::new();
    !path.is_file()
        || std::fs::File::open(path)
            .and_then(|f| f.take(4).read_to_end(&mut start))
            .is_ok_and(|_| start.is_empty() || start == b"PAR1")
}

fn run_sample(args: &SampleArgs) -> Result<u8> {
    let written = match args.plants {
        2 => sample::plants::write(args.seed, &args.dir),
        _ => sample::write(&sample::plan(args.seed), &args.dir),
    };
    written.map_err(|e| Error::usage(e.to_string(), "choose a folder that can be written to"))?;
    let dir = args.dir.display();
    Ok(say(
        false,
        &format!(
            "demonstration exports written to {dir}; review them with `leakdrift review {dir}`\n"
        ),
    ))
}

fn settings(paths: &[PathBuf], args: &CommonArgs) -> Result<Config> {
    let mut config = settings_as_written(paths, args)?;
    if config.decisions.is_none() {
        config.decisions = Config::decisions_beside(config.path.as_deref(), paths);
    }
    Ok(config)
}

fn settings_as_written(paths: &[PathBuf], args: &CommonArgs) -> Result<Config> {
    if let Some(path) = &args.config {
        return Config::read(path);
    }
    let Some(path) = Config::beside(paths)? else { return Ok(Config::default()) };
    let config = Config::read(&path)?;
    if config.lies_above(paths) && !args.quiet {
        warn(&format!("settings: {}, above the inputs", path.display()));
    }
    Ok(config)
}

fn settings_used(config: &Config) -> String {
    match &config.path {
        Some(path) => format!("settings: {}", path.display()),
        None => "settings: none found, every key has its default".to_owned(),
    }
}

/// The report's name where the settings give none: that of the first path; of a pattern, that of the folder it
/// searches.
fn name_of(path: &Path) -> String {
    let is_fixed = |p: &&Path| path.exists() || !p.to_string_lossy().contains(['*', '?', '[']);
    let fixed = path.ancestors().find(is_fixed).unwrap_or(path);
    let fixed = if fixed == Path::new("") { Path::new(".") } else { fixed };
    let whole = fixed.canonicalize().unwrap_or_else(|_| fixed.to_owned());
    // An ending has a letter: `2026.10` is a month, and a folder has none.
    let ending = whole.extension().map(|e| e.to_string_lossy().into_owned()).unwrap_or_default();
    let name = match !whole.is_dir() && ending.contains(char::is_alphabetic) {
        true => whole.file_stem(),
        false => whole.file_name(),
    };
    name.map_or_else(|| REVIEW.to_owned(), |n| n.to_string_lossy().into_owned())
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
