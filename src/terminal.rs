//! What is said on the terminal: the one place that prints.
//!
//! Names come from files that anybody may have written, so signs that a terminal takes for commands are shown,
//! not sent. A reader of standard output that went away (`| head`) has what it wanted and is no fault; a full
//! disc behind it is one, and is told. What is said on standard error is said as far as that goes.

use std::borrow::Cow;
use std::io::{ErrorKind, IsTerminal as _, Write as _};
use std::path::Path;
use std::sync::Mutex;
use std::time::Instant;

use indicatif::{HumanBytes, ProgressBar, ProgressStyle};

use crate::error::{Error, Result};
use crate::progress::Stage;
use crate::words::{is_unseen, one_line, shown};

/// Warnings that are written out one by one.
const WARNINGS: usize = 10;

/// The text with nothing in it that a terminal obeys, but line ends and tabs: `\u{1b}` is printed as it is
/// written here.
fn plain(text: &str) -> Cow<'_, str> {
    shown(text, |c| is_unseen(c) && !matches!(c, '\n' | '\t'))
}

/// Prints on standard output.
///
/// # Errors
/// Where it cannot be written, for example to a full disc; not where its reader went away.
pub fn print(text: &str) -> Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(plain(text).as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != ErrorKind::BrokenPipe => {
            Err(Error::io("write", Path::new("standard output"), e))
        }
        _ => Ok(()),
    }
}

/// JSON as `print` does text: it has ways of its own to write any sign.
///
/// # Errors
/// As [`print`].
pub fn print_json(json: &str) -> Result<()> {
    // Outside texts JSON holds no such sign, inside it is the same sign written otherwise.
    let mut text = String::with_capacity(json.len() + 1);
    for c in json.chars() {
        match is_unseen(c) && c != '\n' {
            true => text.push_str(&format!("\\u{:04x}", u32::from(c))),
            false => text.push(c),
        }
    }
    text.push('\n');
    print(&text)
}

/// Says a line on standard error.
pub fn warn(line: &str) {
    // Nothing can be told where there is nothing to tell it on.
    let _ = writeln!(std::io::stderr(), "{}", plain(line));
}

/// Warns of the first of what is wrong; the rest is where `rest` says.
pub fn warn_of(wrong: &[String], rest: &str) {
    for one in wrong.iter().take(WARNINGS) {
        warn(&format!("warning: {}", one_line(one)));
    }
    if let Some(more) = wrong.len().checked_sub(WARNINGS).filter(|more| *more > 0) {
        warn(&format!("warning: and {more} more like these: {rest}"));
    }
}

/// How far a run is: a bar on a terminal, nothing in a pipe; where more is to be said, a line for each stage
/// with the time it took, in either.
pub struct Shown {
    bar: Option<ProgressBar>,
    verbose: bool,
    now: Mutex<Option<Running>>,
}

/// The stage that a run is in.
struct Running {
    stage: Stage,
    of: u64,
    since: Instant,
}

impl Shown {
    /// As the command line asks for.
    #[must_use]
    pub fn new(quiet: bool, verbose: bool) -> Self {
        let shown = !quiet && std::io::stderr().is_terminal();
        Self { bar: shown.then(ProgressBar::no_length), verbose, now: Mutex::new(None) }
    }

    /// A line of its own, where more is to be said.
    pub fn say(&self, line: &str) {
        if self.verbose {
            let say = || warn(line);
            self.bar.as_ref().map_or_else(say, |bar| bar.suspend(say));
        }
    }

    /// Shows how far it is.
    pub fn at(&self, stage: Stage, done: u64, of: u64) {
        let mut now = self.now.lock().expect("no thread panics holding it");
        if now.as_ref().is_none_or(|running| running.stage != stage) {
            self.end(now.take());
            if let Some(bar) = &self.bar {
                bar.set_style(style(stage, of));
                bar.enable_steady_tick(std::time::Duration::from_millis(200));
            }
            *now = Some(Running { stage, of, since: Instant::now() });
        }
        if let Some(bar) = &self.bar {
            bar.set_length(of);
            bar.set_position(done);
        }
    }

    /// Takes it away.
    pub fn finish(&self) {
        self.end(self.now.lock().expect("no thread panics holding it").take());
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }

    fn end(&self, running: Option<Running>) {
        let Some(Running { stage, of, since }) = running else { return };
        let (doing, things) = words(stage);
        let what = match (of, things) {
            (0, _) | (_, "") => doing.to_owned(),
            (bytes, "bytes") => format!("{doing} {}", HumanBytes(bytes)),
            (of, things) => format!("{doing} {of} {things}"),
        };
        self.say(&format!("{what}: {:.1} s", since.elapsed().as_secs_f64()));
    }
}

/// What a stage does, and what it counts.
fn words(stage: Stage) -> (&'static str, &'static str) {
    match stage {
        Stage::Read => ("reading", "bytes"),
        Stage::Count => ("counting tests", ""),
        Stage::Move => ("looking for movement in", "series"),
        Stage::Ask => ("examining", "series"),
        Stage::Judge => ("judging", ""),
        Stage::Draw => ("drawing", "charts"),
        Stage::Write => ("writing", "files"),
    }
}

fn style(stage: Stage, of: u64) -> ProgressStyle {
    let (doing, things) = words(stage);
    let template = match (of, things) {
        (0, _) | (_, "") => format!("{doing} {{spinner}} {{elapsed}}"),
        (_, "bytes") => format!("{doing} {{bar:30}} {{bytes}}/{{total_bytes}} {{eta}}"),
        _ => format!("{doing} {things} {{bar:30}} {{pos}}/{{len}} {{elapsed}}"),
    };
    ProgressStyle::with_template(&template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
