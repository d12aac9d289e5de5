//! Every row that was not used, as a list for people: what was unreadable, and what was set aside.
//!
//! Here, since only this room sees rows; pages and the CSV file show the list as it is.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::{Pass, Says, Series, Test, Tests};
use crate::input::{OTHER_ORDER, OUTCOME_EXPECTED};
use crate::note::Note;
use crate::records::{Outcome, Source, SourceAt, Unreadable, pa_to_ma};
use crate::words::path_text;
use crate::words::time::time_text;

/// Unreadable rows that may be failures, as a share of the failures counted, from which they are told first: fewer
/// move no share of failures by more than the hundredth part.
const LOST_SHARE: u64 = 100;
/// Unreadable rows told first: more than one in so many of those read.
const LOST_ROWS: u64 = 20;
/// Most words shown for outcomes that are not known.
const WORDS_SHOWN: usize = 5;

/// What is said first of unreadable rows that failed or whose outcome could not be read: they are no random loss.
pub(super) fn lost_failures(unreadable: &[Unreadable], series: &[Series]) -> Option<Note> {
    let mut by_outcome: BTreeMap<&str, u64> = BTreeMap::new();
    let mut words: BTreeMap<&str, u64> = BTreeMap::new();
    for row in unreadable.iter().filter(|r| r.outcome != Some(Outcome::Pass)) {
        match row.outcome {
            Some(outcome) => *by_outcome.entry(outcome.words()).or_default() += 1,
            None if row.expected.starts_with(OUTCOME_EXPECTED) => {
                *words.entry(&row.found).or_default() += 1;
            }
            None => {}
        }
    }
    let lost: u64 = by_outcome.values().chain(words.values()).sum();
    let failed: u64 = series.iter().map(|s| s.units() - s.count(Outcome::Pass)).sum();
    if lost == 0 || lost * LOST_SHARE <= failed {
        return None;
    }
    let mut counted: Vec<String> =
        by_outcome.iter().map(|(outcome, n)| format!("{n} {outcome}")).collect();
    let mut common: Vec<(&&str, &u64)> = words.iter().collect();
    common.sort_by_key(|(_, n)| std::cmp::Reverse(**n));
    counted.extend(common.iter().take(WORDS_SHOWN).map(|(word, n)| format!("{n} {word:?}")));
    if let Some(rest) = common.get(WORDS_SHOWN..)
        && !rest.is_empty()
    {
        counted.push(format!("{} other words", rest.len()));
    }
    Some(Note::first(format!(
        "{lost} unreadable rows may be failures, and are missing among the {failed} counted: {}; put right what rows-not-used.csv says of them, or map the words under [outcomes]",
        counted.join(", ")
    )))
}

/// What is said of failures of which nothing tells the class.
pub(super) fn no_class(series: &[Series]) -> Option<Note> {
    let failed: u64 = series.iter().map(|s| s.count(Outcome::Failed)).sum();
    (failed > 0).then(|| {
        Note::new(format!(
            "{failed} failures have no class: where no high limit is known nothing tells a trip from a breakdown, and they say nothing of the leakage; state high_limit_ma under [model.\"NAME\"], or map the outcome words under [outcomes]"
        ))
    })
}

/// Whether a row was not understood since its date does not fit the order of the others.
#[must_use]
pub fn in_other_order(row: &Unreadable) -> bool {
    &*row.expected == OTHER_ORDER
}

/// What is said first where more than a twentieth of the rows read could not be understood: whatever they say is
/// missing, and it is no random loss.
pub(super) fn many(unreadable: &[Unreadable], read: u64, sources: &[Arc<Source>]) -> Option<Note> {
    let lost = unreadable.len() as u64;
    if lost == 0 || lost * LOST_ROWS <= read {
        return None;
    }
    let mut reasons: BTreeMap<_, (u64, &Unreadable)> = BTreeMap::new();
    for row in unreadable {
        reasons.entry((&*row.column, &*row.expected)).or_insert((0, row)).0 += 1;
    }
    let (rows, first) = reasons.into_values().max_by_key(|(rows, _)| *rows)?;
    Some(Note::first(format!(
        "{lost} of {read} rows cannot be read and are missing in all that follows; most of them, {rows}, as row {} of {}: expected {}, found {:?}; rows-not-used.csv lists them",
        first.line,
        sources[first.source.index()],
        first.expected,
        first.found,
    )))
}

/// What is said first of tables in which dates of both orders stand: those of their other rows that could be read
/// both ways may be wrong. Within its first piece such a table is refused; here are those of which later rows tell.
pub(super) fn two_orders<'a>(
    unreadable: &[Unreadable],
    sources: &'a [Arc<Source>],
) -> impl Iterator<Item = Note> + 'a {
    let mut first: BTreeMap<SourceAt, (u64, u32, Arc<str>)> = BTreeMap::new();
    for row in unreadable.iter().filter(|r| in_other_order(r)) {
        first.entry(row.source).or_insert_with(|| (0, row.line, row.found.clone())).0 += 1;
    }
    first.into_iter().map(|(source, (rows, line, found))| {
        Note::first(format!(
            "{}: dates in two orders: {rows} rows from row {line} on ({found:?}) do not fit the order of the rows before, of which those that can be read both ways may be wrong; export it again with one order",
            sources[source.index()]
        ))
    })
}

/// One row that was not used.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct NotUsed {
    /// File as found.
    pub file: String,
    /// Sheet, or empty.
    pub sheet: String,
    /// Line or row.
    pub row: u32,
    /// Which test of the row.
    pub part: u8,
    /// What became of it.
    pub kind: NotUsedKind,
    /// Reason, or the column that is wrong.
    pub reason: String,
    /// What was expected; empty for rows set aside.
    pub expected: String,
    /// What was found; for rows set aside, what the row says.
    pub found: String,
    /// Model.
    pub model: String,
    /// Serial.
    pub serial: String,
    /// When.
    pub tested_at: String,
}

/// What became of a row that was not used; in the order of the words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum NotUsedKind {
    /// Understood, and not counted.
    SetAside,
    /// Not understood.
    Unreadable,
}

impl NotUsedKind {
    /// As the list writes it.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::SetAside => "set aside",
            Self::Unreadable => "unreadable",
        }
    }
}

impl NotUsed {
    /// Whether the row was not understood.
    #[must_use]
    pub fn is_unreadable(&self) -> bool {
        self.kind == NotUsedKind::Unreadable
    }
}

impl Pass {
    /// Every row that was not used, in order of file, sheet and row.
    #[must_use]
    pub fn not_used(&self) -> Vec<NotUsed> {
        let unreadable = self.unreadable.iter().map(|u| {
            let source = self.source(u.source);
            NotUsed {
                file: path_text(&source.file),
                sheet: source.sheet.clone().unwrap_or_default(),
                row: u.line,
                part: 0,
                kind: NotUsedKind::Unreadable,
                reason: u.column.to_string(),
                expected: u.expected.to_string(),
                found: u.found.to_string(),
                model: String::new(),
                serial: String::new(),
                tested_at: String::new(),
            }
        });
        let describe = |test: Test<'_>| {
            let why = test.set_aside()?;
            let ended = test.outcome().words();
            let found = match test.shown() {
                None => ended.to_owned(),
                Some((pa, Says::Value)) => format!("{ended} at {} mA", pa_to_ma(pa)),
                Some((pa, Says::Below)) => format!("{ended} below {} mA", pa_to_ma(pa)),
                Some((pa, Says::Above)) => format!("{ended} above {} mA", pa_to_ma(pa)),
            };
            Some(NotUsed {
                file: path_text(&test.source().file),
                sheet: test.source().sheet.clone().unwrap_or_default(),
                row: test.line(),
                part: test.part(),
                kind: NotUsedKind::SetAside,
                reason: why.words().to_owned(),
                expected: String::new(),
                found,
                model: test.model().to_owned(),
                serial: test.serial().to_owned(),
                tested_at: time_text(test.time()),
            })
        };
        let tests: Vec<Tests<'_>> = self.tests().collect();
        let set_aside =
            tests.into_par_iter().flat_map_iter(|of_station| of_station.all().filter_map(describe));
        let mut lines: Vec<NotUsed> = unreadable.collect();
        lines.par_extend(set_aside);
        lines.par_sort();
        lines
    }
}
