//! Delimited text: any delimiter and preamble → pieces of UTF-8 cut at record ends.
//!
//! The `csv` crate splits the records, not polars: it knows the line of every record and a damaged
//! record does not cost the file (polars gives no line numbers and either stops at a ragged row or cuts
//! it without a word). Pieces are parsed in parallel, which makes up for its speed.
//!
//! A quote that does not close does not swallow rows. A line with an odd number of quotes is first taken as it
//! stands: as wide as the header, every quote where it belongs, and lines inside a remark or a column that is not
//! used, whatever they look like. Else it may run on only over lines that are no whole rows themselves (at most
//! 64), or it stands alone as one damaged row (`whole_records`). Stray quotes around a cell are taken off: `M1"` is no other model.

use std::collections::{BTreeMap, VecDeque};
use std::io::Read;
use std::sync::Arc;

use super::cell::Cell;
use super::columns::{Field, Headers};
use super::dates::DatesSeen;
use super::encoding::Letters;
use super::layout::{LOOKED_AT, Layout, MOST_COLUMNS, Partial, find, header_text, titles};
use super::numbers::SignsSeen;
use super::retold::{Damaged, Retelling};
use super::rows::Parser;
use super::spare::Spare;

/// Size of a piece in bytes.
const PIECE: usize = 4 << 20;
/// A quoted field may run over a piece's end; beyond this size a quote is taken for damage.
const LONGEST_PIECE: usize = 64 << 20;
/// Delimiters tried; of two that explain as much, the first.
const DELIMITERS: [u8; 4] = [b';', b'\t', b',', b'|'];
/// Records looked at for the decimal sign.
const SAMPLE: usize = 5000;
/// From one short row in so many on, short rows are the exporter's manner and not damage.
const TRIMS_FROM: usize = 10;
/// Lines that one quoted field may run over.
const LINES_OF_A_FIELD: usize = 64;

/// Cuts a UTF-8 stream into pieces at record ends.
pub struct Pieces<R> {
    reader: R,
    /// What pieces are read into.
    spare: Arc<Spare<Vec<u8>>>,
    /// Read before they were asked for.
    ahead: VecDeque<TextPiece>,
    rest: Vec<u8>,
    line: u64,
    /// Whether each line is a record.
    by_lines: bool,
    done: bool,
    broken: Option<std::io::Error>,
}

/// A piece of a text table.
#[derive(Debug)]
pub struct TextPiece {
    /// Whole records.
    pub bytes: Vec<u8>,
    /// Line of its first record, counted from 1.
    pub first_line: u64,
    /// Lines of it that could not be told, where it was told from another form.
    pub damaged: Vec<Damaged>,
}

impl<R: Read> Pieces<R> {
    /// Pieces of `reader`, read into buffers of `spare`.
    pub fn new(reader: R, spare: &Arc<Spare<Vec<u8>>>) -> Self {
        Self {
            reader,
            spare: spare.clone(),
            ahead: VecDeque::new(),
            rest: Vec::new(),
            line: 1,
            by_lines: false,
            done: false,
            broken: None,
        }
    }

    /// Those of another reader, read into the same buffers.
    pub fn after<S: Read>(&self, reader: S) -> Pieces<S> {
        Pieces::new(reader, &self.spare)
    }

    /// The same, where the first line has another number than 1.
    #[must_use]
    pub fn numbered_from(mut self, line: u64) -> Self {
        self.line = line;
        self
    }

    /// The next piece, or `None` at the end.
    ///
    /// # Errors
    /// What reading gave, for example a cut gzip stream, after everything that was read before it.
    pub fn next(&mut self) -> std::io::Result<Option<TextPiece>> {
        match self.ahead.pop_front() {
            Some(piece) => Ok(Some(piece)),
            None => self.read_piece(),
        }
    }

    /// Shows pieces that were not asked for yet, and keeps them, until `look` has seen enough or `most` bytes are
    /// held. What goes wrong on the way is told once all before it is given.
    pub fn look_ahead(&mut self, most: usize, mut look: impl FnMut(&TextPiece) -> bool) {
        let mut held = 0;
        while held < most {
            match self.read_piece() {
                Ok(Some(piece)) => {
                    held += piece.bytes.len();
                    let more = look(&piece);
                    self.ahead.push_back(piece);
                    if !more {
                        return;
                    }
                }
                Ok(None) => return,
                Err(e) => {
                    self.broken = Some(e);
                    return;
                }
            }
        }
    }

    fn read_piece(&mut self) -> std::io::Result<Option<TextPiece>> {
        let mut bytes = self.spare.take();
        bytes.append(&mut self.rest);
        let mut want = PIECE;
        loop {
            if bytes.len() < want && !self.done {
                bytes.reserve_exact(want - bytes.len());
                let missing = (want - bytes.len()) as u64;
                match self.reader.by_ref().take(missing).read_to_end(&mut bytes) {
                    Ok(n) => self.done = (n as u64) < missing,
                    Err(e) => {
                        self.done = true;
                        self.broken = Some(e);
                    }
                }
            }
            if bytes.is_empty() {
                return self.broken.take().map_or(Ok(None), Err);
            }
            // Objects stand one a line, and quotes in them mean nothing.
            self.by_lines |= self.line == 1 && bytes.trim_ascii_start().starts_with(b"{");
            let end = match (self.done, self.by_lines) {
                (true, _) => Some(bytes.len()),
                (false, true) => memchr_last(&bytes),
                (false, false) => record_end(&bytes),
            };
            let end = match end {
                Some(end) => end,
                None if bytes.len() >= LONGEST_PIECE => memchr_last(&bytes).unwrap_or(bytes.len()),
                None => {
                    want += PIECE;
                    continue;
                }
            };
            self.rest.extend_from_slice(&bytes[end..]);
            bytes.truncate(end);
            let first_line = self.line;
            self.line += lines_in(&bytes);
            return Ok(Some(TextPiece { bytes, first_line, damaged: Vec::new() }));
        }
    }
}

fn memchr_last(bytes: &[u8]) -> Option<usize> {
    memchr::memrchr(b'\n', bytes).map(|n| n + 1)
}

/// After the last line end that no open quote encloses.
fn record_end(bytes: &[u8]) -> Option<usize> {
    let last = memchr_last(bytes)?;
    let quotes = memchr::memchr_iter(b'"', &bytes[..last]).count();
    if quotes.is_multiple_of(2) {
        return Some(last);
    }
    // Step back line by line until the quotes before are even.
    let mut end = last;
    let mut open = quotes;
    while let Some(previous) = memchr_last(&bytes[..end - 1]) {
        open -= bytes[previous..end].iter().filter(|b| **b == b'"').count();
        end = previous;
        if open.is_multiple_of(2) {
            return Some(end);
        }
    }
    None
}

fn records(bytes: &[u8], delimiter: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(bytes)
}

/// The first `limit` records of a piece as text.
fn head(bytes: &[u8], delimiter: u8, limit: usize) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    let mut record = csv::ByteRecord::new();
    let mut reader = records(bytes, delimiter);
    while rows.len() < limit && reader.read_byte_record(&mut record).unwrap_or(false) {
        rows.push(
            record
                .iter()
                .take(MOST_COLUMNS)
                .map(|c| header_text(&String::from_utf8_lossy(c)))
                .collect(),
        );
    }
    rows
}

/// The first rows below the header, as written.
#[must_use]
pub fn first_rows(piece: &[u8], delimiter: u8, header_rows: usize) -> Vec<Vec<String>> {
    let rows = head(piece, delimiter, header_rows + super::layout::FIRST_ROWS);
    rows.into_iter().skip(header_rows).collect()
}

/// The delimiter and layout of a table from its first piece, those that explain most columns, and what its
/// numbers show.
///
/// # Errors
/// Where no way to split it gives a usable header: the one that says most.
pub fn understand(
    piece: &[u8],
    headers: &Headers,
    fixed: &BTreeMap<Field, String>,
) -> Result<(u8, Layout, SignsSeen), (u8, Box<Partial>)> {
    let mut best: Option<(usize, u8, Layout)> = None;
    let mut nearest: Option<(u8, Box<Partial>)> = None;
    for delimiter in DELIMITERS {
        let rows = head(piece, delimiter, LOOKED_AT);
        // The lines before the header depend on it and it on them: a first look without them.
        let mut known = titles(&rows[..rows.len().min(30)], headers);
        known.extend(fixed.iter().map(|(k, v)| (*k, v.clone())));
        match find(&rows, &[], headers, &known) {
            Ok((score, mut layout)) => {
                layout.settle(&rows, headers, fixed);
                if best.as_ref().is_none_or(|(s, _, _)| score > *s) {
                    best = Some((score, delimiter, layout));
                }
            }
            Err(mut partial) => {
                partial.layout.settle(&rows, headers, fixed);
                if nearest.as_ref().is_none_or(|(_, p)| partial.says() > p.says()) {
                    nearest = Some((delimiter, partial));
                }
            }
        }
    }
    let Some((_, delimiter, mut layout)) = best else {
        return Err(nearest.expect("each delimiter gives one or the other"));
    };
    let rows = head(piece, delimiter, SAMPLE);
    layout.take_units_row(&rows);
    layout.trims = trims(&rows, &layout);
    let mut signs = signs(&rows, &layout);
    if signs.decide().is_err() {
        signs = self::signs(&head(piece, delimiter, usize::MAX), &layout);
    }
    Ok((delimiter, layout, signs))
}

/// Whether so many rows are shorter than the header that it is this exporter's manner.
fn trims(rows: &[Vec<String>], layout: &Layout) -> bool {
    let body = rows.iter().skip(layout.header_rows);
    let (mut short, mut all) = (0, 0);
    for row in body.filter(|r| r.iter().filter(|c| !c.trim().is_empty()).count() > 3) {
        all += 1;
        short += usize::from(row.len() < layout.names.len());
    }
    short * TRIMS_FROM > all
}

fn signs(rows: &[Vec<String>], layout: &Layout) -> SignsSeen {
    let mut signs = SignsSeen::default();
    for row in rows.iter().skip(layout.header_rows) {
        layout.look_at_numbers(&mut signs, |n| row.get(n).map(String::as_str));
    }
    signs
}

/// Looks at the dates and times of a piece, after the first `skip` records.
pub fn look_at_dates(
    piece: &[u8],
    delimiter: u8,
    layout: &Layout,
    skip: usize,
    dates: &mut DatesSeen,
) {
    let (date, time) = (layout.date_column(), layout.time_column());
    let mut record = csv::ByteRecord::new();
    let mut reader = records(piece, delimiter);
    let mut seen = 0_usize;
    while reader.read_byte_record(&mut record).unwrap_or(false) {
        seen += 1;
        if seen <= skip {
            continue;
        }
        let text = |column: Option<usize>| match record.get(column?).map(Cell::from_bytes) {
            Some(Cell::Text(text)) => Some(text),
            _ => None,
        };
        if let Some(text) = text(date) {
            dates.look(text);
        }
        if let Some(text) = text(time) {
            dates.look_at_time(text);
        }
    }
}

/// Parses the records of a piece, after the first `skip`; `retelling` makes them of what stands there.
pub fn parse(
    piece: &TextPiece,
    retelling: Option<&Retelling>,
    delimiter: u8,
    skip: usize,
    parser: &mut Parser<'_>,
) {
    let (decoded, told);
    let mut bytes: &[u8] = if std::str::from_utf8(&piece.bytes).is_ok() {
        &piece.bytes
    } else {
        // The first bytes looked like UTF-8 and these do not: a single-byte file with few accents.
        decoded = Letters::of_one_byte(&piece.bytes).decode(&piece.bytes);
        decoded.as_bytes()
    };
    let mut damaged = &piece.damaged;
    if let Some(retelling) = retelling {
        told = retelling.tell(bytes, piece.first_line, parser.headers());
        (bytes, damaged) = (&told.text, &told.damaged);
    }
    for Damaged { line, expected, found } in damaged {
        parser.damaged(*line, expected, found);
    }
    // A test takes some bytes: a text of line ends promises nothing.
    parser.expect(lines_in(bytes).min(bytes.len() as u64 / 32));
    let mut skip = skip;
    let mut line = piece.first_line;
    for part in whole_records(bytes, delimiter, parser.layout()) {
        let part = &bytes[part];
        parse_part(part, line, delimiter, &mut skip, parser);
        line += lines_in(part);
    }
}

fn lines_in(bytes: &[u8]) -> u64 {
    memchr::memchr_iter(b'\n', bytes).count() as u64
}

/// Parts of a piece in which every quote that opens also closes where it should.
///
/// A quote that does not close would swallow the rows after it, up to the next stray one, without a word.
/// A line that leaves a quote open may run on only over lines that are no whole rows themselves; else it
/// stands in a part of its own, where it is one damaged row.
fn whole_records(bytes: &[u8], delimiter: u8, layout: &Layout) -> Vec<std::ops::Range<usize>> {
    if memchr::memchr(b'"', bytes).is_none() {
        return std::iter::once(0..bytes.len()).collect();
    }
    let is_open = |line: &[u8]| line.iter().filter(|b| **b == b'"').count() % 2 == 1;
    let width = layout.names.len().max(2);
    let is_row = |line: &[u8]| line.iter().filter(|b| **b == delimiter).count() + 1 >= width;
    let mut parts = Vec::new();
    let (mut from, mut at) = (0, 0);
    while at < bytes.len() {
        let end = line_end(bytes, at);
        if !is_open(&bytes[at..end]) {
            at = end;
            continue;
        }
        if let Some(after) = as_it_stands(&bytes[at..], delimiter, layout) {
            at += after;
            continue;
        }
        let mut next = end;
        let mut closed = None;
        for _ in 0..LINES_OF_A_FIELD {
            if next >= bytes.len() {
                break;
            }
            let after = line_end(bytes, next);
            let line = &bytes[next..after];
            if is_row(line) {
                break;
            }
            next = after;
            if is_open(line) {
                closed = Some(after);
                break;
            }
        }
        match closed {
            Some(after) => at = after,
            None => {
                parts.extend([from..at, at..end]);
                (from, at) = (end, end);
            }
        }
    }
    parts.push(from..bytes.len());
    parts
}

/// The end of a record of several lines that is sound as it stands; `None` where it is not, or is one line.
fn as_it_stands(bytes: &[u8], delimiter: u8, layout: &Layout) -> Option<usize> {
    let within = (0..=LINES_OF_A_FIELD).fold(0, |end, _| line_end(bytes, end));
    let bytes = &bytes[..within];
    let ends_cell = |b: Option<&u8>| b.is_none_or(|b| [delimiter, b'\r', b'\n'].contains(b));
    let (mut at, mut column, mut runs_on) = (0, 0, false);
    loop {
        if bytes.get(at) == Some(&b'"') {
            let from = at + 1;
            loop {
                at += 1 + bytes[at + 1..].iter().position(|b| *b == b'"')?;
                if bytes.get(at + 1) != Some(&b'"') {
                    break;
                }
                at += 1;
            }
            let inside = bytes[from..at].contains(&b'\n');
            runs_on |= inside;
            at += 1;
            if inside && !layout.is_prose(column) || !ends_cell(bytes.get(at)) {
                return None;
            }
        }
        while !ends_cell(bytes.get(at)) {
            at += 1;
        }
        if bytes.get(at) == Some(&delimiter) {
            (at, column) = (at + 1, column + 1);
            continue;
        }
        return (runs_on && column + 1 == layout.names.len()).then(|| line_end(bytes, at));
    }
}

/// After the line that begins at `at`.
fn line_end(bytes: &[u8], at: usize) -> usize {
    bytes[at..].iter().position(|b| *b == b'\n').map_or(bytes.len(), |n| at + n + 1)
}

fn parse_part(
    bytes: &[u8],
    first_line: u64,
    delimiter: u8,
    skip: &mut usize,
    parser: &mut Parser<'_>,
) {
    if bytes.is_empty() {
        return;
    }
    if is_plain(bytes) {
        return parse_lines(bytes, first_line, delimiter, skip, parser);
    }
    let mut reader = records(bytes, delimiter);
    let mut record = csv::ByteRecord::new();
    let (mut counted_to, mut line) = (0_usize, first_line);
    loop {
        match reader.read_byte_record(&mut record) {
            Ok(false) => return,
            Ok(true) => {}
            Err(_) => {
                parser.damaged(line, "a record", "bytes that cannot be split");
                return;
            }
        }
        let mut start = record.position().map_or(0, |p| usize::try_from(p.byte()).unwrap_or(0));
        while matches!(bytes.get(start), Some(b'\n' | b'\r')) {
            start += 1;
        }
        line += lines_in(&bytes[counted_to..start]);
        counted_to = start;
        if *skip > 0 {
            *skip -= 1;
            continue;
        }
        parser.text_row(line, record.len(), &|n| &record[n]);
    }
}

/// Whether each line is a record and each delimiter ends a cell: no quote, and lines end in one way.
fn is_plain(bytes: &[u8]) -> bool {
    memchr::memchr(b'"', bytes).is_none()
        && memchr::memchr_iter(b'\r', bytes).all(|at| bytes.get(at + 1) == Some(&b'\n'))
}

/// Parses records that are lines, as the `csv` crate would split them, but without copying them.
fn parse_lines(
    bytes: &[u8],
    first_line: u64,
    delimiter: u8,
    skip: &mut usize,
    parser: &mut Parser<'_>,
) {
    // Where the cells of a line begin, and behind them where one more would.
    let mut begins = Vec::new();
    let (mut from, mut line) = (0, first_line);
    let mut stops = memchr::memchr2_iter(delimiter, b'\n', bytes);
    while from < bytes.len() {
        begins.clear();
        begins.push(from);
        let end = loop {
            match stops.next() {
                Some(at) if bytes[at] == b'\n' => break at,
                Some(at) => begins.push(at + 1),
                None => break bytes.len(),
            }
        };
        let text_end = if bytes[from..end].ends_with(b"\r") { end - 1 } else { end };
        if text_end > from {
            if *skip > 0 {
                *skip -= 1;
            } else {
                begins.push(text_end + 1);
                let cell = |n: usize| &bytes[begins[n]..begins[n + 1] - 1];
                parser.text_row(line, begins.len() - 1, &cell);
            }
        }
        (from, line) = (end + 1, line + 1);
    }
}
