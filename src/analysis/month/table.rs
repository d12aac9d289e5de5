//! A series month by month.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::analysis::body::by_size::BySize;
use crate::analysis::body::describe::{Options, describe};
use crate::config::Config;
use crate::day::month_of;
use crate::movement::edges::Edges;
use crate::movement::limits::LimitHistory;
use crate::movement::readings::{Reading, grouped, ma};
use crate::series::Outcome;
use crate::series::Series;
use crate::stats::estimate::{Estimate, as_value};
use crate::stats::proportion::{EffectiveCounts, clopper_pearson};
use crate::words::time::as_month;

/// One month of a series.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Month {
    /// Year and month.
    #[serde(serialize_with = "as_month")]
    pub month: (i32, u32),
    /// Units: first attempts that were completed.
    pub units: u64,
    /// 5 % of the units read less, mA; `None`, as the other quantiles, below the month's fewest units.
    #[serde(skip)]
    pub x05_ma: Option<f64>,
    /// Median, mA.
    pub x50_ma: Option<f64>,
    /// 95 % of the units read less, mA.
    pub x95_ma: Option<f64>,
    /// Whether that is only the least it can be: more than 5 % tripped.
    pub x95_at_least: bool,
    /// Share of the units over the limit; `None` without any.
    #[serde(serialize_with = "as_value")]
    pub reject_share: Option<Estimate>,
    /// `P_pkU` against the limit at the month's end.
    #[serde(serialize_with = "as_value")]
    pub p_pku: Option<Estimate>,
}

/// The months of a series, in order; `options` are those of each month's body.
#[must_use]
pub fn months(
    series: &Series,
    readings: &[Reading],
    limits: &LimitHistory,
    edges: &Edges,
    options: &Options,
    config: &Config,
) -> Vec<Month> {
    let mut all: BTreeMap<(i32, u32), Month> = BTreeMap::new();
    let mut over_limit: BTreeMap<(i32, u32), u64> = BTreeMap::new();
    for o in &series.outcomes {
        let month = month_of(o.day);
        let entry = all.entry(month).or_insert_with(|| Month {
            month,
            units: 0,
            x05_ma: None,
            x50_ma: None,
            x95_ma: None,
            x95_at_least: false,
            reject_share: None,
            p_pku: None,
        });
        let n = u64::from(o.count);
        entry.units += if o.outcome.is_completed() { n } else { 0 };
        *over_limit.entry(month).or_default() +=
            if o.outcome == Outcome::OverLimit { n } else { 0 };
    }
    for (month, entry) in &mut all {
        #[expect(clippy::cast_precision_loss, reason = "counts of a month")]
        let counts = EffectiveCounts::new(over_limit[month] as f64, entry.units as f64, 1.0);
        entry.reject_share = counts.and_then(|c| clopper_pearson(c, config.confidence));
    }
    for group in readings.chunk_by(|a, b| a.day == b.day || month_of(a.day) == month_of(b.day)) {
        let Some(entry) = all.get_mut(&month_of(group[0].day)) else {
            continue;
        };
        if group.iter().map(|r| r.count).sum::<f64>() < config.month_units {
            continue;
        }
        let by_size = BySize::new(group);
        let at = |p| by_size.quantile(p);
        // With more than 5 % tripped the upper end is the limit itself.
        let most = group.iter().map(|r| r.ma).fold(f64::NEG_INFINITY, f64::max);
        if let Some((low, middle)) = at(0.05).zip(at(0.5)) {
            entry.x05_ma = Some(low);
            entry.x50_ma = Some(middle);
            let x95_ma = at(0.95);
            (entry.x95_ma, entry.x95_at_least) = (Some(x95_ma.unwrap_or(most)), x95_ma.is_none());
        }
        let last = group[group.len() - 1].day;
        let limit =
            limits.of_most.iter().rfind(|c| c.day <= last).and_then(|c| c.limits.high_pa).map(ma);
        entry.p_pku = limit.and_then(|limit| {
            let body = describe(&grouped(group.iter()).ok()?, edges, options).ok()?;
            let which = body.which().ok()?;
            body.performance(which, limit).ok()
        });
    }
    all.into_values().collect()
}
