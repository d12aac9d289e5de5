//! What the units of the period judged read, reading by reading, and which of them are strays.
//!
//! In: the period's readings on the one scale without the lots whose failures stand out. Out: one line per reading; units known only
//! to lie beyond a limit by that limit. Readings in mA.

use std::collections::BTreeMap;

use crate::analysis::body::healthy::Healthy;
use crate::analysis::units::strays::StrayList;
use crate::day::Day;
use crate::movement::readings::Reading;
use crate::series::Says;
use crate::words::numbers::whole;

/// Units that passed with one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassedAt {
    /// The reading.
    pub ma: f64,
    /// Step of the instrument there.
    pub step_ma: f64,
    /// Whether they are strays.
    pub stray: bool,
    /// Units.
    pub count: u64,
}

/// Units known only to lie beyond a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeyondLimit {
    /// The limit.
    pub limit_ma: f64,
    /// Units.
    pub count: u64,
}

/// The units of a period by reading.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PeriodTally {
    /// Those that passed, ascending.
    pub passed: Vec<PassedAt>,
    /// Those that tripped.
    pub above: Vec<BeyondLimit>,
    /// Those known only to read less.
    pub below: Vec<BeyondLimit>,
    /// Units of lots whose failures stand out: in none of the above.
    pub left_out: u64,
}

impl PeriodTally {
    /// Sorts the readings `kept` of a period in which `left_out` more units were tested.
    ///
    /// Strays of a body carried to the last day are those of another day's level: there the list over all history
    /// is right.
    #[must_use]
    pub fn new(
        kept: &[Reading],
        left_out: u64,
        healthy: Option<&Healthy>,
        strays: &StrayList,
    ) -> Self {
        let body = healthy.filter(|h| h.lines.is_none()).map(|h| &h.body);
        let mut listed: BTreeMap<(Day, u16), Vec<f64>> = BTreeMap::new();
        for unit in strays.units.iter().filter(|_| body.is_none()) {
            let at = (unit.test.day, unit.test.station);
            listed.entry(at).or_default().push(unit.on_scale_ma);
        }
        let is_stray = |r: &Reading| match body {
            Some(body) => body.strays.has(r.observation()),
            None => listed
                .get(&(r.day, r.station))
                .is_some_and(|all| all.iter().any(|ma| (ma - r.ma).abs() <= r.step_ma)),
        };
        let mut lines: Vec<PassedAt> = kept
            .iter()
            .filter(|r| r.says == Says::Value)
            .map(|r| PassedAt {
                ma: r.ma,
                step_ma: r.step_ma,
                stray: is_stray(r),
                count: whole(r.count),
            })
            .collect();
        lines.sort_by(|a, b| {
            a.ma.total_cmp(&b.ma).then(a.step_ma.total_cmp(&b.step_ma)).then(a.stray.cmp(&b.stray))
        });
        let passed = lines
            .chunk_by(|a, b| (a.ma, a.step_ma, a.stray) == (b.ma, b.step_ma, b.stray))
            .map(|same| PassedAt { count: same.iter().map(|l| l.count).sum(), ..same[0] })
            .collect();
        let beyond = |says: Says| {
            let mut found: Vec<BeyondLimit> = Vec::new();
            for r in kept.iter().filter(|r| r.says == says) {
                let count = whole(r.count);
                match found.iter_mut().find(|b| b.limit_ma == r.ma) {
                    Some(b) => b.count += count,
                    None => found.push(BeyondLimit { limit_ma: r.ma, count }),
                }
            }
            found
        };
        Self { passed, above: beyond(Says::Above), below: beyond(Says::Below), left_out }
    }
}
