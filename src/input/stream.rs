//! The reading itself: a producer, parsers in parallel, and batches in order.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead, BufReader, Cursor, Read as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::SystemTime;

use crossbeam_channel::{Receiver, Sender, bounded};
use sha2::{Digest, Sha256};

use super::columns::{Field, Headers};
use super::discover::{discover, from_path};
use super::layout::{FIRST_ROWS, Layout};
use super::rows::Parser;
use super::unpack::{Bounded, unpacked_most, unpacks_within_reason};
use super::words::Words;
use super::{open_document, parquet, text, workbook};
use crate::config::Config;
use crate::error::{Error, Place, Result};
use crate::note::Note;
use crate::records::{Batch, Book, Source};

/// Largest workbook or zip taken into memory, in bytes.
const PACKED_MOST: u64 = 2 << 30;
/// Bytes looked at to tell what a file is.
const LOOK: usize = 256 << 10;

/// A file that was read, for the record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileSeen {
    /// Its path.
    pub path: PathBuf,
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
}

/// How one table was understood.
#[derive(Debug, Clone)]
pub struct Table {
    /// File and sheet.
    pub source: Source,
    /// For example `text, windows-1252, separator ';'`.
    pub flavour: String,
    /// What its columns mean.
    pub layout: Arc<Layout>,
    /// The cells of its first rows, as written.
    pub first: Vec<Vec<String>>,
}

/// What reading left behind, beside the batches.
#[derive(Debug, Default)]
pub struct Read {
    /// Tables in the order read; a record's source is an index into them.
    pub tables: Vec<Table>,
    /// Files in the order read.
    pub files: Vec<FileSeen>,
    /// Files or sheets that could not be read, or not to their end.
    pub failures: Vec<Error>,
    /// What a reader must know.
    pub notes: Vec<Note>,
}

/// A piece of work for a parser.
struct Piece {
    number: u64,
    source: u16,
    layout: Arc<Layout>,
    skip: usize,
    work: Work,
}

enum Work {
    Text {
        piece: text::TextPiece,
        delimiter: u8,
    },
    Sheet(Box<workbook::Sheet>),
    Frame {
        frame: polars::prelude::DataFrame,
        first_row: u64,
    },
}

/// Reads all files behind `paths` and hands their records to `absorb`, batch by batch, in order;
/// `progress` is told of bytes read and of all bytes.
///
/// # Errors
/// Where no file is found, or none of them could be read.
pub fn read(
    paths: &[PathBuf],
    config: &Config,
    book: &Book,
    progress: &(dyn Fn(u64, u64) + Sync),
    mut absorb: impl FnMut(Batch),
) -> Result<Read> {
    let (files, notes) = discover(paths, config)?;
    let words = Words::new(config)?;
    let all_bytes: u64 = files
        .iter()
        .filter_map(|f| f.metadata().ok())
        .map(|m| m.len())
        .sum();
    let workers = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
    let (to_parse, parse_from) = bounded::<Piece>(workers + 1);
    let (to_absorb, absorb_from) = bounded::<(u64, Batch)>(workers + 1);
    let tables: Mutex<Vec<Table>> = Mutex::new(Vec::new());
    let failures: Mutex<Vec<Error>> = Mutex::new(Vec::new());
    let mut read = std::thread::scope(|scope| {
        let producer = scope.spawn(|| {
            let mut producer = Producer {
                config,
                headers: Headers::new(config),
                to_parse,
                number: 0,
                tables: &tables,
                failures: &failures,
                read: Read::default(),
                progress,
                done: 0,
                all_bytes,
            };
            for file in &files {
                producer.file(file);
            }
            producer.read
        });
        for _ in 0..workers {
            let (from, to) = (parse_from.clone(), to_absorb.clone());
            let (words, failures, tables) = (&words, &failures, &tables);
            scope.spawn(move || parse_all(&from, &to, words, book, tables, failures));
        }
        drop((parse_from, to_absorb));
        let mut waiting: BTreeMap<u64, Batch> = BTreeMap::new();
        let mut next = 0;
        let mut other_table: Option<(u16, u32)> = None;
        for (number, batch) in absorb_from {
            waiting.insert(number, batch);
            while let Some(mut batch) = waiting.remove(&next) {
                // A table that began in an earlier piece of the same source goes on in this one.
                let source = batch.records.first().map(|r| r.source);
                if let Some((_, line)) = other_table.filter(|(of, _)| Some(*of) == source) {
                    batch.refuse(line);
                }
                other_table = batch.other_table.or(other_table);
                absorb(batch);
                next += 1;
            }
        }
        producer.join().expect("the reading thread does not panic")
    });
    read.notes.extend(notes);
    read.tables = tables.into_inner().expect("no thread panics holding it");
    read.failures = failures.into_inner().expect("no thread panics holding it");
    if read.tables.is_empty() {
        let first = read.failures.drain(..).next();
        return Err(
            first.unwrap_or_else(|| Error::usage("no file could be read", "check the inputs"))
        );
    }
    Ok(read)
}

fn parse_all(
    from: &Receiver<Piece>,
    to: &Sender<(u64, Batch)>,
    words: &Words,
    book: &Book,
    tables: &Mutex<Vec<Table>>,
    failures: &Mutex<Vec<Error>>,
) {
    for piece in from {
        let mut parser = Parser::new(words, book, &piece.layout, piece.source);
        match &piece.work {
            Work::Text {
                piece: bytes,
                delimiter,
            } => {
                text::parse(bytes, *delimiter, piece.skip, &mut parser);
            }
            Work::Sheet(sheet) => workbook::parse(sheet, piece.skip, &mut parser),
            Work::Frame { frame, first_row } => {
                if let Err(what) = parquet::parse(frame, *first_row, &mut parser) {
                    let path = tables.lock().expect("no thread panics holding it")
                        [usize::from(piece.source)]
                    .source
                    .file
                    .clone();
                    failures
                        .lock()
                        .expect("no thread panics holding it")
                        .push(Error::input(
                            Place::file(&path),
                            "columns of numbers, times or text",
                            what,
                            "export plain columns",
                        ));
                }
            }
        }
        if to.send((piece.number, parser.finish())).is_err() {
            return;
        }
    }
}

struct Producer<'a> {
    config: &'a Config,
    headers: Headers,
    to_parse: Sender<Piece>,
    number: u64,
    tables: &'a Mutex<Vec<Table>>,
    failures: &'a Mutex<Vec<Error>>,
    read: Read,
    progress: &'a (dyn Fn(u64, u64) + Sync),
    done: u64,
    all_bytes: u64,
}

/// Counts and checksums what passes through it.
struct Checked {
    file: File,
    hash: Arc<Mutex<(Sha256, u64)>>,
}

impl std::io::Read for Checked {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let n = self.file.read(buffer)?;
        let mut hash = self.hash.lock().expect("no thread panics holding it");
        hash.0.update(&buffer[..n]);
        hash.1 += n as u64;
        Ok(n)
    }
}

impl Producer<'_> {
    fn file(&mut self, path: &Path) {
        let hash = Arc::new(Mutex::new((Sha256::new(), 0)));
        let before = at_rest(path);
        let outcome = self.table_of(path, &hash);
        if let Err(error) = outcome {
            self.fail(error);
        }
        // An end that is cut inside a cell can look like a whole row.
        if let (Ok(before), after) = (before, at_rest(path))
            && after.as_ref().ok() != Some(&before)
        {
            let found = match after {
                Ok(after) => format!(
                    "one that changed meanwhile ({} bytes, then {})",
                    before.0, after.0
                ),
                Err(e) => format!("one that went away meanwhile ({e})"),
            };
            self.fail(Error::input(
                Place::file(path),
                "a file that stays as it is while it is read",
                found,
                "run again once it is written; what was read of it is used",
            ));
        }
        let (sha, bytes) = std::mem::take(&mut *hash.lock().expect("no thread panics holding it"));
        self.done += bytes;
        (self.progress)(self.done, self.all_bytes);
        self.read.files.push(FileSeen {
            path: path.to_owned(),
            bytes,
            sha256: sha.finalize().iter().map(|b| format!("{b:02x}")).collect(),
        });
    }

    fn fail(&self, error: Error) {
        self.failures
            .lock()
            .expect("no thread panics holding it")
            .push(error);
    }

    fn table_of(&mut self, path: &Path, hash: &Arc<Mutex<(Sha256, u64)>>) -> Result<()> {
        let io = |e| Error::io("read", path, e);
        let file = File::open(path).map_err(io)?;
        let mut reader = BufReader::with_capacity(
            LOOK,
            Checked {
                file,
                hash: hash.clone(),
            },
        );
        let head = reader.fill_buf().map_err(io)?;
        if head.is_empty() {
            return Err(Error::input(
                Place::file(path),
                "a table",
                "an empty file",
                "export it again",
            ));
        }
        if head.starts_with(b"PAR1") {
            std::io::copy(&mut reader, &mut std::io::sink()).map_err(io)?;
            return self.parquet(path);
        }
        if head.starts_with(&[0x1f, 0x8b]) {
            let most = unpacked_most(path.metadata().map_or(0, |m| m.len()));
            let unpacked = flate2::bufread::MultiGzDecoder::new(reader);
            let unpacked = BufReader::with_capacity(LOOK, Bounded::new(unpacked, most));
            return self.text(path, None, unpacked, "gzip, ", &|| reopened(path, true));
        }
        if head.starts_with(b"PK\x03\x04") || head.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
            let zip = head.starts_with(b"PK");
            let mut bytes = Vec::new();
            reader
                .take(PACKED_MOST + 1)
                .read_to_end(&mut bytes)
                .map_err(io)?;
            if bytes.len() as u64 > PACKED_MOST {
                return Err(Error::input(
                    Place::file(path),
                    "a packed file of at most 2 GB",
                    "a larger one",
                    "export it in parts, or as text",
                ));
            }
            if zip && let Some(entries) = text_entries(&bytes) {
                return self.zipped(path, &bytes, &entries);
            }
            return self.workbook(path, bytes);
        }
        self.text(path, None, reader, "", &|| reopened(path, false))
    }

    /// Values that hold for a whole file: from its name, then from the config's `[assume]`.
    fn fixed(&self, path: &Path) -> BTreeMap<Field, String> {
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

    fn no_header(path: &Path, sheet: Option<&str>, found: &str) -> Error {
        Error::input(
            Place::file(path).sheet(sheet),
            "a header naming at least a date, a model and a reading or an outcome within the first 100 lines",
            found,
            "say what its headers mean in leakdrift.toml: under [columns] a line \"HEADER AS EXPORTED\" = \"model\" for each",
        )
    }

    fn no_order(path: &Path, sheet: Option<&str>) -> Error {
        Error::input(
            Place::file(path).sheet(sheet),
            "dates that show which number is the day",
            "dates that could be read both ways",
            "set date_order = \"day-month-year\" or \"month-day-year\" in leakdrift.toml",
        )
    }

    fn add_table(
        &self,
        path: &Path,
        sheet: Option<&str>,
        flavour: String,
        layout: &Arc<Layout>,
        first: Vec<Vec<String>>,
    ) -> Result<u16> {
        let mut tables = self.tables.lock().expect("no thread panics holding it");
        let number = u16::try_from(tables.len()).map_err(|_| {
            Error::usage("more than 65 536 files and sheets", "review them in parts")
        })?;
        tables.push(Table {
            source: Source {
                file: path.to_owned(),
                sheet: sheet.map(str::to_owned),
            },
            flavour,
            layout: layout.clone(),
            first,
        });
        Ok(number)
    }

    fn send(&mut self, source: u16, layout: &Arc<Layout>, skip: usize, work: Work) {
        // The receivers live as long as the run; a closed channel only means that it is over.
        let _ = self.to_parse.send(Piece {
            number: self.number,
            source,
            layout: layout.clone(),
            skip,
            work,
        });
        self.number += 1;
    }

    fn text<'r>(
        &mut self,
        path: &Path,
        sheet: Option<&str>,
        mut reader: impl BufRead + 'r,
        packed: &str,
        again: &dyn Fn() -> std::io::Result<Box<dyn std::io::Read>>,
    ) -> Result<()> {
        let broken = |e: std::io::Error| {
            Error::input(
                Place::file(path).sheet(sheet),
                "a readable file",
                e.to_string(),
                "export it again",
            )
        };
        let encoding = text::encoding(reader.fill_buf().map_err(broken)?);
        let mut pieces = text::Pieces::new(text::decoded(reader, encoding));
        let Some(first) = pieces.next().map_err(broken)? else {
            return Err(Error::input(
                Place::file(path).sheet(sheet),
                "a table",
                "nothing",
                "export it again",
            ));
        };
        let Some((delimiter, mut layout)) =
            text::understand(&first.bytes, &self.headers, &self.fixed(path))
        else {
            let found = text::instead_of_header(&first.bytes, &self.headers, &self.fixed(path));
            return Err(Self::no_header(path, sheet, &found));
        };
        let (mut order, mut needed) =
            text::date_order(&first.bytes, delimiter, &layout, layout.header_rows);
        if order.is_none() && needed && self.config.date_order.is_none() {
            // The first piece cannot tell: look through the rest of the file.
            let mut rest = text::Pieces::new(text::decoded(again().map_err(broken)?, encoding));
            let mut skip = layout.header_rows;
            while order.is_none() {
                let Ok(Some(piece)) = rest.next() else { break };
                let (told, need) = text::date_order(&piece.bytes, delimiter, &layout, skip);
                (order, needed, skip) = (told, needed || need, 0);
            }
        }
        layout.order = order.or(self.config.date_order);
        if layout.order.is_none() && needed {
            return Err(Self::no_order(path, sheet));
        }
        let shown = match delimiter {
            b'\t' => "tab".to_owned(),
            d => format!("'{}'", char::from(d)),
        };
        let flavour = format!("text, {packed}{}, separator {shown}", encoding.name());
        let rows = text::first_rows(&first.bytes, delimiter, layout.header_rows);
        let layout = Arc::new(layout);
        let source = self.add_table(path, sheet, flavour, &layout, rows)?;
        let mut skip = layout.header_rows;
        let mut piece = first;
        loop {
            self.done_so_far(piece.bytes.len());
            self.send(source, &layout, skip, Work::Text { piece, delimiter });
            skip = 0;
            piece = match pieces.next() {
                Ok(Some(piece)) => piece,
                Ok(None) => return Ok(()),
                Err(e) => {
                    return Err(Error::input(
                        Place::file(path).sheet(sheet),
                        "a whole file",
                        format!("{e}, after what was read before it"),
                        "export it again; the rows before the damage are used",
                    ));
                }
            };
        }
    }

    fn done_so_far(&self, more: usize) {
        (self.progress)(
            (self.done + more as u64).min(self.all_bytes),
            self.all_bytes,
        );
    }

    fn zipped(&mut self, path: &Path, bytes: &[u8], entries: &[String]) -> Result<()> {
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
                    self.text(path, Some(name), reader, "zip, ", &|| {
                        again_from_zip(bytes, name, most)
                    })
                }
                Err(e) => Err(damaged(std::io::Error::other(e))),
            };
            if let Err(error) = outcome {
                self.fail(error);
            }
        }
        Ok(())
    }

    fn workbook(&mut self, path: &Path, bytes: Vec<u8>) -> Result<()> {
        if bytes.starts_with(b"PK") {
            unpacks_within_reason(&bytes).map_err(|e| {
                Error::input(
                    Place::file(path),
                    "a workbook",
                    e.to_string(),
                    "export it again",
                )
            })?;
            open_document::is_sound(&bytes).map_err(|e| {
                let place = Place {
                    row: e.row,
                    ..Place::file(path).sheet(e.sheet.as_deref())
                };
                Error::input(place, e.expected, e.found, "save it again")
            })?;
        }
        let sound = if bytes.starts_with(b"PK") {
            Ok(())
        } else {
            super::compound::is_sound(&bytes)
        };
        let mut book = sound
            .and_then(|()| workbook::Workbook::open(bytes))
            .map_err(|what| {
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
        let mut used = 0;
        for name in visible {
            let at = || Place::file(path).sheet(Some(&name));
            let sheet = match book.sheet(&name) {
                Ok(sheet) => sheet,
                Err(what) => {
                    self.fail(Error::input(
                        at(),
                        "a readable sheet",
                        what,
                        "export it again",
                    ));
                    continue;
                }
            };
            if sheet.is_cut_off() {
                self.read.notes.push(Note::new(format!(
                    "{}, sheet {name:?} ends on the last row a spreadsheet can hold: it is probably cut off; export it in parts",
                    path.display(),
                )));
            }
            let Some((mut layout, order, needed)) =
                workbook::understand(&sheet, &self.headers, &self.fixed(path))
            else {
                let found = workbook::instead_of_header(&sheet, &self.headers, &self.fixed(path));
                without.push((name, found));
                continue;
            };
            layout.order = order.or(self.config.date_order);
            if layout.order.is_none() && needed {
                self.fail(Self::no_order(path, Some(&name)));
                continue;
            }
            let rows = sheet.first_rows(layout.header_rows);
            let layout = Arc::new(layout);
            let source = self.add_table(path, Some(&name), "workbook".to_owned(), &layout, rows)?;
            used += 1;
            let skip = layout.header_rows;
            self.send(source, &layout, skip, Work::Sheet(Box::new(sheet)));
        }
        if used == 0 {
            let (name, found) = without
                .first()
                .map_or((None, "no sheet that can be read"), |(n, f)| {
                    (Some(n.as_str()), f)
                });
            return Err(Self::no_header(path, name, found));
        }
        if !without.is_empty() {
            let sheets: Vec<String> = without
                .iter()
                .map(|(name, found)| format!("{name} ({found})"))
                .collect();
            self.read.notes.push(Note::new(format!(
                "{}: no header was found in sheet {}, so it was not read; map its headers under [columns] if it holds results",
                path.display(),
                sheets.join(", "),
            )));
        }
        Ok(())
    }

    fn parquet(&mut self, path: &Path) -> Result<()> {
        let broken = |what: String| {
            Error::input(Place::file(path), "a Parquet file", what, "write it again")
        };
        let names = parquet::names(path).map_err(broken)?;
        let (head, fixed) = ([names], self.fixed(path));
        let (_, mut layout) =
            super::layout::find(&head, &[], &self.headers, &fixed).ok_or_else(|| {
                let (_, found) = super::layout::instead_of_header(&head, &self.headers, &fixed);
                Self::no_header(path, None, &found)
            })?;
        layout.header_rows = 0;
        layout.order = self.config.date_order;
        let layout = Arc::new(layout);
        let rows = parquet::first_rows(path, FIRST_ROWS).map_err(broken)?;
        let source = self.add_table(path, None, "Parquet".to_owned(), &layout, rows)?;
        let state = Arc::new(Mutex::new((self.number, 0_u64)));
        let (shared, to_parse, piece_layout) =
            (state.clone(), self.to_parse.clone(), layout.clone());
        let streamed = parquet::stream(path, move |frame| {
            let mut state = shared.lock().expect("no thread panics holding it");
            let height = frame.height() as u64;
            let piece = Piece {
                number: state.0,
                source,
                layout: piece_layout.clone(),
                skip: 0,
                work: Work::Frame {
                    frame,
                    first_row: state.1,
                },
            };
            state.0 += 1;
            state.1 += height;
            to_parse.send(piece).is_ok()
        });
        self.number = state.lock().expect("no thread panics holding it").0;
        streamed.map_err(broken)
    }
}

/// Size of a file and when it was last written: it changes where somebody still writes to it.
fn at_rest(path: &Path) -> std::io::Result<(u64, Option<SystemTime>)> {
    let facts = path.metadata()?;
    Ok((facts.len(), facts.modified().ok()))
}

/// Opens a file again, for a second look at its dates.
fn reopened(path: &Path, gzip: bool) -> std::io::Result<Box<dyn std::io::Read>> {
    let file = BufReader::new(File::open(path)?);
    Ok(if gzip {
        Box::new(flate2::bufread::MultiGzDecoder::new(file))
    } else {
        Box::new(file)
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
fn text_entries(bytes: &[u8]) -> Option<Vec<String>> {
    let archive = zip::ZipArchive::new(Cursor::new(bytes)).ok()?;
    let names: Vec<String> = archive
        .file_names()
        .filter_map(|n| Some(n.ok()?.into_owned()))
        .collect();
    if names
        .iter()
        .any(|n| n == "[Content_Types].xml" || n == "mimetype" || n == "content.xml")
    {
        return None;
    }
    let mut entries: Vec<String> = names
        .into_iter()
        .filter(|n| !n.ends_with('/') && !n.starts_with("__MACOSX"))
        .collect();
    entries.sort();
    Some(entries)
}
