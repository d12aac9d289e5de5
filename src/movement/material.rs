//! Which movement of a series is flagged: only what is both certain and material.

use chrono::NaiveDate;

use crate::config::Config;
use crate::movement::SeriesMovement;
use crate::movement::drift::{Drift, Shape};
use crate::movement::readings::ma;
use crate::words::numbers::one_digit;
use crate::words::{Wording, percent, three_digits};

/// The numbers of one series' movement. Currents in mA.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftNumbers {
    /// The shape; `None` where no shape is claimed.
    pub shape: Option<Shape>,
    /// p-value of the shape, adjusted over all series (Benjamini-Hochberg).
    pub adjusted_p: Option<f64>,
    /// Typical reading now, X50.
    pub x50_ma: f64,
    /// The limit in force.
    pub high_limit_ma: Option<f64>,
    /// Reading step at the size of the reading.
    pub reading_step_ma: f64,
    /// Change of the typical reading within the planning horizon by the slope, signed.
    pub change_in_horizon_ma: Option<f64>,
    /// The largest step, signed.
    pub largest_step_ma: Option<f64>,
    /// Expected share of healthy rejects now.
    pub reject_share_now: Option<f64>,
    /// The same at the end of the horizon.
    pub reject_share_at_horizon: Option<f64>,
}

/// The numbers of a movement, before its rejects are known: those are left at nothing for the verdict to give.
pub fn drift_numbers(moved: &SeriesMovement, config: &Config) -> DriftNumbers {
    DriftNumbers {
        x50_ma: moved.typical_now_ma(),
        high_limit_ma: moved.limits.now.high_pa.map(ma),
        reading_step_ma: moved.last.map_or(0.0, |r| r.step_ma),
        ..numbers_of(&moved.drift, moved.adjusted_p, config)
    }
}

/// What a movement says by itself; readings, limit and rejects are left at nothing for the caller to give.
pub fn numbers_of(drift: &Drift, adjusted_p: f64, config: &Config) -> DriftNumbers {
    let sloped = matches!(drift.shape, Some(Shape::Slope | Shape::SlopeAndStep));
    DriftNumbers {
        shape: drift.shape,
        adjusted_p: drift.shape.map(|_| adjusted_p),
        x50_ma: 0.0,
        high_limit_ma: None,
        reading_step_ma: 0.0,
        change_in_horizon_ma: drift
            .per_month_ma
            .as_ref()
            .filter(|_| sloped)
            .map(|e| e.value * f64::from(config.horizon_months)),
        largest_step_ma: drift
            .steps
            .iter()
            .map(|s| s.size_ma.value)
            .max_by(|a, b| a.abs().total_cmp(&b.abs())),
        reject_share_now: None,
        reject_share_at_horizon: None,
    }
}

/// Why a movement is material.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Material {
    /// The slope uses a share of the room.
    SlopeUsesRoom,
    /// A step of a share of the room or of the typical reading.
    LargeStep,
    /// Expected rejects pass `a` within the horizon.
    RejectsPassAccepted,
}

impl Material {
    /// Machine name.
    pub fn key(self) -> &'static str {
        match self {
            Self::SlopeUsesRoom => "slope_uses_room",
            Self::LargeStep => "large_step",
            Self::RejectsPassAccepted => "rejects_pass_accepted",
        }
    }
}

/// Whether a movement is flagged, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DriftFlag {
    /// Certain and material.
    pub flagged: bool,
    /// Adjusted p at or below `1 - confidence`, and a shape other than `steady`.
    pub certain: bool,
    /// All reasons why it is material; empty where it is not.
    pub material: Vec<Material>,
    /// One sentence.
    pub sentence: String,
}

/// Flags a movement that is both certain and material.
///
/// - The room is the distance from the typical reading to the limit. Without a known limit a slope is
///   material from `step_typical_share` of the typical reading; where no room is left any slope of
///   enough reading steps is.
/// - A `season` is material only where it carries rejects past `a`: by itself it comes back.
pub fn flag(numbers: &DriftNumbers, config: &Config) -> DriftFlag {
    let moving = numbers.shape.is_some_and(|s| s != Shape::Steady);
    let certain = moving && numbers.adjusted_p.is_some_and(|p| p <= significance(config));
    let say = Wording::new(numbers.x50_ma, numbers.reading_step_ma);
    let room = room_ma(numbers.high_limit_ma, numbers.x50_ma);
    let mut material = Vec::new();
    let mut parts = Vec::new();

    let slope = numbers.change_in_horizon_ma.filter(|c| {
        matches!(numbers.shape, Some(Shape::Slope | Shape::SlopeAndStep)) && c.is_finite()
    });
    if let Some(change) = slope.filter(|c| slope_is_material(*c, room, numbers, config)) {
        material.push(Material::SlopeUsesRoom);
        parts.push(format!(
            "the typical reading {} by {} within the planning horizon{}",
            if change > 0.0 { "rises" } else { "falls" },
            say.estimate(change.abs()),
            share_of_room(change.abs(), room)
        ));
    }
    let step = numbers.largest_step_ma.filter(|s| {
        matches!(numbers.shape, Some(Shape::Step | Shape::SlopeAndStep))
            && step_is_material(*s, room, numbers.x50_ma, config)
    });
    if let Some(size) = step {
        material.push(Material::LargeStep);
        parts.push(format!(
            "the typical reading stepped {} by {}{}",
            if size > 0.0 { "up" } else { "down" },
            say.estimate(size.abs()),
            share_of_room(size.abs(), room)
        ));
    }
    let a = config.accepted_reject_share;
    let passes = numbers
        .reject_share_at_horizon
        .filter(|then| moving && *then > a && numbers.reject_share_now.is_some_and(|now| now <= a));
    if let Some(then) = passes {
        material.push(Material::RejectsPassAccepted);
        parts.push(format!(
            "healthy units expected over the limit exceed {} within the planning horizon and reach about {}",
            percent(a),
            percent(one_digit(then))
        ));
    }

    let sentence = match (numbers.shape, certain, parts.is_empty()) {
        (None, ..) => "No shape is claimed: too few points.".to_owned(),
        (Some(Shape::Steady), ..) => "No movement was found.".to_owned(),
        (Some(_), true, false) => format!("Certain and material: {}.", parts.join("; ")),
        (Some(shape), true, true) => format!(
            "The {} is certain but too small to matter within the planning horizon.",
            shape.words()
        ),
        (Some(shape), false, _) => format!(
            "The {} is not certain{}.",
            shape.words(),
            numbers.adjusted_p.map_or_else(String::new, |p| format!(" (p {})", three_digits(p)))
        ),
    };
    DriftFlag { flagged: certain && !material.is_empty(), certain, material, sentence }
}

/// One step of a series or of a tester it uses. `date` is the first day of the new level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// First day of the new level.
    pub date: NaiveDate,
    /// Size, mA, signed (of a tester: of this series' readings).
    pub size_ma: f64,
    /// Adjusted p-value.
    pub adjusted_p: f64,
}

/// Whether a step is established: certain and material. A change of limit is no step.
pub fn established(step: &Step, x50_ma: f64, high_limit_ma: Option<f64>, config: &Config) -> bool {
    step.adjusted_p <= significance(config)
        && step_is_material(step.size_ma, room_ma(high_limit_ma, x50_ma), x50_ma, config)
}

/// Significance that goes with the confidence, with room for the rounding of `1 - 0.95`.
fn significance(config: &Config) -> f64 {
    (1.0 - config.confidence) * (1.0 + 1e-9)
}

fn room_ma(high_limit_ma: Option<f64>, x50_ma: f64) -> Option<f64> {
    high_limit_ma.filter(|l| *l > 0.0 && l.is_finite()).map(|l| (l - x50_ma).max(0.0))
}

fn slope_is_material(
    change_ma: f64,
    room: Option<f64>,
    numbers: &DriftNumbers,
    config: &Config,
) -> bool {
    let enough = room.map_or(config.material_step_typical_share * numbers.x50_ma, |r| {
        config.material_room_share * r
    });
    change_ma.abs() >= enough
        && change_ma.abs() >= config.material_steps * numbers.reading_step_ma.max(0.0)
        && change_ma != 0.0
}

fn step_is_material(size_ma: f64, room: Option<f64>, x50_ma: f64, config: &Config) -> bool {
    let of_room = room.is_some_and(|r| size_ma.abs() >= config.material_step_room_share * r);
    let of_typical = size_ma.abs() >= config.material_step_typical_share * x50_ma;
    size_ma != 0.0 && size_ma.is_finite() && (of_room || of_typical)
}

fn share_of_room(size_ma: f64, room: Option<f64>) -> String {
    match room {
        Some(r) if r > 0.0 => format!(", {} of the room to the limit", percent(size_ma / r)),
        Some(_) => ", and no room to the limit is left".to_owned(),
        None => String::new(),
    }
}
