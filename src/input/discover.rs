//! Paths, folders and patterns → a sorted list of files, each once.
//!
//! Links are followed after everything that stands under its own name: what they lead to is read once, under the
//! name it has without them, and a link to a folder above it is no way down for ever. A folder that cannot be
//! read costs what is in it, not the run. Pipes and devices in a folder are passed over, since one to which
//! nobody writes would be waited for; named by itself, one is read.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::path::{Path, PathBuf};

use crate::config::Config;
use crate::error::{Error, Result};
use crate::note::Note;

/// Endings of files that a folder is searched for; a file named by itself or by a pattern is read whatever it
/// is called.
const ENDINGS: [&str; 20] = [
    "csv", "tsv", "txt", "dat", "asc", "log", "prn", "json", "jsonl", "ndjson", "xml", "gz", "zip",
    "xlsx", "xlsm", "xlsb", "xls", "ods", "parquet", "pq",
];

/// Names shown of those that a note is about.
const NAMES_SHOWN: usize = 5;

/// What the paths lead to.
#[derive(Debug)]
pub struct Found {
    /// Files to read, sorted by path.
    pub files: Vec<PathBuf>,
    /// What was left out.
    pub notes: Vec<Note>,
    /// Folders that could not be read.
    pub failures: Vec<Error>,
}

/// The files behind `paths`, each once, sorted by path; and what was left out.
///
/// # Errors
/// Where a path does not exist, a pattern matches nothing, or no file is found at all.
pub fn discover(paths: &[PathBuf], config: &Config) -> Result<Found> {
    let side = config.side_files().filter_map(|p| p.canonicalize().ok()).collect();
    let mut search = Search { side, ..Search::default() };
    // In one order, whatever order they are given in.
    for path in &paths.iter().collect::<BTreeSet<_>>() {
        if path.exists() {
            search.visit(path, Met::Named);
        } else {
            search.matches(path)?;
        }
    }
    while let Some((path, met)) = search.links.pop_first() {
        search.behind(&path, met);
    }
    search.leave_tallies_out();
    let notes = search.notes();
    let Search { found, mut failures, .. } = search;
    if found.is_empty() {
        let looked = paths.iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", ");
        return Err(if failures.is_empty() {
            Error::usage(
                format!("{looked}: expected exported result files, found none"),
                format!(
                    "give a file, a folder or a pattern; folders are searched for {}",
                    ENDINGS.join(", ")
                ),
            )
        } else {
            failures.swap_remove(0)
        });
    }
    let mut files: Vec<PathBuf> = found.into_values().collect();
    files.sort();
    Ok(Found { files, notes, failures })
}

/// How a path was met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Met {
    /// By its own name: read whatever it is.
    Named,
    /// By a pattern: read whatever it is called.
    Matched,
    /// In a folder: read where its ending is that of results.
    Listed,
}

/// Files met so far.
#[derive(Default)]
struct Search {
    /// The register, events and decisions: not results.
    side: BTreeSet<PathBuf>,
    /// Files by what they are without links, as they were met.
    found: BTreeMap<PathBuf, PathBuf>,
    /// Of these, those named by themselves.
    named: BTreeSet<PathBuf>,
    /// Tallies among exports.
    tallies: BTreeSet<PathBuf>,
    /// Folders that were looked into, without links.
    folders: BTreeSet<PathBuf>,
    /// Links not followed yet.
    links: BTreeMap<PathBuf, Met>,
    /// Links to what was met already.
    again: BTreeSet<PathBuf>,
    /// Not read because of their ending.
    skipped: BTreeSet<PathBuf>,
    /// Neither files nor folders.
    others: BTreeSet<PathBuf>,
    /// Folders of reports.
    reports: BTreeSet<PathBuf>,
    failures: Vec<Error>,
}

impl Search {
    /// Adds what a pattern matches.
    fn matches(&mut self, pattern: &Path) -> Result<()> {
        let text = pattern.to_string_lossy();
        if !text.contains(['*', '?', '[']) {
            return Err(Error::usage(format!("{text}: no such file or folder"), "check the path"));
        }
        let wrong = |e: glob::PatternError| {
            let what = format!("{text}: not a pattern: {e}");
            Error::usage(what, "write it like 'exports/*/2026-*.csv'")
        };
        let matches = if text.contains("**") {
            self.below(pattern, &glob::Pattern::new(&text).map_err(wrong)?)
        } else {
            let mut matches = Vec::new();
            for entry in glob::glob(&text).map_err(wrong)? {
                match entry {
                    Ok(path) => matches.push(path),
                    Err(e) => {
                        let folder = e.path().to_owned();
                        self.unreadable(&folder, e.into());
                    }
                }
            }
            matches
        };
        // Stars alone say nothing of what is wanted.
        let any =
            pattern.file_name().is_some_and(|n| n.to_string_lossy().trim_matches('*').is_empty());
        let met = if any { Met::Listed } else { Met::Matched };
        for entry in &matches {
            // By a pattern, files of a report are met without their folder.
            match entry.parent().filter(|f| is_report(f)) {
                Some(folder) => {
                    self.reports.insert(folder.to_owned());
                }
                None => self.visit(entry, met),
            }
        }
        if matches.is_empty() && self.failures.is_empty() {
            return Err(Error::usage(
                format!("{text}: the pattern matches no file"),
                "check the pattern",
            ));
        }
        Ok(())
    }

    /// What a pattern with `**` matches: walked here, since `glob` goes down links for ever.
    fn below(&mut self, text: &Path, pattern: &glob::Pattern) -> Vec<PathBuf> {
        let plain = |part: &std::path::Component<'_>| {
            !part.as_os_str().to_string_lossy().contains(['*', '?', '['])
        };
        let options = glob::MatchOptions { require_literal_separator: true, ..Default::default() };
        let mut folders: Vec<PathBuf> = vec![text.components().take_while(plain).collect()];
        let mut matches = Vec::new();
        while let Some(folder) = folders.pop() {
            for entry in self.entries(&folder) {
                if pattern.matches_path_with(&entry, options) {
                    matches.push(entry.clone());
                }
                if entry.is_dir() && !entry.is_symlink() {
                    folders.push(entry);
                }
            }
        }
        matches
    }

    /// What stands in a folder, sorted: of two names of one thing, the same one stays in every run.
    fn entries(&mut self, folder: &Path) -> Vec<PathBuf> {
        let here = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        let names: std::io::Result<Vec<_>> =
            std::fs::read_dir(here).and_then(|all| all.map(|e| e.map(|e| e.file_name())).collect());
        let mut names = names.unwrap_or_else(|e| {
            self.unreadable(folder, e);
            Vec::new()
        });
        names.sort();
        names.into_iter().map(|name| folder.join(name)).collect()
    }

    fn unreadable(&mut self, folder: &Path, why: std::io::Error) {
        self.failures.push(Error::io("read folder", folder, why));
    }

    /// Adds a file, or what a folder holds; a link is kept for later.
    fn visit(&mut self, path: &Path, met: Met) {
        if path.is_symlink() && std::fs::canonicalize(path).is_ok() {
            self.links.insert(path.to_owned(), met);
            return;
        }
        self.behind(path, met);
    }

    /// Adds the file or folder that stands behind a path.
    fn behind(&mut self, path: &Path, met: Met) {
        // What has no name without links, such as a pipe of the shell, is itself.
        let real = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        match path.metadata() {
            Ok(facts) if facts.is_dir() => self.folder(path, real),
            Ok(facts) if !facts.is_file() && met != Met::Named => {
                self.others.insert(path.to_owned());
            }
            // One that is gone or locked is named when it is opened.
            _ => self.file(path, real, met),
        }
    }

    fn folder(&mut self, path: &Path, real: PathBuf) {
        if is_report(path) {
            self.reports.insert(path.to_owned());
            return;
        }
        if !self.folders.insert(real) {
            self.met_again(path);
            return;
        }
        for entry in self.entries(path).iter().filter(|e| !is_hidden(e)) {
            self.visit(entry, Met::Listed);
        }
    }

    fn file(&mut self, path: &Path, real: PathBuf, met: Met) {
        if self.side.contains(&real) {
            return;
        }
        let ending =
            path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        let own =
            path.file_name().is_some_and(|n| n == crate::config::FILE_NAME || n == "README.md");
        let wanted = match met {
            Met::Named => true,
            Met::Matched => !own && !is_hidden(path),
            Met::Listed => {
                ENDINGS.contains(&ending.as_str()) && !(ending == "json" && is_ours(path))
            }
        };
        if !wanted {
            if !own {
                self.skipped.insert(path.to_owned());
            }
            return;
        }
        if met == Met::Named {
            self.named.insert(real.clone());
        }
        match self.found.entry(real) {
            Entry::Occupied(_) => self.met_again(path),
            Entry::Vacant(new) => {
                new.insert(path.to_owned());
            }
        }
    }

    /// Leaves out tallies met beside other files and not named: the units of the exports that they lie among would
    /// count twice.
    fn leave_tallies_out(&mut self) {
        let is_tally = |(real, shown): &(&PathBuf, &PathBuf)| {
            !self.named.contains(*real) && super::parquet::is_of_others(shown)
        };
        let tallies: BTreeSet<PathBuf> =
            self.found.iter().filter(is_tally).map(|(_, shown)| shown.clone()).collect();
        if tallies.len() < self.found.len() {
            self.found.retain(|_, shown| !tallies.contains(shown));
            self.tallies = tallies;
        }
    }

    /// Notes a link to what was met before it; a path that is only given twice is no news.
    fn met_again(&mut self, path: &Path) {
        if path.is_symlink() {
            self.again.insert(path.to_owned());
        }
    }

    fn notes(&self) -> Vec<Note> {
        let of_report = |folder: &PathBuf| {
            Note::new(format!("{}: a report that leakdrift wrote; not read", folder.display()))
        };
        let mut notes: Vec<Note> = self.reports.iter().map(of_report).collect();
        notes.extend(self.tallies.iter().map(|tally| {
            Note::new(format!(
                "{}: a tally, or rows, that leakdrift wrote, among exports that it may be of; not read, name it by itself to read it",
                tally.display()
            ))
        }));
        let mut about = |paths: &BTreeSet<PathBuf>, what: &str, to_do: &str| {
            if !paths.is_empty() {
                let names: Vec<String> =
                    paths.iter().take(NAMES_SHOWN).map(|p| p.display().to_string()).collect();
                let more = if paths.len() > NAMES_SHOWN { ", …" } else { "" };
                notes.push(Note::new(format!(
                    "{} {what} ({}{more}); {to_do}",
                    paths.len(),
                    names.join(", "),
                )));
            }
        };
        about(
            &self.skipped,
            "files in the folders given were not read because of their ending",
            "name one by itself to read it",
        );
        about(
            &self.others,
            "pipes or devices in the folders given were not read",
            "name one by itself to read it",
        );
        about(
            &self.again,
            "links lead to files or folders that are read under another name",
            "each was read once",
        );
        notes
    }
}

/// Files that a file manager or a spreadsheet keeps for itself.
fn is_hidden(path: &Path) -> bool {
    path.file_name().is_some_and(|n| {
        let n = n.to_string_lossy();
        n.starts_with('.') || n.starts_with("~$")
    })
}

/// Whether a folder holds a report of ours: its lists are answers, not results of tests.
fn is_report(folder: &Path) -> bool {
    is_ours(&folder.join("results.json"))
}

/// Whether a file is JSON that we wrote.
fn is_ours(file: &Path) -> bool {
    let mut head = Vec::new();
    // Opening a pipe would wait for whoever writes to it.
    file.is_file()
        && std::fs::File::open(file)
            .and_then(|file| file.take(200).read_to_end(&mut head))
            .is_ok_and(|_| String::from_utf8_lossy(&head).contains("\"leakdrift."))
}

/// Values of columns that stand in a file's path, by a pattern such as `{station}/*`: matched against
/// as many last parts of the path as the pattern has.
#[must_use]
pub fn from_path(pattern: &str, path: &Path) -> Vec<(String, String)> {
    // Both ways to write it mean the same, as on the systems that know both.
    let pieces: Vec<&str> = pattern.split(['/', '\\']).collect();
    let parts: Vec<String> = path.iter().map(|p| p.to_string_lossy().into_owned()).collect();
    if parts.len() < pieces.len() {
        return Vec::new();
    }
    let mut found = Vec::new();
    for (piece, part) in pieces.iter().zip(&parts[parts.len() - pieces.len()..]) {
        match match_piece(piece, part) {
            Some(values) => found.extend(values),
            None => return Vec::new(),
        }
    }
    found
}

fn match_piece(piece: &str, part: &str) -> Option<Vec<(String, String)>> {
    let Some(open) = piece.find(['{', '*']) else {
        return (piece == part).then(Vec::new);
    };
    let rest = part.strip_prefix(&piece[..open])?;
    let (name, after) = if piece[open..].starts_with('*') {
        (None, &piece[open + 1..])
    } else {
        let close = piece[open..].find('}')? + open;
        (Some(piece[open + 1..close].to_owned()), &piece[close + 1..])
    };
    for end in rest.char_indices().map(|(n, _)| n).skip(1).chain([rest.len()]) {
        if let Some(mut values) = match_piece(after, &rest[end..]) {
            if let Some(name) = name {
                values.insert(0, (name, rest[..end].to_owned()));
            }
            return Some(values);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_hold_columns() {
        let got = from_path("{station}/*", Path::new("/data/A1/A1_2025-09.csv"));
        assert_eq!(got, vec![("station".to_owned(), "A1".to_owned())]);
        let got = from_path("{station}\\*", Path::new("/data/A1/A1_2025-09.csv"));
        assert_eq!(got, vec![("station".to_owned(), "A1".to_owned())]);
        let got = from_path("{model}_{station}.csv", Path::new("KB120_A1.csv"));
        assert_eq!(got.len(), 2);
        assert!(from_path("x{station}/*", Path::new("/data/A1/f.csv")).is_empty());
    }
}
