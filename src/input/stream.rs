//! The reading itself: a producer, parsers in parallel, and batches in order.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};

use crossbeam_channel::{Receiver, Sender, bounded};

use self::producer::Producer;
use super::columns::{Field, Headers, squeeze};
use super::discover::{Found, discover};
use super::first_read;
use super::layout::{Lack, Layout, Undecided};
use super::mapped::Unmet;
use super::retold::Retelling;
use super::rows::Parser;
use super::same::{copies, leave_to_rows, refuse_held};
use super::spare::Spare;
use super::words::Words;
use super::{parquet, text, workbook};
use crate::config::Config;
use crate::error::{Error, Place, Result};
use crate::note::Note;
use crate::records::{Batch, Book, Source, SourceAt};

mod files;
mod opened;
mod producer;
mod tables;

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
    /// Whether its rows are told by a file of rows, in columns of ours.
    pub is_retold: bool,
}

/// A table that cannot be used as it stands.
#[derive(Debug, Clone)]
pub struct Refused {
    /// How it was understood, as far as it was.
    pub table: Table,
    /// What it cannot be used without.
    pub lacks: Vec<Lack>,
    /// Where it lacks nothing and two answers are possible: what must be decided.
    pub undecided: Option<Undecided>,
}

impl Table {
    /// Whether one of its columns is headed so, as headers are compared; or a line above them, or its path, gives
    /// what the settings take the header for.
    #[must_use]
    pub fn has_header(&self, header: &str, taken_for: &str) -> bool {
        let plain = squeeze(header);
        self.layout.names.iter().any(|name| squeeze(name) == plain)
            || Field::from_name(taken_for).is_some_and(|f| self.layout.fixed.contains_key(&f))
    }

    /// Whether it has the factor at this place of the settings.
    #[must_use]
    pub fn has_factor(&self, n: usize) -> bool {
        self.layout.groups.iter().any(|g| g.columns.factors.get(n).is_some_and(Option::is_some))
    }

    /// Whether its rows stand for several units each.
    #[must_use]
    pub fn is_tally(&self) -> bool {
        self.layout.groups.iter().any(|g| g.columns.get(Field::Count).is_some())
    }
}

/// What reading left behind, beside the batches.
#[derive(Debug, Default)]
pub struct Read {
    /// Tables in the order read; a record's source is an index into them.
    pub tables: Vec<Table>,
    /// Files in the order read.
    pub files: Vec<FileSeen>,
    /// Of these, those whose bytes an earlier one holds.
    pub copies: BTreeSet<PathBuf>,
    /// Files or sheets that could not be read, or not to their end.
    pub failures: Vec<Error>,
    /// Those of them, and sheets beside others, whose header or dates say too little.
    pub refused: Vec<Refused>,
    /// What a reader must know.
    pub notes: Vec<Note>,
    /// Words of the settings that no row has.
    pub unmet: Vec<Unmet>,
}

/// A piece of work for a parser.
struct Piece {
    number: u64,
    source: SourceAt,
    layout: Arc<Layout>,
    skip: usize,
    work: Work,
}

enum Work {
    Text { piece: text::TextPiece, retelling: Option<Arc<Retelling>>, delimiter: u8 },
    Sheet(Box<workbook::Sheet>),
    Frame { frame: polars::prelude::DataFrame, first_row: u64, places: Vec<first_read::Place> },
}

/// Reads all files behind `paths` and hands their records to `absorb`, batch by batch, in order;
/// `progress` is told of bytes read and of all bytes.
///
/// # Errors
/// Where no file is found.
pub fn read(
    paths: &[PathBuf],
    config: &Config,
    book: &Book,
    progress: &(dyn Fn(u64, u64) + Sync),
    mut absorb: impl FnMut(&mut Batch),
) -> Result<Read> {
    let Found { mut files, mut notes, failures } = discover(paths, config)?;
    notes.extend(leave_to_rows(&mut files));
    let (copies, of_copies) = copies(&files);
    refuse_held(&files, &copies)?;
    notes.extend(of_copies);
    let words = Words::new(config)?;
    let all_bytes: u64 = files.iter().filter_map(|f| f.metadata().ok()).map(|m| m.len()).sum();
    let workers = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
    let (to_parse, parse_from) = bounded::<Piece>(workers + 1);
    let (to_absorb, absorb_from) = bounded::<(u64, Batch)>(workers + 1);
    let (texts, batches) = (Arc::new(Spare::default()), Spare::default());
    let tables: Mutex<Vec<Table>> = Mutex::new(Vec::new());
    let failures: Mutex<Vec<Error>> = Mutex::new(failures);
    let mut read = std::thread::scope(|scope| {
        let producer = scope.spawn(|| {
            let mut producer = Producer {
                config,
                headers: Headers::new(config),
                to_parse,
                spare: texts.clone(),
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
            let (texts, batches) = (texts.clone(), &batches);
            scope.spawn(move || {
                let spare = (&*texts, batches);
                parse_all(&from, &to, words, book, tables, failures, spare);
            });
        }
        drop((parse_from, to_absorb));
        let mut waiting: BTreeMap<u64, Batch> = BTreeMap::new();
        let mut next = 0;
        let mut other_table: Option<(SourceAt, u32)> = None;
        for (number, batch) in absorb_from {
            waiting.insert(number, batch);
            while let Some(mut batch) = waiting.remove(&next) {
                // A table that began in an earlier piece of the same source goes on in this one.
                let source = batch.records.first().map(|r| r.source);
                if let Some((_, line)) = other_table.filter(|(of, _)| Some(*of) == source) {
                    batch.refuse(line);
                }
                other_table = batch.other_table.or(other_table);
                absorb(&mut batch);
                batches.give(batch.emptied());
                next += 1;
            }
        }
        producer.join().expect("the reading thread does not panic")
    });
    read.notes.extend(notes);
    read.tables = tables.into_inner().expect("no thread panics holding it");
    read.notes.extend(told(&read.tables));
    read.unmet = words.unmet(config);
    read.copies = copies;
    read.failures = failures.into_inner().expect("no thread panics holding it");
    Ok(read)
}

/// What is told of how columns were chosen: once for all tables of which it is told.
fn told(tables: &[Table]) -> Vec<Note> {
    let mut all: BTreeMap<&Note, Vec<&Source>> = BTreeMap::new();
    for table in tables {
        for note in &table.layout.told {
            all.entry(note).or_default().push(&table.source);
        }
    }
    let with_files = |(note, of): (&Note, Vec<&Source>)| {
        let more = match of.len() {
            1 => String::new(),
            n => format!(" and {} more", n - 1),
        };
        Note { text: format!("{}{more}: {}", of[0], note.text), first: note.first }
    };
    all.into_iter().map(with_files).collect()
}

fn parse_all(
    from: &Receiver<Piece>,
    to: &Sender<(u64, Batch)>,
    words: &Words,
    book: &Book,
    tables: &Mutex<Vec<Table>>,
    failures: &Mutex<Vec<Error>>,
    (texts, batches): (&Spare<Vec<u8>>, &Spare<Batch>),
) {
    for piece in from {
        let mut parser = Parser::new(words, book, &piece.layout, piece.source, batches.take());
        match &piece.work {
            Work::Text { piece: bytes, retelling, delimiter } => {
                text::parse(bytes, retelling.as_deref(), *delimiter, piece.skip, &mut parser);
            }
            Work::Sheet(sheet) => workbook::parse(sheet, piece.skip, &mut parser),
            Work::Frame { frame, first_row, places } => {
                if let Err(what) = parquet::parse(frame, *first_row, places, &mut parser) {
                    let path = tables.lock().expect("no thread panics holding it")
                        [piece.source.index()]
                    .source
                    .file
                    .clone();
                    failures.lock().expect("no thread panics holding it").push(Error::input(
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
        if let Work::Text { piece: text::TextPiece { mut bytes, .. }, .. } = piece.work {
            bytes.clear();
            texts.give(bytes);
        }
    }
}
