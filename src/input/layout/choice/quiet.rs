//! Columns that nothing is asked about, as they say nothing in the rows looked at: one value throughout, or none.
//!
//! Further down they may say a failure, or that a second kind of test begins. The parsers watch them (`rows::later`):
//! looking at more rows here would move the place where that begins, and not find it.

use super::{Choice, Quiet};
use crate::input::columns::By;
use crate::input::layout::LOOKED_AT;
use crate::input::taken::Sure;

/// Columns watched at the most.
const MOST: usize = 64;

impl Choice<'_> {
    /// Keeps those that are not used; of a table whose rows were all looked at, none.
    pub(super) fn quiet(&mut self, rows: usize) {
        if rows * 2 < LOOKED_AT {
            return;
        }
        let is_quiet = |at: &usize| {
            let heading = &self.headings[*at];
            self.chosen.taken[*at].sure == Sure::NotUsed
                && heading.by < By::Name
                && heading.unit.is_none()
                && !self.names[*at].trim().is_empty()
                && self.values[*at].different().len() == 1
        };
        let quiet = |at: usize| {
            let value = self.values[at].cells.first().map_or("", |cell| *cell);
            let column = u16::try_from(at).ok()?;
            let (value, is_other) = (value.to_owned(), self.headings[at].is_other);
            Some(Quiet { column, value, may_be_code: self.may_be_code(at), is_other })
        };
        let found = (0..self.names.len()).filter(is_quiet).take(MOST).filter_map(quiet).collect();
        self.chosen.quiet = found;
    }
}
