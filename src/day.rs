//! Days as whole numbers: how every room counts them, and how they become dates and months.

use chrono::{Datelike, NaiveDate, TimeDelta};
use serde::{Serialize, Serializer};
use std::ops::Range;

/// A day as a whole number since 1970-01-01.
pub type Day = i32;

/// A day as a date; beyond the calendar's end, its end.
#[must_use]
pub fn date_of(day: Day) -> NaiveDate {
    let days = TimeDelta::days(i64::from(day));
    let end = if day < 0 { NaiveDate::MIN } else { NaiveDate::MAX };
    NaiveDate::default().checked_add_signed(days).unwrap_or(end)
}

/// Year and month of a day.
#[must_use]
pub fn month_of(day: Day) -> (i32, u32) {
    let d = date_of(day);
    (d.year(), d.month())
}

/// First day of a month; 0 where the calendar has no such month.
#[must_use]
pub fn first_of((year, month): (i32, u32)) -> Day {
    NaiveDate::from_ymd_opt(year, month, 1).map_or(0, day_number)
}

/// The days of a month; none where the calendar has no such month.
#[must_use]
pub fn days_of((year, month): (i32, u32)) -> Range<Day> {
    let next = if month == 12 { (year + 1, 1) } else { (year, month + 1) };
    first_of((year, month))..first_of(next)
}

/// A date as a day.
#[must_use]
pub fn day_number(date: NaiveDate) -> Day {
    Day::try_from((date - NaiveDate::default()).num_days()).unwrap_or(0)
}

/// The day a time falls on, when production days start `starts_s` seconds after midnight.
#[must_use]
pub fn day_of(time: i64, starts_s: i64) -> Day {
    i32::try_from((time - starts_s).div_euclid(86_400)).unwrap_or(0)
}

/// Writes a day as its date, for `serialize_with`.
///
/// # Errors
/// Those of the serializer.
pub fn as_date<S: Serializer>(day: &Day, to: S) -> Result<S::Ok, S::Error> {
    date_of(*day).serialize(to)
}

/// Writes a day as its date where there is one, for `serialize_with`.
///
/// # Errors
/// Those of the serializer.
pub fn as_date_if_any<S: Serializer>(day: &Option<Day>, to: S) -> Result<S::Ok, S::Error> {
    day.map(date_of).serialize(to)
}

/// The time now by the clock of this machine, to the minute, with its offset.
#[must_use]
pub fn now_text() -> String {
    chrono::Local::now().format("%Y-%m-%d %H:%M %:z").to_string()
}
