//! Circuit theory of a withstand test: healthy capacitive current, leak paths, and the loads that prove a limit.
//!
//! Units throughout: volt (rms for AC), mA, kΩ, nF, Hz, s, W; `V / kΩ = mA`. A question without an
//! answer (no voltage, a limit that the healthy current already passes) is `None`, never infinite.

use std::f64::consts::TAU;
use std::fmt;

use serde::Serialize;

use crate::config::Config;
use crate::words::{resistance, three_digits};

/// How the current of a resistive leak path joins the healthy current.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeakAdds {
    /// AC, total current: healthy current is mostly capacitive, so a resistive leak adds at right angles.
    AtRightAngles,
    /// DC, and the in-phase part of AC: currents add as plain numbers.
    InPhase,
}

/// Current through a healthy unit's capacitance, in mA.
///
/// - Units: Hz, nF, V rms.
/// - Formula: `I = 2 pi f C V`.
#[must_use]
pub fn capacitive_current_ma(frequency_hz: f64, capacitance_nf: f64, applied_v: f64) -> f64 {
    TAU * frequency_hz * capacitance_nf * 1e-9 * applied_v * 1e3
}

/// Current through a resistance, in mA: `V / R`, with V and kΩ.
///
/// `None` where the resistance is not positive or the voltage is not finite.
#[must_use]
pub fn resistive_current_ma(applied_v: f64, resistance_kohm: f64) -> Option<f64> {
    finite(applied_v / positive(resistance_kohm)?)
}

/// Resistance that lets a current flow, in kΩ: `V / I`, with V and mA.
///
/// `None` where the current is not positive.
#[must_use]
pub fn resistance_kohm(applied_v: f64, current_ma: f64) -> Option<f64> {
    finite(applied_v / positive(current_ma)?)
}

/// Total of an in-phase and a capacitive current, in mA: `sqrt(I_R^2 + I_C^2)`.
#[must_use]
pub fn total_current_ma(in_phase_ma: f64, capacitive_ma: f64) -> f64 {
    in_phase_ma.hypot(capacitive_ma)
}

/// In-phase part of a total current, in mA: `sqrt(I^2 - I_C^2)`, computed as `sqrt((I - I_C)(I + I_C))`,
/// which keeps its digits where the in-phase part is small.
///
/// `None` where the total is smaller than its capacitive part.
#[must_use]
pub fn in_phase_current_ma(total_ma: f64, capacitive_ma: f64) -> Option<f64> {
    let square = (total_ma - capacitive_ma) * (total_ma + capacitive_ma);
    (square >= 0.0).then(|| square.sqrt())
}

/// Reading of a unit with a leak path beside its healthy current, in mA.
///
/// - Formula: `sqrt(I^2 + (V/R)^2)` at right angles, `I + V/R` in phase; V, kΩ and mA.
///
/// `None` where the resistance is not positive.
#[must_use]
pub fn reading_with_leak_ma(
    adds: LeakAdds,
    healthy_ma: f64,
    applied_v: f64,
    leak_kohm: f64,
) -> Option<f64> {
    let leak_ma = resistive_current_ma(applied_v, leak_kohm)?;
    Some(match adds {
        LeakAdds::AtRightAngles => total_current_ma(leak_ma, healthy_ma),
        LeakAdds::InPhase => healthy_ma + leak_ma,
    })
}

/// Largest steady leak current that still reads no more than `limit_ma`, in mA: the inverse of
/// [`reading_with_leak_ma`].
///
/// `None` where the healthy current alone reaches the limit: then no leak at all can hide.
#[must_use]
pub fn hidden_leak_ma(adds: LeakAdds, limit_ma: f64, healthy_ma: f64) -> Option<f64> {
    match adds {
        LeakAdds::AtRightAngles => in_phase_current_ma(positive(limit_ma)?, healthy_ma),
        LeakAdds::InPhase => Some(limit_ma - healthy_ma),
    }
    .filter(|leak| *leak > 0.0 && leak.is_finite() && limit_ma > healthy_ma)
}

/// Blind spot of a limit: the lowest resistance of a steady leak path that still passes, in kΩ.
///
/// - Formula: `V / sqrt(limit^2 - I^2)` at right angles, `V / (limit - I)` in phase.
/// - It says nothing about a gap that only flashes over.
///
/// `None` where the healthy current alone reaches the limit, or the voltage is not positive.
#[must_use]
pub fn blind_spot_kohm(
    adds: LeakAdds,
    applied_v: f64,
    limit_ma: f64,
    healthy_ma: f64,
) -> Option<f64> {
    resistance_kohm(positive(applied_v)?, hidden_leak_ma(adds, limit_ma, healthy_ma)?)
}

/// A resistor to be tested in place of a unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Load {
    /// Its resistance, MΩ.
    pub resistance_mohm: f64,
    /// The current it draws, mA.
    pub current_ma: f64,
    /// The power it takes at the test voltage, W.
    pub power_w: f64,
}

/// `273 kΩ (8.25 W)`.
impl fmt::Display for Load {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({} W)", resistance(self.resistance_mohm), three_digits(self.power_w))
    }
}

/// The two loads that prove at the station that a limit works.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ProvingLoads {
    /// The limit that they prove, mA.
    pub limit_ma: f64,
    /// Voltage that they take.
    pub applied_v: f64,
    /// Draws a little more than the limit: the tester must trip.
    pub must_trip: Load,
    /// Draws a little less than the limit: the tester must pass it.
    pub must_pass: Load,
}

/// Loads that prove a limit: `V / (trip_load_factor limit)` must trip, `V / (pass_load_factor limit)` must pass.
///
/// - Units: V, mA; the factors of the rules are of the limit (1.1 and 0.9). Power is `V^2 / R`.
///
/// `None` where voltage or limit is not positive.
#[must_use]
pub fn proving_loads(applied_v: f64, limit_ma: f64, config: &Config) -> Option<ProvingLoads> {
    let load = |factor: f64| {
        let current_ma = factor * limit_ma;
        Some(Load {
            resistance_mohm: resistance_kohm(positive(applied_v)?, current_ma)? / 1e3,
            current_ma,
            // V^2 / R with R = V / I.
            power_w: applied_v * current_ma / 1e3,
        })
    };
    Some(ProvingLoads {
        limit_ma,
        applied_v,
        must_trip: load(config.trip_load_factor)?,
        must_pass: load(config.pass_load_factor)?,
    })
}

fn positive(x: f64) -> Option<f64> {
    (x > 0.0 && x.is_finite()).then_some(x)
}

fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}
