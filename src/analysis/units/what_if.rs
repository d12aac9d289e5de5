//! What another limit would do: the share of healthy units that it rejects, and what it would have done to
//! the readings of the history.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::analysis::body::healthy::Healthy;
use crate::analysis::finding::Asked;
use crate::analysis::units::strays::{Lies, StrayList, StrayUnit};
use crate::day::month_of;
use crate::movement::readings::{Reading, ma};
use crate::series::{Outcome, Pass, Says};
use crate::stats::estimate::Estimate;
use crate::words::numbers::whole;
use crate::words::time::month_text;

/// Units of one candidate limit that are listed by serial; more are only counted.
pub const LISTED_MOST: u64 = 100;

/// Share of healthy units above a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct ShareAt {
    /// The limit, mA.
    pub limit_ma: f64,
    /// Share of the last day judged, a fraction of 1; `None` where the body has no answer.
    pub now: Option<Estimate>,
    /// The same at the end of the planning horizon, where a slope is established.
    pub at_horizon: Option<f64>,
}

/// Shares of healthy units above each of `limits` (mA, above zero), by the answer in use; at the end of the
/// planning horizon too where readings were carried along a slope.
#[must_use]
pub fn shares(asked: &Asked, healthy: &Healthy, limits: &[f64]) -> Vec<ShareAt> {
    let ahead = healthy.lines.as_ref().map(|l| f64::from(asked.ask.horizon - l.target_day));
    let mut all: Vec<ShareAt> = limits
        .iter()
        .map(|&limit_ma| ShareAt {
            limit_ma,
            now: healthy.share_above(limit_ma),
            at_horizon: ahead.and_then(|days| healthy.share_ahead(limit_ma, days)),
        })
        .collect();
    // A higher limit never rejects more: an upper end found at a lower limit holds at every higher one.
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by(|a, b| limits[*a].total_cmp(&limits[*b]));
    let mut highest = f64::INFINITY;
    for n in order {
        if let Some(e) = &mut all[n].now {
            highest = highest.min(e.high);
            e.high = highest.max(e.value);
        }
    }
    all
}

/// What a limit would have done to the readings of one month: an entry of `months` of a limit study.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct MonthRecount {
    /// Year and month.
    #[serde(serialize_with = "month")]
    pub month: (i32, u32),
    /// First attempts that say something about the leakage.
    pub units: u64,
    /// Over-limit results seen.
    pub tripped: u64,
    /// Passes that read above the limit: it would have rejected them.
    #[serde(rename = "would_reject")]
    pub rejected: u64,
    /// Over-limit results at a lower limit: their leakage is only known to lie above that one, so they might
    /// have passed.
    pub might_pass: u64,
}

fn month<S: serde::Serializer>(month: &(i32, u32), to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&month_text(*month))
}

/// What would have become of one unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Would {
    /// It passed, and would have been rejected.
    BeRejected,
    /// It tripped at a lower limit, and might have passed.
    MightPass,
}

impl Would {
    /// As printed.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::BeRejected => "would be rejected",
            Self::MightPass => "might pass",
        }
    }
}

/// One such unit.
#[derive(Debug, Clone, PartialEq)]
pub struct RecountUnit {
    /// What would have become of it.
    pub would: Would,
    /// Seconds since 1970-01-01.
    pub time: i64,
    /// Where it was tested.
    pub station: String,
    /// Serial as first written.
    pub serial: String,
    /// Its reading, or the limit that it tripped on, mA.
    pub ma: f64,
}

/// What one limit would have done to the whole history.
#[derive(Debug, Clone, PartialEq)]
pub struct Recount {
    /// The limit, mA.
    pub limit_ma: f64,
    /// Months with readings, in order.
    pub months: Vec<MonthRecount>,
    /// Units concerned, in order of time; empty where they are more than [`LISTED_MOST`] of a kind.
    pub units: Vec<RecountUnit>,
    /// Strays above the body that passed and that the limit would have rejected.
    pub strays_caught: u64,
}

impl Recount {
    /// Passes of the history that it would have rejected.
    #[must_use]
    pub fn rejected(&self) -> u64 {
        self.months.iter().map(|m| m.rejected).sum()
    }

    /// Trips of the history that it might have passed.
    #[must_use]
    pub fn might_pass(&self) -> u64 {
        self.months.iter().map(|m| m.might_pass).sum()
    }
}

/// Counts the history of series `n` again at each of `limits` (mA): readings as shown at the time.
#[must_use]
pub fn recount(
    pass: &Pass,
    n: usize,
    readings: &[Reading],
    strays: &StrayList,
    limits: &[f64],
) -> Vec<Recount> {
    let mut all: Vec<Recount> =
        limits.iter().map(|&limit_ma| at_limit(readings, strays, limit_ma)).collect();
    list_units(pass, n, &mut all);
    all
}

fn at_limit(readings: &[Reading], strays: &StrayList, limit_ma: f64) -> Recount {
    let mut months: BTreeMap<(i32, u32), MonthRecount> = BTreeMap::new();
    for r in readings {
        let month = month_of(r.day);
        let entry = months.entry(month).or_insert(MonthRecount {
            month,
            units: 0,
            tripped: 0,
            rejected: 0,
            might_pass: 0,
        });
        let count = whole(r.count);
        entry.units += count;
        match r.says {
            Says::Value if above(r.ma, limit_ma) => entry.rejected += count,
            Says::Above => {
                entry.tripped += count;
                if above(limit_ma, r.ma) {
                    entry.might_pass += count;
                }
            }
            Says::Value | Says::Below => {}
        }
    }
    let caught = |u: &&StrayUnit| u.lies == Lies::Above && above(u.reading_ma, limit_ma);
    Recount {
        limit_ma,
        months: months.into_values().collect(),
        units: Vec::new(),
        strays_caught: strays.units.iter().filter(caught).count() as u64,
    }
}

/// A reading at the limit itself passes; one part in a billion is the rounding of a picoampere.
fn above(ma: f64, limit_ma: f64) -> bool {
    ma > limit_ma * (1.0 + 1e-9)
}

/// Serials of the units concerned, where they are few: one look at the rows for all limits.
fn list_units(pass: &Pass, n: usize, all: &mut [Recount]) {
    let wanted: Vec<(bool, bool)> = all
        .iter()
        .map(|r| {
            let few = |count: u64| (1..=LISTED_MOST).contains(&count);
            (few(r.rejected()), few(r.might_pass()))
        })
        .collect();
    if wanted.iter().all(|w| *w == (false, false)) {
        return;
    }
    for test in pass.used_of(n) {
        let (would, at) = match (test.outcome(), test.says()) {
            (Outcome::Pass, Some((reading, Says::Value))) => (Would::BeRejected, ma(reading)),
            (Outcome::OverLimit, Some((limit, _))) => (Would::MightPass, ma(limit)),
            _ => continue,
        };
        for (recount, (rejected, might_pass)) in all.iter_mut().zip(&wanted) {
            let concerned = match would {
                Would::BeRejected => *rejected && above(at, recount.limit_ma),
                Would::MightPass => *might_pass && above(recount.limit_ma, at),
            };
            if concerned {
                recount.units.push(RecountUnit {
                    would,
                    time: test.time(),
                    station: pass.plant.stations[usize::from(test.station())].clone(),
                    serial: test.serial().to_owned(),
                    ma: at,
                });
            }
        }
    }
    for recount in all {
        recount.units.sort_by(|a, b| {
            (a.time, &a.station, &a.serial, a.would).cmp(&(b.time, &b.station, &b.serial, b.would))
        });
    }
}

/// What a rejected unit costs in tests and time: `rejected_unit` of a limit study.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RetestCost {
    /// Over-limit units that this is taken from.
    pub units: u64,
    /// Further tests of such a unit, mean.
    pub tests_each: f64,
    /// Minutes from its first test to its last of the same shift, median; `None` where none was tested again.
    pub minutes_each: Option<f64>,
}

/// Retests of the over-limit units of series `n`; `None` where there is none.
#[must_use]
pub fn retest_cost(pass: &Pass, n: usize) -> Option<RetestCost> {
    let (mut units, mut tests) = (0_u64, 0_u64);
    let mut minutes: Vec<f64> = Vec::new();
    for h in pass.histories_of(n).iter().filter(|h| h.outcome == Outcome::OverLimit) {
        units += 1;
        tests += u64::from(h.retests);
        if h.retests > 0 {
            minutes.extend(pass.minutes_of(h));
        }
    }
    (units > 0).then(|| RetestCost {
        units,
        tests_each: tests as f64 / units as f64,
        minutes_each: crate::stats::numeric::median(&minutes),
    })
}
