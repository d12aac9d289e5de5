//! How one series moved: its shape, since when, how fast, in which steps, and what the room explains.
//!
//! Takes daily medians already divided by their station's offset ([`crate::movement::stations`]); says what is
//! certain, never what matters: that is the verdict's to judge.
//!
//! Shapes are fitted to the logarithm of the medians where all are positive: currents scatter, and
//! humidity, testers and lots act, in per cent, and a leak that adds at right angles to a capacitive
//! current bends the reading upward, which the logarithm takes back. Rates and sizes are in mA.

pub mod chart;
pub mod explained;
pub mod points;

use serde::Serialize;

use crate::config::Config;
use crate::day::as_date;
use crate::stats::autocorrelation::{about_zero, corrected_about_line};
use crate::stats::estimate::Estimate;
use crate::stats::numeric::median;
use crate::stats::shape::candidates::{Fitter, Kind};
use crate::stats::shape::power;
use crate::stats::shape::steps::{self, Movement};
use crate::stats::shape::{self, NoShape, Points, ShapeTest};
use crate::stats::special::student_t_quantile;
use crate::stats::trend::correlated_trend;
pub use chart::EwmaChart;
use chart::ewma_chart;
pub use explained::{Explained, RoomFactor};
use explained::{explained_by, room_columns, room_taken_off};
pub use points::{
    DayFacts, DayPoint, PointUnits, ReadingLine, are_weekly, day_points, grouped_median,
};

/// Days of a mean month.
pub const DAYS_PER_MONTH: f64 = 30.44;
/// History that a season without recorded causes needs, days.
const TWO_YEARS: f64 = 730.0;
/// Gain in BIC from which room conditions are said to explain a movement.
const CLEAR_GAIN: f64 = 10.0;

/// Settings.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftOptions {
    /// Confidence level of intervals.
    pub level: f64,
    /// A shape with a larger p-value is printed as `steady`.
    pub largest_p: f64,
    /// The shape test.
    pub shape: shape::Options,
    /// Weight of a new point in the moving average.
    pub lambda: f64,
    /// In-control run length of the moving average's limits, points.
    pub run_length: f64,
    /// Day of the last known change (days since 1970): the baseline begins there, else with the series.
    pub baseline_from: Option<i32>,
    /// Production days of the baseline, and units.
    pub baseline_points: usize,
    /// Units of the baseline.
    pub baseline_units: f64,
}

impl DriftOptions {
    /// Those of the settings: replicates of the shape test are drawn from the one seed.
    pub fn new(config: &Config) -> Self {
        Self {
            level: config.confidence,
            largest_p: 1.0 - config.confidence,
            shape: shape::Options { seed: config.seed, ..shape::Options::default() },
            lambda: 0.2,
            run_length: 2000.0,
            baseline_from: None,
            baseline_points: config.baseline_days as usize,
            baseline_units: config.baseline_units,
        }
    }
}

impl Default for DriftOptions {
    fn default() -> Self {
        Self::new(&Config::default())
    }
}

/// How a series moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// One level.
    Steady,
    /// Rises or falls, from the first point or from a date.
    Slope,
    /// Changes of level.
    Step,
    /// Both.
    SlopeAndStep,
    /// Follows the room or the year.
    Season,
}

impl Shape {
    /// Machine name.
    pub fn key(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Slope => "slope",
            Self::Step => "step",
            Self::SlopeAndStep => "slope_and_step",
            Self::Season => "season",
        }
    }

    /// As printed.
    pub fn words(self) -> &'static str {
        match self {
            Self::SlopeAndStep => "slope and step",
            other => other.key(),
        }
    }
}

/// A change of level of a series.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DriftStep {
    /// First day at the new level, days since 1970.
    #[serde(rename = "date", serialize_with = "as_date")]
    pub day: i32,
    /// Earliest day that fits nearly as well (the day after the last point that must be before).
    #[serde(rename = "date_low", serialize_with = "as_date")]
    pub day_low: i32,
    /// Latest day that fits nearly as well.
    #[serde(rename = "date_high", serialize_with = "as_date")]
    pub day_high: i32,
    /// Change of the median, mA.
    pub size_ma: Estimate,
    /// Change in per cent of the level before; `None` where a level is not positive.
    #[serde(skip)]
    pub size_pct: Option<Estimate>,
}

/// A robust line in time.
#[derive(Debug, Clone, PartialEq)]
pub struct DayLine {
    /// First day it was made from.
    pub from: i32,
    /// Last day.
    pub to: i32,
    /// Height on day `from`, mA.
    pub at_start_ma: f64,
    /// Slope per day, mA.
    pub per_day_ma: Estimate,
}

impl DayLine {
    /// Height on a day, mA.
    pub fn at(&self, day: i32) -> f64 {
        self.at_start_ma + self.per_day_ma.value * f64::from(day - self.from)
    }
}

/// All that is known of a series' movement.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// The shape, `None` with a reason in `no_shape`.
    pub shape: Option<Shape>,
    /// Why there is no shape.
    pub no_shape: Option<NoShape>,
    /// Best kind by BIC, certain or not.
    pub best: Option<Kind>,
    /// Day the slope began, or of the last step.
    pub since: Option<i32>,
    /// Earliest day that fits nearly as well.
    pub since_low: Option<i32>,
    /// Latest day that fits nearly as well.
    pub since_high: Option<i32>,
    /// Theil-Sen slope since then (of the whole series where steady), mA per 30.44 days.
    pub per_month_ma: Option<Estimate>,
    /// Mann-Kendall p-value of that stretch.
    pub trend_p_value: Option<f64>,
    /// p-value of the shape, room conditions allowed for; 1 without a shape.
    pub p_value: f64,
    /// AR(1) parameter of the points about the shape; `None` where they do not scatter.
    pub rho: Option<f64>,
    /// Smallest step in mid-series that would have been noticed four times in five, mA; `None` where the shape
    /// is not steady.
    pub smallest_step_ma: Option<f64>,
    /// Steps, in order of time; empty unless the shape has them.
    pub steps: Vec<DriftStep>,
    /// What the room explains.
    pub explained: Vec<Explained>,
    /// Whether `line` and `per_month_ma` are of points with the room's effect taken off.
    pub room_allowed_for: bool,
    /// The points with the room's effect taken off where `room_allowed_for`, else as they are; mA, in order
    /// of day.
    pub flat_ma: Vec<f64>,
    /// The line of the last stretch, for carrying readings to another day.
    pub line: Option<DayLine>,
    /// A yearly wave fits better than the shape, but the history is under two years.
    pub season_possible: bool,
    /// The moving average; `None` where there is no full baseline.
    pub ewma: Option<EwmaChart>,
}

impl Drift {
    /// First day of a slope and how far it has carried the level since, per cent of the level there; `None`
    /// where no slope is found.
    pub fn slope_so_far_pct(&self) -> Option<(i32, Estimate)> {
        if !matches!(self.shape, Some(Shape::Slope | Shape::SlopeAndStep)) {
            return None;
        }
        let line = self.line.as_ref().filter(|l| l.at_start_ma > 0.0)?;
        let days = f64::from(line.to - line.from);
        let pct = |per_day: f64| 100.0 * per_day * days / line.at_start_ma;
        let slope = &line.per_day_ma;
        let size = Estimate::new(
            pct(slope.value),
            pct(slope.low),
            pct(slope.high),
            slope.level,
            "slope since its beginning, Theil-Sen",
        )?;
        Some((self.since.unwrap_or(line.from), size))
    }
}

/// Judges the movement of one series.
///
/// - Shape: points in any order, one per day or week; values finite. Units: mA, days since 1970.
/// - No errors: what cannot be said is `None`, with `no_shape` for the shape.
pub fn assess(points: &[DayPoint], options: &DriftOptions) -> Drift {
    let mut points: Vec<DayPoint> = points.to_vec();
    points.sort_by_key(|p| p.day);
    let logs = points.iter().all(|p| p.value_ma > 0.0);
    let room = room_columns(&points);
    let with_room = to_points(&points, logs, &room);
    let mut shape_options = options.shape.clone();
    let span = f64::from(points.last().map_or(0, |p| p.day) - points.first().map_or(0, |p| p.day));
    shape_options.yearly_wave = span >= TWO_YEARS;
    shape_options.logarithms = logs;
    let moved = match steps::find(&with_room, &shape_options) {
        Ok(moved) => moved,
        Err(reason) => return without_shape(&points, reason, options),
    };
    let bare = Points { covariates: Vec::new(), ..with_room.clone() };
    let bare_test = if room.is_empty() { None } else { shape::test(&bare, &shape_options).ok() };
    let best = moved.test.best.clone();
    let certain = moved.test.p_value <= options.largest_p && best.kind != Kind::Steady;
    // What the room gains over shapes without it, its own price paid.
    let room_gain = bare_test
        .as_ref()
        .map_or(0.0, |t| t.best.bic - best.bic - room.len() as f64 * (points.len() as f64).ln());
    let by_room =
        |t: &ShapeTest| !certain && t.p_value <= options.largest_p && room_gain > CLEAR_GAIN;
    let season = (certain && best.kind == Kind::Wave) || bare_test.as_ref().is_some_and(by_room);
    let shape = match moved.kind {
        _ if season => Shape::Season,
        _ if !certain => Shape::Steady,
        Kind::Steady | Kind::Wave => Shape::Steady,
        Kind::Slope | Kind::Bend => Shape::Slope,
        Kind::Step => Shape::Step,
        Kind::SlopeAndStep => Shape::SlopeAndStep,
    };
    let fitter = Fitter::new(&with_room);
    let left = fitter.residuals_of(&best, &with_room.values);
    let rho = about_zero(&left, 1).map(|r| corrected_about_line(r, left.len()));
    let room_allowed_for = room_gain > 0.0;
    let flat = if room_allowed_for {
        room_taken_off(&points, &best, &room, logs)
    } else {
        values(&points)
    };
    let start = stretch_start(&moved, shape);
    let (mut line, mut per_month_ma, trend_p_value) =
        line_of(&points[start..], &flat[start..], options.level);
    if let Some(between) = moved.slope_between.filter(|_| shape == Shape::Slope) {
        let wider = |e: Estimate| widened(&e, between).unwrap_or(e);
        per_month_ma = per_month_ma.map(wider);
        line = line.map(|line| DayLine { per_day_ma: wider(line.per_day_ma), ..line });
    }
    let found_steps = if certain && !season {
        moved
            .steps
            .iter()
            .filter_map(|s| step_of(s, &points, &flat, &moved, logs, options.level))
            .collect()
    } else {
        Vec::new()
    };
    let typical = median(&flat).unwrap_or(0.0);
    let mut drift = Drift {
        shape: Some(shape),
        no_shape: None,
        best: Some(best.kind),
        since: None,
        since_low: None,
        since_high: None,
        per_month_ma,
        trend_p_value,
        p_value: moved.test.p_value,
        rho,
        smallest_step_ma: (shape == Shape::Steady)
            .then(|| power::smallest_step(&with_room, &moved.test, &shape_options))
            .flatten()
            .map(|d| if logs { typical * d.exp_m1() } else { d }),
        steps: found_steps,
        explained: explained_by(&room, &best, &with_room, &left, rho.unwrap_or(0.0), options.level),
        room_allowed_for,
        flat_ma: flat,
        line,
        season_possible: false,
        // Against a season a fixed level says nothing.
        ewma: (shape != Shape::Season)
            .then(|| ewma_chart(&points, rho.unwrap_or(0.0), options))
            .flatten(),
    };
    set_since(&mut drift, &moved, &points);
    drift.season_possible = shape != Shape::Steady
        && shape != Shape::Season
        && (200.0..TWO_YEARS).contains(&span)
        && fitter
            .fit(Kind::Wave, &with_room.values, shape_options.smallest_segment, None)
            .is_some_and(|wave| wave.bic < best.bic);
    drift
}

fn without_shape(points: &[DayPoint], reason: NoShape, options: &DriftOptions) -> Drift {
    let usable = reason == NoShape::TooFewPoints;
    let (line, per_month_ma, trend_p_value) =
        if usable { line_of(points, &values(points), options.level) } else { (None, None, None) };
    Drift {
        shape: None,
        no_shape: Some(reason),
        best: None,
        since: None,
        since_low: None,
        since_high: None,
        per_month_ma,
        trend_p_value,
        p_value: 1.0,
        rho: None,
        smallest_step_ma: None,
        steps: Vec::new(),
        explained: Vec::new(),
        room_allowed_for: false,
        flat_ma: values(points),
        line,
        season_possible: false,
        ewma: None,
    }
}

fn values(points: &[DayPoint]) -> Vec<f64> {
    points.iter().map(|p| p.value_ma).collect()
}

fn to_points(points: &[DayPoint], logs: bool, room: &[(RoomFactor, Vec<f64>)]) -> Points {
    let lots: Option<Vec<u32>> = points.iter().map(|p| p.lot).collect();
    Points {
        days: points.iter().map(|p| f64::from(p.day)).collect(),
        values: points.iter().map(|p| if logs { p.value_ma.ln() } else { p.value_ma }).collect(),
        covariates: room.iter().map(|r| r.1.clone()).collect(),
        lots,
    }
}

/// First point of the stretch that goes on to the end.
fn stretch_start(moved: &Movement, shape: Shape) -> usize {
    let step = moved.steps.last().map(|s| s.index);
    let slope = moved.slope_from.map(|s| s.at);
    match shape {
        Shape::Steady | Shape::Season => 0,
        Shape::Slope => slope.unwrap_or(0),
        Shape::Step | Shape::SlopeAndStep => step.unwrap_or(0).max(slope.unwrap_or(0)),
    }
}

type LineParts = (Option<DayLine>, Option<Estimate>, Option<f64>);

fn line_of(points: &[DayPoint], values: &[f64], level: f64) -> LineParts {
    let Some(first) = points.first() else {
        return (None, None, None);
    };
    let days: Vec<f64> = points.iter().map(|p| f64::from(p.day - first.day)).collect();
    let Some(trend) = correlated_trend(&days, values, level) else {
        return (None, None, None);
    };
    let per_month = trend.line.slope.scaled(DAYS_PER_MONTH);
    let line = DayLine {
        from: first.day,
        to: points.last().map_or(first.day, |p| p.day),
        at_start_ma: trend.line.intercept,
        per_day_ma: trend.line.slope,
    };
    (Some(line), Some(per_month), Some(trend.p_value))
}

/// The interval of a slope with the uncertainty of its beginning: the slopes that go with the earliest and the
/// latest date, as multiples of its own, lie about two standard errors away, and errors add as squares.
fn widened(slope: &Estimate, (early, late): (f64, f64)) -> Option<Estimate> {
    let v = slope.value;
    let reach = |side: f64, other: f64| side.hypot(other.max(0.0));
    let (least, most) = {
        let (a, b) = (v * early, v * late);
        (a.min(b).min(v), a.max(b).max(v))
    };
    Estimate::new(
        v,
        v - reach(v - slope.low, v - least),
        v + reach(slope.high - v, most - v),
        slope.level,
        slope.method.clone(),
    )
}

fn day_after(points: &[DayPoint], index: usize) -> i32 {
    if index == 0 { points[0].day } else { points[index - 1].day + 1 }
}

fn step_of(
    step: &steps::Step,
    points: &[DayPoint],
    flat: &[f64],
    moved: &Movement,
    logs: bool,
    level: f64,
) -> Option<DriftStep> {
    let from = moved.steps.iter().map(|s| s.index).filter(|k| *k < step.index).max().unwrap_or(0);
    // A month before the step: over a longer stretch a slope would move the level.
    let before = median(&flat[from.max(step.index.saturating_sub(20))..step.index])?;
    let reach = student_t_quantile(0.5 + 0.5 * level, step.df) * step.se;
    let method = "least squares with AR(1) errors at the date found";
    let (low, high) = (step.size - reach, step.size + reach);
    let ends = |f: &dyn Fn(f64) -> f64| Estimate::new(f(step.size), f(low), f(high), level, method);
    Some(DriftStep {
        day: points[step.index].day,
        day_low: day_after(points, step.index_low),
        day_high: points[step.index_high].day,
        size_ma: if logs { ends(&|d| before * d.exp_m1())? } else { ends(&|d| d)? },
        size_pct: if logs { ends(&|d| 100.0 * d.exp_m1()) } else { None },
    })
}

fn set_since(drift: &mut Drift, moved: &Movement, points: &[DayPoint]) {
    let days = match drift.shape {
        Some(Shape::Slope) => {
            moved.slope_from.map(|s| (points[s.at].day, points[s.low].day, points[s.high].day))
        }
        Some(Shape::Step | Shape::SlopeAndStep) => {
            drift.steps.last().map(|s| (s.day, s.day_low, s.day_high))
        }
        _ => None,
    };
    drift.since = days.map(|d| d.0);
    drift.since_low = days.map(|d| d.1);
    drift.since_high = days.map(|d| d.2);
}

/// Something that happened: from the events file, a change of lot, a calibration, a change of settings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// Days since 1970.
    pub day: i32,
    /// In words.
    pub what: String,
}

/// For each step the event inside its date interval that is nearest to its day (the first of equals).
pub fn name_events(steps: &[DriftStep], events: &[Event]) -> Vec<Option<String>> {
    steps
        .iter()
        .map(|step| {
            events
                .iter()
                .filter(|e| step.day_low <= e.day && e.day <= step.day_high)
                .min_by_key(|e| (e.day - step.day).abs())
                .map(|e| e.what.clone())
        })
        .collect()
}
