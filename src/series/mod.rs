//! Records → tallies: one pass over all rows, then small tables; the last room that sees rows.
//!
//! Takes batches of records in their fixed order, gives a [`Pass`]: for every series a tally of readings
//! per day and station, counts of outcomes, and small lists. What follows never asks for a row again,
//! except to name the serials behind a finding ([`Pass::rows`]).
//!
//! Records are kept packed until the end of the pass, grouped by unit, because a retest may be read
//! before the first attempt it repeats. That is linear in rows (about 70 bytes each); whoever has
//! billions makes the tally with a `GROUP BY` in a database and reads it as Parquet.
//!
//! Memory is linear in rows, packed; whoever has billions makes the tally in a database. A retest may be
//! read before the first attempt it repeats, in any order of files: sorting makes the answer independent of
//! it and of the number of threads.

mod attempts;
mod clock;
mod key;
mod pass;
mod resolution;
mod rows;
mod save;
mod setups;
mod tally;

pub use attempts::{SetAside, UnitHistory};
pub use key::{SeriesKey, SeriesName, ids, names};
pub use pass::{CheckReading, Collector, Ledger, Pass, TestSettings};
pub use resolution::{StepRange, Steps};
pub use rows::{RowView, Rows, Use};
pub use save::save;
pub use tally::{FactorLine, OutcomeLine, Says, Series, TallyLine};
