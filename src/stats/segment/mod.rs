//! Where a series changes level: what a good segment is ([`cost`]) and where to cut ([`search`]) are
//! separate and combine freely.
//!
//! An index is that of the first point *after* a change, which is also the number of points before it.

pub mod cost;
pub mod search;
