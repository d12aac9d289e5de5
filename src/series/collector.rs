//! Takes batches in their fixed order and keeps what the pass needs until the last row is read.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::clock::ClockTrack;
use super::kinds::{Kinds, Packed};
use super::row::{SHARDS, Serials};
use crate::day::{Day, day_of};
use crate::records::{
    AirSums, Batch, Later, Marks, MeasuredVolts, Outcome, Place, Shown, Unreadable,
};

/// Records of the first piece of a shard.
const FIRST: usize = 4096;
/// Records of each further piece: 32 MB, of which only what is filled takes memory. Blocks of that size go back to the
/// system when they are dropped; smaller ones stay with the thread that asked for them, and the sweep, which drops
/// records in other threads, would hold all of them beside all rows.
const FURTHER: usize = (32 << 20) / size_of::<Packed>() + 1;

/// The records of the units of one shard, in pieces: one vector that grows would be copied whole again and again,
/// and all shards' at the same time.
#[derive(Debug, Default)]
pub struct Shard(Vec<Vec<Packed>>);

impl Shard {
    fn push(&mut self, record: Packed) {
        let most = if self.0.len() == 1 { FIRST } else { FURTHER };
        match self.0.last_mut() {
            Some(piece) if piece.len() < most => piece.push(record),
            last => {
                let mut piece = Vec::with_capacity(if last.is_none() { FIRST } else { FURTHER });
                piece.push(record);
                self.0.push(piece);
            }
        }
    }

    /// All of them, in the order they came.
    pub(super) fn records(&self) -> impl Iterator<Item = &Packed> {
        self.0.iter().flatten()
    }

    /// The one that came at this place.
    pub(super) fn at(&self, place: u32) -> &Packed {
        match (place as usize).checked_sub(FIRST) {
            Some(further) => &self.0[1 + further / FURTHER][further % FURTHER],
            None => &self.0[0][place as usize],
        }
    }
}

/// Takes batches in order and keeps what the pass needs.
#[derive(Debug)]
pub struct Collector {
    pub(super) shards: Vec<Shard>,
    pub(super) kinds: Kinds,
    pub(super) serials: Serials,
    /// By source.
    pub(super) clocks: Vec<ClockTrack>,
    /// How often each setup showed each value.
    pub(super) shown: super::shown::ShownCounts,
    /// Tests by calendar day.
    pub(super) days: BTreeMap<Day, u64>,
    /// Air by place and day.
    pub(super) air: BTreeMap<(Place, Day), AirSums>,
    /// Measured volts by model and station code.
    pub(super) measured_v: Vec<MeasuredVolts>,
    pub(super) unknown_tests: BTreeMap<String, u64>,
    /// Failures whose class was derived from their reading.
    pub(super) derived: u64,
    pub(super) unreadable: Vec<Unreadable>,
    /// By source and column.
    pub(super) later: BTreeMap<(usize, Arc<str>), Later>,
    pub(super) stepped_over: u64,
}

impl Default for Collector {
    fn default() -> Self {
        Self {
            shards: (0..SHARDS).map(|_| Shard::default()).collect(),
            kinds: Kinds::default(),
            serials: Serials::default(),
            clocks: Vec::new(),
            shown: super::shown::ShownCounts::default(),
            days: BTreeMap::new(),
            air: BTreeMap::new(),
            measured_v: Vec::new(),
            unknown_tests: BTreeMap::new(),
            derived: 0,
            unreadable: Vec::new(),
            later: BTreeMap::new(),
            stepped_over: 0,
        }
    }
}

impl Collector {
    /// Takes what is in the next batch.
    pub fn absorb(&mut self, batch: &mut Batch) {
        let mut day_counts: (Day, u64) = (0, 0);
        for record in &batch.records {
            let source = record.source.index();
            if self.clocks.len() <= source {
                self.clocks.resize(source + 1, ClockTrack::default());
            }
            self.clocks[source].follow(record);
            let day = day_of(record.time, 0);
            if day == day_counts.0 {
                day_counts.1 += 1;
            } else {
                *self.days.entry(day_counts.0).or_default() += day_counts.1;
                day_counts = (day, 1);
            }
            if record.shown == Shown::Value && record.outcome == Outcome::Pass {
                self.shown.add(record.setup, record.reading_pa, record.count);
            }
            self.derived += u64::from(record.marks.has(Marks::DERIVED));
            let shard = (record.unit >> 58) as usize;
            let serial = self.serials.keep(shard, record.serial.read(&batch.serials));
            self.shards[shard].push(self.kinds.pack(record, serial));
        }
        *self.days.entry(day_counts.0).or_default() += day_counts.1;
        for (key, sums) in &batch.air {
            self.air.entry(*key).or_default().add(sums);
        }
        self.measured_v.append(&mut batch.measured_v);
        for (name, count) in std::mem::take(&mut batch.unknown_tests) {
            *self.unknown_tests.entry(name).or_default() += count;
        }
        for later in batch.later.drain(..) {
            let at = (later.source.index(), later.column.clone());
            let more = later.rows;
            // Batches come in the order of rows.
            self.later.entry(at).and_modify(|known| known.rows += more).or_insert(later);
        }
        self.unreadable.append(&mut batch.unreadable);
        self.stepped_over += batch.stepped_over;
    }
}
