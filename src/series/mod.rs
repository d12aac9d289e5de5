//! Records → tallies: one pass over all rows, then small tables; the last room that sees rows.
//!
//! Takes batches of records in their fixed order, gives a [`Pass`]: for every series a tally of readings
//! per day and station, counts of outcomes, and small lists. What follows never sees a row: a question about
//! single units is asked by name ([`Pass::tests`]), and what it gives is resolved ([`Test`]).
//!
//! Records are kept packed until the end of the pass, grouped by unit, because a retest may be read
//! before the first attempt it repeats, in any order of files; then they stand in one order, by series, station
//! and time, so that the answer depends neither on the order of files nor on the number of threads. That is
//! linear in rows (about 60 bytes each); whoever has billions makes the tally with a `GROUP BY` in a database
//! and reads it as Parquet.

mod at_plant;
mod attempts;
mod clock;
mod collector;
mod count;
mod key;
mod kinds;
mod not_used;
mod order;
mod pass;
mod people;
mod plant;
mod resolution;
mod row;
mod save;
mod save_rows;
mod setups;
mod shown;
mod sql;
mod tally;
mod units;

pub use at_plant::AtPlant;
pub use attempts::UnitHistory;
pub use collector::Collector;
pub use key::{Called, NamedSeries, SeriesKey, SeriesName};
pub use not_used::{NotUsed, NotUsedKind, Why, in_other_order};
pub use pass::{Ledger, Pass};
pub use people::{OPERATOR, SHIFT};
pub use plant::{Air, CheckReading, Plant, Post};
pub use resolution::{StepRange, Steps};
pub use row::SetAside;
pub use save::{Beside, save};
pub use save_rows::{SerialsAs, save_rows};
pub use sql::sql;
pub use tally::{OutcomeLine, Outcomes, Says, Series, TallyLine, TripLine, UnderLimitLine};
pub use units::{NamedTest, Test, TestSettings, Tests};
// The words of a record that every later room speaks.
pub use crate::records::{
    Calibration, Current, Decision, Event, Later, LaterSays, Limits, Outcome, Register, Source,
    TestKind, ma_to_pa, pa_to_ma,
};
