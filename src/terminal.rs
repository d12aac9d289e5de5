//! What is said on the terminal: the one place that prints.
//!
//! Names come from files that anybody may have written, so signs that a terminal takes for commands are shown,
//! not sent. A reader of standard output that went away (`| head`) has what it wanted and is no fault; a full
//! disc behind it is one, and is told. What is said on standard error is said as far as that goes.

use std::borrow::Cow;
use std::io::{ErrorKind, IsTerminal as _, Write as _};
use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};

use crate::error::{Error, Result};
use crate::words::is_unseen;

/// The text with nothing in it that a terminal obeys, but line ends and tabs: `\u{1b}` is printed as it is
/// written here.
fn plain(text: &str) -> Cow<'_, str> {
    let obeyed = |c: char| is_unseen(c) && !matches!(c, '\n' | '\t');
    if !text.contains(obeyed) {
        return Cow::Borrowed(text);
    }
    let shown = |c: char| match obeyed(c) {
        true => c.escape_unicode().collect::<String>(),
        false => c.to_string(),
    };
    Cow::Owned(text.chars().map(shown).collect())
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

/// A progress bar on a terminal, nothing in a pipe.
pub struct Bar(Option<ProgressBar>);

impl Bar {
    /// None where nothing is to be said.
    #[must_use]
    pub fn new(quiet: bool) -> Self {
        if quiet || !std::io::stderr().is_terminal() {
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

    /// Shows how far it is.
    pub fn at(&self, at: u64, all: u64) {
        if let Some(bar) = &self.0 {
            bar.set_length(all);
            bar.set_position(at);
        }
    }

    /// Takes it away.
    pub fn finish(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
