//! Every row that was not used, as a list for people: what was unreadable, and what was set aside.
//!
//! Here, since only this room sees rows; pages and the CSV file show the list as it is.

use rayon::prelude::*;

use super::{Pass, Says, Test, Tests};
use crate::records::pa_to_ma;
use crate::words::path_text;
use crate::words::time::time_text;

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
