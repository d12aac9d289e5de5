//! The month under review against the time before it: level, spread, expected rejects, failures.
//!
//! The time before is that since the last established step, at most half a year; not the first 25 days,
//! which say what moved in all, not this month. Level: means of log daily points, the variance of each side its own
//! (Welch) times the AR(1) factor. Spread: mean distance from the day's median, days as clusters, so that a drift is
//! no spread. Failures: Newcombe's hybrid score interval. The expected rejects of a month are those of its own
//! readings, not carried to a day: for a drifting series they differ from the verdict's.

use chrono::NaiveDate;
use serde::Serialize;

use crate::day::{Day, date_of, days_of};
use crate::movement::Period;
use crate::movement::drift::{DayPoint, Drift};
use crate::movement::readings::Reading;
use crate::movement::scale::OneScale;
use crate::series::{OutcomeLine, Says};
use crate::stats::autocorrelation::variance_factor;
use crate::stats::estimate::Estimate;
use crate::stats::expected_share::ExpectedShare;
use crate::stats::numeric::median;
use crate::stats::proportion::{EffectiveCounts, clopper_pearson, difference};
use crate::stats::special::{normal_quantile, student_t_quantile};
use crate::words::time::as_month;

/// Longest time before the month that it is held against, days.
const LONGEST: Day = 183;
/// Fewest points of either side.
const FEWEST_POINTS: usize = 5;
/// Fewest units of a day whose spread counts.
const SPREAD_UNITS: f64 = 3.0;

/// The month against its baseline, as in `results.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MonthChange {
    /// The month.
    #[serde(serialize_with = "as_month")]
    pub month: (i32, u32),
    /// First day of the baseline; `None` where nothing was tested before.
    pub baseline_from: Option<NaiveDate>,
    /// Last day of the baseline.
    pub baseline_to: Option<NaiveDate>,
    /// Units of the month: first tests that were completed.
    pub units: u64,
    /// Units of the baseline.
    pub units_before: u64,
    /// Typical reading of the month, mA: median of daily points.
    pub x50_ma: Option<f64>,
    /// Typical reading of the baseline, mA.
    pub x50_before_ma: Option<f64>,
    /// Change of the level, per cent.
    pub level_pct: Option<Estimate>,
    /// Whether the room's air was allowed for in the level.
    pub room_allowed_for: bool,
    /// Share of the room from the baseline's level to the limit that the level used since; negative where it
    /// gave room back. `None` where no limit or level is known, or there was no room.
    pub room_used: Option<f64>,
    /// Spread of the month over that of the baseline.
    pub spread_ratio: Option<Estimate>,
    /// Healthy units expected over the limit in the month, parts per million.
    pub expected_reject_ppm: Option<ExpectedShare>,
    /// The same in the baseline.
    pub expected_reject_ppm_before: Option<ExpectedShare>,
    /// Units of the month over or under a limit or with a breakdown.
    pub failed: u64,
    /// Their share; `None` without any unit.
    pub failure_share: Option<Estimate>,
    /// The same of the baseline.
    pub failed_before: u64,
    /// The share of the baseline.
    pub failure_share_before: Option<Estimate>,
    /// Change of the share of failures, a fraction of 1.
    pub failure_change: Option<Estimate>,
}

/// Everything a month is held against.
#[derive(Debug, Clone, Copy)]
pub struct Before<'a> {
    /// Readings of the series, on its one scale.
    pub readings: &'a [Reading],
    /// Its daily points.
    pub points: &'a [DayPoint],
    /// Their movement.
    pub drift: &'a Drift,
    /// The one scale that readings and points are on.
    pub scale: &'a OneScale,
    /// Its outcomes.
    pub outcomes: &'a [OutcomeLine],
    /// The high limit in force, mA.
    pub limit_ma: Option<f64>,
    /// Confidence level.
    pub level: f64,
}

/// First and last day that a month is held against: since the last established step, at most half a year.
/// Where the step lies in the month or just before, half a year before the month.
#[must_use]
pub fn baseline_days(
    days: impl Iterator<Item = Day>,
    month: (i32, u32),
    judge: &Period,
) -> Option<(Day, Day)> {
    let first = days_of(month).start;
    let before: Vec<Day> = days.filter(|d| *d < first).collect();
    let last = *before.iter().max()?;
    let from = first - LONGEST;
    let since_step =
        judge.boundaries.iter().copied().filter(|b| *b <= last).max().map_or(from, |b| b.max(from));
    let mut inside: Vec<Day> = before.iter().copied().filter(|d| *d >= since_step).collect();
    inside.sort_unstable();
    inside.dedup();
    if inside.len() < FEWEST_POINTS {
        inside = before.into_iter().filter(|d| *d >= from).collect();
    }
    Some((*inside.iter().min()?, last))
}

/// The month's numbers; `expected` are the expected shares of baseline and month, made by the caller.
#[must_use]
pub fn month_change(
    before: &Before<'_>,
    month: (i32, u32),
    baseline: Option<(Day, Day)>,
    expected_share: [Option<Estimate>; 2],
) -> MonthChange {
    let inside = days_of(month);
    let side = |day: Day| -> Option<usize> {
        if inside.contains(&day) {
            Some(1)
        } else if baseline.is_some_and(|(a, b)| (a..=b).contains(&day)) {
            Some(0)
        } else {
            None
        }
    };
    let (mut units, mut failed) = ([0_u64; 2], [0_u64; 2]);
    for o in before.outcomes {
        let Some(s) = side(o.day) else { continue };
        let n = u64::from(o.count);
        units[s] += if o.outcome.is_completed() { n } else { 0 };
        failed[s] += if o.outcome.is_failure() { n } else { 0 };
    }
    let counts = [0, 1].map(|s| counts(failed[s], units[s]));
    let share = |s: usize| clopper_pearson(counts[s]?, before.level);
    // Points of a movement that the room explains are compared with its effect taken off.
    let flat = &before.drift.flat_ma;
    let room = before.drift.room_allowed_for && flat.len() == before.points.len();
    let mut levels: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    for (i, p) in before.points.iter().enumerate() {
        let value = if room { flat[i] } else { p.value_ma };
        if let Some(s) = side(p.day)
            && value > 0.0
        {
            levels[s].push(value);
        }
    }
    let typical_ma = median(&levels[0]).zip(median(&levels[1]));
    let side_of = &side;
    let of_side = |s: usize| before.readings.iter().filter(move |r| side_of(r.day) == Some(s));
    let of_scale = before.scale.error_between(of_side(1), of_side(0));
    let rho = before.drift.rho.unwrap_or(0.0);
    let level_pct = level_change(&levels, rho, of_scale, before.level);
    let [before_ppm, now_ppm] = expected_share;
    let told =
        |s: usize, share: Option<Estimate>| share.map(|e| ExpectedShare::new(&e, units[s], 1e6));
    MonthChange {
        month,
        baseline_from: baseline.map(|b| date_of(b.0)),
        baseline_to: baseline.map(|b| date_of(b.1)),
        units: units[1],
        units_before: units[0],
        x50_ma: typical_ma.map(|t| t.1),
        x50_before_ma: typical_ma.map(|t| t.0),
        room_used: typical_ma.and_then(|(level, _)| {
            let room = Some(before.limit_ma? - level).filter(|room| *room > 0.0)?;
            // The change as the interval has it, so that the room's air stays out where it was allowed for.
            Some(level * level_pct.as_ref()?.value / 100.0 / room)
        }),
        level_pct,
        room_allowed_for: room,
        spread_ratio: spread_ratio(before, &side),
        expected_reject_ppm: told(1, now_ppm),
        expected_reject_ppm_before: told(0, before_ppm),
        failed: failed[1],
        failure_share: share(1),
        failed_before: failed[0],
        failure_share_before: share(0),
        failure_change: counts[0].zip(counts[1]).and_then(|(a, b)| difference(a, b, before.level)),
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts of units")]
fn counts(failed: u64, units: u64) -> Option<EffectiveCounts> {
    EffectiveCounts::new(failed as f64, units as f64, 1.0)
}

/// Change of the mean log level of daily points, per cent; their variance carries the AR(1) factor, and the interval
/// the error of offsets and steps that differ between the two sides.
fn level_change(levels: &[Vec<f64>; 2], rho: f64, of_scale: f64, level: f64) -> Option<Estimate> {
    if levels.iter().any(|l| l.len() < FEWEST_POINTS) {
        return None;
    }
    let logs = levels.each_ref().map(|l| l.iter().map(|v| v.ln()).collect::<Vec<f64>>());
    let mean = |l: &[f64]| l.iter().sum::<f64>() / l.len() as f64;
    let means = [mean(&logs[0]), mean(&logs[1])];
    let factor = variance_factor(rho);
    // Welch: a month may have fewer units a day, or another spread, than the time before.
    let of_side = |s: usize| {
        let n = logs[s].len() as f64;
        let squares: f64 = logs[s].iter().map(|v| (v - means[s]).powi(2)).sum();
        let variance = squares / (n - 1.0) * factor / n;
        (variance, variance.powi(2) / (n / factor - 1.0).max(1.0))
    };
    let (before, month) = (of_side(0), of_side(1));
    let variance = before.0 + month.0;
    let df = (variance.powi(2) / (before.1 + month.1)).max(1.0);
    let se = variance.sqrt();
    let d = means[1] - means[0];
    let of_scale = of_scale * normal_quantile(0.5 + 0.5 * level);
    let reach = (student_t_quantile(0.5 + 0.5 * level, df) * se).hypot(of_scale);
    let pct = |d: f64| 100.0 * d.exp_m1();
    Estimate::new(
        pct(d),
        pct(d - reach),
        pct(d + reach),
        level,
        "means of log daily points, AR(1) variance, Student t",
    )
}

/// Mean distance of readings from the median of their day, month over baseline; days as clusters.
///
/// Trips stand at the limit, so that a spread cut by it is a lower bound.
fn spread_ratio(before: &Before<'_>, side: &impl Fn(Day) -> Option<usize>) -> Option<Estimate> {
    // Sum of distances and units of each day, by side.
    let mut days: [Vec<(f64, f64)>; 2] = [Vec::new(), Vec::new()];
    for group in before.readings.chunk_by(|a, b| a.day == b.day) {
        let Some(s) = side(group[0].day) else {
            continue;
        };
        let mut values: Vec<(f64, f64)> =
            group.iter().filter(|r| r.says != Says::Below).map(|r| (r.ma, r.count)).collect();
        values.sort_by(|a, b| a.0.total_cmp(&b.0));
        let units: f64 = values.iter().map(|v| v.1).sum();
        if units < SPREAD_UNITS {
            continue;
        }
        let mut seen = 0.0;
        let middle = values.iter().find(|v| {
            seen += v.1;
            seen >= 0.5 * units
        })?;
        let middle = middle.0;
        let apart: f64 = values.iter().map(|v| v.1 * (v.0 - middle).abs()).sum();
        days[s].push((apart, units));
    }
    let of = |days: &[(f64, f64)]| -> Option<(f64, f64)> {
        if days.len() < FEWEST_POINTS {
            return None;
        }
        let (apart, units) = days.iter().fold((0.0, 0.0), |t, d| (t.0 + d.0, t.1 + d.1));
        let ratio = apart / units;
        let k = days.len() as f64;
        let variance: f64 = days.iter().map(|d| (d.0 - ratio * d.1).powi(2)).sum::<f64>() * k
            / (k - 1.0)
            / apart.powi(2);
        (apart > 0.0).then_some((ratio.ln(), variance))
    };
    let (a, b) = (of(&days[0])?, of(&days[1])?);
    let df = (days[0].len() + days[1].len() - 2) as f64;
    let reach = student_t_quantile(0.5 + 0.5 * before.level, df) * (a.1 + b.1).sqrt();
    let d = b.0 - a.0;
    Estimate::new(
        d.exp(),
        (d - reach).exp(),
        (d + reach).exp(),
        before.level,
        "mean distance from the day's median, days as clusters",
    )
}
