//! What rows share, kept once: a plant makes few kinds of rows, and those of one kind differ in time, reading, serial and
//! line alone. A record then takes 32 bytes until its unit is swept, and its row 24.
//!
//! Whole numbers are cut in two halves: the lower is the row's own, the upper (of a time after 2106, of a reading above
//! 4.29 mA) is its kind's. So nothing is rounded, and nothing is beyond reach.

use std::cmp::Ordering;
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
    /// Codes that were given last, by a few bits of what they are of: most rows are found there.
    lately: Vec<u32>,
    /// The upper half of all times, where it is one: a time is then told, and rows put in order, by the row alone.
    era: Option<i32>,
}

/// Codes that are looked at first.
const LATELY: usize = 1 << 13;

/// A record of a known kind.
#[derive(Debug, Clone, Copy)]
pub struct Packed {
    /// In bytes, which need no eighth place to begin at.
    unit: [u8; 8],
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
    pub line: u32,
    pub serial: SerialAt,
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
        let unit = record.unit.to_ne_bytes();
        let kind = self.code(kind);
        self.rows[kind as usize] += 1;
        Packed { unit, kind, time, reading, line: record.line, serial }
    }

    fn code(&mut self, kind: Kind) -> u32 {
        let bits = (kind.setup << 7) ^ kind.factors ^ (kind.outcome as u32) << 4;
        let place = bits as usize % LATELY;
        if let Some(code) = self.lately.get(place).copied()
            && self.all.get(code as usize) == Some(&kind)
        {
            return code;
        }
        let code = self.code_of(kind);
        self.lately.resize(LATELY, 0);
        self.lately[place] = code;
        code
    }

    fn code_of(&mut self, kind: Kind) -> u32 {
        let Self { all, rows, codes, hasher, .. } = self;
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
        (self.codes, self.lately) = (HashTable::new(), Vec::new());
        self.all.shrink_to_fit();
        let first = self.all.first().map(|kind| kind.upper_time);
        self.era = first.filter(|era| self.all.iter().all(|kind| kind.upper_time == *era));
    }

    /// All kinds, by code.
    pub fn all(&self) -> &[Kind] {
        &self.all
    }

    /// How many rows are of each kind.
    pub fn rows(&self) -> &[u64] {
        &self.rows
    }

    /// The kind of a row.
    pub fn of(&self, kept: &Kept) -> &Kind {
        &self.all[kept.kind as usize]
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
        let kind = self.of(kept);
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
        whole(kept.time, self.era.unwrap_or_else(|| self.of(kept).upper_time))
    }

    /// The order of two rows of one series and station.
    pub fn in_order(&self, a: &Kept, b: &Kept) -> Ordering {
        let of_all = || self.in_time(a).cmp(&self.in_time(b));
        if self.era.is_some() { a.time.cmp(&b.time).then_with(of_all) } else { of_all() }
    }

    /// What orders the rows of one series and station: time, then where they stand in the files.
    pub fn in_time(&self, kept: &Kept) -> (i64, SourceAt, u32, u8) {
        let kind = self.of(kept);
        (whole(kept.time, kind.upper_time), kind.source, kept.line, kind.part)
    }
}

impl Kind {
    /// Whether the test ended while the voltage still rose.
    pub fn is_in_ramp(&self) -> bool {
        self.marks.has(Marks::IN_RAMP)
    }
}

impl Packed {
    /// Its unit, see [`Record::unit`].
    pub fn unit(&self) -> u64 {
        u64::from_ne_bytes(self.unit)
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

    fn record(time: i64, reading_pa: i64) -> Record {
        Record {
            unit: u64::MAX - 1,
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
        }
    }

    /// The records of all pairs of a time and a reading, and their kinds.
    fn packed(times: &[i64], readings: &[i64]) -> (Vec<(Record, Packed)>, Kinds) {
        let mut kinds = Kinds::default();
        let all = times.iter().flat_map(|t| readings.iter().map(|r| record(*t, *r)));
        let packed = all.map(|r| (r, kinds.pack(&r, SerialAt::new(u64::MAX)))).collect();
        kinds.close();
        (packed, kinds)
    }

    const ENDS: [i64; 7] = [i64::MIN, -1, 0, 1, (1 << 32) - 1, 1 << 32, i64::MAX];

    /// In order of time whether all are of one era or not.
    #[test]
    fn rows_stand_in_order_of_time() {
        for times in [&ENDS[..], &ENDS[2..5]] {
            let (packed, kinds) = packed(times, &[0, 1 << 40]);
            assert_eq!(kinds.era.is_some(), times.len() == 3);
            for (a, of_a) in &packed {
                for (b, of_b) in &packed {
                    let order = kinds.in_order(&kinds.keep(of_a), &kinds.keep(of_b));
                    assert_eq!(order, a.time.cmp(&b.time));
                }
            }
        }
    }

    /// Whatever a record says is said again, at the ends of what numbers can be too.
    #[test]
    fn what_is_packed_is_found_again() {
        let (packed, kinds) = packed(&ENDS, &ENDS);
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
