//! The straight lines that the readings of a moving product are carried along: of its daily medians, and of how its
//! spread goes with them.
//!
//! The spread of some hundred units a week is hardly ever known so well that its own line is certain, and what is
//! assumed then decides the date on which a limit is reached: taken as constant, forecasts of products that rise in
//! proportion come 16 days late; taken in proportion, those that rise by addition 15 days early. So three lines are
//! weighed by how well the weekly spreads agree with each: a constant one, one in proportion to the median, and the
//! spread's own, which pays for its parameter as in BIC. What the choice leaves open is part of every interval.

use crate::analysis::body::by_size::BySize;
use crate::analysis::body::carry::{CarryLines, SpreadLine};
use crate::day::Day;
use crate::movement::readings::Reading;
use crate::stats::special::normal_quantile;
use crate::stats::trend::{TheilSen, correlated_trend};

/// Fewest units of a day's median and of a week's spread.
const DAY_UNITS: f64 = 3.0;
const WEEK_UNITS: f64 = 20.0;

/// What the readings of a period show of its median and of its spread (X84 − X50).
#[derive(Debug, Clone)]
pub(super) struct Seen {
    target: Day,
    level: f64,
    /// Over days from the target.
    median: TheilSen,
    /// Over weeks from the target; `None` where weeks are too few for a line.
    spread: Option<TheilSen>,
    weeks: f64,
}

/// How much counts each line of the spread, and what that leaves open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SpreadChoice {
    /// Weight of the line in proportion to the median.
    in_proportion: f64,
    /// Weight of the spread's own line.
    own: f64,
    /// Standard error of the choice, in spreads of the target day a day.
    pub error: f64,
}

impl Seen {
    /// Of readings in order of day, seen from `target`; `None` where the days are too few for a line.
    pub fn of(judged: &[Reading], target: Day, level: f64) -> Option<Self> {
        let units = |group: &[Reading]| group.iter().map(|r| r.count).sum::<f64>();
        let (mut days, mut medians) = (Vec::new(), Vec::new());
        for day in judged.chunk_by(|a, b| a.day == b.day).filter(|d| units(d) >= DAY_UNITS) {
            if let Some(median) = BySize::new(day).quantile(0.5) {
                days.push(f64::from(day[0].day - target));
                medians.push(median);
            }
        }
        let week_of = |day: Day| (day + 3).div_euclid(7);
        let (mut weeks, mut spreads) = (Vec::new(), Vec::new());
        let by_week = judged.chunk_by(|a, b| week_of(a.day) == week_of(b.day));
        for week in by_week.filter(|w| units(w) >= WEEK_UNITS) {
            let by_size = BySize::new(week);
            let upper = by_size.quantile(0.841_344_746);
            if let Some((upper, middle)) = upper.zip(by_size.quantile(0.5)) {
                weeks.push(f64::from(week_of(week[0].day)) - f64::from(target + 3) / 7.0);
                spreads.push(upper - middle);
            }
        }
        let line = |x: &[f64], y: &[f64]| correlated_trend(x, y, level).map(|t| t.line);
        Some(Self {
            target,
            level,
            median: line(&days, &medians)?,
            spread: line(&weeks, &spreads).filter(|s| s.at(0.0) > 0.0),
            weeks: weeks.len() as f64,
        })
    }

    /// Change of the spread a day, in spreads of the target day, in proportion to the median.
    fn in_proportion(&self) -> f64 {
        let now = self.median.at(0.0);
        if now > 0.0 { self.median.slope.value / now } else { 0.0 }
    }

    /// The same by the spread's own line, with its standard error.
    fn own(&self) -> Option<(f64, f64)> {
        let line = self.spread.as_ref()?;
        let a_day = 1.0 / (7.0 * line.at(0.0));
        let slope = &line.slope;
        let error = (slope.high - slope.low) / (2.0 * normal_quantile(0.5 + self.level / 2.0));
        (error.is_finite() && error > 0.0).then_some((slope.value * a_day, error * a_day))
    }

    /// Weighs the lines of the spread.
    ///
    /// - Formula: weight `exp(-d/2)`, `d` the squared distance of a line from the spread's own in its standard errors,
    ///   and `ln(weeks)` for the own.
    pub fn spread_choice(&self) -> SpreadChoice {
        let proportion = self.in_proportion();
        let (own, error) = self.own().unwrap_or((0.0, f64::INFINITY));
        let weight = |slope: f64| (-((slope - own) / error).powi(2) / 2.0).exp();
        let by_own = if error.is_finite() { self.weeks.powf(-0.5) } else { 0.0 };
        let all = [weight(0.0), weight(proportion), by_own];
        let sum: f64 = all.iter().sum();
        let [constant, in_proportion, own_weight] = all.map(|w| w / sum);
        let mean = in_proportion * proportion + own_weight * own;
        let apart = |w: f64, slope: f64| w * (slope - mean).powi(2);
        // The own line's error is left out with each block as far as the line counts.
        let of_own =
            if error.is_finite() { own_weight * (1.0 - own_weight) * error * error } else { 0.0 };
        let variance = apart(constant, 0.0)
            + apart(in_proportion, proportion)
            + apart(own_weight, own)
            + of_own;
        SpreadChoice { in_proportion, own: own_weight, error: variance.sqrt() }
    }

    /// The lines by a choice, the spread growing by `more` spreads a day faster.
    pub fn lines(&self, choice: &SpreadChoice, more: f64) -> CarryLines {
        let own = self.own().map_or(0.0, |(slope, _)| slope);
        let a_day = choice.in_proportion * self.in_proportion() + choice.own * own + more;
        CarryLines {
            target_day: self.target,
            median: self.median.at(0.0),
            median_per_day: self.median.slope.value,
            spread: Some(SpreadLine { at_target: 1.0, per_week: 7.0 * a_day }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::estimate::Estimate;

    /// A median of 2 mA that rises by 0.01 a day, and a spread whose own line is known to `error` spreads a week.
    fn seen(own_per_week: f64, error: f64) -> Seen {
        let line = |slope: f64, error: f64, at: f64| TheilSen {
            slope: Estimate::new(
                slope,
                slope - 1.959_964 * error,
                slope + 1.959_964 * error,
                0.95,
                "by hand",
            )
            .expect("numbers"),
            intercept: at,
        };
        Seen {
            target: 0,
            level: 0.95,
            median: line(0.01, 0.0001, 2.0),
            spread: Some(line(own_per_week, error, 1.0)),
            weeks: 25.0,
        }
    }

    /// In proportion is 0.01/2 a day, 0.035 a week. Spreads that agree with one line alone decide for it; spreads that
    /// say nothing leave both alike, and half of their difference as the error.
    #[test]
    fn the_spread_goes_as_the_weekly_spreads_say() {
        let per_week = |seen: &Seen| {
            let lines = seen.lines(&seen.spread_choice(), 0.0);
            lines.spread.map_or(0.0, |s| s.per_week / s.at_target)
        };
        assert!((per_week(&seen(0.035, 0.005)) - 0.035).abs() < 1e-4);
        assert!(per_week(&seen(0.0, 0.005)).abs() < 1e-4);
        // Neither: its own line.
        assert!((per_week(&seen(0.1, 0.005)) - 0.1).abs() < 1e-4);
        let silent = Seen { spread: None, ..seen(0.0, 1.0) };
        assert!((per_week(&silent) - 0.0175).abs() < 1e-12);
        assert!((silent.spread_choice().error - 0.005 / 2.0).abs() < 1e-12);
    }
}
