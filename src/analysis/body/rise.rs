//! Did the product rise, since when, and what did its healthy units read before?
//!
//! A limit never follows a rise: rising leakage may be insulation that goes bad. So a series whose readings rose,
//! by a slope that still runs or by a step that nothing recorded explains and nobody has accepted, is asked once
//! more, about the time before. What explains a step is an event or a changed setting of its own model inside the
//! step's dates; a calibration only where stations cannot be told apart from products, a new lot never: one lies in
//! most intervals. A step that later steps took back is no rise.
//!
//! In: one series with its movement and what was recorded. Out: [`Rise`]; whether it is material is the verdict's.

use chrono::NaiveDate;

use crate::analysis::body::healthy::{Ask, Healthy, healthy};
use crate::analysis::body::offsets::ScaleError;
use crate::analysis::units::happenings::Happenings;
use crate::config::Config;
use crate::day::{Day, date_of, day_number};
use crate::movement::SeriesMovement;
use crate::movement::drift::{DriftStep, Shape};
use crate::movement::period::{Judged, before};
use crate::movement::readings::Reading;
use crate::series::Series;
use crate::stats::later::later_above_earlier;

/// So many standard errors of later points above earlier ones withhold a raise: one steady series in thirteen.
const CLEARLY_ABOVE: f64 = 2.5;

/// How a series rose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RiseKind {
    /// By a slope that still runs.
    Slope,
    /// By a step that nothing recorded explains.
    Step,
}

/// A rise of the product.
#[derive(Debug, Clone)]
pub struct Rise {
    /// How.
    pub kind: RiseKind,
    /// First day of it by the best fit; `None` where it has run since the first day.
    pub since: Option<Day>,
    /// First day that may belong to it.
    pub earliest: Option<Day>,
    /// What healthy units read before, or why that cannot be told.
    pub before: Result<BeforeRise, NoBefore>,
}

/// The time before a rise.
#[derive(Debug, Clone)]
pub struct BeforeRise {
    /// The units judged.
    pub judged: Judged,
    /// What they read.
    pub healthy: Healthy,
}

/// Why nothing is known of the time before a rise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoBefore {
    /// It has run since the first day.
    SinceTheFirstDay,
    /// Too few production days or units.
    TooFew {
        /// Production days.
        days: u64,
        /// Units.
        units: u64,
    },
    /// The readings of that time could not be described.
    NotDescribed,
}

/// What a rise is looked for in.
#[derive(Debug, Clone, Copy)]
pub struct RiseAsked<'a> {
    /// The series.
    pub series: &'a Series,
    /// How it moved.
    pub moved: &'a SeriesMovement,
    /// What happened around it.
    pub happened: &'a Happenings,
    /// Whether stations can be told apart from products.
    pub stations_known: bool,
    /// Steps up to that day were accepted by somebody.
    pub accepted: Option<NaiveDate>,
    /// Its readings over the whole history on the one scale, units of causes left out.
    pub kept: &'a [Reading],
    /// What is asked of its body.
    pub ask: &'a Ask,
}

/// The rise of a series; `None` where it did not rise, or the rise is explained.
#[must_use]
pub fn rise(asked: &RiseAsked<'_>, config: &Config) -> Option<Rise> {
    let moved = asked.moved;
    let upward = moved.drift.per_month_ma.as_ref().is_some_and(|m| m.value > 0.0);
    let slope = moved.period.slope && upward;
    let step = unexplained(asked);
    let drift = &moved.drift;
    let of_slope = drift.since_low.zip(drift.since).filter(|_| drift.shape == Some(Shape::Slope));
    let of_step = step.map(|s| (s.day_low, s.day));
    let began = match (slope, of_step) {
        (false, None) => return None,
        (false, step) => step,
        (true, None) => of_slope,
        (true, Some(step)) => of_slope.map(|slope| slope.min(step)),
    };
    let (earliest, since) = (began.map(|b| b.0), began.map(|b| b.1));
    Some(Rise {
        kind: if slope { RiseKind::Slope } else { RiseKind::Step },
        since,
        earliest,
        before: earliest
            .ok_or(NoBefore::SinceTheFirstDay)
            .and_then(|day| body_before(asked, day, config)),
    })
}

/// Whether the readings may be rising: too little for a rise, too much to raise a limit on. Their points are too few, or
/// allow no shape, to say that they stand still; a line through the last stretch rises beyond its interval; or later
/// points lie clearly above earlier ones wherever the record is cut, since the last rise that something explains or
/// somebody accepted. A season comes back by itself.
pub fn may_rise(asked: &RiseAsked<'_>) -> bool {
    let drift = &asked.moved.drift;
    match drift.shape {
        Some(Shape::Season) => return false,
        None => return true,
        Some(_) => {}
    }
    let line = drift.per_month_ma.as_ref().is_some_and(|m| m.low > 0.0);
    let settled = drift.steps.iter().filter(|s| s.size_ma.value > 0.0 && settles(asked, s));
    let from = settled.map(|s| s.day).max();
    let points = asked.moved.points.iter().zip(&drift.flat_ma);
    let since: Vec<f64> =
        points.filter(|(p, _)| from.is_none_or(|day| p.day >= day)).map(|(_, ma)| *ma).collect();
    line || later_above_earlier(&since).is_some_and(|t| t > CLEARLY_ABOVE)
}

/// Whether a step is explained or accepted.
fn settles(asked: &RiseAsked<'_>, step: &DriftStep) -> bool {
    asked.accepted.is_some_and(|until| step.day <= day_number(until))
        || asked.happened.explain(step.day_low, step.day_high, !asked.stations_known)
}

/// The first upward step that still stands and that nothing explains.
fn unexplained<'a>(asked: &RiseAsked<'a>) -> Option<&'a DriftStep> {
    let drift = &asked.moved.drift;
    let established = |s: &&DriftStep| asked.moved.period.boundaries.contains(&s.day);
    drift.steps.iter().filter(established).find(|step| {
        let since: f64 =
            drift.steps.iter().filter(|s| s.day >= step.day).map(|s| s.size_ma.value).sum();
        step.size_ma.value > 0.0 && since > 0.0 && !settles(asked, step)
    })
}

fn body_before(asked: &RiseAsked<'_>, since: Day, config: &Config) -> Result<BeforeRise, NoBefore> {
    let period = &asked.moved.period;
    let season = asked.moved.drift.shape == Some(Shape::Season);
    let judged = before(asked.series, &period.boundaries, season, since, config)
        .ok_or(NoBefore::TooFew { days: 0, units: 0 })?;
    if judged.production_days < config.verdict_days || judged.units < config.verdict_units {
        return Err(NoBefore::TooFew { days: judged.production_days, units: judged.units });
    }
    let inside = |r: &&Reading| (judged.from..=judged.to).contains(&date_of(r.day));
    let readings: Vec<Reading> = asked.kept.iter().filter(inside).copied().collect();
    let to = day_number(judged.to);
    let scale_error = ScaleError(asked.moved.scale.error(&readings));
    let ask = Ask { slope: false, to, horizon: to, scale_error, ..asked.ask.clone() };
    let healthy = healthy(&readings, &ask, config).map_err(|_| NoBefore::NotDescribed)?;
    Ok(BeforeRise { judged, healthy })
}
