//! The one order of the rows: by series and station, and there in time; made once.
//!
//! Tallies, counts and every later question are walks along slices of it. How many rows each series has at each station
//! is known from their kinds before any is swept, so that room for them stands ready: each shard puts its rows there as
//! soon as it is swept, its records go, and no row stands in memory twice.

use std::collections::BTreeSet;
use std::sync::{Mutex, PoisonError};

use rayon::prelude::*;

use super::kinds::{Kept, Kinds};
use super::setups::Resolved;

/// The places of the order: each series at each of its stations, then each station for rows of no series.
#[derive(Debug)]
pub struct Places {
    /// Place of each kind of rows.
    of_kind: Vec<u32>,
    /// Series and station of each place.
    all: Vec<(Option<u32>, u16)>,
    /// The rows put there, in no order yet.
    rows: Vec<Mutex<Vec<Kept>>>,
}

/// The rows of one series at one station, in order of time.
#[derive(Debug)]
pub struct Block {
    /// `None` for rows of tests that belong to no series.
    pub series: Option<u32>,
    pub station: u16,
    pub rows: Vec<Kept>,
}

impl Places {
    pub fn new(resolved: &Resolved, kinds: &Kinds) -> Self {
        let key = |(series, station): (&Option<u32>, &u16)| (series.is_none(), *series, *station);
        let of_setups = || resolved.series.iter().zip(&resolved.station).map(key);
        let all: Vec<_> = of_setups().collect::<BTreeSet<_>>().into_iter().collect();
        let place = |k| all.binary_search(&k).expect("every setup was counted");
        let of_setup: Vec<u32> = of_setups()
            .map(|k| u32::try_from(place(k)).expect("as many places as setups at most"))
            .collect();
        let of_kind: Vec<u32> =
            kinds.all().iter().map(|kind| of_setup[kind.setup as usize]).collect();
        let mut many = vec![0_usize; all.len()];
        for (place, rows) in of_kind.iter().zip(kinds.rows()) {
            many[*place as usize] += usize::try_from(*rows).unwrap_or(0);
        }
        Self {
            of_kind,
            all: all.iter().map(|(_, series, station)| (*series, *station)).collect(),
            rows: many.into_iter().map(|n| Mutex::new(Vec::with_capacity(n))).collect(),
        }
    }

    /// Puts the rows of a shard where they belong.
    pub fn put(&self, rows: &[Kept]) {
        let place = |row: &Kept| self.of_kind[row.kind as usize] as usize;
        let mut starts = vec![0; self.all.len() + 1];
        for row in rows {
            starts[place(row) + 1] += 1;
        }
        for n in 1..starts.len() {
            starts[n] += starts[n - 1];
        }
        let mut next = starts.clone();
        let mut put = rows.to_vec();
        for row in rows {
            let slot = &mut next[place(row)];
            put[*slot] = *row;
            *slot += 1;
        }
        for (there, at) in self.rows.iter().zip(starts.windows(2)) {
            if at[0] < at[1] {
                let mut there = there.lock().unwrap_or_else(PoisonError::into_inner);
                there.extend_from_slice(&put[at[0]..at[1]]);
            }
        }
    }

    /// All rows put, in their order.
    pub fn in_order(self, kinds: &Kinds) -> Vec<Block> {
        self.rows
            .into_par_iter()
            .zip(self.all)
            .map(|(rows, (series, station))| {
                let mut rows = rows.into_inner().unwrap_or_else(PoisonError::into_inner);
                rows.par_sort_unstable_by(|a, b| kinds.in_order(a, b));
                Block { series, station, rows }
            })
            .collect()
    }
}
