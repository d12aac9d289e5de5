//! The packed rows of a pass, kept to name the serials behind a finding.

use super::attempts::SetAside;
use crate::records::{Batch, Record};

/// Where a row went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Use {
    /// Used, in the leakage tally or the outcome counts or both.
    Used,
    /// Set aside, and why.
    SetAside(SetAside),
}

/// The rows of some units, and their serials.
#[derive(Debug, Default)]
pub struct Shard {
    /// Rows; after the pass sorted by unit and time.
    pub records: Vec<Record>,
    /// Serials, each ended by a newline.
    pub serials: String,
    /// Where each row went; filled by the pass.
    pub uses: Vec<Use>,
}

/// All rows of a pass.
#[derive(Debug, Default)]
pub struct Rows {
    pub(super) shards: Vec<Shard>,
}

/// One row, with its serial as first written.
#[derive(Debug, Clone, Copy)]
pub struct RowView<'a> {
    /// The row.
    pub record: &'a Record,
    /// Where it went.
    pub used: Use,
    serials: &'a str,
}

impl<'a> RowView<'a> {
    /// Its serial as first written; empty where it had none.
    #[must_use]
    pub fn serial(&self) -> &'a str {
        Batch::serial(self.serials, self.record.serial)
    }
}

impl Rows {
    /// One row by shard and place.
    pub(super) fn at(&self, shard: u16, row: u32) -> RowView<'_> {
        let shard = &self.shards[usize::from(shard)];
        let record = &shard.records[row as usize];
        RowView { record, serials: &shard.serials, used: shard.uses[row as usize] }
    }

    /// Every row, in no order that may be printed.
    pub fn iter(&self) -> impl Iterator<Item = RowView<'_>> {
        self.shards.iter().flat_map(|shard| {
            shard.records.iter().zip(&shard.uses).map(move |(record, used)| RowView {
                record,
                serials: &shard.serials,
                used: *used,
            })
        })
    }
}
