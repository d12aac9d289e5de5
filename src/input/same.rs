//! Files that hold the same tests: an export downloaded twice, a folder copied beside itself, a tally or a file of rows
//! beside what it was made of, or beside each other.
//!
//! All are read, so that each row has its place in the sum of rows: rows are told as repeated one by one, and
//! those of a tally, whose equal lines are different units elsewhere, by their file. Only files of one size are
//! looked at, so that a folder of exports is not read twice.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::error::{Error, Place, Result};
use crate::note::Note;

/// Files named in the note.
const SHOWN: usize = 5;

/// The files whose bytes an earlier one holds, and a note where there are any. One that cannot be read is none:
/// whoever reads it says so.
pub fn copies(files: &[PathBuf]) -> (BTreeSet<PathBuf>, Option<Note>) {
    let size = |path: &Path| path.metadata().ok().filter(|m| m.is_file()).map(|m| m.len());
    let mut of_size: BTreeMap<u64, Vec<&PathBuf>> = BTreeMap::new();
    for file in files {
        if let Some(bytes) = size(file).filter(|bytes| *bytes > 0) {
            of_size.entry(bytes).or_default().push(file);
        }
    }
    let mut first: BTreeMap<[u8; 32], &PathBuf> = BTreeMap::new();
    let mut found: BTreeMap<&PathBuf, &PathBuf> = BTreeMap::new();
    for file in of_size.values().filter(|alike| alike.len() > 1).flatten() {
        let Some(sum) = checksum(file) else { continue };
        match first.get(&sum) {
            Some(known) => {
                found.insert(file, known);
            }
            None => {
                first.insert(sum, file);
            }
        }
    }
    let note = (!found.is_empty()).then(|| {
        let shown: Vec<String> = found
            .iter()
            .take(SHOWN)
            .map(|(copy, of)| format!("{} (as {})", copy.display(), of.display()))
            .collect();
        let more = if found.len() > SHOWN { ", …" } else { "" };
        Note::new(format!(
            "files that hold the same bytes as another one, counted once: {}{more}",
            shown.join(", ")
        ))
    });
    (found.into_keys().cloned().collect(), note)
}

/// Leaves out each tally of which a file of rows holds everything that it was made of: the rows say all that it says,
/// and name its units. Gives the note that says so.
pub fn leave_to_rows(files: &mut Vec<PathBuf>) -> Option<Note> {
    let (rows, tallies): (Vec<PathBuf>, Vec<PathBuf>) = files
        .iter()
        .filter(|file| super::parquet::is_of_others(file))
        .cloned()
        .partition(|file| super::parquet::is_of_rows(file));
    // Rows are read whole for their checksum.
    if rows.is_empty() || tallies.is_empty() {
        return None;
    }
    let held: BTreeSet<String> = rows
        .iter()
        .flat_map(|file| {
            let own = checksum(file).map(|sum| hex(&sum));
            super::parquet::made_of(file).into_iter().chain(own)
        })
        .collect();
    let is_held = |tally: &PathBuf| {
        let made_of = super::parquet::made_of(tally);
        !made_of.is_empty() && made_of.iter().all(|sum| held.contains(sum))
    };
    let left: Vec<PathBuf> = tallies.into_iter().filter(is_held).collect();
    files.retain(|file| !left.contains(file));
    let names = |files: &[PathBuf]| {
        files.iter().map(|f| f.display().to_string()).collect::<Vec<_>>().join(", ")
    };
    (!left.is_empty()).then(|| {
        Note::new(format!(
            "{}: a tally of what {} holds row by row; the rows are read in its place",
            names(&left),
            names(&rows)
        ))
    })
}

/// Refuses a tally, or a file of rows, beside a file that it was made of, and two that were made of one file: whose units
/// would count twice, and nothing tells them apart. Each keeps the checksums of its files; it is not left out here, nor
/// are they, since either may hold what the other does not. Copies of a file are told elsewhere.
///
/// # Errors
/// The tally and what lies in it.
pub fn refuse_held(files: &[PathBuf], copies: &BTreeSet<PathBuf>) -> Result<()> {
    let mut holder: BTreeMap<String, &PathBuf> = BTreeMap::new();
    let refused = |tally: &Path, what: String| {
        Error::input(
            Place::file(tally),
            "a tally or rows of other files than are read beside it",
            what,
            "name it or its files: their units would count twice",
        )
    };
    let is_first = |file: &&PathBuf| !copies.contains(*file);
    for tally in files.iter().filter(is_first).filter(|file| super::parquet::is_of_others(file)) {
        for sum in super::parquet::made_of(tally) {
            if let Some(other) = holder.insert(sum, tally).filter(|other| *other != tally) {
                let what = format!("one made of a file that {} was made of too", other.display());
                return Err(refused(tally, what));
            }
        }
    }
    if holder.is_empty() {
        return Ok(());
    }
    for file in files.iter().filter(is_first) {
        let held = checksum(file).and_then(|sum| holder.get(&hex(&sum)));
        if let Some(tally) = held.filter(|tally| **tally != file) {
            return Err(refused(tally, format!("one made of {}", file.display())));
        }
    }
    Ok(())
}

/// A checksum as it is printed.
pub(super) fn hex(sum: &[u8]) -> String {
    sum.iter().map(|b| format!("{b:02x}")).collect()
}

fn checksum(path: &Path) -> Option<[u8; 32]> {
    let mut sum = Sha256::new();
    std::io::copy(&mut File::open(path).ok()?, &mut sum).ok()?;
    Some(sum.finalize().into())
}
