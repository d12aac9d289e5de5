//! Sudden changes of the share of failures: since when, how big, and what explains them.
//!
//! Looked for in every series, then at every station and over the whole line: as they stand, where more units of a
//! poor model are a jump whose answer is the mix, and beyond what the series tell already; failures together
//! and each outcome on its own (design section 11).
//!
//! *Finding*: replicates draw their own dispersion and correlation, since few failures tell little of how
//! rates vary; series, stations and the line are three questions, each paying for its own scans; the date's
//! interval is 7 long-run dispersions, `1 + (phi − 1)(1 + rho)/(1 − rho)`, wide, where design 11 says 7
//! `phi`: with days that hang together that held too little.
//!
//! *Explaining*: levels beside others on the same days are compared within series and day. A level tied to
//! days of its own proves no more than the change does, and is a cause only where nothing within days is
//! one and its factor's levels leave little for other days. A level that every unit since had, and none
//! before, is told as coinciding, never as a cause. Every factor has the same weight in the false-discovery
//! control, shared by its levels (Genovese, Roeder & Wasserman 2006, from memory), as the ranking's `2
//! ln(levels)` has it. Another level that has the same failures and fits within a likelihood ratio of e² is
//! told beside a cause (`rivals`).

mod asked;
mod beyond;
mod cause;
pub mod cells;
mod change;
pub mod explain;
pub mod factors;
mod find;
mod found;
mod gather;
mod levels;
mod look;
mod odds;
pub mod over_time;
pub mod readings;
mod recount;
pub mod rise;
pub mod split;
pub mod traces;

pub use asked::Asked;
pub use cause::{AtLeast, Cause, Levels, Named};
pub use change::{Dated, Place, Scope, Side, Window};
pub use explain::Explained;
pub use factors::Tested;
pub use find::jumps;
pub use found::Jump;
pub use readings::Readings;
pub use rise::{Change, Demands};
pub use split::{LimitMove, Mixed, Parts};
pub use traces::{Run, Traces, of_cause};
