//! How a reading is made: the currents of a unit, and the room around it.

use std::f64::consts::{PI, TAU};

use chrono::NaiveDate;

use super::calendar::day;
use super::models::Setting;
use super::stations::Station;

/// Standard deviation of one AC reading, relative.
pub const NOISE_SD: f64 = 0.003;

/// Standard deviation of one DC reading, relative.
pub const DC_NOISE_SD: f64 = 0.01;

/// Standard deviation of ln resistive current of KB120.
pub const MOISTURE_SD: f64 = 0.22;

/// Standard deviation of a day's humidity about its season, %.
pub const HUMIDITY_SD: f64 = 4.0;

/// DC current per point of relative humidity, in ln.
pub const PER_HUMIDITY_POINT: f64 = 0.030;

/// Capacitive current `2 pi f C V` in mA, of `nf` at `volts` rms and `hz`.
pub fn capacitive_ma(nf: f64, volts: f64, hz: f64) -> f64 {
    2.0 * PI * hz * nf * 1e-9 * volts * 1e3
}

/// Current through a resistance, mA, of `volts` over `mohm` megohms.
pub fn resistive_ma(volts: f64, mohm: f64) -> f64 {
    volts / mohm * 1e-3
}

/// What a tester shows before noise and rounding: `gain sqrt((I_C + I_lead)^2 + I_R^2)`, all in mA.
pub fn shown_ma(gain: f64, unit_ma: f64, lead_ma: f64, resistive_ma: f64) -> f64 {
    gain * (unit_ma + lead_ma).hypot(resistive_ma)
}

/// Current of the leads and fixture of `station` at `setting`, mA, before the gain.
pub fn lead_ma(station: Station, setting: &Setting) -> f64 {
    setting.hz.map_or(0.0, |hz| capacitive_ma(station.lead_nf(), setting.volts, hz))
}

/// Capacitive current of a typical unit at `setting`, mA.
pub fn unit_ma(setting: &Setting) -> f64 {
    setting.hz.map_or(0.0, |hz| capacitive_ma(setting.nf, setting.volts, hz))
}

/// Typical resistive current of KB120 on `date`, mA: 0.100 to 2025-11-30, then 0.020 more per 30.44 days.
pub fn moisture_ma(date: NaiveDate) -> f64 {
    let days = (date - day(2025, 11, 30)).num_days().max(0) as f64;
    0.100 + 0.020 * days / 30.44
}

/// Typical DC current of DH640 at a relative humidity in %, mA, before the gain.
pub fn dehumidifier_ma(humidity_pct: f64) -> f64 {
    1.6e-3 * (PER_HUMIDITY_POINT * (humidity_pct - 52.5)).exp()
}

fn season(date: NaiveDate, warmest: NaiveDate) -> f64 {
    (TAU * (date - warmest).num_days() as f64 / 365.25).cos()
}

/// Relative humidity that the season gives, %.
pub fn humidity_pct(date: NaiveDate) -> f64 {
    52.5 + 16.5 * season(date, day(2025, 8, 1))
}

/// Temperature that the season gives, °C.
pub fn temperature_c(date: NaiveDate) -> f64 {
    22.0 + 3.0 * season(date, day(2025, 7, 20))
}
