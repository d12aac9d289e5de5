//! Whose a report is: what was asked, and of which files.
//!
//! A folder's report is compared with the one that replaces it: what is no longer found is told as closed, and
//! the old pages are gone. Both are right only where the new report looks at all that the old one looked at. So
//! each report folder says in `origin.json` what it was made from, and a run about something else is refused
//! before it reads a row. Going to another name by itself was rejected: whoever reads the usual folder would
//! find last month's report there and nothing that says so.
//!
//! Two reports are of one origin where one settings file gives both their name, or where every path of the
//! earlier one is looked at again. That the last parts of paths agree proves nothing: each plant has its
//! `exports`. Places are stored as they lie from the report, so that a tree moved as a whole stays one; they
//! stand apart from `results.json`, which is the same wherever it is written.

use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::words::path_text;

/// Its file in a report's folder.
pub const FILE: &str = "origin.json";
const SCHEMA: &str = "leakdrift.origin/1";
/// What is asked by the one command whose reports are compared with earlier ones.
pub const REVIEW: &str = "review";

/// What a report is made from; paths are absolute here, and relative to the report in its file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Origin {
    schema: String,
    /// What was asked: `review`, `jump`, `limits KB120`.
    asked: String,
    /// The name that the settings give.
    name: Option<String>,
    /// The settings file that gives it.
    named_in: Option<String>,
    /// Files, folders and patterns.
    paths: Vec<String>,
}

impl Origin {
    /// Of a run: what it is asked, the name that settings give it, their file, and its paths.
    #[must_use]
    pub fn new(
        asked: &str,
        name: Option<&str>,
        settings: Option<&Path>,
        paths: &[PathBuf],
    ) -> Self {
        Self {
            schema: SCHEMA.to_owned(),
            asked: asked.to_owned(),
            name: name.map(str::to_owned),
            named_in: name.and(settings).map(|p| path_text(&whole(p))),
            paths: paths.iter().map(|p| path_text(&whole(p))).collect(),
        }
    }

    /// That of the report in `folder`; `None` where it does not say.
    fn of(folder: &Path) -> Option<Self> {
        let text = std::fs::read_to_string(folder.join(FILE)).ok()?;
        let found: Self = serde_json::from_str(&text).ok().filter(|o: &Self| o.schema == SCHEMA)?;
        let from = whole(folder);
        Some(found.with_paths(|p| path_text(&joined(&from, Path::new(p)))))
    }

    /// Its file in `folder`.
    #[must_use]
    pub fn file(&self, folder: &Path) -> (String, Vec<u8>) {
        let from = whole(folder);
        let there = self.clone().with_paths(|p| path_text(&seen_from(&from, Path::new(p))));
        let mut text = serde_json::to_string_pretty(&there).expect("texts are JSON");
        text.push('\n');
        (FILE.to_owned(), text.into_bytes())
    }

    /// Checks that this report may take the place of the one in `folder`; `said` is a report that the user names
    /// as an earlier one of the same origin.
    ///
    /// # Errors
    /// Where that is of another origin, or does not say of which.
    pub fn may_replace(&self, folder: &Path, said: Option<&Path>) -> Result<()> {
        let there = folder.join("results.json");
        if !there.is_file() {
            return Ok(());
        }
        let named = |p: &Path| crate::disk::is_same(p, folder) || crate::disk::is_same(p, &there);
        let earlier = Self::of(folder);
        if earlier.as_ref().is_some_and(|e| self.continues(e)) || said.is_some_and(named) {
            return Ok(());
        }
        let of_a_plant = self.asked == REVIEW && earlier.as_ref().is_none_or(|e| e.asked == REVIEW);
        let to_do = match of_a_plant {
            false => "it would be lost: name another folder with --out".to_owned(),
            true => format!(
                "it would be lost, and what it found be called closed: name another folder with --out, or give \
                 this plant a name of its own (name = \"…\" in its leakdrift.toml), or, where both are of one \
                 plant, say so with --since-report {}",
                folder.display()
            ),
        };
        let found = earlier.map_or_else(
            || format!("report that does not say what it was made from (no {FILE})"),
            |e| e.to_string(),
        );
        let what =
            format!("report folder {}: expected a {self}, found a {found}", folder.display());
        Err(Error::usage(what, to_do))
    }

    fn continues(&self, earlier: &Self) -> bool {
        let names_differ =
            matches!((&self.name, &earlier.name), (Some(ours), Some(theirs)) if ours != theirs);
        let one_name = self.named_in.is_some() && self.named_in == earlier.named_in;
        // Studies of several models may follow each other in one folder: somebody named it.
        let command = |of: &Self| of.asked.split(' ').next().map(str::to_owned);
        command(self) == command(earlier)
            && !names_differ
            && (one_name || earlier.paths.iter().all(|p| self.paths.iter().any(|q| covers(q, p))))
    }

    fn with_paths(mut self, change: impl Fn(&str) -> String) -> Self {
        self.named_in = self.named_in.as_deref().map(&change);
        self.paths = self.paths.iter().map(|p| change(p)).collect();
        self
    }
}

impl std::fmt::Display for Origin {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let paths =
            if self.paths.is_empty() { "no files".to_owned() } else { self.paths.join(", ") };
        write!(f, "{} of {paths}", self.asked)?;
        self.name.iter().try_for_each(|name| write!(f, ", named {name:?}"))
    }
}

/// Whether what `path` names is looked at where `wider` is.
fn covers(wider: &str, path: &str) -> bool {
    let wider = wider.strip_suffix("/**/*").unwrap_or(wider);
    wider == path || !is_pattern(wider) && Path::new(fixed(path)).starts_with(wider)
}

fn is_pattern(path: &str) -> bool {
    path.contains(['*', '?', '['])
}

/// The folder that a pattern searches; a plain path itself.
fn fixed(path: &str) -> &str {
    match path.find(['*', '?', '[']) {
        Some(at) => path[..at].rsplit_once('/').map_or("", |(folder, _)| folder),
        None => path,
    }
}

/// The path from the root on, links followed as far as there is something.
fn whole(path: &Path) -> PathBuf {
    let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let there = absolute.ancestors().find_map(|a| a.canonicalize().ok().map(|c| (a, c)));
    match there {
        Some((found, real)) => joined(&real, absolute.strip_prefix(found).unwrap_or(Path::new(""))),
        None => absolute,
    }
}

/// `path` as it is seen from `from`; both whole. On another drive it stays whole.
fn seen_from(from: &Path, path: &Path) -> PathBuf {
    let shared = from.components().zip(path.components()).take_while(|(a, b)| a == b).count();
    if shared == 0 {
        return path.to_owned();
    }
    let up = from.components().skip(shared).map(|_| Component::ParentDir);
    up.chain(path.components().skip(shared)).collect()
}

/// Back again: `from` with the way `path` from there.
fn joined(from: &Path, path: &Path) -> PathBuf {
    let mut at = from.to_owned();
    for part in path.components() {
        match part {
            Component::ParentDir => drop(at.pop()),
            Component::CurDir => {}
            other => at.push(other),
        }
    }
    at
}
