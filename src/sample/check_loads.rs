//! The loads that prove every morning that a station still passes and still trips.

use chrono::NaiveDate;

use super::chance::Chance;
use super::models::check_setting;
use super::physics::{NOISE_SD, lead_ma, resistive_ma, shown_ma};
use super::stations::Station;
use super::stories::broken_lead_day;
use super::testing::{Draft, Outcome, Shown, draft, judge};

/// The check loads of one station and day: a resistor that must pass, then one that must trip.
pub(super) fn check_drafts(station: Station, date: NaiveDate, chance: &mut Chance) -> [Draft; 2] {
    let setting = check_setting();
    let gain = station.gain(date);
    let lead = lead_ma(station, &setting);
    let broken = station == Station::B2 && date == broken_lead_day();
    [3.3, 0.150].map(|mohm| {
        // With the return lead broken, only the leads' own current flows.
        let through = if broken { 0.0 } else { resistive_ma(setting.volts, mohm) };
        let exact = shown_ma(gain, 0.0, lead, through) * (1.0 + chance.normal(NOISE_SD));
        let rounded = station.round_ma(exact, false);
        let wrong = chance.uniform(0.6, 1.3) * setting.high_ma;
        match judge(&setting, rounded) {
            Outcome::OverLimit if station == Station::B2 => {
                draft(setting, Shown::Above(setting.high_ma), exact, Outcome::OverLimit, 1)
            }
            Outcome::OverLimit => {
                let shown = Shown::Value(station.round_ma(wrong, false));
                draft(setting, shown, exact, Outcome::OverLimit, 1)
            }
            outcome => draft(setting, Shown::Value(rounded), exact, outcome, 1),
        }
    })
}
