//! Print files: columns that stand one below the other, with blanks between them.
//!
//! Where a column ends is told by what is blank in the header and in nearly all rows (`Gaps`); in each row it ends
//! at the longest blank there, so a word that is longer than the others keeps its end. A line that crosses a gap is
//! no row: with as many numbers as a row it is told as damage, else it is a title.

use std::ops::Range;

use super::lines::{COLUMNS_MOST, Damaged, Told, push_line};
use crate::input::columns::{Headers, Meaning};
use crate::input::layout::HEADER_WITHIN;

/// Lines looked at.
const LINES: usize = 20_000;
/// Longest line, in characters.
const LONGEST: usize = 4096;
/// Fewest columns.
const COLUMNS: usize = 4;
/// Of so many rows one may stand in a gap, and of few rows none.
const ONE_IN: usize = 10;
const FEW: usize = 4;

/// Places between columns, in characters.
#[derive(Debug)]
pub struct Gaps(Vec<Range<usize>>);

impl Gaps {
    /// The gaps of a text; `None` where no line is a header above columns.
    pub fn of(text: &str, headers: &Headers) -> Option<Self> {
        let lines: Vec<&str> = text.lines().take(LINES).map(bare).collect();
        let known = |words: &mut dyn Iterator<Item = &str>| {
            words.filter(|w| headers.meaning(w) != Meaning::Unknown).count()
        };
        let says =
            |line: &str| known(&mut line.split_whitespace()).max(known(&mut line.split("  ")));
        let within = lines.len().min(HEADER_WITHIN);
        let at = (0..within).rev().max_by_key(|&n| says(lines[n]))?;
        let header: Vec<char> = lines[at].chars().collect();
        let words = lines[at].split_whitespace().count();
        let body = lines[at + 1..].iter().filter(|line| {
            is_told(line) && **line != lines[at] && line.split_whitespace().count() * 2 >= words
        });
        let (mut filled, mut rows) = (Vec::new(), 0);
        for line in body {
            rows += 1;
            for (n, c) in line.chars().take(LONGEST).enumerate() {
                if filled.len() <= n {
                    filled.resize(n + 1, 0_usize);
                }
                filled[n] += usize::from(!c.is_whitespace());
            }
        }
        if rows == 0 {
            return None;
        }
        // One row, or one in ten, may stand in a gap.
        let stray = if rows < FEW { 0 } else { (rows / ONE_IN).max(1) };
        let is_filled = |n: usize| filled.get(n).is_some_and(|f| *f > stray);
        let is_named = |n: usize| header.get(n).is_some_and(|c| !c.is_whitespace());
        let end = header.len().max(filled.len());
        let mut spans: Vec<Range<usize>> = Vec::new();
        for n in (0..end).filter(|&n| is_filled(n) || is_named(n)) {
            match spans.last_mut() {
                Some(span) if span.end == n => span.end = n + 1,
                _ => spans.push(n..n + 1),
            }
        }
        let title = |span: &Range<usize>| -> String {
            header.iter().skip(span.start).take(span.len()).collect::<String>().trim().to_owned()
        };
        let is_known = |span: &Range<usize>| headers.meaning(&title(span)) != Meaning::Unknown;
        // A rule in pieces below the header says where columns are.
        let ruled = lines.get(at + 1).and_then(|line| ruled(line));
        let spans = ruled.unwrap_or_else(|| {
            joined(spans, &|s| !title(s).is_empty(), &|s| s.clone().any(is_filled), &is_known)
        });
        if !(COLUMNS..=COLUMNS_MOST).contains(&spans.len())
            || spans.iter().filter(|s| is_known(s)).count() < 3
        {
            return None;
        }
        Some(Self(spans.windows(2).map(|pair| pair[0].end..pair[1].start).collect()))
    }

    /// Tells lines, the first of this number.
    pub fn tell(&self, text: &str, first_line: u64, told: &mut Told) {
        for (line, written) in (first_line..).zip(text.split_inclusive('\n')) {
            let written = bare(written);
            if !is_told(written) {
                told.text.push(b'\n');
                continue;
            }
            let split = self.split(written);
            // A page title has numbers too, but few.
            let numbers =
                written.split_whitespace().filter(|w| w.contains(|c: char| c.is_ascii_digit()));
            match split {
                // A word alone is no row: without the columns that it would bring along.
                Some(cells) if cells.iter().filter(|c| !c.is_empty()).count() < 2 => {
                    push_line(&mut told.text, [written.trim()]);
                }
                Some(cells) => push_line(&mut told.text, cells),
                None if numbers.count() * 2 > self.0.len() => {
                    let (expected, found) =
                        ("cells that stand under their headers", written.to_owned());
                    told.damaged.push(Damaged { line, expected, found });
                    told.text.push(b'\n');
                }
                None => push_line(&mut told.text, [written.trim()]),
            }
        }
        if !text.ends_with('\n') {
            told.text.pop();
        }
    }

    /// The cells of a line; `None` where it crosses a gap.
    fn split<'l>(&self, line: &'l str) -> Option<Vec<&'l str>> {
        let places: Vec<(usize, char)> = line.char_indices().collect();
        let mut cells = Vec::new();
        let mut from = 0;
        for gap in &self.0 {
            let inside = places.get(gap.start..gap.end.min(places.len())).unwrap_or_default();
            let at = if inside.len() < gap.len() {
                // The line ends here or before.
                places.get(gap.end).map_or(line.len(), |(at, _)| *at)
            } else {
                longest_blank(inside)?
            };
            cells.push(line[from.min(at)..at].trim());
            from = at;
        }
        cells.push(line[from..].trim());
        Some(cells)
    }
}

/// Where the longest run of blanks begins; `None` where there is none or two are equal.
fn longest_blank(places: &[(usize, char)]) -> Option<usize> {
    let runs = places.chunk_by(|a, b| a.1.is_whitespace() == b.1.is_whitespace());
    let mut blanks: Vec<&[(usize, char)]> = runs.filter(|r| r[0].1.is_whitespace()).collect();
    blanks.sort_by_key(|run| std::cmp::Reverse(run.len()));
    match blanks.as_slice() {
        [a, b, ..] if a.len() == b.len() => None,
        [a, ..] => Some(a[0].0),
        [] => None,
    }
}

/// A line without its end and the feed of a page.
fn bare(line: &str) -> &str {
    line.trim_end().trim_start_matches('\u{c}')
}

/// Whether a line says anything: a rule below a header does not.
fn is_told(line: &str) -> bool {
    line.contains(|c: char| !c.is_whitespace() && !"-=_+*|".contains(c))
}

/// The columns of a rule below a header: `---------- -------- -----`; `None` where it is none, or in one piece.
fn ruled(line: &str) -> Option<Vec<Range<usize>>> {
    let places: Vec<(usize, char)> = line.chars().enumerate().collect();
    let pieces = places.chunk_by(|a, b| a.1.is_whitespace() == b.1.is_whitespace());
    let spans: Vec<Range<usize>> = pieces
        .filter(|piece| !piece[0].1.is_whitespace())
        .map(|piece| piece[0].0..piece[piece.len() - 1].0 + 1)
        .collect();
    (!is_told(line) && spans.len() >= COLUMNS).then_some(spans)
}

/// Columns of which each has a header, and a header of two words is one.
fn joined(
    spans: Vec<Range<usize>>,
    has_title: &dyn Fn(&Range<usize>) -> bool,
    has_body: &dyn Fn(&Range<usize>) -> bool,
    is_known: &dyn Fn(&Range<usize>) -> bool,
) -> Vec<Range<usize>> {
    let mut kept: Vec<Range<usize>> = Vec::new();
    for span in spans {
        let Some(last) = kept.last_mut() else {
            kept.push(span);
            continue;
        };
        let both = last.start..span.end;
        let side_by_side = span.start == last.end + 1;
        let one_word_each = side_by_side && !(has_body(last) && has_body(&span));
        if !has_title(&span) || (one_word_each && is_known(&both)) {
            *last = both;
        } else {
            kept.push(span);
        }
    }
    kept
}
