//! What the tables of a run share: the settings, what was read, and the way to the parsers.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex};

use crossbeam_channel::Sender;

use super::{Piece, Read, Refused, Table, Work};
use crate::config::Config;
use crate::error::{Error, Place, Result};
use crate::input::columns::{Field, Headers};
use crate::input::conventions::{Seen, Unsettled};
use crate::input::discover::from_path;
use crate::input::layout::{Lack, Layout, Partial, Undecided};
use crate::input::spare::Spare;
use crate::note::Note;
use crate::records::{Source, SourceAt};

/// Bytes looked at to tell what a file is.
pub(super) const LOOK: usize = 256 << 10;

/// Turns files into tables and their pieces, one after the other.
pub(super) struct Producer<'a> {
    pub(super) config: &'a Config,
    pub(super) headers: Headers,
    pub(super) to_parse: Sender<Piece>,
    /// What texts are read into.
    pub(super) spare: Arc<Spare<Vec<u8>>>,
    pub(super) number: u64,
    pub(super) tables: &'a Mutex<Vec<Table>>,
    pub(super) failures: &'a Mutex<Vec<Error>>,
    pub(super) read: Read,
    pub(super) progress: &'a (dyn Fn(u64, u64) + Sync),
    pub(super) done: u64,
    pub(super) all_bytes: u64,
}

impl Producer<'_> {
    pub(super) fn fail(&self, error: Error) {
        self.failures.lock().expect("no thread panics holding it").push(error);
    }

    /// Values that hold for a whole file: from its name, then from the config's `[assume]`.
    pub(super) fn fixed(&self, path: &Path) -> BTreeMap<Field, String> {
        let mut fixed = BTreeMap::new();
        if let Some(pattern) = &self.config.files.pattern {
            for (name, value) in from_path(pattern, path) {
                if let Some(field) = Field::from_name(&name) {
                    fixed.insert(field, value);
                }
            }
        }
        for (field, name) in Field::ALL {
            if let Some(value) = self.config.assumed(name) {
                fixed.entry(field).or_insert(value);
            }
        }
        fixed
    }

    /// Why a table cannot be used as it stands.
    pub(super) fn unusable(path: &Path, sheet: Option<&str>, partial: &Partial) -> Error {
        let place = Place::file(path).sheet(sheet);
        match &partial.undecided {
            Some(open) => Error::input(place, &*open.expected, &*open.found, &*open.next),
            None => Error::input(
                place,
                "a header naming at least a date, a model and a reading or an outcome within the first 100 lines",
                &*partial.found,
                "say what its headers mean in leakdrift.toml: under [columns] a line \"HEADER AS EXPORTED\" = \"model\" for each; `leakdrift peek PATH --write-config` starts it",
            ),
        }
    }

    /// Settles what a table decides for all its cells: what they show, else what the settings say.
    pub(super) fn settle(
        &mut self,
        layout: &mut Layout,
        seen: &Seen,
        path: &Path,
        sheet: Option<&str>,
    ) -> std::result::Result<(), (Lack, Error)> {
        let place = || Place::file(path).sheet(sheet);
        let told = layout.agree(seen, &self.headers, self.config).map_err(|undecided| {
            let column = Some(undecided.column).filter(|c| !c.is_empty());
            let place = column.map_or_else(place, |c| place().column(&c));
            let Unsettled { lack, expected, found, to_do, .. } = undecided;
            (lack, Error::input(place, expected, found, to_do))
        })?;
        if self.config.files.pattern.is_none()
            && !layout.says_outcomes()
            && let Some((word, to_do)) = outcome_in_path(path, sheet, &self.headers)
        {
            let expected = "a column that says what came of each test";
            let found = format!("none, and {word:?} in the name of its folder, file or sheet");
            return Err((Lack::Outcome, Error::input(place(), expected, found, to_do)));
        }
        let source = Source { file: path.to_owned(), sheet: sheet.map(str::to_owned) };
        self.read.notes.extend(told.iter().map(|what| Note::first(format!("{source}: {what}"))));
        Ok(())
    }

    /// Keeps what was understood of a table that cannot be used.
    pub(super) fn refuse(&mut self, table: Table, lacks: &[Lack], undecided: Option<Undecided>) {
        self.read.refused.push(Refused { table, lacks: lacks.to_vec(), undecided });
    }

    pub(super) fn add_table(&self, table: Table) -> Result<SourceAt> {
        let mut tables = self.tables.lock().expect("no thread panics holding it");
        let number = SourceAt::new(tables.len()).ok_or_else(|| {
            Error::usage("more than 16 777 216 files and sheets", "review them in parts")
        })?;
        tables.push(table);
        Ok(number)
    }

    /// Sends a piece on; says whether anybody takes more. The receivers live as long as the run: a closed channel
    /// only means that it is over.
    pub(super) fn send(
        &mut self,
        source: SourceAt,
        layout: &Arc<Layout>,
        skip: usize,
        work: Work,
    ) -> bool {
        let number = self.number;
        self.number += 1;
        self.to_parse.send(Piece { number, source, layout: layout.clone(), skip, work }).is_ok()
    }

    pub(super) fn done_so_far(&self, more: usize) {
        (self.progress)((self.done + more as u64).min(self.all_bytes), self.all_bytes);
    }
}

/// Folders above a file that are looked at for an outcome.
const FOLDERS: usize = 2;

/// A folder, a file or a sheet called by an outcome word, as where passes and failures are kept apart, and what to do.
fn outcome_in_path(
    path: &Path,
    sheet: Option<&str>,
    headers: &Headers,
) -> Option<(String, String)> {
    if let Some(sheet) = sheet.filter(|sheet| headers.is_outcome(sheet)) {
        let to_do = "export each sheet to a folder of its name and set pattern = \"{outcome}/*\" under [files]";
        return Some((sheet.to_owned(), to_do.to_owned()));
    }
    let stem = path.file_stem().map(|name| ("{outcome}.*".to_owned(), name));
    let folders = path.parent().into_iter().flat_map(|folder| folder.iter().rev()).take(FOLDERS);
    let folders =
        folders.enumerate().map(|(n, name)| (format!("{{outcome}}{}", "/*".repeat(n + 1)), name));
    stem.into_iter().chain(folders).find_map(|(pattern, name)| {
        let name = name.to_string_lossy();
        let other = "/*".repeat(pattern.matches('/').count());
        headers.is_outcome(&name).then(|| {
            let to_do = format!("set pattern = {pattern:?} under [files] where it says the outcome, pattern = \"*{other}\" where it does not");
            (name.into_owned(), to_do)
        })
    })
}
