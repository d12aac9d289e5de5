//! What was found about testers, in sentences: passes in doubt, settings, what is too good, check loads.
//!
//! A tester's step that something recorded explains needs action only in its month; the passes that it puts
//! in doubt stay until somebody decides.

use chrono::NaiveDate;

use crate::analysis::units::doubt::{Doubt, Shows};
use crate::analysis::units::settings::{Setting, SettingChange};
use crate::day::date_of;
use crate::movement::stations::StationStep;
use crate::words::{count, signed_percent, three_digits};

/// Changes of settings named in one sentence.
const CHANGES_NAMED: usize = 4;
/// Days before or after a change of settings in which an event explains it.
pub const EXPLAINS: i32 = 3;
/// Days about a step of a station in which its check load must step too.
const TOGETHER: i32 = 7;

/// Passes in doubt: how they came about and how many there are.
#[must_use]
pub fn doubt_sentence(doubt: &Doubt, station: &str, by_series: &[(String, u64)]) -> String {
    let why = match &doubt.shows {
        Shows::StepUp { day, calibrated } => format!(
            "its readings rose by {} on {}{}",
            signed_percent(doubt.raised_pct.value),
            date_of(*day),
            if *calibrated { ", when it was calibrated" } else { "" }
        ),
        Shows::StepDown { day } => format!(
            "its readings fell on {} without a calibration: if the level before was right, they are {} too low since",
            date_of(*day),
            signed_percent(doubt.raised_pct.value).trim_start_matches('+')
        ),
        Shows::Calibration { instrument, day, error_pct } => format!(
            "{instrument} was found {} wrong on {}",
            signed_percent(*error_pct),
            date_of(*day)
        ),
    };
    let named: Vec<String> = by_series.iter().map(|(series, n)| format!("{series} {n}")).collect();
    let named = if named.is_empty() { String::new() } else { format!(" ({})", named.join(", ")) };
    let n = doubt.units.len() as u64;
    format!(
        "At {station} {} from {} to {} would have failed at the corrected reading, {} to {}{named}: {why}.",
        if n == 1 { "1 pass".to_owned() } else { format!("{n} passes") },
        date_of(doubt.from),
        date_of(doubt.to),
        doubt.ends.0,
        doubt.ends.1
    )
}

/// A value of a setting with its unit.
#[must_use]
pub fn setting_value(what: Setting, value: Option<f64>) -> String {
    match value {
        None => "none".to_owned(),
        Some(v) if matches!(what, Setting::HighLimit | Setting::LowLimit) => {
            if v < crate::words::currents::PRINTED_IN_UA_BELOW_MA {
                format!("{} µA", three_digits(1000.0 * v))
            } else {
                format!("{v:.2} mA")
            }
        }
        Some(v) => format!("{} {}", three_digits(v), what.unit()),
    }
}

/// Changes of settings of one model that no event explains; names of stations in the order of the pass.
#[must_use]
pub fn settings_sentence(changes: &[&SettingChange], stations: &[String]) -> String {
    let place = |c: &SettingChange| {
        c.stations
            .iter()
            .map(|s| stations[usize::from(*s)].as_str())
            .collect::<Vec<_>>()
            .join(" and ")
    };
    // One phrase for all that changed at the same place on the same day.
    let mut phrases: Vec<(String, String)> = Vec::new();
    for c in changes {
        let what = format!(
            "{} {} → {}{}",
            c.what.words(),
            setting_value(c.what, c.from),
            setting_value(c.what, c.to),
            back_words(c)
        );
        let at = place(c);
        // A file without stations: the date alone.
        let place = if at.is_empty() {
            format!("on {}", date_of(c.day))
        } else {
            format!("at {at} on {}", date_of(c.day))
        };
        match phrases.last_mut().filter(|p| p.1 == place) {
            Some(last) => last.0.push_str(&format!(", {what}")),
            None => phrases.push((what, place)),
        }
    }
    let mut said: Vec<String> =
        phrases.iter().take(CHANGES_NAMED).map(|(what, place)| format!("{what} {place}")).collect();
    if phrases.len() > said.len() {
        said.push(format!("and {} more", phrases.len() - said.len()));
    }
    format!("Settings changed and no event is recorded that explains it: {}.", said.join("; "))
}

/// Whether a change was taken back, or goes on to and fro.
#[must_use]
pub fn back_words(c: &SettingChange) -> String {
    if c.further > 0 {
        return format!(" (and {} further changes)", c.further);
    }
    match c.back_after {
        Some(until) => {
            format!(" for {}, from {} to {}", count(c.tests, "test"), clock(c.time), clock(until))
        }
        None => String::new(),
    }
}

fn clock(time: i64) -> String {
    let s = time.rem_euclid(86_400);
    format!("{:02}:{:02}", s / 3600, s % 3600 / 60)
}

/// Whether a step of a station is seen on its check load too: the size of that step, per cent.
#[must_use]
pub fn seen_on_load<'a>(
    step: &StationStep,
    mut of_loads: impl Iterator<Item = (i32, &'a crate::stats::estimate::Estimate)>,
) -> Option<&'a crate::stats::estimate::Estimate> {
    of_loads
        .find(|(day, _)| (step.day_low - TOGETHER..=step.day_high + TOGETHER).contains(day))
        .map(|(_, size)| size)
}

/// A step of a station, with what happened then.
#[must_use]
pub fn step_sentence(
    station: &str,
    step: &StationStep,
    event: Option<&str>,
    load: Option<f64>,
) -> String {
    let load = load.map_or_else(String::new, |pct| {
        format!(" Its check load moved by {} at the same time.", signed_percent(pct))
    });
    let event = event.map_or_else(
        || " No event or calibration is recorded then.".to_owned(),
        |e| format!(" Recorded then: {e}."),
    );
    format!(
        "Readings of {station} changed by {:+.2} % on {} on every model ({} to {}): the tester, not the product.{load}{event}",
        step.size_pct.value,
        date_of(step.day),
        date_of(step.day_low),
        date_of(step.day_high)
    )
}

/// What an offset near the ratio of two mains frequencies points to.
///
/// The current of a capacitance grows with frequency: 60 for 50 Hz reads 20 % more, the other way 16.7 % less
/// (arithmetic).
#[must_use]
pub fn frequency_hint(offset_pct: &crate::stats::estimate::Estimate) -> Option<&'static str> {
    let near = |ratio: f64| (offset_pct.value - ratio).abs() <= 2.0 || offset_pct.contains(ratio);
    if offset_pct.contains(0.0) {
        None
    } else if near(20.0) {
        Some("a ratio near 60/50: check the frequency")
    } else if near(-100.0 / 6.0) {
        Some("a ratio near 50/60: check the frequency")
    } else {
        None
    }
}

/// Whether a step that explains itself still needs action: one of the month under review does, and so does one
/// with nothing recorded.
#[must_use]
pub fn step_needs_action(day: NaiveDate, explained: bool, month: (i32, u32)) -> bool {
    use chrono::Datelike;
    !explained || (day.year(), day.month()) == month
}
