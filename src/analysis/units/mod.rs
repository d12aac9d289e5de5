//! Questions about units, stations' records and what was set: who must be looked at, and why.

pub mod calibration;
pub mod causes;
pub mod checks;
pub mod doubt;
pub mod gaps;
pub mod happenings;
pub mod leads;
mod lower_tail;
pub mod practice;
pub mod settings;
pub mod strays;
pub mod tables;
pub mod too_good;
pub mod what_if;
