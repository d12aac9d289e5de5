//! Where every written row must end: used, set aside for a reason, or unreadable.
//!
//! Counted from the rows themselves and from what was planted in them, by the rules of first
//! attempts, without any of the reading and guessing that the tool does.

use std::collections::{BTreeMap, BTreeSet};

use super::dirt::PlannedFile;
use super::models::Kind;
use super::schedule::Test;
use super::stations::Station;
use super::testing::Outcome;

/// Counts of rows; every row is one test, so that a row of a B1 sheet counts twice.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// All rows.
    pub read: u64,
    /// First attempts that say something.
    pub used: u64,
    /// The others that can be read, by reason.
    pub set_aside: BTreeMap<&'static str, u64>,
    /// Rows that cannot be read.
    pub unreadable: u64,
    /// Of the retests set aside, those whose reading counts: the first completed test with the unit
    /// connected, after a first attempt that was under the low limit.
    pub reading_used: u64,
}

impl Counts {
    fn add(&mut self, fate: Fate) {
        self.read += 1;
        match fate {
            Fate::Used => self.used += 1,
            Fate::Unreadable => self.unreadable += 1,
            Fate::SetAside(reason) => *self.set_aside.entry(reason).or_default() += 1,
            Fate::RetestRead => {
                *self.set_aside.entry(RETEST).or_default() += 1;
                self.reading_used += 1;
            }
        }
    }
}

/// The row ledger of a factory.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ledger {
    /// All files together.
    pub total: Counts,
    /// By file, as `A1/A1_2025-09.csv`.
    pub files: BTreeMap<String, Counts>,
    /// By station and month, as `("A1", "2025-09")`; the month is the true one.
    pub months: BTreeMap<(&'static str, String), Counts>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fate {
    Used,
    SetAside(&'static str),
    RetestRead,
    Unreadable,
}

const RETEST: &str = "retest";

/// What is known of one unit and step when its next test is read.
#[derive(Default)]
struct Known {
    attempts: BTreeSet<(usize, Kind, u8)>,
    /// Units so far only tested with an open lead.
    unconnected: BTreeSet<(usize, Kind, u8)>,
}

/// The ledger of these files.
pub(super) fn count(rows: &BTreeMap<Station, Vec<Test>>, files: &[PlannedFile]) -> Ledger {
    let mut ledger = Ledger::default();
    let mut known = Known::default();
    for file in files {
        let name = format!("{}/{}", file.station.name(), file.name);
        for planned in &file.rows {
            let test = &rows[&file.station][planned.test];
            let mut fates = vec![fate(test, planned.repeated, &mut known)];
            if file.station == Station::B1 {
                fates.push(Fate::SetAside("other kind of test"));
            }
            let month = (file.station.name(), test.month());
            for fate in fates {
                ledger.total.add(fate);
                ledger.files.entry(name.clone()).or_default().add(fate);
                ledger.months.entry(month.clone()).or_default().add(fate);
            }
        }
    }
    ledger
}

fn fate(test: &Test, repeated: bool, known: &mut Known) -> Fate {
    if test.spoiled.is_some() {
        return Fate::Unreadable;
    }
    let Some(unit) = test.unit else {
        return Fate::SetAside("check load");
    };
    if test.clock_wrong {
        return Fate::SetAside("clock not believable");
    }
    if test.contradicted {
        return Fate::SetAside("contradicted by its reading");
    }
    if repeated {
        return Fate::SetAside("repeated row");
    }
    if test.fault_locating {
        return Fate::SetAside("fault-locating run");
    }
    if test.outcome == Outcome::NotCompleted {
        return Fate::SetAside("not completed");
    }
    // A row without a serial, or with a placeholder, is a first attempt of its own.
    if test.serial.is_empty() || test.serial == "0000" {
        return Fate::Used;
    }
    let key = (unit, test.setting.kind, test.setting.step);
    let connected = test.outcome != Outcome::UnderLimit;
    if known.attempts.insert(key) {
        if !connected {
            known.unconnected.insert(key);
        }
        return Fate::Used;
    }
    if connected && known.unconnected.remove(&key) {
        return Fate::RetestRead;
    }
    Fate::SetAside(RETEST)
}
