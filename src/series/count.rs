//! Tallies and counts of every series: one walk along its rows, station by station and day by day.

use rayon::prelude::*;

use super::SeriesKey;
use super::kinds::{Kept, Kinds};
use super::order::Block;
use super::row::Row;
use super::tally::{OutcomeLine, Says, Series, TallyLine, TripLine, UnderLimitLine};
use crate::day::day_of;
use crate::records::{Limits, Outcome, Shown};

/// The series of all keys, counted from their rows; `blocks` are in order, `set_of` says what each setup set.
pub fn count_up(
    keys: &[SeriesKey],
    blocks: &[Block],
    kinds: &Kinds,
    limits: &[Limits],
    set_of: &[u32],
    starts_s: i64,
) -> Vec<Series> {
    keys.par_iter()
        .enumerate()
        .map(|(n, key)| {
            let place = |b: &Block| b.series.map_or(usize::MAX, |s| s as usize);
            let from = blocks.partition_point(|b| place(b) < n);
            let to = blocks.partition_point(|b| place(b) <= n);
            count(key.clone(), &blocks[from..to], kinds, limits, set_of, starts_s)
        })
        .collect()
}

fn count(
    key: SeriesKey,
    blocks: &[Block],
    kinds: &Kinds,
    limits: &[Limits],
    set_of: &[u32],
    starts_s: i64,
) -> Series {
    let is_dc = key.test.is_dc();
    let mut series = Series {
        key,
        tally: Vec::new(),
        outcomes: Vec::new(),
        trips: Vec::new(),
        under_limit: Vec::new(),
        repeats: (0.0, 0),
    };
    let mut readings: Vec<(i64, Says, u32)> = Vec::new();
    let mut counted: Vec<u32> = Vec::new();
    let mut outcomes: Vec<OutcomeLine> = Vec::new();
    for block in blocks {
        let station = block.station;
        let day = |row: &Kept| day_of(kinds.time(row), starts_s);
        for rows in block.rows.chunk_by(|a, b| day(a) == day(b)) {
            let day = day(&rows[0]);
            for kept in rows {
                if kept.is(Row::COUNTED) {
                    counted.push(kept.kind);
                    if kinds.of(kept).outcome == Outcome::UnderLimit {
                        let row = kinds.row(kept);
                        let line = UnderLimitLine { day, station, value_pa: row.reading_pa };
                        let many = if row.shown() == Shown::Value { row.count } else { 0 };
                        series.under_limit.extend((0..many).map(|_| line));
                    }
                }
                if kept.is(Row::LEAKAGE)
                    && let row = kinds.row(kept)
                    && let Some((value_pa, says)) = says(&row, limits)
                {
                    readings.push((value_pa, says, row.count));
                    if says == Says::Above {
                        series.trips.push(TripLine { factors: row.factors, count: row.count });
                    }
                }
            }
            readings.sort_unstable();
            for same in readings.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
                let (value_pa, says, _) = same[0];
                let count = same.iter().map(|r| r.2).sum();
                series.tally.push(TallyLine { day, station, value_pa, says, count });
            }
            // Most rows of a day are of few kinds.
            counted.sort_unstable();
            outcomes.extend(counted.chunk_by(|a, b| a == b).map(|same| {
                let kind = &kinds.all()[same[0] as usize];
                let tripped = kind.outcome == Outcome::OverLimit;
                let rows = u32::try_from(same.len()).unwrap_or(u32::MAX);
                OutcomeLine {
                    day,
                    station,
                    factors: kind.factors,
                    set: set_of[kind.setup as usize],
                    limits: limits[kind.limits as usize],
                    outcome: kind.outcome,
                    in_ramp: is_dc && tripped && kind.is_in_ramp(),
                    count: rows.saturating_mul(kind.count),
                }
            }));
            counted.clear();
            outcomes.sort_unstable();
            for same in outcomes.chunk_by(|a, b| a.with(1) == b.with(1)) {
                series.outcomes.push(same[0].with(same.iter().map(|o| o.count).sum()));
            }
            readings.clear();
            outcomes.clear();
        }
    }
    // Station by station so far, each in order of days: joining what is in order costs little.
    series.tally.sort();
    series.outcomes.sort();
    series.under_limit.sort();
    series.trips.sort_unstable();
    series.trips.dedup_by(|next, first| {
        let same = next.factors == first.factors;
        first.count += if same { next.count } else { 0 };
        same
    });
    series
}

/// What a row says about the current; `None` where it says nothing (a trip with no limit in force).
pub fn says(row: &Row, limits: &[Limits]) -> Option<(i64, Says)> {
    if row.outcome == Outcome::OverLimit {
        return limits[row.limits as usize].high_pa.map(|h| (h, Says::Above));
    }
    shown(row)
}

/// What a row shows, and whether it is the reading or a bound.
pub fn shown(row: &Row) -> Option<(i64, Says)> {
    let says = match row.shown() {
        Shown::Value => Says::Value,
        Shown::Below => Says::Below,
        Shown::Above => Says::Above,
        Shown::Nothing => return None,
    };
    Some((row.reading_pa, says))
}
