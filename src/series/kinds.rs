//! What rows share, kept once: a plant makes few kinds of rows, and those of one kind differ in time, reading, serial and
//! line alone. A record then takes 32 bytes until its unit is swept, and its row 24.
//!
//! Whole numbers are cut in two halves: the lower is the row's own, the upper (of a time after 2106, of a reading above
//! 4.29 mA) is its kind's. So nothing is rounded, and nothing is beyond reach.

use std::hash::BuildHasher;

use hashbrown::{DefaultHashBuilder, HashTable};

use super::row::{Row, Use};
use crate::records::{Marks, Outcome, Record, SerialAt, Shown, SourceAt};

/// A kind of rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Kind {
    pub setup: u32,
    pub factors: u32,
    pub limits: u32,
    pub count: u32,
    upper_time: i32,
    upper_reading: i32,
    pub source: SourceAt,
    pub part: u8,
    pub outcome: Outcome,
    shown: Shown,
    marks: Marks,
}

/// All kinds by their code.
#[derive(Debug, Default)]
pub struct Kinds {
    all: Vec<Kind>,
    /// How many rows are of each.
    rows: Vec<u64>,
    codes: HashTable<u32>,
    hasher: DefaultHashBuilder,
}

/// A record of a known kind.
#[derive(Debug, Clone, Copy)]
pub struct Packed {
    /// In two halves, which need no eight bytes to begin at.
    unit: [u32; 2],
    pub kind: u32,
    time: u32,
    reading: u32,
    line: u32,
    serial: SerialAt,
}

/// A row of a known kind, once it is decided where it goes.
#[derive(Debug, Clone, Copy)]
pub struct Kept {
    pub kind: u32,
    time: u32,
    reading: u32,
    line: u32,
    serial: SerialAt,
    pub used: Use,
    facts: u8,
}

/// The lower and the upper half.
fn halves(x: i64) -> (u32, i32) {
    let [a, b, c, d, e, f, g, h] = x.to_le_bytes();
    (u32::from_le_bytes([a, b, c, d]), i32::from_le_bytes([e, f, g, h]))
}

fn whole(lower: u32, upper: i32) -> i64 {
    i64::from(upper) << 32 | i64::from(lower)
}

impl Kinds {
    /// A record as it is kept; its serial is in [`super::row::Serials`].
    pub fn pack(&mut self, record: &Record, serial: SerialAt) -> Packed {
        let (time, upper_time) = halves(record.time);
        let (reading, upper_reading) = halves(record.reading_pa);
        let kind = Kind {
            setup: record.setup,
            factors: record.factors,
            limits: record.limits,
            count: record.count,
            upper_time,
            upper_reading,
            source: record.source,
            part: record.part,
            outcome: record.outcome,
            shown: record.shown,
            marks: record.marks,
        };
        let [a, b, c, d, e, f, g, h] = record.unit.to_le_bytes();
        let unit = [u32::from_le_bytes([a, b, c, d]), u32::from_le_bytes([e, f, g, h])];
        let kind = self.code(kind);
        self.rows[kind as usize] += 1;
        Packed { unit, kind, time, reading, line: record.line, serial }
    }

    fn code(&mut self, kind: Kind) -> u32 {
        let Self { all, rows, codes, hasher } = self;
        let hash = hasher.hash_one(kind);
        let same = |code: &u32| all[*code as usize] == kind;
        if let Some(code) = codes.find(hash, same) {
            return *code;
        }
        let code = u32::try_from(all.len()).expect("no more kinds than lines of text files");
        all.push(kind);
        rows.push(0);
        codes.insert_unique(hash, code, |code| hasher.hash_one(all[*code as usize]));
        code
    }

    /// Forgets what only new records need.
    pub fn close(&mut self) {
        self.codes = HashTable::new();
        self.all.shrink_to_fit();
    }

    /// All kinds, by code.
    pub fn all(&self) -> &[Kind] {
        &self.all
    }

    /// How many rows are of each kind.
    pub fn rows(&self) -> &[u64] {
        &self.rows
    }

    /// The record as it was read.
    pub fn record(&self, packed: &Packed) -> Record {
        let kind = &self.all[packed.kind as usize];
        Record {
            unit: packed.unit(),
            reading_pa: whole(packed.reading, kind.upper_reading),
            time: whole(packed.time, kind.upper_time),
            setup: kind.setup,
            factors: kind.factors,
            limits: kind.limits,
            count: kind.count,
            line: packed.line,
            serial: packed.serial,
            source: kind.source,
            part: kind.part,
            outcome: kind.outcome,
            shown: kind.shown,
            marks: kind.marks,
        }
    }

    /// The row of a record; it is used, and does not count yet.
    pub fn keep(&self, packed: &Packed) -> Kept {
        let kind = &self.all[packed.kind as usize];
        let Packed { time, reading, line, serial, .. } = *packed;
        let facts = Row::facts_of(kind.shown, kind.marks);
        Kept { kind: packed.kind, time, reading, line, serial, used: Use::Used, facts }
    }

    /// A row with all that it says.
    pub fn row(&self, kept: &Kept) -> Row {
        let kind = &self.all[kept.kind as usize];
        Row {
            time: whole(kept.time, kind.upper_time),
            reading_pa: whole(kept.reading, kind.upper_reading),
            setup: kind.setup,
            factors: kind.factors,
            limits: kind.limits,
            count: kind.count,
            line: kept.line,
            serial: kept.serial,
            source: kind.source,
            part: kind.part,
            outcome: kind.outcome,
            used: kept.used,
            facts: kept.facts,
        }
    }

    /// When a row was made, in seconds since 1970-01-01 00:00 of the plant's own clock.
    pub fn time(&self, kept: &Kept) -> i64 {
        whole(kept.time, self.all[kept.kind as usize].upper_time)
    }

    /// What orders the rows of one series and station: time, then where they stand in the files.
    pub fn in_time(&self, kept: &Kept) -> (i64, SourceAt, u32, u8) {
        let kind = &self.all[kept.kind as usize];
        (whole(kept.time, kind.upper_time), kind.source, kept.line, kind.part)
    }
}

impl Packed {
    /// Its unit, see [`Record::unit`].
    pub fn unit(&self) -> u64 {
        u64::from(self.unit[1]) << 32 | u64::from(self.unit[0])
    }
}

impl Kept {
    /// One of the facts of [`Row`].
    pub fn is(&self, fact: u8) -> bool {
        self.facts & fact != 0
    }

    pub fn mark(&mut self, fact: u8) {
        self.facts |= fact;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever a record says is said again, at the ends of what numbers can be too.
    #[test]
    fn what_is_packed_is_found_again() {
        let ends = [i64::MIN, -1, 0, 1, (1 << 32) - 1, 1 << 32, i64::MAX];
        let mut kinds = Kinds::default();
        let mut packed = Vec::new();
        for (n, (time, reading_pa)) in
            ends.iter().flat_map(|t| ends.iter().map(move |r| (*t, *r))).enumerate()
        {
            let record = Record {
                unit: u64::MAX - n as u64,
                reading_pa,
                time,
                setup: 7,
                factors: u32::MAX,
                limits: 1,
                count: 3,
                line: u32::MAX,
                serial: SerialAt::new(0),
                source: SourceAt::new(0xff_ffff).expect("three bytes"),
                part: 255,
                outcome: Outcome::Arc,
                shown: Shown::Below,
                marks: Marks::CHECK_LOAD.with(Marks::TALLIED),
            };
            packed.push((record, kinds.pack(&record, SerialAt::new(u64::MAX))));
        }
        // Lower halves are the rows' own.
        assert_eq!(kinds.all().len(), 5 * 5);
        let said = |r: &Record| (r.unit, r.reading_pa, r.time, r.setup, r.factors, r.count, r.line);
        for (record, packed) in &packed {
            let again = kinds.record(packed);
            assert_eq!(said(&again), said(record));
            assert_eq!(again.serial, SerialAt::new(u64::MAX));
            assert_eq!(
                (again.source, again.part, again.outcome, again.shown, again.marks),
                (record.source, record.part, record.outcome, record.shown, record.marks)
            );
            let kept = kinds.keep(packed);
            let row = kinds.row(&kept);
            assert_eq!((row.time, row.reading_pa), (record.time, record.reading_pa));
            assert_eq!(kinds.time(&kept), record.time);
            assert_eq!(kinds.in_time(&kept), (record.time, record.source, record.line, 255));
            assert!(row.is(Row::CHECK_LOAD) && kept.is(Row::TALLIED) && !row.is(Row::IN_RAMP));
            assert_eq!(row.shown(), Shown::Below);
        }
    }

    #[test]
    fn records_and_rows_are_as_small_as_they_are_said_to_be() {
        assert_eq!((size_of::<Packed>(), size_of::<Kept>()), (32, 24));
    }
}
