//! The record: one test of one unit, in the one schema every reader delivers.
//!
//! Takes nothing, gives the types between [`crate::input`] and [`crate::series`]. A room of its own
//! because both sides speak its words: a reader turns whatever a file holds into [`Record`]s and knows
//! nothing of what happens next; the pass that follows knows nothing of files.
//!
//! A record is kept small (56 bytes): text that repeats is coded once in a [`Book`], currents are whole
//! picoamperes, so that equal readings are equal numbers and nothing is lost to binary fractions.

use std::sync::Arc;

use serde::{Serialize, Serializer};

mod book;
mod register;
mod units;

pub use book::{Book, FactorSet, Limits, Setup};
pub use register::{Calibration, Decision, Event, Register};
pub use units::{Decimal, Quantity, ma_to_pa, pa_to_ma};

/// A kind of test that this tool judges, or another one that it sets aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TestKind {
    /// Withstand test with alternating voltage.
    AcWithstand,
    /// Withstand test with direct voltage.
    DcWithstand,
    /// Leakage-current measurement.
    Leakage,
    /// Any other test found in the same file (earth bond, insulation resistance, functional).
    Other,
}

impl TestKind {
    /// Words for people, as design section 3 writes them.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::AcWithstand => "AC withstand",
            Self::DcWithstand => "DC withstand",
            Self::Leakage => "leakage",
            Self::Other => "other",
        }
    }

    /// The word used in the config and, joined by `_`, in JSON.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::AcWithstand => "ac withstand",
            Self::DcWithstand => "dc withstand",
            Self::Leakage => "leakage",
            Self::Other => "other",
        }
    }

    /// Whether the voltage is direct.
    #[must_use]
    pub fn is_dc(self) -> bool {
        self == Self::DcWithstand
    }
}

/// Which current a reading shows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Current {
    /// The whole current, capacitive and resistive together.
    #[default]
    Total,
    /// The part in phase with the voltage.
    InPhase,
}

impl Current {
    /// The word used in files.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Total => "total",
            Self::InPhase => "in phase",
        }
    }

    /// Words for people, before "current".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Total => "total",
            Self::InPhase => "in-phase",
        }
    }
}

/// What a test ended with (design section 4).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Outcome {
    /// Under the high limit and over the low one.
    Pass,
    /// Tripped on the high limit.
    OverLimit,
    /// Below the low limit.
    UnderLimit,
    /// Flashover or short.
    Breakdown,
    /// A breakdown found by the arc detector; a part of the breakdowns.
    Arc,
    /// Stopped, interlock opened, set-up fault.
    NotCompleted,
    /// Failed, and nothing tells by what: a bare failure where no limit is known. Says nothing of the leakage.
    Failed,
}

impl Outcome {
    /// Whether the test ran to its end. Completed first tests are the units that every count and share is of; what was
    /// not completed is counted apart.
    #[must_use]
    pub fn is_completed(self) -> bool {
        self != Self::NotCompleted
    }

    /// Whether the unit failed: over or under a limit, by a breakdown or an arc, or with nothing to tell by what.
    #[must_use]
    pub fn is_failure(self) -> bool {
        self.is_completed() && self != Self::Pass
    }

    /// Words for people and config.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::OverLimit => "over limit",
            Self::UnderLimit => "under limit",
            Self::Breakdown => "breakdown",
            Self::Arc => "arc",
            Self::NotCompleted => "not completed",
            Self::Failed => "failed, class not known",
        }
    }

    /// Every outcome, in the order of design section 4.
    pub const ALL: [Self; 7] = [
        Self::Pass,
        Self::OverLimit,
        Self::UnderLimit,
        Self::Breakdown,
        Self::Arc,
        Self::NotCompleted,
        Self::Failed,
    ];
}

impl Serialize for Outcome {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.words())
    }
}

/// What the shown value says about the current.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shown {
    /// The reading itself, known to its step.
    Value,
    /// Only that the current was below the shown value (`<0.01`).
    Below,
    /// Only that it was above (`>5.00`).
    Above,
    /// No value was shown.
    Nothing,
}

/// One test of one unit.
#[derive(Debug, Clone, Copy)]
pub struct Record {
    /// Hash of model and serial; where the serial names no unit, of the whole record.
    pub unit: u64,
    /// The shown value in picoamperes; 0 where nothing was shown.
    pub reading_pa: i64,
    /// Seconds since 1970-01-01 00:00 of the plant's own clock.
    pub time: i64,
    /// Code of the [`Setup`].
    pub setup: u32,
    /// Code of the [`FactorSet`].
    pub factors: u32,
    /// Code of the [`Limits`] in force.
    pub limits: u32,
    /// How many units the row stands for.
    pub count: u32,
    /// Line of a text file or row of a sheet, counted from 1.
    pub line: u32,
    /// Where the serial stands in its batch's text, see [`SerialAt::read`].
    pub serial: SerialAt,
    /// Index of the file and sheet, see [`Source`].
    pub source: SourceAt,
    /// Which test of the row this is, where one row holds several.
    pub part: u8,
    /// What the test ended with.
    pub outcome: Outcome,
    /// What the shown value says.
    pub shown: Shown,
    /// What else is known of the row.
    pub marks: Marks,
}

/// Index of a table among those read, in three bytes: a folder may hold a file for each unit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SourceAt([u8; 3]);

impl SourceAt {
    /// The index `n`; `None` from 16 777 216 on.
    #[must_use]
    pub fn new(n: usize) -> Option<Self> {
        // The highest byte first, so that bytes are in the order of their numbers.
        let [none, a, b, c] = u32::try_from(n).ok()?.to_be_bytes();
        (none == 0).then_some(Self([a, b, c]))
    }

    /// The index.
    #[must_use]
    pub fn index(self) -> usize {
        let [a, b, c] = self.0;
        u32::from_be_bytes([0, a, b, c]) as usize
    }
}

/// Where a serial begins in a text of serials, in bytes: five bytes of it, since four end at 4 GB.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct SerialAt([u8; 5]);

impl SerialAt {
    /// A place `offset` bytes into a text, of which the lower five bytes are kept: 1 TB.
    #[must_use]
    pub fn new(offset: u64) -> Self {
        let [a, b, c, d, e, ..] = offset.to_le_bytes();
        Self([a, b, c, d, e])
    }

    /// Bytes from the beginning of the text.
    #[must_use]
    pub fn offset(self) -> u64 {
        let [a, b, c, d, e] = self.0;
        u64::from_le_bytes([a, b, c, d, e, 0, 0, 0])
    }

    /// The serial that begins here: up to the end of its line.
    #[must_use]
    pub fn read(self, text: &str) -> &str {
        let at = usize::try_from(self.offset()).expect("a place in a text that memory holds");
        // A few bytes: looking at each costs less than a search for a character.
        let rest = &text[at..];
        let end = rest.bytes().position(|b| b == b'\n').unwrap_or(rest.len());
        &rest[..end]
    }
}

/// Yes-or-no facts about a row.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Marks(u8);

impl Marks {
    /// The serial is blank or a place holder: it names no unit.
    pub const NO_SERIAL: Self = Self(1);
    /// The test ended while the voltage was still rising.
    pub const IN_RAMP: Self = Self(2);
    /// A remark marks the row as part of a fault-locating run.
    pub const FAULT_LOCATING: Self = Self(4);
    /// Another kind of test than this tool judges.
    pub const OTHER_TEST: Self = Self(8);
    /// A check load, not a product.
    pub const CHECK_LOAD: Self = Self(16);
    /// A bare `fail` whose class was derived from its reading.
    pub const DERIVED: Self = Self(32);
    /// A line of a tally: equal lines of two files are different units, never repeated rows.
    pub const TALLIED: Self = Self(64);
    /// A line of a tally that counts for leakage alone: the later test of a unit whose first one said nothing of
    /// it, and is counted in another line.
    pub const LEAKAGE_ALONE: Self = Self(128);

    /// Both together.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether `other` is among these.
    #[must_use]
    pub fn has(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }
}

/// A table that rows come from: a file, or one sheet of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// The file as found.
    pub file: std::path::PathBuf,
    /// The sheet of a workbook.
    pub sheet: Option<String>,
}

impl std::fmt::Display for Source {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(sheet) = &self.sheet {
            write!(f, ", sheet {sheet:?}")?;
        }
        Ok(())
    }
}

/// A row that could not be understood: where, what was expected, what was found.
///
/// The texts are shared by the rows that say the same: a small packed file may hold ten million of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unreadable {
    /// Index of its [`Source`].
    pub source: SourceAt,
    /// Line or row, counted from 1.
    pub line: u32,
    /// The column's header, or empty where the row as a whole is wrong.
    pub column: Arc<str>,
    /// What was expected there.
    pub expected: Arc<str>,
    /// What was found.
    pub found: Arc<str>,
    /// What the test ended with, where that could be read: such rows are no random loss.
    pub outcome: Option<Outcome>,
}

/// A column that is not used and says further down what those of its values that were looked at did not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Later {
    /// Index of its [`Source`].
    pub source: SourceAt,
    /// The column's header.
    pub column: Arc<str>,
    /// The one value that was looked at.
    pub assumed: Arc<str>,
    /// The first other one.
    pub found: Arc<str>,
    /// Line or row of that, counted from 1.
    pub line: u32,
    /// Rows with others.
    pub rows: u64,
    /// What they are.
    pub says: LaterSays,
}

/// What the later values of a column that is not used are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LaterSays {
    /// A failure, of tests that count as passed.
    Failure,
    /// Another kind of test.
    Kind,
    /// A code, where no column says outcomes.
    Code,
}

/// The room's air on one day at one station, summed over rows.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct AirSums {
    /// Sum of relative humidity in per cent, and of how many rows.
    pub humidity: (f64, u32),
    /// Sum of temperature in degrees Celsius, and of how many rows.
    pub temperature: (f64, u32),
}

impl AirSums {
    /// Adds another part of the same day.
    pub fn add(&mut self, other: &Self) {
        self.humidity.0 += other.humidity.0;
        self.humidity.1 += other.humidity.1;
        self.temperature.0 += other.temperature.0;
        self.temperature.1 += other.temperature.1;
    }
}

/// Where a test was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Code of the plant.
    pub plant: u32,
    /// Code of the station.
    pub station: u32,
}

/// The voltage measured in one row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredVolts {
    /// Code of the model.
    pub model: u32,
    /// Where it was read.
    pub place: Place,
    /// Volts.
    pub volts: f64,
}

/// What one piece of a table gave: its records, in row order, and what was wrong with it.
#[derive(Debug, Default)]
pub struct Batch {
    /// The tests, in row order.
    pub records: Vec<Record>,
    /// Serials as first written, each ended by a newline; see [`SerialAt`].
    pub serials: String,
    /// Rows that could not be understood.
    pub unreadable: Vec<Unreadable>,
    /// Rows that hold no test (blank lines, repeated headers, titles, totals).
    pub stepped_over: u64,
    /// Air by place and calendar day.
    pub air: std::collections::BTreeMap<(Place, i32), AirSums>,
    /// Measured volts, from rows without a set voltage.
    pub measured_v: Vec<MeasuredVolts>,
    /// Test names that this tool does not know, with the rows that carried them.
    pub unknown_tests: std::collections::BTreeMap<String, u64>,
    /// Columns that say later what they did not at first.
    pub later: Vec<Later>,
    /// Source and row of a header of another table; the rows after it cannot be understood.
    pub other_table: Option<(SourceAt, u32)>,
}

impl Batch {
    /// An empty one with the room of this one.
    #[must_use]
    pub fn emptied(mut self) -> Self {
        self.records.clear();
        self.serials.clear();
        Self { records: self.records, serials: self.serials, ..Self::default() }
    }

    /// Gives up all records, since another table began above them in row `line` of their source.
    pub fn refuse(&mut self, line: u32) {
        let Some(first) = self.records.first() else {
            return;
        };
        let refused = Unreadable::below_other_table(first.source, first.line, line);
        for record in self.records.drain(..) {
            self.unreadable.push(Unreadable {
                source: record.source,
                line: record.line,
                ..refused.clone()
            });
        }
    }
}

impl Unreadable {
    /// A row below the header of another table, which stands in row `header`.
    #[must_use]
    pub fn below_other_table(source: SourceAt, line: u32, header: u32) -> Self {
        Self {
            source,
            line,
            column: "".into(),
            expected: "one table in a file or sheet".into(),
            found: format!("a row below another header in row {header}").into(),
            outcome: None,
        }
    }
}
