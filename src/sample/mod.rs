//! The demonstration factory: invented exports of an invented plant, from a seed.
//!
//! Takes a seed, gives the files of four test stations in four flavours, with eleven planted stories
//! and the dirt of real exports in them, and the truth behind them. It is a room of its own because
//! nothing else may know that truth: the tool reads the files as it reads anybody's, and the tests
//! compare what it says with [`Truth`].
//!
//! [`plan`] decides everything and touches no file; [`write()`] puts it down. The same seed gives the
//! same bytes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::error::Error;

mod calendar;
mod chance;
mod check_loads;
mod dirt;
mod files;
mod ledger;
mod models;
pub mod physics;
pub mod plants;
mod schedule;
mod stations;
mod stories;
mod testing;
mod truth;
mod units;

pub use calendar::{Shift, first_day, is_production_day, last_day, production_days};
pub use dirt::{PlannedFile, PlannedRow};
pub use ledger::{Counts, Ledger};
pub use models::{Filter, Kind, Model, Setting, ap730_loosened, second_supplier};
pub use schedule::{Spoiled, Test};
pub use stations::{Station, a2_calibrated};
pub use stories::{FAULT_RUN_SERIAL, HEATER_LOT, broken_lead_day};
pub use testing::{Outcome, Shown};
pub use truth::{Body, Planted, Truth, crossing_date, quantile_ma, share_at, share_at_or_below};

/// The seed of the committed `sample-data`.
pub const DEFAULT_SEED: u64 = 1;

/// Everything decided: every test of every station, the files they go to, and the truth.
#[derive(Clone, Debug)]
pub struct Factory {
    /// Tests by station, each in the order in which they were made.
    pub tests: BTreeMap<Station, Vec<Test>>,
    /// Files in the order of stations and names.
    pub files: Vec<PlannedFile>,
    /// What is true.
    pub truth: Truth,
}

/// Why the files could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// A file or folder was refused.
    #[error("{0}")]
    Refused(#[from] Error),
    /// A workbook could not be built.
    #[error("cannot build the workbook {name}: {source}")]
    Workbook {
        /// Which.
        name: String,
        /// The reason.
        source: rust_xlsxwriter::XlsxError,
    },
}

/// The whole factory for a seed; no files are touched.
pub fn plan(seed: u64) -> Factory {
    let units = stories::plan(seed);
    let mut tests = schedule::rows(seed, &units);
    dirt::soil(seed, &mut tests);
    let files = dirt::files(&tests);
    let ledger = ledger::count(&tests, &files);
    let mut truth = truth::of(&tests, ledger);
    truth.rows = files.iter().map(|f| f.rows.len() as u64).sum();
    Factory { tests, files, truth }
}

/// Writes the factory's files below `dir`, which is made where it does not exist: all of them, each whole, or none.
/// Other files stay.
///
/// # Errors
/// Where a file of the same name holds something else, before anything is written; where a file or folder cannot
/// be written.
pub fn write(factory: &Factory, dir: &Path) -> Result<(), WriteError> {
    put_all(&files::all(factory)?, dir)
}

/// Writes all files below `dir`, each whole, or none.
fn put_all(files: &[files::Written], dir: &Path) -> Result<(), WriteError> {
    let is_other = |(name, bytes): &&(String, Vec<u8>)| {
        let path = dir.join(name);
        path.exists() && !std::fs::read(path).is_ok_and(|there| there == *bytes)
    };
    if let Some((name, _)) = files.iter().find(is_other) {
        return Err(WriteError::Refused(Error::usage(
            format!("{}: it is there and holds something else", dir.join(name).display()),
            "name another folder, or move it away",
        )));
    }
    let mut made = Vec::new();
    let written = files.iter().try_for_each(|(name, bytes)| put(&dir.join(name), bytes, &mut made));
    if written.is_err() {
        // A part of a factory would be taken for the whole of one.
        for path in made.iter().rev() {
            let _ =
                if path.is_dir() { std::fs::remove_dir(path) } else { std::fs::remove_file(path) };
        }
    }
    Ok(written?)
}

/// Writes one file with the folders above it; what is new is added to `made`.
fn put(path: &Path, bytes: &[u8], made: &mut Vec<PathBuf>) -> Result<(), Error> {
    let folder = path.parent().unwrap_or(path);
    let missing = |f: &&Path| !f.as_os_str().is_empty() && !f.exists();
    let folders: Vec<PathBuf> =
        folder.ancestors().take_while(missing).map(Path::to_owned).collect();
    made.extend(folders.into_iter().rev());
    std::fs::create_dir_all(folder).map_err(|e| Error::io("create the folder", folder, e))?;
    if !path.exists() {
        made.push(path.to_owned());
    }
    crate::disk::write_whole(path, |out| {
        out.write_all(bytes).map_err(|e| Error::io("write", path, e))
    })
}
