//! What the rows of each table came to, and what it told of each series: does it read as results of tests do?
//!
//! Takes the tests of a pass, gives counts by table (a file, or a sheet of it) and by table and series. What is
//! too many of them is the verdict's. Here and not in the tallies, since a file that is read wrongly shows in
//! its own rows: in the tally of a series it is one group more.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use crate::series::{Later, Outcome, Pass, SetAside, Source, Test, Tests, in_other_order};

/// A pass whose reading lies so many times over its limit is a matter of units or signs, not of the unit tested.
const FAR_OVER: i64 = 10;

/// What the rows of one table came to. Rows are counted as they stand, tests with the units they stand for.
#[derive(Debug, Clone, PartialEq)]
pub struct TableFacts {
    /// File and sheet.
    pub source: Arc<Source>,
    /// Rows read, the unreadable among them.
    pub rows: u64,
    /// Rows that could not be understood.
    pub unreadable: u64,
    /// Those of them whose date is in another order than the dates of the other rows.
    pub other_order: u64,
    /// What is wrong with most of these; `None` where all could be read.
    pub fault: Option<Fault>,
    /// Columns not used that say later what they did not at first.
    pub later: Vec<Later>,
    /// Tests of products.
    pub tests: TestCounts,
    /// What it told of each series, in their order.
    pub series: Vec<TableInSeries>,
}

/// What is wrong with a row that could not be understood, and how many say the same of the same column.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// The column's header; empty where the row as a whole is wrong.
    pub column: String,
    /// What was expected there.
    pub expected: String,
    /// What was found in the first of them.
    pub found: String,
    /// How many.
    pub rows: u64,
}

/// Tests of products in one table.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct TestCounts {
    /// Completed tests, whatever became of them.
    pub completed: u64,
    /// Passes, those that contradict their reading among them.
    pub passes: u64,
    /// Passes that contradict their reading.
    pub against: u64,
    /// Of these, passes far over their limit.
    pub far_over: u64,
    /// Completed first tests.
    pub first: u64,
    /// Retests of units that had passed at the same station, not at a lower voltage.
    pub after_pass: u64,
    /// Passes that show a current above the highest believed, or tests under a limit above it.
    pub too_large: u64,
    /// The largest such current, in picoamperes.
    pub largest_pa: i64,
}

/// What one table told of one series.
#[derive(Debug, Clone, PartialEq)]
pub struct TableInSeries {
    /// Index of the series in the pass.
    pub series: usize,
    /// First tests by high limit in force, in picoamperes; passes that contradict their reading among them.
    pub limits: BTreeMap<i64, u64>,
    /// Passes by the size of their reading.
    pub sizes: Sizes,
}

/// Steps of a factor of ten in [`Sizes`].
pub const STEPS: usize = 8;
/// Where they begin within their factor of ten, in thousandths: ten to the power of n eighths.
const BEGINS: [i64; STEPS] = [1000, 1334, 1778, 2371, 3162, 4217, 5623, 7499];

/// Readings counted by their size, in eighths of a factor of ten: two tables that differ by a factor of a
/// thousand differ by 24 of them, whatever the body is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sizes {
    zero: u64,
    steps: Box<[u64; 19 * STEPS]>,
}

impl Default for Sizes {
    fn default() -> Self {
        Self { zero: 0, steps: Box::new([0; 19 * STEPS]) }
    }
}

impl Sizes {
    fn add(&mut self, pa: i64, count: u64) {
        let Some(power) = pa.checked_ilog10() else {
            self.zero += count;
            return;
        };
        let begin = 10_i64.pow(power);
        let of_thousand = i128::from(pa) * 1000 / i128::from(begin);
        let within = BEGINS.iter().rposition(|b| of_thousand >= i128::from(*b)).unwrap_or(0);
        self.steps[power as usize * STEPS + within] += count;
    }

    fn join(&mut self, other: &Self) {
        self.zero += other.zero;
        self.steps.iter_mut().zip(other.steps.iter()).for_each(|(a, b)| *a += b);
    }

    /// Readings counted.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.zero + self.steps.iter().sum::<u64>()
    }

    /// The step in which the median lies; `None` where it is zero, or there is no reading.
    #[must_use]
    pub fn median_step(&self) -> Option<usize> {
        let half = self.count().div_ceil(2);
        let mut below = self.zero;
        if below >= half {
            return None;
        }
        self.steps.iter().position(|n| {
            below += n;
            below >= half
        })
    }

    /// Those of all the others, where these are of all.
    #[must_use]
    pub fn without(&self, one: &Self) -> Self {
        let mut rest = self.clone();
        rest.zero -= one.zero;
        rest.steps.iter_mut().zip(one.steps.iter()).for_each(|(a, b)| *a -= b);
        rest
    }

    /// All of them together.
    #[must_use]
    pub fn sum<'a>(all: impl Iterator<Item = &'a Self>) -> Self {
        all.fold(Self::default(), |mut sum, one| {
            sum.join(one);
            sum
        })
    }
}

/// Every table's facts, in the order read; `believed_pa` is the largest current that testers of a line show.
#[must_use]
pub fn table_facts(pass: &Pass, believed_pa: i64) -> Vec<TableFacts> {
    let mut tables: Vec<TableFacts> = pass
        .sources()
        .iter()
        .map(|source| TableFacts {
            source: source.clone(),
            rows: 0,
            unreadable: 0,
            other_order: 0,
            fault: None,
            later: Vec::new(),
            tests: TestCounts::default(),
            series: Vec::new(),
        })
        .collect();
    let blocks: Vec<Tests<'_>> = pass.tests().collect();
    let walked: Vec<BTreeMap<usize, Walked>> =
        blocks.par_iter().map(|block| walk(*block, believed_pa)).collect();
    for (block, of_tables) in blocks.iter().zip(walked) {
        for (table, found) in of_tables {
            let facts = &mut tables[table];
            facts.rows += found.rows;
            facts.tests.join(&found.tests);
            let Some(series) = block.series else { continue };
            // Blocks stand in the order of series.
            match facts.series.last_mut().filter(|s| s.series == series) {
                Some(known) => known.join(found),
                None => facts.series.push(TableInSeries {
                    series,
                    limits: found.limits,
                    sizes: found.sizes,
                }),
            }
        }
    }
    unreadable(pass, &mut tables);
    for later in &pass.later {
        tables[later.source.index()].later.push(later.clone());
    }
    tables
}

/// What one block of rows says of one table.
#[derive(Default)]
struct Walked {
    rows: u64,
    tests: TestCounts,
    limits: BTreeMap<i64, u64>,
    sizes: Sizes,
}

impl TestCounts {
    fn join(&mut self, other: &Self) {
        self.completed += other.completed;
        self.passes += other.passes;
        self.against += other.against;
        self.far_over += other.far_over;
        self.first += other.first;
        self.after_pass += other.after_pass;
        self.too_large += other.too_large;
        self.largest_pa = self.largest_pa.max(other.largest_pa);
    }
}

impl TableInSeries {
    fn join(&mut self, found: Walked) {
        for (limit, n) in found.limits {
            *self.limits.entry(limit).or_default() += n;
        }
        self.sizes.join(&found.sizes);
    }
}

/// The rows of one series and station, by table.
fn walk(block: Tests<'_>, believed_pa: i64) -> BTreeMap<usize, Walked> {
    let mut found: BTreeMap<usize, Walked> = BTreeMap::new();
    for test in block.all() {
        let of_table = found.entry(test.table()).or_default();
        of_table.rows += 1;
        of_table.take(test, believed_pa);
    }
    found
}

impl Walked {
    fn take(&mut self, test: Test<'_>, believed_pa: i64) {
        if !test.is_of_a_product() || test.outcome() == Outcome::NotCompleted {
            return;
        }
        let against = test.set_aside() == Some(SetAside::Contradicted);
        let n = u64::from(test.count());
        let high = test.limits().high_pa;
        let t = &mut self.tests;
        t.completed += n;
        let first = test.set_aside().is_none();
        if let Some(limit) = high.filter(|_| first || against) {
            *self.limits.entry(limit).or_default() += n;
        }
        t.first += if first { n } else { 0 };
        t.after_pass += if test.is_after_pass() { n } else { 0 };
        let passed = test.outcome() == Outcome::Pass;
        let value = test.value_pa().filter(|_| passed);
        if passed {
            t.passes += n;
        }
        if against {
            t.against += n;
            let far = value.zip(high).is_some_and(|(v, h)| v / FAR_OVER >= h);
            t.far_over += if far { n } else { 0 };
        }
        if let Some(pa) = value {
            self.sizes.add(pa, n);
        }
        let largest = value.unwrap_or(0).max(high.unwrap_or(0));
        if largest > believed_pa {
            t.too_large += n;
            t.largest_pa = t.largest_pa.max(largest);
        }
    }
}

/// Counts rows that could not be understood, and finds what is wrong with most of each table.
fn unreadable(pass: &Pass, tables: &mut [TableFacts]) {
    for of_table in pass.unreadable.chunk_by(|a, b| a.source == b.source) {
        let facts = &mut tables[of_table[0].source.index()];
        facts.unreadable += of_table.len() as u64;
        let other_order = of_table.iter().filter(|row| in_other_order(row));
        facts.other_order += other_order.count() as u64;
        facts.rows += of_table.len() as u64;
        let mut faults: BTreeMap<(&str, &str), (u64, &str)> = BTreeMap::new();
        for row in of_table {
            faults.entry((&row.column, &row.expected)).or_insert((0, &row.found)).0 += 1;
        }
        let most = faults.into_iter().max_by_key(|(_, (n, _))| *n);
        facts.fault = most.map(|((column, expected), (rows, found))| Fault {
            column: column.to_owned(),
            expected: expected.to_owned(),
            found: found.to_owned(),
            rows,
        });
    }
}
