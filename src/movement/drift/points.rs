//! Points in time: the median of a day, or of a week where days are thin.

use std::collections::BTreeMap;

/// Share of production days that must make a daily point; else points are weekly.
const DAILY_SHARE: f64 = 0.6;

/// Fewest units of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointUnits {
    /// Of a daily one.
    pub daily: f64,
    /// Of a weekly one.
    pub weekly: f64,
}

/// One point of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct DayPoint {
    /// Days since 1970-01-01; of a weekly point the day in the middle of its units.
    pub day: i32,
    /// Median reading, mA; where half or more of the units tripped, at least that.
    pub value_ma: f64,
    /// Units behind the median.
    pub units: f64,
    /// Relative humidity of the room, %.
    pub humidity: Option<f64>,
    /// Temperature of the room, degrees Celsius.
    pub temperature: Option<f64>,
    /// Lot in use, numbered by the caller, where lots are known.
    pub lot: Option<u32>,
}

/// Equal readings of one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingLine {
    /// Days since 1970-01-01.
    pub day: i32,
    /// Middle of the reading's interval, mA; of a unit that tripped the limit, which it lies above.
    pub centre_ma: f64,
    /// Whether the unit tripped.
    pub tripped: bool,
    /// Width of the interval (the reading step), mA.
    pub step_ma: f64,
    /// Units that read so.
    pub count: f64,
}

/// What else is known of a day.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct DayFacts {
    /// Relative humidity, %.
    pub humidity: Option<f64>,
    /// Temperature, degrees Celsius.
    pub temperature: Option<f64>,
    /// Lot of most units.
    pub lot: Option<u32>,
}

/// Whether most points lie as far apart as those of weeks.
pub fn are_weekly(points: &[DayPoint]) -> bool {
    let gaps = points.windows(2).filter(|w| w[1].day - w[0].day >= 5).count();
    gaps * 2 > points.len()
}

/// Median of grouped readings: each line's units are spread evenly over its step.
///
/// `None` where there is no unit, or half or more of them tripped.
pub fn grouped_median(lines: &[(f64, f64, f64)]) -> Option<f64> {
    let total: f64 = lines.iter().map(|(_, _, count)| count).sum();
    let mut spread: Vec<Spread> = lines
        .iter()
        .filter(|l| l.0.is_finite())
        .map(|&(centre, step, count)| Spread { centre, step, count, is_below: false })
        .collect();
    let edges = |sign: f64| spread.iter().map(move |l| l.centre + sign * 0.5 * l.step);
    let mut low = edges(-1.0).fold(f64::INFINITY, f64::min);
    let mut high = edges(1.0).fold(f64::NEG_INFINITY, f64::max);
    let below = |spread: &[Spread], x| spread.iter().map(|l| l.part(x) * l.count).sum::<f64>();
    if total <= 0.0 || !low.is_finite() || below(&spread, high) <= 0.5 * total {
        return None;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        // Nothing lies between them any more.
        if middle == low || middle == high {
            break;
        }
        if below(&spread, middle) < 0.5 * total {
            low = middle;
            spread.iter_mut().for_each(|l| l.is_below = l.part(low) >= 1.0);
        } else {
            high = middle;
            // What lies above it as a whole adds nothing any more.
            spread.retain(|l| l.part(high) > 0.0);
        }
    }
    Some(0.5 * (low + high))
}

/// The units of one line, spread evenly over its step.
struct Spread {
    centre: f64,
    step: f64,
    count: f64,
    /// All of them are below every place still in question.
    is_below: bool,
}

impl Spread {
    /// Share of them that is below a place.
    fn part(&self, x: f64) -> f64 {
        if self.is_below {
            1.0
        } else if self.step > 0.0 {
            ((x - self.centre) / self.step + 0.5).clamp(0.0, 1.0)
        } else {
            f64::from(x >= self.centre)
        }
    }
}

/// Points of a series from its readings: daily medians of enough units, or, where fewer than six production days
/// in ten have as many, weekly ones (Monday to Sunday).
pub fn day_points(
    lines: &[ReadingLine],
    facts: &BTreeMap<i32, DayFacts>,
    fewest: PointUnits,
) -> Vec<DayPoint> {
    let mut days: BTreeMap<i32, Vec<ReadingLine>> = BTreeMap::new();
    for line in lines.iter().filter(|l| l.count > 0.0 && !l.centre_ma.is_nan()) {
        days.entry(line.day).or_default().push(*line);
    }
    let units = |group: &[ReadingLine]| group.iter().map(|l| l.count).sum::<f64>();
    let thick = days.values().filter(|g| units(g) >= fewest.daily).count() as f64;
    if thick >= DAILY_SHARE * days.len() as f64 {
        return days.values().filter_map(|g| point(g, fewest.daily, facts)).collect();
    }
    let mut weeks: BTreeMap<i32, Vec<ReadingLine>> = BTreeMap::new();
    for (day, group) in days {
        // 1970-01-01 was a Thursday.
        weeks.entry((day + 3).div_euclid(7)).or_default().extend(group);
    }
    weeks.values().filter_map(|g| point(g, fewest.weekly, facts)).collect()
}

fn point(group: &[ReadingLine], fewest: f64, facts: &BTreeMap<i32, DayFacts>) -> Option<DayPoint> {
    let units: f64 = group.iter().map(|l| l.count).sum();
    if units < fewest {
        return None;
    }
    let beyond = |l: &ReadingLine| if l.tripped { f64::INFINITY } else { l.centre_ma };
    let readings: Vec<_> = group.iter().map(|l| (beyond(l), l.step_ma, l.count)).collect();
    // Where half or more tripped the median is at least that of their limits. Left out, a product that steps
    // beyond its limit would seem to stand still.
    let at_least = || {
        let at_limit: Vec<_> = group.iter().map(|l| (l.centre_ma, l.step_ma, l.count)).collect();
        grouped_median(&at_limit)
    };
    let value_ma = grouped_median(&readings).or_else(at_least)?;
    let mut per_day: BTreeMap<i32, f64> = BTreeMap::new();
    for line in group {
        *per_day.entry(line.day).or_default() += line.count;
    }
    let mut seen = 0.0;
    let day = *per_day
        .iter()
        .find(|(_, n)| {
            seen += **n;
            seen >= 0.5 * units
        })?
        .0;
    let mean_of = |pick: fn(&DayFacts) -> Option<f64>| {
        let known: Vec<(f64, f64)> = per_day
            .iter()
            .filter_map(|(d, n)| facts.get(d).and_then(pick).map(|v| (v, *n)))
            .collect();
        let weight: f64 = known.iter().map(|k| k.1).sum();
        (weight > 0.0).then(|| known.iter().map(|k| k.0 * k.1).sum::<f64>() / weight)
    };
    Some(DayPoint {
        day,
        value_ma,
        units,
        humidity: mean_of(|f| f.humidity),
        temperature: mean_of(|f| f.temperature),
        lot: facts.get(&day).and_then(|f| f.lot),
    })
}
