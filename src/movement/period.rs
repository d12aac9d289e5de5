//! Which units are judged: the period since the last established step, and the planning horizon.
//!
//! Which period is judged needs the movement, so movement is found first, then the body. A slope that is
//! certain and of three reading steps is carried; whether it is *material* is decided after that, since
//! rejects at the horizon are only known then.

use chrono::{Days, Months, NaiveDate};

use crate::config::Config;
use crate::day::{Day, date_of, day_number};
use crate::movement::SeriesMovement;
use crate::movement::drift::{DAYS_PER_MONTH, Shape};
use crate::movement::material::{Step, drift_numbers, established, flag};
use crate::movement::readings::ma;
use crate::movement::stations::{Stations, TesterStep};
use crate::series::{OutcomeLine, Series};
use crate::words::count;

/// The period of a series that is judged, before its body is asked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Period {
    /// First and last day judged.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// Whether a slope is established: readings are then carried to the last day.
    pub slope: bool,
    /// End of the planning horizon.
    pub horizon: Day,
    /// First days of new levels, of the product or of a tester it uses.
    pub boundaries: Vec<Day>,
    /// Why this period, one sentence.
    pub sentence: String,
}

impl Period {
    /// Whether a day is judged.
    pub fn has(&self, day: Day) -> bool {
        (self.from..=self.to).contains(&day)
    }

    /// So many units of the period as units a month.
    pub fn units_per_month(&self, units: f64) -> f64 {
        let days = f64::from(self.to - self.from + 1);
        units / (days / DAYS_PER_MONTH).max(1.0 / DAYS_PER_MONTH)
    }
}

/// The units judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub to: NaiveDate,
    /// Units (first attempts with the unit connected).
    pub units: u64,
    /// Days with at least one unit.
    pub production_days: u64,
    /// Lots, where lots are known.
    pub lots: Option<u64>,
}

/// Units of one production day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DayUnits {
    /// The day.
    pub day: NaiveDate,
    /// First attempts of that day.
    pub units: u64,
}

/// What decided where the period starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StartedBy {
    /// The last established step.
    Step,
    /// The longest period judged.
    LongestPeriod,
    /// Going further back for enough units.
    EnoughUnits,
    /// The history starts there.
    HistoryStart,
}

/// The period judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JudgedDays {
    /// Its days and units; `lots` is left `None` for the caller to fill.
    pub judged: Judged,
    /// What decided its start.
    pub started_by: StartedBy,
    /// One sentence for the report.
    pub sentence: String,
}

/// The period judged, ending on the last day with units.
///
/// - `established_steps`: first days of new levels, of the series or of a tester it uses, any order.
/// - `days`: units a day, any order, days repeated or empty allowed.
/// - `season`: the shape is `season`, so up to 12 months count.
///
/// Going back for enough units never crosses an established step. `None` where no day has units.
pub fn judged_from(
    established_steps: &[NaiveDate],
    days: &[DayUnits],
    season: bool,
    config: &Config,
) -> Option<JudgedDays> {
    let mut used: Vec<DayUnits> = days.iter().copied().filter(|d| d.units > 0).collect();
    used.sort_by_key(|d| d.day);
    let (first, last) = (used.first()?.day, used.last()?.day);
    let months = if season { config.judged_months_season } else { config.judged_months };
    let step = established_steps.iter().copied().filter(|d| *d <= last && *d > first).max();
    let earliest = step.unwrap_or(first);
    // Six months that end on 30 October start on 1 May: the day after 30 April.
    let cap = last
        .checked_sub_months(Months::new(months))
        .and_then(|d| d.checked_add_days(Days::new(1)))
        .unwrap_or(first);
    let mut start = earliest.max(cap);
    let mut units: u64 = sum(used.iter().filter(|d| d.day >= start));
    let mut started_by = if start > earliest {
        StartedBy::LongestPeriod
    } else if step.is_some() {
        StartedBy::Step
    } else {
        StartedBy::HistoryStart
    };
    if units < config.judged_units && start > earliest {
        let before: Vec<&DayUnits> =
            used.iter().filter(|d| d.day < start && d.day >= earliest).collect();
        started_by = if step.is_some() { StartedBy::Step } else { StartedBy::HistoryStart };
        for day in before.iter().rev() {
            start = day.day;
            units += day.units;
            if units >= config.judged_units {
                started_by = StartedBy::EnoughUnits;
                break;
            }
        }
        // All units of the day on which enough were reached.
        units = sum(used.iter().filter(|d| d.day >= start));
    }
    let kept: Vec<&DayUnits> = used.iter().filter(|d| d.day >= start).collect();
    let from = kept.first().map_or(start, |d| d.day);
    let mut distinct: Vec<NaiveDate> = kept.iter().map(|d| d.day).collect();
    distinct.dedup();
    let why = match started_by {
        StartedBy::Step => "since the last established step".to_owned(),
        StartedBy::LongestPeriod => format!("the last {}", count(u64::from(months), "month")),
        StartedBy::EnoughUnits => {
            format!("back to where {} are reached", count(config.judged_units, "unit"))
        }
        StartedBy::HistoryStart => "the whole history".to_owned(),
    };
    Some(JudgedDays {
        judged: Judged {
            from,
            to: last,
            units,
            production_days: distinct.len() as u64,
            lots: None,
        },
        started_by,
        sentence: format!(
            "Judged: the time from {from} to {last}, {}, {why}.",
            count(distinct.len() as u64, "production day")
        ),
    })
}

fn sum<'a>(days: impl Iterator<Item = &'a DayUnits>) -> u64 {
    days.map(|d| d.units).sum()
}

/// Units of a series by production day: first attempts that were completed.
fn production_days(series: &Series) -> Vec<DayUnits> {
    let units = |o: &OutcomeLine| u64::from(o.count);
    series
        .outcomes
        .chunk_by(|a, b| a.day == b.day)
        .map(|day| DayUnits {
            day: date_of(day[0].day),
            units: day.iter().filter(|o| o.outcome.is_completed()).map(units).sum(),
        })
        .collect()
}

/// What would have been judged on the day before `day`: the period before a rise that began then.
///
/// - `boundaries`: first days of established levels, as in [`Period`].
///
/// `None` where no unit was made before.
#[must_use]
pub fn before(
    series: &Series,
    boundaries: &[Day],
    season: bool,
    day: Day,
    config: &Config,
) -> Option<Judged> {
    let end = date_of(day);
    let steps: Vec<NaiveDate> = boundaries.iter().map(|d| date_of(*d)).collect();
    let mut days = production_days(series);
    days.retain(|d| d.day < end);
    judged_from(&steps, &days, season, config).map(|found| found.judged)
}

/// Last day of the planning horizon: `horizon_months` after `to`, but never further ahead than the
/// history, which starts on `history_from`, reaches back.
pub fn horizon_end(history_from: NaiveDate, to: NaiveDate, config: &Config) -> NaiveDate {
    let planned = to.checked_add_months(Months::new(config.horizon_months));
    let back = u64::try_from((to - history_from).num_days()).unwrap_or(0);
    let allowed = to.checked_add_days(Days::new(back));
    planned.into_iter().chain(allowed).min().unwrap_or(to)
}

/// A step of a tester that stays in the readings of a series.
#[derive(Clone, Copy)]
struct LeftIn<'a> {
    step: &'a TesterStep,
    station: &'a str,
    surely_the_testers: bool,
}

/// Why a step of a tester cuts the history.
fn not_taken_off(step: &LeftIn<'_>, moved: &SeriesMovement) -> String {
    let LeftIn { step, station, surely_the_testers } = *step;
    let size = &step.size_pct;
    let why = match surely_the_testers {
        true => format!(
            "its size ({:+.2} % to {:+.2} %) is known too badly beside the spread of the readings ({:.2} %)",
            size.low,
            size.high,
            100.0 * moved.log_spread
        ),
        false => "one series alone shows it, so that it may be the product's".to_owned(),
    };
    format!(
        " The step of {station} on {} is not taken off, and cuts the history: {why}.",
        date_of(step.day)
    )
}

/// Which period of a series is judged, and whether its readings are carried along a slope.
pub fn period(
    series: &Series,
    moved: &SeriesMovement,
    stations: Option<&Stations>,
    names: &[String],
    config: &Config,
) -> Period {
    let limit_ma = moved.limits.now.high_pa.map(ma);
    let x50 = moved.typical_now_ma();
    let is_established = |day: Day, size_ma: f64, adjusted_p: f64| {
        established(&Step { date: date_of(day), size_ma, adjusted_p }, x50, limit_ma, config)
    };
    let of_product = moved.drift.steps.iter();
    let mut boundaries: Vec<Day> = of_product
        .filter(|s| is_established(s.day, s.size_ma.value, moved.adjusted_p))
        .map(|s| s.day)
        .collect();
    let mut left_in = Vec::new();
    for (n, station) in stations.iter().flat_map(|s| s.stations.iter().enumerate()) {
        let used = moved.used_at.iter().any(|s| usize::from(*s) == n);
        for step in station.moved.iter().filter(|_| used) {
            let mut on_scale = moved.scale.steps().iter();
            let found = on_scale.find(|t| (usize::from(t.station), t.day) == (n, step.day));
            let is_taken_off = found.is_some_and(|t| t.is_known(moved.log_spread));
            let size_ma = step.size_pct.value / 100.0 * x50;
            if !is_taken_off && is_established(step.day, size_ma, step.p_value) {
                boundaries.push(step.day);
                let (station, surely_the_testers) = (names[n].as_str(), found.is_some());
                left_in.push(LeftIn { step, station, surely_the_testers });
            }
        }
    }
    boundaries.sort_unstable();
    boundaries.dedup();
    let days = production_days(series);
    let dates: Vec<NaiveDate> = boundaries.iter().map(|d| date_of(*d)).collect();
    let season = moved.drift.shape == Some(Shape::Season);
    let first = days.first().map_or_else(NaiveDate::default, |d| d.day);
    let (from, to, mut sentence) = match judged_from(&dates, &days, season, config) {
        Some(JudgedDays { judged, sentence, .. }) => (judged.from, judged.to, sentence),
        None => (first, first, "no unit was judged".to_owned()),
    };
    if let Some(left_in) = left_in.iter().rfind(|l| l.step.day <= day_number(to)) {
        sentence += &not_taken_off(left_in, moved);
    }
    let flag = flag(&drift_numbers(moved, config), config);
    // Whether rejects pass the accepted share is only known once readings are carried: a slope that is
    // certain and of enough reading steps is carried, and its flag is decided after that.
    let enough = moved.drift.per_month_ma.as_ref().is_some_and(|m| {
        m.value.abs() * f64::from(config.horizon_months)
            >= config.material_steps * moved.last.map_or(0.0, |r| r.step_ma)
    });
    let slope = flag.certain
        && enough
        && matches!(moved.drift.shape, Some(Shape::Slope | Shape::SlopeAndStep));
    Period {
        from: day_number(from),
        to: day_number(to),
        slope,
        horizon: day_number(horizon_end(first, to, config)),
        boundaries,
        sentence,
    }
}
