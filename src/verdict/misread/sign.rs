//! What says that a table is misread: with its numbers, its likely cause and the setting that puts it right.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::analysis::units::tables::Fault;
use crate::series::{Later, LaterSays};
use crate::words::numbers::{counted, grouped, share_pct, three_digits};
use crate::words::object;

/// What says that a table is misread, with its numbers; in the order in which they explain each other.
#[derive(Debug, Clone, PartialEq)]
pub enum Sign {
    /// Currents that no tester shows or trips at.
    TooLarge {
        /// Tests.
        tests: u64,
        /// The largest, mA.
        largest_ma: f64,
        /// The largest believed, mA.
        believed_ma: f64,
    },
    /// The high limit of a series differs by a power of ten from its own in other tests.
    LimitTimes {
        /// Title of the series.
        title: String,
        /// This limit and that of most tests, mA.
        limits_ma: [f64; 2],
        /// Tests under either.
        tests: [u64; 2],
        /// Whether this table has both.
        mixed: bool,
    },
    /// The limit of a series changes with the tests, as what is measured does.
    LimitChanges {
        /// Title of the series.
        title: String,
        /// Different limits.
        limits: u64,
        /// Among so many tests.
        tests: u64,
    },
    /// Readings of a series are a thousand times those in other tables, or a thousandth of them.
    ReadingsTimes {
        /// Title of the series.
        title: String,
        /// Whether they are larger.
        larger: bool,
    },
    /// No test passed.
    AllFailed {
        /// Tests.
        tests: u64,
    },
    /// Passes that contradict their reading.
    AgainstReading {
        /// So many.
        against: u64,
        /// Of so many passes.
        passes: u64,
        /// Most of them by a factor of ten or more.
        far: bool,
    },
    /// A column that is not used says later what it did not at first.
    ColumnChanges {
        /// What it said and says.
        later: Later,
    },
    /// Tests that repeat what the unit had passed.
    TestedAgain {
        /// So many.
        again: u64,
        /// Of so many tests.
        tests: u64,
    },
    /// Dates of some rows do not fit the order of the others, so that those which fit both may be wrong.
    TwoOrders {
        /// Rows that do not fit.
        rows: u64,
    },
    /// Rows that cannot be read.
    Unreadable {
        /// So many.
        unreadable: u64,
        /// Of so many.
        rows: u64,
        /// What is wrong with most of them.
        fault: Option<Fault>,
    },
}

impl Sign {
    /// Machine name.
    #[must_use]
    pub fn key(&self) -> &'static str {
        match self {
            Self::TooLarge { .. } => "too_large",
            Self::LimitTimes { .. } => "limit_times_ten",
            Self::LimitChanges { .. } => "limit_changes",
            Self::ReadingsTimes { .. } => "readings_times_thousand",
            Self::AllFailed { .. } => "all_failed",
            Self::AgainstReading { .. } => "against_reading",
            Self::ColumnChanges { .. } => "column_changes",
            Self::TestedAgain { .. } => "tested_again",
            Self::TwoOrders { .. } => "two_date_orders",
            Self::Unreadable { .. } => "unreadable",
        }
    }

    /// What likely causes it, to follow "likely".
    #[must_use]
    pub fn likely(&self) -> &'static str {
        match self {
            Self::TooLarge { .. } | Self::ReadingsTimes { .. } => {
                "the unit of the readings or limits (µA taken for mA), or their decimal sign"
            }
            Self::LimitTimes { mixed: true, .. } => {
                "two tests of one unit that no column tells apart, or a limit with another unit or decimal sign"
            }
            Self::LimitTimes { .. } => "the unit or the decimal sign of the limit",
            Self::LimitChanges { .. } => {
                "a measured column, such as the highest reading of a test, taken for the limit"
            }
            Self::AllFailed { .. } => {
                "outcome words taken the wrong way round, the unit of reading or limit, or an export of failures alone"
            }
            Self::AgainstReading { far: true, .. } => {
                "the unit or the decimal sign of the reading or of the limit"
            }
            Self::AgainstReading { .. } => {
                "another column than the reading or the limit (the highest value of a test, a low limit, a warning limit)"
            }
            Self::ColumnChanges { later } => match later.says {
                LaterSays::Failure | LaterSays::Code => "an outcome in a column that is not used",
                LaterSays::Kind => "a kind of test in a column that is not used",
            },
            Self::TestedAgain { .. } => {
                "several tests of each unit that no column tells apart, or a serial column that names a lot or an order"
            }
            Self::TwoOrders { .. } => "rows exported under another language or clock setting",
            Self::Unreadable { .. } => "a column taken for another, or written in another way",
        }
    }

    /// The setting that would put it right, a full sentence.
    #[must_use]
    pub fn setting(&self) -> &'static str {
        match self {
            Self::TooLarge { .. }
            | Self::ReadingsTimes { .. }
            | Self::LimitTimes { mixed: false, .. }
            | Self::AgainstReading { far: true, .. } => {
                "Name the column with its unit under [columns], for example \"Leakage\" = \"reading_ua\", or set decimal_sign."
            }
            Self::LimitTimes { .. } | Self::TestedAgain { .. } => {
                "Name under [columns] the column that tells the tests apart as \"test\", \"test_point\" or \"step\", and the one that names single units as \"serial\"."
            }
            Self::ColumnChanges { .. } => {
                "Name it under [columns] as what it is, \"outcome\" or \"test\", or as \"ignored\" where it is neither."
            }
            Self::TwoOrders { .. } => "Export it again with one order of day and month.",
            Self::AllFailed { .. } => {
                "Say under [outcomes] what the words mean; export passes too."
            }
            Self::AgainstReading { .. } | Self::LimitChanges { .. } | Self::Unreadable { .. } => {
                "Name the right columns under [columns]; `leakdrift peek` shows how each was understood."
            }
        }
    }
}

impl fmt::Display for Sign {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        let share = |n: u64, of: u64| share_pct(n as f64 / of.max(1) as f64);
        match self {
            Self::TooLarge { tests, largest_ma, believed_ma } => write!(
                to,
                "{} have a current above {believed_ma} mA, up to {} mA, which no tester of the trade shows",
                counted(*tests, "test"),
                three_digits(*largest_ma),
            ),
            Self::LimitTimes { title, limits_ma, tests, .. } => write!(
                to,
                "the high limit of {title} is {} mA in {} and {} mA in {}: a power of ten apart",
                three_digits(limits_ma[0]),
                counted(tests[0], "test"),
                three_digits(limits_ma[1]),
                counted(tests[1], "test"),
            ),
            Self::LimitChanges { title, limits, tests } => write!(
                to,
                "{} of {title} have {} different high limits, none of which holds for a third of them",
                counted(*tests, "test"),
                grouped(*limits),
            ),
            Self::ReadingsTimes { title, larger } => write!(
                to,
                "readings of {title} are about {} those in the other files",
                if *larger { "1000 times" } else { "a thousandth of" }
            ),
            Self::AllFailed { tests } => {
                write!(to, "none of its {} passed", counted(*tests, "test"))
            }
            Self::AgainstReading { against, passes, .. } => write!(
                to,
                "{} of its {} ({}) contradict their reading",
                grouped(*against),
                counted_passes(*passes),
                share(*against, *passes)
            ),
            Self::ColumnChanges { later } => write!(
                to,
                "column {:?} is not used and says {:?} from row {} on, in {}, where the first rows say {}",
                later.column,
                later.found,
                grouped(u64::from(later.line)),
                counted(later.rows, "row"),
                if later.assumed.is_empty() {
                    "nothing".to_owned()
                } else {
                    format!("{:?}", later.assumed)
                },
            ),
            Self::TestedAgain { again, tests } => write!(
                to,
                "{} of its {} ({}) repeat what the unit had passed at the station",
                grouped(*again),
                counted(*tests, "test"),
                share(*again, *tests)
            ),
            Self::TwoOrders { rows } => write!(
                to,
                "the dates of {} do not fit the order of day and month of the others, of which those that can be read both ways may be wrong",
                counted(*rows, "row")
            ),
            Self::Unreadable { unreadable, rows, fault } => {
                write!(
                    to,
                    "{} of its {} ({}) cannot be read",
                    grouped(*unreadable),
                    counted(*rows, "row"),
                    share(*unreadable, *rows)
                )?;
                let Some(fault) = fault else { return Ok(()) };
                let at = if fault.column.is_empty() {
                    String::new()
                } else {
                    format!(" in column {:?}", fault.column)
                };
                write!(
                    to,
                    ", most of them{at}: expected {}, found {:?}",
                    fault.expected, fault.found
                )
            }
        }
    }
}

fn counted_passes(n: u64) -> String {
    if n == 1 { "1 pass".to_owned() } else { format!("{} passes", grouped(n)) }
}

impl Serialize for Sign {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        object!(to;
            "sign": self.key(),
            "sentence": self.to_string(),
            "likely": self.likely(),
            "setting": self.setting(),
        )
    }
}
