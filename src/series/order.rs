//! The one order of the rows: by series and station, and there in time; made once, by counting.
//!
//! Tallies, counts and every later question are walks along slices of it. Each shard puts its rows by series
//! and station as soon as it is swept, so that its records can go; then the parts of each series and station
//! are joined and sorted by time, many at once. What has been joined is given back a part at a time, so that
//! both copies of the rows never stand in memory whole.

use std::collections::BTreeSet;

use rayon::prelude::*;

use super::row::Row;
use super::setups::Resolved;

/// So many parts are joined one after the other, each in parallel.
const PARTS: usize = 16;

/// The places of the order: each series at each of its stations, then each station for rows of no series.
#[derive(Debug)]
pub struct Places {
    /// Place of each setup.
    of_setup: Vec<u32>,
    /// Series and station of each place.
    all: Vec<(Option<u32>, u16)>,
}

/// The rows of one shard, put by place.
#[derive(Debug, Default)]
pub struct Put {
    rows: Vec<Row>,
    /// Where the rows of each place begin; the last entry is their number.
    starts: Vec<usize>,
}

/// The rows of one series at one station, in order of time.
#[derive(Debug)]
pub struct Block {
    /// `None` for rows of tests that belong to no series.
    pub series: Option<u32>,
    pub station: u16,
    pub rows: Vec<Row>,
}

impl Places {
    pub fn new(resolved: &Resolved) -> Self {
        let key = |(series, station): (&Option<u32>, &u16)| (series.is_none(), *series, *station);
        let of_setups = || resolved.series.iter().zip(&resolved.station).map(key);
        let all: Vec<_> = of_setups().collect::<BTreeSet<_>>().into_iter().collect();
        let place = |k| all.binary_search(&k).expect("every setup was counted");
        Self {
            of_setup: of_setups()
                .map(|k| u32::try_from(place(k)).expect("as many places as setups at most"))
                .collect(),
            all: all.iter().map(|(_, series, station)| (*series, *station)).collect(),
        }
    }

    /// The rows put by place.
    pub fn put(&self, rows: &[Row]) -> Put {
        let place = |row: &Row| self.of_setup[row.setup as usize] as usize;
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
        Put { rows: put, starts }
    }

    /// The rows of all shards in their order.
    pub fn in_order(&self, mut shards: Vec<Put>) -> Vec<Block> {
        let mut blocks: Vec<Block> = Vec::with_capacity(self.all.len());
        // From the last place to the first: what was taken from the end of a shard is given back at once.
        let part = self.all.len().div_ceil(PARTS).max(1);
        for places in (0..self.all.len()).collect::<Vec<_>>().rchunks(part) {
            let joined: Vec<Block> = places.par_iter().map(|n| self.block(*n, &shards)).collect();
            blocks.extend(joined.into_iter().rev());
            for shard in &mut shards {
                shard.rows.truncate(shard.starts[places[0]]);
                shard.rows.shrink_to_fit();
            }
        }
        blocks.reverse();
        blocks
    }

    fn block(&self, n: usize, shards: &[Put]) -> Block {
        let of_shard = |s: &Put| s.starts[n]..s.starts[n + 1];
        let mut rows = Vec::with_capacity(shards.iter().map(|s| of_shard(s).len()).sum());
        for shard in shards {
            rows.extend_from_slice(&shard.rows[of_shard(shard)]);
        }
        rows.par_sort_unstable_by_key(Row::in_time);
        let (series, station) = self.all[n];
        Block { series, station, rows }
    }
}
