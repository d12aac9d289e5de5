//! First attempts, and everything that is not one (design sections 3 and 4).

use std::collections::BTreeSet;

use super::rows::Use;
use super::setups::Resolved;
use crate::config::Config;
use crate::day::{Day, day_of};
use crate::records::{Limits, Marks, Outcome, Record, Shown};

/// Why a row is set aside. In order of precedence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "the words of each are its documentation")]
pub enum SetAside {
    OtherTest,
    CheckLoad,
    Clock,
    Contradicted,
    Repeated,
    FaultLocating,
    NotCompleted,
    Returned,
    Retest,
}

impl SetAside {
    /// The reason in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::OtherTest => "other kind of test",
            Self::CheckLoad => "check load",
            Self::Clock => "clock not believable",
            Self::Contradicted => "contradicted by its reading",
            Self::Repeated => "repeated row",
            Self::FaultLocating => "fault-locating run",
            Self::NotCompleted => "not completed",
            Self::Returned => "returned unit",
            Self::Retest => "retest",
        }
    }
}

/// What happened to a unit that failed its first completed test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnitHistory {
    /// Series of the first attempt.
    pub series: u32,
    /// Station of the first attempt.
    pub station: u16,
    /// Factor levels of the first attempt.
    pub factors: u32,
    /// Day of the first attempt.
    pub day: Day,
    /// What it ended with.
    pub outcome: Outcome,
    /// Completed tests after it.
    pub retests: u32,
    /// Whether the last test was a pass in the same series.
    pub passed: bool,
    /// Whether the last test was a pass, but only at other settings.
    pub passed_elsewhere: bool,
    /// Shard and row of the first test, for its serial as first written.
    pub first: (u16, u32),
    /// Shard and row of the last test.
    pub last: (u16, u32),
}

/// What the pass needs to know beside the rows.
pub struct Rules<'a> {
    /// Setups resolved.
    pub resolved: &'a Resolved,
    /// Limits by code.
    pub limits: &'a [Limits],
    /// Days outside which a date is not believed.
    pub believable: (Day, Day),
    /// By source: lines of jumps back, and whether the rows stand in time order.
    pub clocks: &'a [(Vec<(u32, u32)>, bool)],
    /// By source: the file it belongs to.
    pub file_of: &'a [u32],
    /// Reading steps.
    pub steps: &'a super::Steps,
    /// Days with any product.
    pub all_days: usize,
    /// Settings.
    pub config: &'a Config,
}

/// What one shard's units gave.
#[derive(Debug, Default)]
pub struct Swept {
    /// First attempts, by row: they count in the yield.
    pub counted: Vec<u32>,
    /// Rows whose reading or trip is in the leakage tally.
    pub leakage: Vec<u32>,
    /// Units that failed first.
    pub histories: Vec<UnitHistory>,
    /// By series: sum of squared differences of two readings of one unit (mA²), and how many.
    pub repeats: std::collections::BTreeMap<u32, (f64, u32)>,
    /// Units in rows whose serial names none.
    pub no_serial: u64,
    /// Serials on too many days to name a unit, with their row.
    pub placeholders: Vec<u32>,
    /// Serials that look like unnamed check loads, with their row.
    pub probable_loads: Vec<u32>,
}

const HOUR_S: i64 = 3_700;

/// Decides for every row of a shard where it goes.
pub fn sweep(shard: &mut super::rows::Shard, number: u16, rules: &Rules<'_>) -> Swept {
    shard.records.sort_unstable_by_key(|r| (r.unit, r.time, r.source, r.line, r.part));
    shard.uses = vec![Use::Used; shard.records.len()];
    let mut swept = Swept::default();
    let mut start = 0;
    let (records, uses) = (&shard.records, &mut shard.uses);
    while start < records.len() {
        let unit = records[start].unit;
        let end = start + records[start..].iter().take_while(|r| r.unit == unit).count();
        group(records, uses, start..end, number, rules, &mut swept);
        start = end;
    }
    swept
}

fn group(
    records: &[Record],
    uses: &mut [Use],
    range: std::ops::Range<usize>,
    shard: u16,
    rules: &Rules<'_>,
    swept: &mut Swept,
) {
    let mut rest: Vec<usize> = Vec::with_capacity(range.len());
    for n in range {
        match of_itself(&records[n], rules) {
            Some(reason) => uses[n] = Use::SetAside(reason),
            None => rest.push(n),
        }
    }
    if rest.is_empty() {
        return;
    }
    let mut nameless = records[rest[0]].marks.has(Marks::NO_SERIAL);
    if !nameless && rest.len() >= rules.config.placeholder_days {
        match many_days(records, &rest, rules) {
            ManyDays::No => {}
            ManyDays::CheckLoad => {
                swept.probable_loads.push(index(rest[0]));
                for n in rest {
                    uses[n] = Use::SetAside(SetAside::CheckLoad);
                }
                return;
            }
            ManyDays::Placeholder => {
                swept.placeholders.push(index(rest[0]));
                nameless = true;
            }
        }
    }
    repeated(records, uses, &mut rest, rules);
    if nameless {
        swept.no_serial += rest.iter().map(|n| u64::from(records[*n].count)).sum::<u64>();
        for n in rest {
            attempts(records, uses, vec![n], shard, rules, swept);
        }
        return;
    }
    let attempt_of = |n: &usize| rules.resolved.attempt[records[*n].setup as usize];
    if rest.len() == 1 || rest.iter().all(|n| attempt_of(n) == attempt_of(&rest[0])) {
        attempts(records, uses, rest, shard, rules, swept);
        return;
    }
    let kinds: BTreeSet<u32> = rest.iter().map(&attempt_of).collect();
    for kind in kinds {
        let same: Vec<usize> = rest.iter().copied().filter(|n| attempt_of(n) == kind).collect();
        attempts(records, uses, same, shard, rules, swept);
    }
}

fn index(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// Reasons that a row carries in itself.
fn of_itself(r: &Record, rules: &Rules<'_>) -> Option<SetAside> {
    if r.marks.has(Marks::OTHER_TEST) {
        return Some(SetAside::OtherTest);
    }
    if r.marks.has(Marks::CHECK_LOAD) {
        return Some(SetAside::CheckLoad);
    }
    let day = day_of(r.time, 0);
    let jumps = &rules.clocks[usize::from(r.source)].0;
    if !(rules.believable.0..=rules.believable.1).contains(&day)
        || jumps.iter().any(|(from, to)| (*from..=*to).contains(&r.line))
    {
        return Some(SetAside::Clock);
    }
    if r.outcome == Outcome::Pass && r.shown != Shown::Below {
        let limits = rules.limits[r.limits as usize];
        let step = rules.steps.at(rules.resolved.station[r.setup as usize], r.reading_pa);
        let above = limits.high_pa.is_some_and(|h| r.reading_pa > h + step);
        let below = limits.low_pa.is_some_and(|l| r.reading_pa < l - step);
        if above || below {
            return Some(SetAside::Contradicted);
        }
    }
    None
}

enum ManyDays {
    No,
    Placeholder,
    CheckLoad,
}

/// A serial on very many days names no unit; one on most days at every station is a check load.
fn many_days(records: &[Record], rows: &[usize], rules: &Rules<'_>) -> ManyDays {
    let days: BTreeSet<Day> = rows.iter().map(|n| day_of(records[*n].time, 0)).collect();
    if days.len() < rules.config.placeholder_days {
        return ManyDays::No;
    }
    let stations: BTreeSet<u16> =
        rows.iter().map(|n| rules.resolved.station[records[*n].setup as usize]).collect();
    let everywhere = stations.len() == rules.resolved.stations.len();
    if everywhere && days.len() * 2 > rules.all_days {
        ManyDays::CheckLoad
    } else {
        ManyDays::Placeholder
    }
}

/// Rows that agree in every column and come from different files are one row.
fn repeated(records: &[Record], uses: &mut [Use], rows: &mut Vec<usize>, rules: &Rules<'_>) {
    if rows.len() < 2 {
        return;
    }
    let same = |a: &Record, b: &Record| {
        !a.marks.has(Marks::TALLIED)
            && a.time == b.time
            && a.reading_pa == b.reading_pa
            && a.outcome == b.outcome
            && a.shown == b.shown
            && a.setup == b.setup
            && a.factors == b.factors
            && a.limits == b.limits
            && a.count == b.count
            && a.part == b.part
            && rules.file_of[usize::from(a.source)] != rules.file_of[usize::from(b.source)]
    };
    let mut kept: Vec<usize> = Vec::with_capacity(rows.len());
    for &n in rows.iter() {
        let again = kept
            .iter()
            .rev()
            .take_while(|k| records[**k].time == records[n].time)
            .any(|k| same(&records[*k], &records[n]));
        if again {
            uses[n] = Use::SetAside(SetAside::Repeated);
        } else {
            kept.push(n);
        }
    }
    *rows = kept;
}

/// The attempts of one unit at one test, in order.
fn attempts(
    records: &[Record],
    uses: &mut [Use],
    mut rows: Vec<usize>,
    shard: u16,
    rules: &Rules<'_>,
    swept: &mut Swept,
) {
    by_row_order_where_clocks_repeat(records, &mut rows, rules);
    fault_locating(records, uses, &mut rows, rules);
    returned(records, uses, &mut rows, rules);
    let Some(&first) = rows.first() else { return };
    swept.counted.push(index(first));
    let series_of = |n: usize| rules.resolved.series[records[n].setup as usize];
    let mut completed_before = false;
    for &n in &rows {
        if records[n].outcome == Outcome::NotCompleted {
            uses[n] = Use::SetAside(SetAside::NotCompleted);
        } else if completed_before {
            uses[n] = Use::SetAside(SetAside::Retest);
        } else {
            completed_before = true;
        }
    }
    // Leakage: the first test that was completed with the unit connected.
    let says_nothing_yet = |r: &Record| {
        matches!(r.outcome, Outcome::NotCompleted | Outcome::UnderLimit)
            || (r.outcome == Outcome::OverLimit && r.marks.has(Marks::IN_RAMP))
    };
    let first_full = rows.iter().copied().find(|n| !says_nothing_yet(&records[*n]));
    if let Some(n) = first_full
        && matches!(records[n].outcome, Outcome::Pass | Outcome::OverLimit)
        && series_of(n) == series_of(first)
    {
        swept.leakage.push(index(n));
    }
    repeatability(records, &rows, rules, swept);
    let completed: Vec<usize> =
        rows.iter().copied().filter(|n| records[*n].outcome != Outcome::NotCompleted).collect();
    let (Some(&start), Some(&last)) = (completed.first(), completed.last()) else {
        return;
    };
    if records[start].outcome == Outcome::Pass {
        return;
    }
    let passed = records[last].outcome == Outcome::Pass;
    let same = series_of(last) == series_of(start);
    let Some(series) = series_of(start) else {
        return;
    };
    swept.histories.push(UnitHistory {
        series,
        station: rules.resolved.station[records[start].setup as usize],
        factors: records[start].factors,
        day: day_of(records[start].time, rules.config.day_starts_s()),
        outcome: records[start].outcome,
        retests: index(completed.len() - 1),
        passed: passed && same,
        passed_elsewhere: passed && !same,
        first: (shard, index(first)),
        last: (shard, index(last)),
    });
}

/// Clocks repeat an hour in autumn: within a file in time order the row order decides there.
fn by_row_order_where_clocks_repeat(records: &[Record], rows: &mut [usize], rules: &Rules<'_>) {
    for n in 1..rows.len() {
        let mut at = n;
        while at > 0 {
            let (a, b) = (&records[rows[at - 1]], &records[rows[at]]);
            let against = a.source == b.source && a.line > b.line && b.time - a.time <= HOUR_S;
            if !against || !rules.clocks[usize::from(a.source)].1 {
                break;
            }
            rows.swap(at - 1, at);
            at -= 1;
        }
    }
}

fn fault_locating(records: &[Record], uses: &mut [Use], rows: &mut Vec<usize>, rules: &Rules<'_>) {
    let mut drop = vec![false; rows.len()];
    for (k, &n) in rows.iter().enumerate() {
        drop[k] = records[n].marks.has(Marks::FAULT_LOCATING);
    }
    let mut start = 0;
    while start < rows.len() {
        let mut end = start + 1;
        while end < rows.len()
            && records[rows[end]].time - records[rows[end - 1]].time <= rules.config.fault_run_gap_s
        {
            end += 1;
        }
        let run = &rows[start..end];
        let failed = run.iter().filter(|n| records[**n].outcome != Outcome::Pass).count();
        if run.len() >= rules.config.fault_run_tests && failed * 2 > run.len() {
            // The first test of an unmarked run stays what it is.
            for flag in drop.iter_mut().take(end).skip(start + 1) {
                *flag = true;
            }
        }
        start = end;
    }
    let mut kept = Vec::with_capacity(rows.len());
    for (k, &n) in rows.iter().enumerate() {
        if drop[k] {
            uses[n] = Use::SetAside(SetAside::FaultLocating);
        } else {
            kept.push(n);
        }
    }
    *rows = kept;
}

fn returned(records: &[Record], uses: &mut [Use], rows: &mut Vec<usize>, rules: &Rules<'_>) {
    let gap_s = rules.config.returned_after_days * 86_400;
    let cut = rows
        .windows(2)
        .position(|w| records[w[1]].time - records[w[0]].time > gap_s)
        .map_or(rows.len(), |n| n + 1);
    for &n in &rows[cut..] {
        uses[n] = Use::SetAside(SetAside::Returned);
    }
    rows.truncate(cut);
}

/// Squared differences between successive readings of one unit in one series at one station.
fn repeatability(records: &[Record], rows: &[usize], rules: &Rules<'_>, swept: &mut Swept) {
    let read: Vec<&Record> = rows
        .iter()
        .map(|n| &records[*n])
        .filter(|r| r.outcome == Outcome::Pass && r.shown == Shown::Value)
        .collect();
    for pair in read.windows(2) {
        if pair[0].setup == pair[1].setup
            && let Some(series) = rules.resolved.series[pair[0].setup as usize]
        {
            #[expect(
                clippy::cast_precision_loss,
                reason = "readings are far below 2^53 picoamperes"
            )]
            let difference = (pair[0].reading_pa - pair[1].reading_pa) as f64 / 1e9;
            let slot = swept.repeats.entry(series).or_default();
            slot.0 += difference * difference;
            slot.1 += 1;
        }
    }
}
