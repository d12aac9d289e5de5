//! One way for each kind of file: its tables, understood, and sent on in pieces.
//!
//! Where the first piece of a text leaves the order of day and month open, the rest is looked at before anything
//! is sent on: a file is opened a second time; what can be read only once is held.
//!
//! A second table in a file is seen by its header (other columns or another order): its rows are unreadable
//! and say so, also in later pieces of the file.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fs::File;
use std::io::{BufRead, BufReader, Cursor, Read as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use polars::prelude::DataFrame;

use super::opened::Opened;
use super::producer::{LOOK, Producer};
use super::{Table, Work};
use crate::error::{Error, Place, Result};
use crate::input::conventions::Seen;
use crate::input::encoding::Letters;
use crate::input::layout::{FIRST_ROWS, LOOKED_AT, Layout, find};
use crate::input::unpack::{Bounded, unpacked_most, unpacks_within_reason};
use crate::input::{compound, first_read, open_document, parquet, text, workbook};
use crate::note::Note;
use crate::records::{Source, SourceAt};

/// Opens a text again from its start.
pub(super) type Again<'a> = &'a dyn Fn() -> std::io::Result<Box<dyn std::io::Read>>;

impl Producer<'_> {
    /// A text; `again` opens it once more, `None` where that gives other bytes.
    pub(super) fn text<'r>(
        &mut self,
        path: &Path,
        sheet: Option<&str>,
        mut reader: impl BufRead + 'r,
        packed: &str,
        again: Option<Again<'_>>,
    ) -> Result<()> {
        let broken = |e: std::io::Error| {
            Error::input(
                Place::file(path).sheet(sheet),
                "a readable file",
                e.to_string(),
                "export it again",
            )
        };
        let letters = Letters::of(reader.fill_buf().map_err(broken)?);
        let mut opened = match Opened::of(letters.decoded(reader), &self.headers, &self.spare) {
            Ok(Some(opened)) => opened,
            Ok(None) => {
                return Err(Error::input(
                    Place::file(path).sheet(sheet),
                    "a table",
                    "nothing",
                    "export it again",
                ));
            }
            Err(e) => return Err(broken(e)),
        };
        let table = |opened: &Opened<'_>, delimiter, layout: Layout| {
            let shown = match delimiter {
                _ if !opened.form.is_empty() => opened.form.to_owned(),
                b'\t' => "separator tab".to_owned(),
                d => format!("separator '{}'", char::from(d)),
            };
            Table {
                flavour: format!("text, {packed}{}, {shown}", letters.name()),
                first: text::first_rows(&opened.first.bytes, delimiter, layout.header_rows),
                layout: Arc::new(layout),
                source: Source { file: path.to_owned(), sheet: sheet.map(str::to_owned) },
                is_retold: false,
            }
        };
        let fixed = self.fixed(path);
        let mut understood = text::understand(&opened.first.bytes, &self.headers, &fixed);
        if understood.is_err()
            && let Some(columns) = opened.in_columns(&self.headers)
            && let Ok(better) = text::understand(&columns.first.bytes, &self.headers, &fixed)
        {
            understood = Ok(better);
            opened.take(columns);
        }
        let (delimiter, mut layout, signs) = match understood {
            Ok(understood) => understood,
            Err((delimiter, partial)) => {
                let error = Self::unusable(path, sheet, &partial);
                let table = table(&opened, delimiter, partial.layout);
                self.refuse(table, &partial.lacks, partial.undecided);
                return Err(error);
            }
        };
        let mut seen = Seen { signs, ..Seen::default() };
        let (bytes, skip) = (&opened.first.bytes, layout.header_rows);
        text::look_at_dates(bytes, delimiter, &layout, skip, &mut seen.dates);
        if seen.dates.decide(self.config.date_order, Some(0)).is_err() && !seen.dates.tells_order()
        {
            // The first piece cannot tell: look through the rest.
            let again = again.map(|again| again()).transpose().map_err(broken)?;
            let again = again.map(|again| letters.decoded(again));
            opened.look_through(again, &self.headers, &mut |bytes| {
                text::look_at_dates(bytes, delimiter, &layout, 0, &mut seen.dates);
                !seen.dates.tells_order()
            });
        }
        if let Err((lack, undecided)) = self.settle(&mut layout, &seen, path, sheet) {
            self.refuse(table(&opened, delimiter, layout), &[lack], None);
            return Err(undecided);
        }
        let table = table(&opened, delimiter, layout);
        let layout = table.layout.clone();
        let source = self.add_table(table)?;
        self.send_text(source, &layout, delimiter, opened).map_err(|e| {
            Error::input(
                Place::file(path).sheet(sheet),
                "a whole file",
                format!("{e}, after what was read before it"),
                "export it again; the rows before the damage are used",
            )
        })
    }

    fn send_text(
        &mut self,
        source: SourceAt,
        layout: &Arc<Layout>,
        delimiter: u8,
        opened: Opened<'_>,
    ) -> std::io::Result<()> {
        let Opened { first: mut piece, mut pieces, retelling, .. } = opened;
        let (mut skip, mut told) = (layout.header_rows, None);
        loop {
            self.done_so_far(piece.bytes.len());
            self.send(source, layout, skip, Work::Text { piece, retelling: told, delimiter });
            (skip, told) = (0, retelling.clone());
            match pieces.next()? {
                Some(next) => piece = next,
                None => return Ok(()),
            }
        }
    }

    pub(super) fn zipped(&mut self, path: &Path, bytes: &[u8], entries: &[String]) -> Result<()> {
        for name in entries {
            let damaged = |e: std::io::Error| {
                Error::input(
                    Place::file(path).sheet(Some(name)),
                    "a readable zip entry",
                    e.to_string(),
                    "pack it again",
                )
            };
            let mut archive = zip::ZipArchive::new(Cursor::new(bytes))
                .map_err(|e| damaged(std::io::Error::other(e)))?;
            let outcome = match archive.by_name(name) {
                Ok(entry) => {
                    let most = unpacked_most(bytes.len() as u64);
                    let reader = BufReader::with_capacity(LOOK, Bounded::new(entry, most));
                    let again: Again<'_> = &|| again_from_zip(bytes, name, most);
                    self.text(path, Some(name), reader, "zip, ", Some(again))
                }
                Err(e) => Err(damaged(std::io::Error::other(e))),
            };
            if let Err(error) = outcome {
                self.fail(error);
            }
        }
        Ok(())
    }

    pub(super) fn workbook(&mut self, path: &Path, bytes: Vec<u8>) -> Result<()> {
        if bytes.starts_with(b"PK") {
            unpacks_within_reason(&bytes).map_err(|e| {
                Error::input(Place::file(path), "a workbook", e.to_string(), "export it again")
            })?;
            open_document::is_sound(&bytes).map_err(|e| {
                let place = Place { row: e.row, ..Place::file(path).sheet(e.sheet.as_deref()) };
                Error::input(place, e.expected, e.found, "save it again")
            })?;
        }
        let sound = if bytes.starts_with(b"PK") { Ok(()) } else { compound::is_sound(&bytes) };
        let mut book = sound.and_then(|()| workbook::Workbook::open(bytes)).map_err(|what| {
            Error::input(Place::file(path), "a workbook", what, "export it again")
        })?;
        let (visible, hidden) = book.sheets();
        if !hidden.is_empty() {
            self.read.notes.push(Note::new(format!(
                "{}: hidden sheets were not read: {}; unhide them to use them",
                path.display(),
                hidden.join(", "),
            )));
        }
        let mut without = Vec::new();
        let (mut used, mut undecided) = (0, 0);
        for name in visible {
            let at = || Place::file(path).sheet(Some(&name));
            let sheet = match book.sheet(&name) {
                Ok(sheet) => sheet,
                Err(what) => {
                    self.fail(Error::input(at(), "a readable sheet", what, "export it again"));
                    continue;
                }
            };
            if sheet.is_cut_off() {
                self.read.notes.push(Note::new(format!(
                    "{}, sheet {name:?} ends on the last row a spreadsheet can hold: it is probably cut off; export it in parts",
                    path.display(),
                )));
            }
            let table = |layout: Layout| Table {
                source: Source { file: path.to_owned(), sheet: Some(name.clone()) },
                flavour: "workbook".to_owned(),
                first: sheet.first_rows(layout.header_rows),
                layout: Arc::new(layout),
                is_retold: false,
            };
            let (mut layout, seen) =
                match workbook::understand(&sheet, &self.headers, &self.fixed(path)) {
                    Ok(understood) => understood,
                    Err(partial) => {
                        let error = Self::unusable(path, Some(&name), &partial);
                        let is_undecided = partial.undecided.is_some();
                        self.refuse(table(partial.layout), &partial.lacks, partial.undecided);
                        if is_undecided {
                            self.fail(error);
                            undecided += 1;
                        } else {
                            without.push((name, partial.found, error));
                        }
                        continue;
                    }
                };
            if let Err((lack, undecided)) = self.settle(&mut layout, &seen, path, Some(&name)) {
                self.refuse(table(layout), &[lack], None);
                self.fail(undecided);
                continue;
            }
            let table = table(layout);
            let layout = table.layout.clone();
            let source = self.add_table(table)?;
            used += 1;
            let skip = layout.header_rows;
            self.send(source, &layout, skip, Work::Sheet(Box::new(sheet)));
        }
        if used == 0 && undecided == 0 {
            let nothing = || {
                Error::input(
                    Place::file(path),
                    "a table",
                    "no sheet that can be read",
                    "export it again",
                )
            };
            return Err(without.into_iter().next().map_or_else(nothing, |(_, _, error)| error));
        }
        if !without.is_empty() {
            let sheets: Vec<String> =
                without.iter().map(|(name, found, _)| format!("{name} ({found})")).collect();
            self.read.notes.push(Note::new(format!(
                "{}: no header was found in sheet {}, so it was not read; map its headers under [columns] if it holds results",
                path.display(),
                sheets.join(", "),
            )));
        }
        Ok(())
    }

    pub(super) fn parquet(&mut self, path: &Path) -> Result<()> {
        let broken = |what: String| {
            Error::input(Place::file(path), "a Parquet file", what, "write it again")
        };
        let names = parquet::names(path).map_err(broken)?;
        let is_retold = first_read::are_of_rows(&names);
        // Whatever the settings supply was supplied when its rows were read first.
        let fixed = if is_retold { BTreeMap::new() } else { self.fixed(path) };
        let mut head = vec![if is_retold { first_read::results(names) } else { names }];
        head.extend(parquet::first_rows(path, LOOKED_AT).map_err(broken)?);
        let first: Vec<_> = head.iter().skip(1).take(FIRST_ROWS).cloned().collect();
        let table = |layout: Layout| Table {
            source: Source { file: path.to_owned(), sheet: None },
            flavour: "Parquet".to_owned(),
            layout: Arc::new(layout),
            first,
            is_retold,
        };
        let mut layout = match find(&head, &[], &self.headers, &fixed) {
            Ok((_, layout)) => layout,
            Err(partial) => {
                let error = Self::unusable(path, None, &partial);
                self.refuse(table(partial.layout), &partial.lacks, partial.undecided);
                return Err(error);
            }
        };
        layout.header_rows = 0;
        let mut seen = Seen::default();
        let dates = layout.date_column();
        for text in head.iter().skip(1).filter_map(|row| row.get(dates?)) {
            seen.dates.look(text);
        }
        if let Err((lack, undecided)) = self.settle(&mut layout, &seen, path, None) {
            self.refuse(table(layout), &[lack], None);
            return Err(undecided);
        }
        let table = table(layout);
        let layout = table.layout.clone();
        if is_retold || parquet::are_of_a_tally(&head[0]) {
            let told = |what: String| Note::first(format!("{}: {what}", table.source));
            self.read.notes.extend(parquet::said_first(path).into_iter().map(told));
        }
        if is_retold {
            return self.retold_rows(path, &table);
        }
        let source = self.add_table(table)?;
        let mut first_row = 0;
        let streamed = parquet::stream(path, |frame| {
            let height = frame.height() as u64;
            let work = Work::Frame { frame, first_row, places: Vec::new() };
            first_row += height;
            self.send(source, &layout, 0, work)
        });
        streamed.map_err(broken)
    }

    /// A file of rows: each as the row of the table that it was read from first.
    fn retold_rows(&mut self, path: &Path, table: &Table) -> Result<()> {
        let broken = |what: String| {
            Error::input(Place::file(path), "a file of rows", what, "write it again")
        };
        let mut known: BTreeMap<(PathBuf, Option<String>), SourceAt> = BTreeMap::new();
        let mut stopped = Ok(());
        let mut first_row = 0;
        let mut each = |frame: DataFrame| -> Result<bool> {
            let results = first_read::results_of(&frame);
            for stretch in first_read::stretches(&frame, first_row).map_err(broken)? {
                let Source { file, sheet } = stretch.source.clone();
                let source = match known.entry((file, sheet)) {
                    Entry::Occupied(known) => *known.get(),
                    Entry::Vacant(new) => {
                        let of = Table { source: stretch.source, ..table.clone() };
                        *new.insert(self.add_table(of)?)
                    }
                };
                let from = i64::try_from(stretch.rows.start).unwrap_or(i64::MAX);
                let frame = results.slice(from, stretch.rows.len());
                let work = Work::Frame { frame, first_row, places: stretch.places };
                if !self.send(source, &table.layout, 0, work) {
                    return Ok(false);
                }
            }
            first_row += frame.height() as u64;
            Ok(true)
        };
        let streamed = parquet::stream(path, |frame| {
            each(frame).unwrap_or_else(|e| {
                stopped = Err(e);
                false
            })
        });
        stopped.and(streamed.map_err(broken))
    }
}

/// Opens a file again, for a second look at its dates; one packed by gzip may unpack to so many bytes.
pub(super) fn reopened(path: &Path, gzip: Option<u64>) -> std::io::Result<Box<dyn std::io::Read>> {
    let file = BufReader::new(File::open(path)?);
    Ok(match gzip {
        Some(most) => Box::new(Bounded::new(flate2::bufread::MultiGzDecoder::new(file), most)),
        None => Box::new(file),
    })
}

/// The entry of a zip, again from its start.
fn again_from_zip(bytes: &[u8], name: &str, most: u64) -> std::io::Result<Box<dyn std::io::Read>> {
    // Both borrow from one archive, so this second look at dates holds the entry in memory.
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes))?;
    let mut whole = Vec::new();
    Bounded::new(archive.by_name(name)?, most).read_to_end(&mut whole)?;
    Ok(Box::new(Cursor::new(whole)))
}

/// The text entries of a zip; `None` where it is a workbook.
pub(super) fn text_entries(bytes: &[u8]) -> Option<Vec<String>> {
    let archive = zip::ZipArchive::new(Cursor::new(bytes)).ok()?;
    let names: Vec<String> =
        archive.file_names().filter_map(|n| Some(n.ok()?.into_owned())).collect();
    if names.iter().any(|n| n == "[Content_Types].xml" || n == "mimetype" || n == "content.xml") {
        return None;
    }
    let mut entries: Vec<String> =
        names.into_iter().filter(|n| !n.ends_with('/') && !n.starts_with("__MACOSX")).collect();
    entries.sort();
    Some(entries)
}
