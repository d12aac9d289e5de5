//! A row once it is decided where it goes, with all that it says; the pass keeps it smaller ([`super::kinds`]).

use crate::records::{Marks, Outcome, SerialAt, Shown, SourceAt};

/// Why a row is set aside. In order of precedence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "the words of each are its documentation")]
pub enum SetAside {
    OtherTest,
    CheckLoad,
    Clock,
    Contradicted,
    Repeated,
    FaultLocating,
    NotCompleted,
    Returned,
    Retest,
}

impl SetAside {
    /// The reason in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::OtherTest => "other kind of test",
            Self::CheckLoad => "check load",
            Self::Clock => "clock not believable",
            Self::Contradicted => "contradicted by its reading",
            Self::Repeated => "repeated row",
            Self::FaultLocating => "fault-locating run",
            Self::NotCompleted => "not completed",
            Self::Returned => "returned unit",
            Self::Retest => "retest",
        }
    }
}

/// Where a row went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Use {
    /// Used, in the leakage tally or the outcome counts or both.
    Used,
    /// Set aside, and why.
    SetAside(SetAside),
}

impl Use {
    /// Whether it is a test of a product that was made when it says, whatever became of it.
    pub fn is_of_a_product(self) -> bool {
        let no_product =
            [SetAside::OtherTest, SetAside::CheckLoad, SetAside::Clock, SetAside::Repeated];
        !matches!(self, Self::SetAside(reason) if no_product.contains(&reason))
    }
}

/// One row; codes are those of the book.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    pub time: i64,
    pub reading_pa: i64,
    pub setup: u32,
    pub factors: u32,
    pub limits: u32,
    pub count: u32,
    pub line: u32,
    /// In [`Serials`].
    pub serial: SerialAt,
    pub source: SourceAt,
    pub part: u8,
    pub outcome: Outcome,
    pub used: Use,
    /// What is shown, in two bits, and whether it counts.
    pub facts: u8,
}

impl Row {
    /// It counts in the yield: the first attempt of a unit.
    pub const COUNTED: u8 = 4;
    /// Its reading or trip is in the leakage tally.
    pub const LEAKAGE: u8 = 8;
    /// It was marked as a test of a check load.
    pub const CHECK_LOAD: u8 = 16;
    /// A retest of a unit that had passed at the same station, and not at a lower voltage than then.
    pub const AFTER_PASS: u8 = 32;
    /// It is a line of a tally.
    pub const TALLIED: u8 = 64;
    /// The test ended while the voltage still rose.
    pub const IN_RAMP: u8 = 128;

    /// What the facts of a row say first: what is shown, and what was marked when it was read.
    pub fn facts_of(shown: Shown, marks: Marks) -> u8 {
        let shown = match shown {
            Shown::Value => 0,
            Shown::Below => 1,
            Shown::Above => 2,
            Shown::Nothing => 3,
        };
        let mark = |mark: Marks, fact: u8| if marks.has(mark) { fact } else { 0 };
        shown
            | mark(Marks::CHECK_LOAD, Self::CHECK_LOAD)
            | mark(Marks::TALLIED, Self::TALLIED)
            | mark(Marks::IN_RAMP, Self::IN_RAMP)
    }

    pub fn shown(&self) -> Shown {
        [Shown::Value, Shown::Below, Shown::Above, Shown::Nothing][usize::from(self.facts & 3)]
    }

    pub fn is(&self, fact: u8) -> bool {
        self.facts & fact != 0
    }
}

/// Units are spread over so many shards by their hash, so that they can be swept in parallel.
pub const SHARDS: usize = 64;

/// Bits of a place that say where in the text of its shard a serial begins: 16 GB.
const WITHIN: u32 = 34;

/// Serials as first written, each ended by a newline: one text for each shard.
#[derive(Debug)]
pub struct Serials(Vec<String>);

impl Default for Serials {
    fn default() -> Self {
        Self(vec![String::new(); SHARDS])
    }
}

impl Serials {
    /// Keeps a serial of a unit of this shard; gives its place.
    pub fn keep(&mut self, shard: usize, serial: &str) -> SerialAt {
        let text = &mut self.0[shard];
        let at = SerialAt::new(((shard as u64) << WITHIN) + text.len() as u64);
        text.push_str(serial);
        text.push('\n');
        at
    }

    /// The serial at a place; empty where the row had none.
    pub fn at(&self, place: SerialAt) -> &str {
        let (shard, within) = (place.offset() >> WITHIN, place.offset() % (1 << WITHIN));
        let shard = usize::try_from(shard).expect("fewer shards than a byte counts");
        SerialAt::new(within).read(&self.0[shard])
    }
}
