//! Every row that was not used, as a list for people: what was unreadable, and what was set aside.
//!
//! Here, since only this room sees rows; pages and the CSV file show the list as it is.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::{Pass, Says, Series, SetAside, Test, Tests};
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

/// One row that was not used: what it says is put into words when it is asked, since most rows of a plant may be returned
/// units.
#[derive(Debug, Clone)]
pub struct NotUsed {
    /// File and sheet.
    pub source: Arc<Source>,
    /// Line or row.
    pub row: u32,
    /// Which test of the row.
    pub part: u8,
    /// Why it was not used.
    pub why: Why,
}

/// Why a row was not used.
#[derive(Debug, Clone)]
pub enum Why {
    /// It was understood, and set aside.
    SetAside {
        /// The reason.
        reason: SetAside,
        /// What the test ended with.
        outcome: Outcome,
        /// What was shown, in picoamperes.
        shown: Option<(i64, Says)>,
        /// Model.
        model: Arc<str>,
        /// Serial.
        serial: Box<str>,
        /// Seconds since 1970-01-01 00:00 of the plant's own clock.
        time: i64,
    },
    /// It was not understood.
    Unreadable {
        /// The column that is wrong.
        column: Arc<str>,
        /// What was expected there.
        expected: Arc<str>,
        /// What was found.
        found: Arc<str>,
    },
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
    /// What became of it.
    #[must_use]
    pub fn kind(&self) -> NotUsedKind {
        match self.why {
            Why::SetAside { .. } => NotUsedKind::SetAside,
            Why::Unreadable { .. } => NotUsedKind::Unreadable,
        }
    }

    /// Whether the row was not understood.
    #[must_use]
    pub fn is_unreadable(&self) -> bool {
        self.kind() == NotUsedKind::Unreadable
    }

    /// File as found.
    #[must_use]
    pub fn file(&self) -> String {
        path_text(&self.source.file)
    }

    /// Sheet, or empty.
    #[must_use]
    pub fn sheet(&self) -> &str {
        self.source.sheet.as_deref().unwrap_or_default()
    }

    /// Reason, or the column that is wrong.
    #[must_use]
    pub fn reason(&self) -> &str {
        match &self.why {
            Why::SetAside { reason, .. } => reason.words(),
            Why::Unreadable { column, .. } => column,
        }
    }

    /// What was expected; empty for rows set aside.
    #[must_use]
    pub fn expected(&self) -> &str {
        match &self.why {
            Why::SetAside { .. } => "",
            Why::Unreadable { expected, .. } => expected,
        }
    }

    /// What was found; for rows set aside, what the row says.
    #[must_use]
    pub fn found(&self) -> String {
        match &self.why {
            Why::Unreadable { found, .. } => found.to_string(),
            Why::SetAside { outcome, shown, .. } => {
                let ended = outcome.words();
                match *shown {
                    None => ended.to_owned(),
                    Some((pa, Says::Value)) => format!("{ended} at {} mA", pa_to_ma(pa)),
                    Some((pa, Says::Below)) => format!("{ended} below {} mA", pa_to_ma(pa)),
                    Some((pa, Says::Above)) => format!("{ended} above {} mA", pa_to_ma(pa)),
                }
            }
        }
    }

    /// Model, where it was understood.
    #[must_use]
    pub fn model(&self) -> &str {
        match &self.why {
            Why::SetAside { model, .. } => model,
            Why::Unreadable { .. } => "",
        }
    }

    /// Serial, where it was understood.
    #[must_use]
    pub fn serial(&self) -> &str {
        match &self.why {
            Why::SetAside { serial, .. } => serial,
            Why::Unreadable { .. } => "",
        }
    }

    /// When, where it was understood.
    #[must_use]
    pub fn tested_at(&self) -> String {
        match self.why {
            Why::SetAside { time, .. } => time_text(time),
            Why::Unreadable { .. } => String::new(),
        }
    }
}

impl Pass {
    /// Every row that was not used, in order of file, sheet and row.
    #[must_use]
    pub fn not_used(&self) -> Vec<NotUsed> {
        let models: Vec<Arc<str>> =
            self.units.setups.iter().map(|s| Arc::from(s.model.as_str())).collect();
        let describe = |test: Test<'_>| {
            let why = Why::SetAside {
                reason: test.set_aside()?,
                outcome: test.outcome(),
                shown: test.shown(),
                model: models[test.setup_code() as usize].clone(),
                serial: test.serial().into(),
                time: test.time(),
            };
            Some(self.line_not_used(test.table(), test.line(), test.part(), why))
        };
        let tests: Vec<Tests<'_>> = self.tests().collect();
        let set_aside = tests
            .into_par_iter()
            .flat_map_iter(|of_station| of_station.not_used().filter_map(describe));
        let unreadable = self.unreadable.iter().map(|u| {
            let why = Why::Unreadable {
                column: u.column.clone(),
                expected: u.expected.clone(),
                found: u.found.clone(),
            };
            self.line_not_used(u.source.index(), u.line, 0, why)
        });
        let mut lines: Vec<(usize, NotUsed)> = unreadable.collect();
        lines.par_extend(set_aside);
        let named: Vec<(String, &Option<String>)> =
            self.sources().iter().map(|s| (path_text(&s.file), &s.sheet)).collect();
        let place =
            |(table, line): &(usize, NotUsed)| (&named[*table], line.row, line.part, line.kind());
        lines.par_sort_by(|a, b| {
            let says = |l: &NotUsed| (l.reason().to_owned(), l.expected().to_owned(), l.found());
            place(a).cmp(&place(b)).then_with(|| says(&a.1).cmp(&says(&b.1)))
        });
        lines.into_iter().map(|(_, line)| line).collect()
    }

    /// A line of the list, with the number of its table.
    fn line_not_used(&self, table: usize, row: u32, part: u8, why: Why) -> (usize, NotUsed) {
        (table, NotUsed { source: self.sources()[table].clone(), row, part, why })
    }
}
