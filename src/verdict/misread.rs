//! Is a file probably misread? Then nothing of it is judged: no verdict, no limit, no suggestion for its series.
//!
//! Takes what the rows of each table came to, gives the tables that no honest plant gives, each with its signs,
//! what likely causes them and the setting to give. A guard over everything that reading may have got wrong,
//! for what reading could not see itself: a unit or a decimal sign, a column taken for another, tests that
//! nothing tells apart.
//!
//! How many it takes. Small tables show any share by chance, and one bad day is no misreading:
//! - passes against their reading: where one pass in a thousand is released by hand (the demonstration has 2
//!   in 51 812), ten in a table of up to 200 passes have a chance below 1e-13; a table of a few rows needs
//!   five, and more than half of its passes;
//! - tested again after a pass: 20 tests, and a fifth of all; where one unit in 20 is (audits), 20 among up to
//!   100 have a chance of 1e-7. Repeats at a lower voltage or at another station are not counted: standards and
//!   plants ask for them;
//! - all failed: 20 tests; in a lot of which 40 % fail their chance is 0.4^20, 1e-8;
//! - limits and sizes of readings: 20 tests on either side, so that a limit mistyped for some units, which is
//!   set right again, stays what it is: a change of settings;
//! - a column that is not used and says a failure of a pass, another kind of test, or a code, further down than was
//!   looked at: one row, since it would have been asked for at the top;
//! - a limit that changes with the tests: 20 tests of a series in one table under eight limits or more, none of which
//!   holds for a third of them; limits are set for months;
//! - unreadable: ten rows, since what cannot be read is not a matter of chance;
//! - currents that no tester of the trade shows: five tests, and one in a hundred, since a display that
//!   overflows once is no misreading; of fewer tests more than half.
//!
//! Factors are told by whole powers of ten alone: a limit that is doubled, or moved from 0.5 mA to 3.5 mA, is a
//! decision of somebody. A limit that was truly multiplied by ten is named by `believed` under `[files]`.
//! Rejected: leaving the rows of such a table out and judging the rest, since the other tables are read in the
//! same way; and a bound on the share, which would ask for larger tables than a short run has.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::{Serialize, Serializer};

use crate::analysis::units::tables::{STEPS, Sizes, TableFacts, TableInSeries, table_facts};
use crate::config::Config;
use crate::movement::readings::ma;
use crate::series::{Pass, ma_to_pa};
use crate::verdict::concern::{About, Concern};
use crate::verdict::seen::Seen;
use crate::words::numbers::{counted, grouped};
use crate::words::{object, path_text};

mod sign;

pub use sign::Sign;

/// Largest current in mA that a tester of the trade shows or trips at (common practice, no source), where the
/// settings state no larger range.
const LARGEST_MA: f64 = 200.0;
/// Passes that contradict their reading: more than this share, and so many; or so few, and more than half.
const AGAINST: (f64, u64, u64) = (0.05, 10, 5);
/// Currents beyond the largest: more than this share of tests, and so many; or so few, and more than half.
const TOO_LARGE: (f64, u64, u64) = (0.01, 5, 2);
/// Tests that repeat a pass: more than this share of them and first tests together, and so many.
const AGAIN: (f64, u64) = (0.20, 20);
/// Unreadable rows: more than half, and so many.
const UNREADABLE: u64 = 10;
/// Rows with a date in the other order: one may be a slip of a hand.
const TWO_ORDERS: u64 = 2;
/// Tests that all failed.
const ALL_FAILED: u64 = 20;
/// Tests on either side of a factor of ten.
const EITHER_SIDE: u64 = 20;
/// Limits of one series in one table, of which none holds for a share of its tests, so many of these at least.
const LIMITS_CHANGE: (usize, u64, u64) = (8, 3, 20);
/// Powers of ten by which a limit may be misread.
const POWERS: [f64; 6] = [1e1, 1e2, 1e3, 1e4, 1e5, 1e6];
/// How far a ratio of limits may lie from a power of ten: limits are typed with three digits.
const POWER_OF_TEN: f64 = 0.005;

/// A table that is probably misread.
#[derive(Debug, Clone, PartialEq)]
pub struct Misread {
    /// File as found, with `/`.
    pub file: String,
    /// Sheet, where it is one of a workbook.
    pub sheet: Option<String>,
    /// What says so; at least one.
    pub signs: Vec<Sign>,
    /// Series that it told of, by place in the pass: none of them is judged.
    pub series: Vec<usize>,
    /// Their titles.
    pub titles: Vec<String>,
    /// The settings name it as it stands.
    pub believed: bool,
}

impl Serialize for Misread {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        object!(to;
            "file": self.file,
            "sheet": self.sheet,
            "signs": self.signs,
            "series": self.titles,
        )
    }
}

/// The tables of a pass that are probably misread, in the order read; those that the settings believe among them.
#[must_use]
pub fn misread(pass: &Pass, config: &Config) -> Vec<Misread> {
    let believed_ma = config.tester.range_ma.map_or(LARGEST_MA, |range| range.max(LARGEST_MA));
    let tables = table_facts(pass, ma_to_pa(believed_ma).unwrap_or(i64::MAX));
    let mut signs: Vec<Vec<Sign>> = tables.iter().map(|t| of_table(t, believed_ma)).collect();
    let mut by_series: BTreeMap<usize, Vec<(usize, &TableInSeries)>> = BTreeMap::new();
    for (n, table) in tables.iter().enumerate() {
        for of in &table.series {
            by_series.entry(of.series).or_default().push((n, of));
        }
    }
    for (series, of_tables) in by_series {
        let title = &pass.called[series].title;
        let of_limits = limits_times_ten(title, &of_tables);
        let of_changes =
            of_tables.iter().filter_map(|(n, of)| Some((*n, limit_changes(title, of)?)));
        let of_readings = readings_times_thousand(title, &of_tables);
        for (table, sign) in of_limits.into_iter().chain(of_changes).chain(of_readings) {
            signs[table].push(sign);
        }
    }
    let found = tables.iter().zip(signs).filter(|(_, signs)| !signs.is_empty());
    found.map(|(table, signs)| Misread::new(pass, table, signs, config)).collect()
}

impl Misread {
    fn new(pass: &Pass, facts: &TableFacts, mut signs: Vec<Sign>, config: &Config) -> Self {
        let rank = |sign: &Sign| match sign {
            Sign::TooLarge { .. } => 0,
            Sign::LimitTimes { .. } => 1,
            Sign::LimitChanges { .. } => 2,
            Sign::ReadingsTimes { .. } => 3,
            Sign::AllFailed { .. } => 4,
            Sign::AgainstReading { .. } => 5,
            Sign::ColumnChanges { .. } => 6,
            Sign::TestedAgain { .. } => 7,
            Sign::TwoOrders { .. } => 8,
            Sign::Unreadable { .. } => 9,
        };
        signs.sort_by_key(rank);
        let series: Vec<usize> = facts.series.iter().map(|s| s.series).collect();
        let file = path_text(&facts.source.file);
        Self {
            believed: config.files.believed.iter().any(|name| names(name, &file)),
            sheet: facts.source.sheet.clone(),
            signs,
            titles: series.iter().map(|n| pass.called[*n].title.clone()).collect(),
            series,
            file,
        }
    }

    /// Where it stands, for people.
    fn place(&self) -> String {
        self.sheet
            .as_ref()
            .map_or_else(|| self.file.clone(), |s| format!("{}, sheet {s:?}", self.file))
    }

    fn kinds(&self) -> Vec<&'static str> {
        self.signs.iter().map(Sign::key).collect()
    }
}

/// Whether a name of the settings means a file: by its last parts, `*` for anything.
fn names(name: &str, file: &str) -> bool {
    let parts = name.split('/').count();
    let last: Vec<&str> = file.rsplit('/').take(parts).collect();
    let last = last.into_iter().rev().collect::<Vec<_>>().join("/");
    name == last || glob::Pattern::new(name).is_ok_and(|pattern| pattern.matches(&last))
}

/// Series that these tables told of: nothing of them is judged.
#[must_use]
pub fn series_of(misread: &[Misread]) -> BTreeSet<usize> {
    misread.iter().flat_map(|m| m.series.iter().copied()).collect()
}

/// What somebody must act on before anything else.
#[must_use]
pub fn concerns(misread: &[Misread]) -> Vec<About> {
    let one = |said: Said| About {
        subject: said.place,
        concern: Concern::Misread { sentence: said.what, next_step: said.next_step },
        seen: Seen::default(),
    };
    said(misread).into_iter().map(one).collect()
}

/// What is said of all tables that show the same signs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// The first of them.
    pub place: String,
    /// What was found, in full sentences.
    pub what: String,
    /// What likely causes it, and what to do.
    pub next_step: String,
}

impl fmt::Display for Said {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "{} {}", self.what, self.next_step)
    }
}

/// What is said of them before anything else: once for all that show the same signs, with the first of them as
/// an example, so that a folder of daily files makes one line.
#[must_use]
pub fn said(misread: &[Misread]) -> Vec<Said> {
    let mut alike: Vec<Vec<&Misread>> = Vec::new();
    for one in misread {
        match alike.iter_mut().find(|group| group[0].kinds() == one.kinds()) {
            Some(group) => group.push(one),
            None => alike.push(vec![one]),
        }
    }
    alike.iter().map(|group| said_of(group)).collect()
}

fn said_of(group: &[&Misread]) -> Said {
    let first = group[0];
    let signs: Vec<String> = first.signs.iter().map(Sign::to_string).collect();
    let signs = signs.join("; ");
    let what = match group.len() {
        1 => format!("{} is probably misread: {signs}.", first.place()),
        n => format!(
            "{} and {} more are probably misread: of the first, {signs}.",
            first.place(),
            counted(n as u64 - 1, "file or sheet")
        ),
    };
    let titles: BTreeSet<&str> = group.iter().flat_map(|m| &m.titles).map(String::as_str).collect();
    let shown: Vec<&str> = titles.iter().copied().take(TITLES_SHOWN).collect();
    let more = match titles.len().saturating_sub(TITLES_SHOWN) {
        0 => String::new(),
        n => format!(" and {} more series", grouped(n as u64)),
    };
    let judged = if shown.is_empty() {
        String::new()
    } else {
        format!(" No verdict is given on {}{more}.", shown.join("; "))
    };
    Said {
        place: first.place(),
        what: format!("{what}{judged}"),
        next_step: format!(
            "Likely {}. {} Where it is right as it stands, name the file under believed in [files].",
            first.signs[0].likely(),
            first.signs[0].setting(),
        ),
    }
}

/// Series named in a line.
const TITLES_SHOWN: usize = 3;

/// What a table shows by itself.
fn of_table(table: &TableFacts, believed_ma: f64) -> Vec<Sign> {
    let t = &table.tests;
    let over = |n: u64, of: u64, share: f64| n as f64 > share * of as f64;
    // Many of all, or a few that are most of them.
    let many_or_most = |n: u64, of: u64, (share, many, few): (f64, u64, u64)| {
        (n >= many && over(n, of, share)) || (n >= few && over(n, of, 0.5))
    };
    let too_large = many_or_most(t.too_large, t.completed, TOO_LARGE).then(|| Sign::TooLarge {
        tests: t.too_large,
        largest_ma: ma(t.largest_pa),
        believed_ma,
    });
    let all_failed = (t.completed >= ALL_FAILED && t.passes == 0)
        .then_some(Sign::AllFailed { tests: t.completed });
    let against = many_or_most(t.against, t.passes, AGAINST).then_some(Sign::AgainstReading {
        against: t.against,
        passes: t.passes,
        far: 2 * t.far_over > t.against,
    });
    let tests = t.first + t.after_pass;
    let again = (t.after_pass >= AGAIN.1 && over(t.after_pass, tests, AGAIN.0))
        .then_some(Sign::TestedAgain { again: t.after_pass, tests });
    let unreadable = (table.unreadable >= UNREADABLE && over(table.unreadable, table.rows, 0.5))
        .then(|| Sign::Unreadable {
            unreadable: table.unreadable,
            rows: table.rows,
            fault: table.fault.clone(),
        });
    let orders =
        (table.other_order >= TWO_ORDERS).then_some(Sign::TwoOrders { rows: table.other_order });
    let changes = table.later.iter().cloned().map(|later| Sign::ColumnChanges { later });
    let counted = [too_large, all_failed, against, again, orders, unreadable];
    counted.into_iter().flatten().chain(changes).collect()
}

/// Limits of one series a power of ten apart; told of the tables with the rarer of the two.
fn limits_times_ten(title: &str, of_tables: &[(usize, &TableInSeries)]) -> Vec<(usize, Sign)> {
    let mut often: BTreeMap<i64, u64> = BTreeMap::new();
    for (limit, n) in of_tables.iter().flat_map(|(_, of)| &of.limits) {
        *often.entry(*limit).or_default() += n;
    }
    often.retain(|_, n| *n >= EITHER_SIDE);
    let near = |limit: f64| {
        let ends = [limit * (1.0 - POWER_OF_TEN), limit * (1.0 + POWER_OF_TEN)];
        often.range(ends[0].round() as i64..=ends[1].round() as i64)
    };
    let pairs = often.iter().flat_map(|low| {
        POWERS
            .iter()
            .flat_map(move |power| near(*low.0 as f64 * power))
            .map(move |high| (low, high))
    });
    let mut found = Vec::new();
    for (low, high) in pairs {
        let (rare, usual) = if low.1 < high.1 { (low, high) } else { (high, low) };
        for (table, of) in of_tables.iter().filter(|(_, of)| of.limits.contains_key(rare.0)) {
            let sign = Sign::LimitTimes {
                title: title.to_owned(),
                limits_ma: [ma(*rare.0), ma(*usual.0)],
                tests: [*rare.1, *usual.1],
                mixed: of.limits.contains_key(usual.0),
            };
            found.push((*table, sign));
        }
    }
    found
}

/// A limit that changes with the tests of one series.
fn limit_changes(title: &str, of: &TableInSeries) -> Option<Sign> {
    let (different, share, least) = LIMITS_CHANGE;
    let (tests, most) = (of.limits.values().sum::<u64>(), *of.limits.values().max()?);
    let (title, limits) = (title.to_owned(), of.limits.len());
    (limits >= different && tests >= least && most * share < tests).then_some(Sign::LimitChanges {
        title,
        limits: limits as u64,
        tests,
    })
}

/// Readings of one table a factor of a thousand from those of all others; told of the smaller side.
fn readings_times_thousand(
    title: &str,
    of_tables: &[(usize, &TableInSeries)],
) -> Vec<(usize, Sign)> {
    if of_tables.len() < 2 {
        return Vec::new();
    }
    let all = Sizes::sum(of_tables.iter().map(|(_, of)| &of.sizes));
    let mut found = Vec::new();
    for (table, of) in of_tables {
        let rest = all.without(&of.sizes);
        let own = of.sizes.count();
        if own < EITHER_SIDE || own > rest.count() {
            continue;
        }
        let Some((own, rest)) = of.sizes.median_step().zip(rest.median_step()) else { continue };
        if own.abs_diff(rest).abs_diff(3 * STEPS) <= 1 {
            found.push((
                *table,
                Sign::ReadingsTimes { title: title.to_owned(), larger: own > rest },
            ));
        }
    }
    found
}
