//! How much of the room between its baseline and the limit a series' movement used, point by point.

use crate::config::Config;
use crate::day::Day;
use crate::movement::drift::{DayPoint, Drift};
use crate::movement::limits::LimitHistory;
use crate::movement::readings::ma;
use crate::stats::numeric::median;

/// Days before and after of which a point is the median.
const SMOOTH: Day = 5;
/// Points of the end that make the level now.
const LATEST: usize = 20;

/// The movement of a series as shares of its room.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomShare {
    /// Share used on each day against the baseline.
    pub used: Vec<(Day, f64)>,
    /// The same now.
    pub now: f64,
    /// Whether it is of the room to the limit; where no limit is known, it is of the baseline's own level.
    pub of_room: bool,
    /// Points of the baseline.
    pub baseline_points: usize,
}

/// Shares of the room; `None` without points.
pub fn room_share(
    points: &[DayPoint],
    drift: &Drift,
    limits: &LimitHistory,
    config: &Config,
) -> Option<RoomShare> {
    let value = |i: usize| {
        // Where the room's air explains the movement, what is left of it.
        if drift.room_allowed_for && drift.flat_ma.len() == points.len() {
            drift.flat_ma[i]
        } else {
            points[i].value_ma
        }
    };
    let values: Vec<f64> = (0..points.len()).map(value).collect();
    let baseline_points = config.baseline_days as usize;
    let baseline = median(&values[..values.len().min(baseline_points)])?;
    let room = limits.now.high_pa.map(|pa| ma(pa) - baseline).filter(|room| *room > 0.0);
    let whole = room.unwrap_or(baseline);
    if whole <= 0.0 {
        return None;
    }
    let share = |level: f64| (level - baseline) / whole;
    let used = points.iter().map(|p| {
        let near: Vec<f64> = points
            .iter()
            .zip(&values)
            .filter(|(q, _)| (q.day - p.day).abs() <= SMOOTH)
            .map(|(_, v)| *v)
            .collect();
        (p.day, share(median(&near).unwrap_or(baseline)))
    });
    Some(RoomShare {
        used: used.collect(),
        now: share(median(&values[values.len().saturating_sub(LATEST)..])?),
        of_room: room.is_some(),
        baseline_points,
    })
}
