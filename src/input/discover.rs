//! Paths, folders and patterns → a sorted list of files.

use std::collections::BTreeSet;
use std::io::Read;
use std::path::{Path, PathBuf};

use crate::config::Config;
use crate::error::{Error, Result};
use crate::note::Note;

/// Endings of files that a folder is searched for; a file named by itself is read whatever it is called.
const ENDINGS: [&str; 14] = [
    "csv", "tsv", "txt", "dat", "asc", "gz", "zip", "xlsx", "xlsm", "xlsb", "xls", "ods",
    "parquet", "pq",
];

/// The files behind `paths`, each once, sorted by path; and what was left out.
///
/// # Errors
/// Where a path does not exist, a pattern matches nothing, or no file is found at all.
pub fn discover(paths: &[PathBuf], config: &Config) -> Result<(Vec<PathBuf>, Vec<Note>)> {
    let side: Vec<PathBuf> = [&config.events, &config.calibration]
        .into_iter()
        .flatten()
        .filter_map(|p| config.resolve(p).canonicalize().ok())
        .collect();
    let mut search = Search { side, ..Search::default() };
    for path in paths {
        if path.exists() {
            search.collect(path, true)?;
            continue;
        }
        let text = path.to_string_lossy();
        if !text.contains(['*', '?', '[']) {
            return Err(Error::usage(
                format!("{}: no such file or folder", path.display()),
                "check the path",
            ));
        }
        let matches = glob::glob(&text).map_err(|e| {
            Error::usage(
                format!("{text}: not a pattern: {e}"),
                "write it like 'exports/*/2026-*.csv'",
            )
        })?;
        let mut any = false;
        for entry in matches {
            let entry = entry.map_err(|e| {
                let path = e.path().to_owned();
                Error::io("read", &path, e.into())
            })?;
            any = true;
            // By a pattern, files of a report are met without their folder.
            match entry.parent().filter(|f| is_report(f)) {
                Some(folder) => {
                    search.reports.insert(folder.to_owned());
                }
                None => search.collect(&entry, false)?,
            }
        }
        if !any {
            return Err(Error::usage(
                format!("{text}: the pattern matches no file"),
                "check the pattern",
            ));
        }
    }
    let Search { mut found, named, skipped, reports, .. } = search;
    let tallies = tallies_among(&found, &named);
    found.retain(|file| !tallies.contains(file));
    if found.is_empty() {
        let looked = paths.iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", ");
        return Err(Error::usage(
            format!("{looked}: expected exported result files, found none"),
            format!(
                "give a file, a folder or a pattern; folders are searched for {}",
                ENDINGS.join(", ")
            ),
        ));
    }
    let mut notes: Vec<Note> = reports
        .iter()
        .map(|folder: &PathBuf| {
            Note::new(format!("{}: a report that leakdrift wrote; not read", folder.display()))
        })
        .collect();
    notes.extend(tallies.iter().map(|tally| {
        Note::new(format!(
            "{}: a tally that leakdrift wrote, among exports that it may be of; not read, name it by itself to read it",
            tally.display()
        ))
    }));
    if !skipped.is_empty() {
        let names: Vec<String> =
            skipped.iter().take(5).map(|p: &PathBuf| p.display().to_string()).collect();
        let more = if skipped.len() > 5 { ", …" } else { "" };
        notes.push(Note::new(format!(
            "{} files in the folders given were not read because of their ending ({}{more}); name one by itself to read it",
            skipped.len(),
            names.join(", "),
        )));
    }
    Ok((found.into_iter().collect(), notes))
}

/// Tallies met beside other files and not named: the units of the exports that they lie among would count twice.
fn tallies_among(found: &BTreeSet<PathBuf>, named: &BTreeSet<PathBuf>) -> BTreeSet<PathBuf> {
    let tally = |file: &&PathBuf| !named.contains(*file) && super::parquet::is_tally(file);
    let tallies: BTreeSet<PathBuf> = found.iter().filter(tally).cloned().collect();
    if tallies.len() == found.len() { BTreeSet::new() } else { tallies }
}

/// Files met so far.
#[derive(Default)]
struct Search {
    /// The register and the list of events: not results.
    side: Vec<PathBuf>,
    found: BTreeSet<PathBuf>,
    /// Of these, those named by themselves.
    named: BTreeSet<PathBuf>,
    /// Not read because of their ending.
    skipped: BTreeSet<PathBuf>,
    /// Folders of reports.
    reports: BTreeSet<PathBuf>,
}

impl Search {
    /// Adds a file, or what a folder holds; a file named by itself is added whatever it is called.
    fn collect(&mut self, path: &Path, named: bool) -> Result<()> {
        if path.is_dir() {
            if is_report(path) {
                self.reports.insert(path.to_owned());
                return Ok(());
            }
            let entries = std::fs::read_dir(path).map_err(|e| Error::io("read folder", path, e))?;
            for entry in entries {
                let entry = entry.map_err(|e| Error::io("read folder", path, e))?.path();
                let hidden = entry.file_name().is_some_and(|n| {
                    let n = n.to_string_lossy();
                    n.starts_with('.') || n.starts_with("~$")
                });
                if !hidden {
                    self.collect(&entry, false)?;
                }
            }
            return Ok(());
        }
        if path.canonicalize().is_ok_and(|p| self.side.contains(&p)) {
            return Ok(());
        }
        let ending =
            path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
        let own =
            path.file_name().is_some_and(|n| n == crate::config::FILE_NAME || n == "README.md");
        if named || ENDINGS.contains(&ending.as_str()) {
            self.found.insert(path.to_owned());
            if named {
                self.named.insert(path.to_owned());
            }
        } else if !own {
            self.skipped.insert(path.to_owned());
        }
        Ok(())
    }
}

/// Whether a folder holds a report of ours: its lists are answers, not results of tests.
fn is_report(folder: &Path) -> bool {
    let mut head = Vec::new();
    let read = std::fs::File::open(folder.join("results.json"))
        .and_then(|file| file.take(200).read_to_end(&mut head));
    read.is_ok() && String::from_utf8_lossy(&head).contains("\"leakdrift.")
}

/// Values of columns that stand in a file's path, by a pattern such as `{station}/*`: matched against
/// as many last parts of the path as the pattern has.
#[must_use]
pub fn from_path(pattern: &str, path: &Path) -> Vec<(String, String)> {
    let pieces: Vec<&str> = pattern.split('/').collect();
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
        let got = from_path("{model}_{station}.csv", Path::new("KB120_A1.csv"));
        assert_eq!(got.len(), 2);
        assert!(from_path("x{station}/*", Path::new("/data/A1/f.csv")).is_empty());
    }
}
