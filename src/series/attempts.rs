//! First attempts, and everything that is not one (design sections 3 and 4).

use std::collections::BTreeSet;

use super::collector::Shard;
use super::kinds::{Kept, Kinds, Packed};
use super::order::Places;
use super::row::{Row, SetAside, Use};
use super::setups::Resolved;
use crate::config::Config;
use crate::day::{Day, day_of};
use crate::records::{Limits, Marks, Outcome, Record, SerialAt, Shown};

/// What happened to a unit that failed its first completed test.
#[derive(Debug, Clone, Copy)]
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
    /// The first test; its serial is the one as first written.
    pub(super) first: Kept,
    /// The last test.
    pub(super) last: Kept,
}

/// What the pass needs to know beside the rows.
pub struct Rules<'a> {
    /// Setups resolved.
    pub resolved: &'a Resolved,
    /// What rows share.
    pub kinds: &'a Kinds,
    /// Limits by code.
    pub limits: &'a [Limits],
    /// Days outside which a date is not believed.
    pub believable: (Day, Day),
    /// By source: lines of jumps back, and whether the rows stand in time order.
    pub clocks: &'a [(Vec<(u32, u32)>, bool)],
    /// By source: the file it belongs to.
    pub file_of: &'a [u32],
    /// By source: whether its file holds the bytes of an earlier one.
    pub copies: &'a [bool],
    /// Reading steps.
    pub steps: &'a super::Steps,
    /// Where rows are put.
    pub places: &'a Places,
    /// Days with any product.
    pub all_days: usize,
    /// Settings.
    pub config: &'a Config,
}

/// What one shard's units gave.
#[derive(Debug, Default)]
pub struct Swept {
    /// Units that failed first.
    pub histories: Vec<UnitHistory>,
    /// By series: sum of squared differences of two readings of one unit (mA²), and how many.
    pub repeats: std::collections::BTreeMap<u32, (f64, u32)>,
    /// Units in rows whose serial names none.
    pub no_serial: u64,
    /// Units in lines of tallies.
    pub tallied: u64,
    /// Serials on too many days to name a unit.
    pub placeholders: Vec<SerialAt>,
    /// Serials that look like unnamed check loads.
    pub probable_loads: Vec<SerialAt>,
}

const HOUR_S: i64 = 3_700;

/// Decides for every row of a shard where it goes.
pub fn sweep(shard: Shard, rules: &Rules<'_>) -> Swept {
    let packed = by_unit(shard, rules.kinds);
    let mut swept = Swept::default();
    let mut rows: Vec<Kept> = packed.iter().map(|r| rules.kinds.keep(r)).collect();
    let (mut start, mut records, mut rest) = (0, Vec::new(), Vec::new());
    for of_unit in packed.chunk_by(|a, b| a.unit() == b.unit()) {
        let end = start + of_unit.len();
        records.clear();
        records.extend(of_unit.iter().map(|r| rules.kinds.record(r)));
        let rows = &mut rows[start..end];
        Unit { records: &records, rows, rules }.sweep(&mut rest, &mut swept);
        start = end;
    }
    drop(packed);
    rules.places.put(&rows);
    swept
}

/// Records by unit, those of one unit in order of time. Most units have one record: units are sorted, not records.
fn by_unit(shard: Shard, kinds: &Kinds) -> Vec<Packed> {
    let mut order: Vec<(u64, u32)> = shard.records().map(Packed::unit).zip(0..).collect();
    order.sort_unstable();
    let mut records: Vec<Packed> = order.iter().map(|(_, at)| *shard.at(*at)).collect();
    drop((shard, order));
    for of_unit in records.chunk_by_mut(|a, b| a.unit() == b.unit()) {
        if of_unit.len() > 1 {
            of_unit.sort_unstable_by_key(|r| kinds.in_time(&kinds.keep(r)));
        }
    }
    records
}

/// The rows of one unit, in order of time, and where they go.
struct Unit<'a> {
    records: &'a [Record],
    rows: &'a mut [Kept],
    rules: &'a Rules<'a>,
}

impl Unit<'_> {
    /// Decides for each row; `rest` is room for those that are tests.
    fn sweep(&mut self, rest: &mut Vec<usize>, swept: &mut Swept) {
        rest.clear();
        for n in 0..self.records.len() {
            match of_itself(&self.records[n], self.rules) {
                Some(reason) => self.set_aside(n, reason),
                None => rest.push(n),
            }
        }
        if rest.is_empty() {
            return;
        }
        let mut nameless = self.records[rest[0]].marks.has(Marks::NO_SERIAL);
        if !nameless && rest.len() >= self.rules.config.placeholder_days {
            match many_days(self.records, rest, self.rules) {
                ManyDays::No => {}
                ManyDays::CheckLoad => {
                    swept.probable_loads.push(self.records[rest[0]].serial);
                    for n in rest.drain(..) {
                        self.set_aside(n, SetAside::CheckLoad);
                    }
                    return;
                }
                ManyDays::Placeholder => {
                    swept.placeholders.push(self.records[rest[0]].serial);
                    nameless = true;
                }
            }
        }
        self.repeated(rest);
        if nameless {
            for r in rest.iter().map(|n| &self.records[*n]) {
                let n = u64::from(r.count);
                match (r.marks.has(Marks::TALLIED), r.marks.has(Marks::LEAKAGE_ALONE)) {
                    (false, _) => swept.no_serial += n,
                    (true, false) => swept.tallied += n,
                    (true, true) => {}
                }
            }
            // What became of a unit without a name after it failed is not known.
            let known = swept.histories.len();
            for n in rest.drain(..) {
                self.attempts(&mut vec![n], swept);
            }
            swept.histories.truncate(known);
            return;
        }
        let (records, kind_of) = (self.records, &self.rules.resolved.attempt);
        let kind = |n: usize| kind_of[records[n].setup as usize];
        if rest.iter().all(|n| kind(*n) == kind(rest[0])) {
            self.by_setting(rest, swept);
            return;
        }
        let kinds: BTreeSet<u32> = rest.iter().map(|n| kind(*n)).collect();
        for one in kinds {
            let mut same = rest.iter().copied().filter(|n| kind(*n) == one).collect();
            self.by_setting(&mut same, swept);
        }
    }

    /// Rows of one kind of test: what was made at another voltage *and* under another limit is another test of the
    /// unit; a repeat shares one of them with the test that it repeats, since standards repeat at a lower voltage
    /// and limits change with time. What a file does not give is no difference.
    fn by_setting(&mut self, rows: &mut Vec<usize>, swept: &mut Swept) {
        if rows.len() < 2 {
            return self.attempts(rows, swept);
        }
        let Resolved { series, keys, .. } = self.rules.resolved;
        let records = self.records;
        let volts = |n: usize| keys[series[records[n].setup as usize]? as usize].applied_mv;
        let limit = |n: usize| self.rules.limits[records[n].limits as usize].high_pa;
        let differ = |a: Option<i64>, b: Option<i64>| a.zip(b).is_some_and(|(a, b)| a != b);
        let mut tests: Vec<Vec<usize>> = Vec::new();
        for &n in rows.iter() {
            let differs = |test: &Vec<usize>| {
                let first = test[0];
                [differ(volts(first), volts(n)), differ(limit(first), limit(n))]
            };
            let same = tests.iter().position(|t| differs(t) == [false, false]);
            match same.or_else(|| tests.iter().position(|t| differs(t) != [true, true])) {
                Some(test) => tests[test].push(n),
                None => tests.push(vec![n]),
            }
        }
        for mut rows in tests {
            self.attempts(&mut rows, swept);
        }
    }

    fn set_aside(&mut self, n: usize, reason: SetAside) {
        self.rows[n].used = Use::SetAside(reason);
    }

    fn series_of(&self, n: usize) -> Option<u32> {
        self.rules.resolved.series[self.records[n].setup as usize]
    }

    /// Rows that agree in every column and come from different files are one row; lines of a tally are, where
    /// their whole files agree.
    fn repeated(&mut self, rows: &mut Vec<usize>) {
        let Self { records, rules, .. } = *self;
        let of_copy = |n: &usize| {
            let r = &records[*n];
            r.marks.has(Marks::TALLIED) && rules.copies[r.source.index()]
        };
        for n in rows.iter().copied().filter(of_copy) {
            self.set_aside(n, SetAside::Repeated);
        }
        rows.retain(|n| !of_copy(n));
        if rows.len() < 2 {
            return;
        }
        let file_of = self.rules.file_of;
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
                && file_of[a.source.index()] != file_of[b.source.index()]
        };
        let mut kept: Vec<usize> = Vec::with_capacity(rows.len());
        for &n in rows.iter() {
            let again = kept
                .iter()
                .rev()
                .take_while(|k| self.records[**k].time == self.records[n].time)
                .any(|k| same(&self.records[*k], &self.records[n]));
            if again {
                self.set_aside(n, SetAside::Repeated);
            } else {
                kept.push(n);
            }
        }
        *rows = kept;
    }

    /// The attempts of one unit at one test, in order.
    fn attempts(&mut self, rows: &mut Vec<usize>, swept: &mut Swept) {
        if self.records[rows[0]].marks.has(Marks::LEAKAGE_ALONE) {
            self.set_aside(rows[0], SetAside::Retest);
            self.rows[rows[0]].mark(Row::LEAKAGE);
            return;
        }
        by_row_order_where_clocks_repeat(self.records, rows, self.rules);
        self.fault_locating(rows);
        self.returned(rows);
        let Some(&first) = rows.first() else { return };
        self.rows[first].mark(Row::COUNTED);
        let records = self.records;
        let completed = |n: &usize| records[*n].outcome != Outcome::NotCompleted;
        let (start, last) =
            (rows.iter().copied().find(completed), rows.iter().copied().rfind(completed));
        let further = rows.iter().filter(|n| completed(n)).count().saturating_sub(1);
        for &n in rows.iter() {
            if self.records[n].outcome == Outcome::NotCompleted {
                self.set_aside(n, SetAside::NotCompleted);
            } else if Some(n) != start {
                self.set_aside(n, SetAside::Retest);
            }
        }
        // Leakage: the first test that was completed with the unit connected.
        let says_nothing_yet = |r: &Record| {
            matches!(r.outcome, Outcome::NotCompleted | Outcome::UnderLimit)
                || (r.outcome == Outcome::OverLimit && r.marks.has(Marks::IN_RAMP))
        };
        let first_full = rows.iter().copied().find(|n| !says_nothing_yet(&self.records[*n]));
        if let Some(n) = first_full
            && matches!(self.records[n].outcome, Outcome::Pass | Outcome::OverLimit)
            && self.series_of(n) == self.series_of(first)
        {
            self.rows[n].mark(Row::LEAKAGE);
        }
        repeatability(self.records, rows, self.rules, swept);
        let Some((start, last)) = start.zip(last) else { return };
        self.after_pass(rows);
        if self.records[start].outcome == Outcome::Pass {
            return;
        }
        let Some(series) = self.series_of(start) else { return };
        let passed = self.records[last].outcome == Outcome::Pass;
        let same = self.series_of(last) == Some(series);
        let r = &self.records[start];
        swept.histories.push(UnitHistory {
            series,
            station: self.rules.resolved.station[r.setup as usize],
            factors: r.factors,
            day: day_of(r.time, self.rules.config.day_starts_s()),
            outcome: r.outcome,
            retests: u32::try_from(further).expect("fewer tests of a unit than lines of its files"),
            passed: passed && same,
            passed_elsewhere: passed && !same,
            first: self.rows[first],
            last: self.rows[last],
        });
    }

    /// Marks retests of what had passed where it stood: standards ask for repeats at a lower voltage, and plants
    /// test again where they pack; whoever does neither has tests that nothing tells apart.
    fn after_pass(&mut self, rows: &[usize]) {
        if rows.len() < 2 {
            return;
        }
        let Resolved { station, series, keys, .. } = self.rules.resolved;
        let volts = |setup: u32| keys[series[setup as usize]? as usize].applied_mv;
        let mut passed: Vec<u32> = Vec::new();
        for &n in rows {
            let Record { setup, outcome, .. } = self.records[n];
            let again = |before: &u32| {
                let lower = volts(setup).zip(volts(*before)).is_some_and(|(now, then)| now < then);
                station[setup as usize] == station[*before as usize] && !lower
            };
            if outcome != Outcome::NotCompleted && passed.iter().any(again) {
                self.rows[n].mark(Row::AFTER_PASS);
            }
            if outcome == Outcome::Pass && !passed.contains(&setup) {
                passed.push(setup);
            }
        }
    }

    fn fault_locating(&mut self, rows: &mut Vec<usize>) {
        let config = self.rules.config;
        let records = self.records;
        let marked = |n: usize| records[n].marks.has(Marks::FAULT_LOCATING);
        if rows.len() < config.fault_run_tests && !rows.iter().any(|n| marked(*n)) {
            return;
        }
        let mut drop: Vec<bool> = rows.iter().map(|n| marked(*n)).collect();
        let mut start = 0;
        while start < rows.len() {
            let time = |k: usize| records[rows[k]].time;
            let mut end = start + 1;
            while end < rows.len() && time(end) - time(end - 1) <= config.fault_run_gap_s {
                end += 1;
            }
            let run = &rows[start..end];
            let failed = run.iter().filter(|n| records[**n].outcome != Outcome::Pass).count();
            if run.len() >= config.fault_run_tests && failed * 2 > run.len() {
                // The first test of an unmarked run stays what it is.
                drop[start + 1..end].fill(true);
            }
            start = end;
        }
        let mut kept = Vec::with_capacity(rows.len());
        for (&n, drop) in rows.iter().zip(drop) {
            if drop {
                self.set_aside(n, SetAside::FaultLocating);
            } else {
                kept.push(n);
            }
        }
        *rows = kept;
    }

    fn returned(&mut self, rows: &mut Vec<usize>) {
        let gap_s = self.rules.config.returned_after_days * 86_400;
        let cut = rows
            .windows(2)
            .position(|w| self.records[w[1]].time - self.records[w[0]].time > gap_s)
            .map_or(rows.len(), |n| n + 1);
        for &n in &rows[cut..] {
            self.set_aside(n, SetAside::Returned);
        }
        rows.truncate(cut);
    }
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
    let jumps = &rules.clocks[r.source.index()].0;
    if !(rules.believable.0..=rules.believable.1).contains(&day)
        || jumps.iter().any(|(from, to)| (*from..=*to).contains(&r.line))
    {
        return Some(SetAside::Clock);
    }
    if r.outcome == Outcome::Pass && r.shown != Shown::Below {
        let limits = rules.limits[r.limits as usize];
        // Asked of few: most readings lie between their limits.
        let step = || {
            let setup = r.setup as usize;
            let series = rules.resolved.series[setup].map_or(usize::MAX, |n| n as usize);
            rules.steps.at(series, rules.resolved.station[setup], r.reading_pa)
        };
        let above = limits.high_pa.is_some_and(|h| r.reading_pa > h && r.reading_pa > h + step());
        let below = limits.low_pa.is_some_and(|l| r.reading_pa < l && r.reading_pa < l - step());
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

/// Clocks repeat an hour in autumn: within a file in time order the row order decides there.
fn by_row_order_where_clocks_repeat(records: &[Record], rows: &mut [usize], rules: &Rules<'_>) {
    for n in 1..rows.len() {
        let mut at = n;
        while at > 0 {
            let (a, b) = (&records[rows[at - 1]], &records[rows[at]]);
            let against = a.source == b.source && a.line > b.line && b.time - a.time <= HOUR_S;
            if !against || !rules.clocks[a.source.index()].1 {
                break;
            }
            rows.swap(at - 1, at);
            at -= 1;
        }
    }
}

/// Squared differences between successive readings of one unit in one series at one station.
fn repeatability(records: &[Record], rows: &[usize], rules: &Rules<'_>, swept: &mut Swept) {
    if rows.len() < 2 {
        return;
    }
    let read: Vec<&Record> = rows
        .iter()
        .map(|n| &records[*n])
        .filter(|r| r.outcome == Outcome::Pass && r.shown == Shown::Value)
        .collect();
    let alike = |r: &Record| rules.resolved.alike[r.setup as usize];
    for pair in read.windows(2) {
        if alike(pair[0]) == alike(pair[1])
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
