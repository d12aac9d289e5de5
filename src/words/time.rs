//! Days, months and times as text.

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

use crate::day::{Day, date_of, day_of};

/// A day: `2026-10-30`.
#[must_use]
pub fn date(day: NaiveDate) -> String {
    day.format("%Y-%m-%d").to_string()
}

/// A time of seconds since 1970-01-01: `2026-10-30 06:12:44`.
#[must_use]
pub fn time_text(seconds: i64) -> String {
    chrono::DateTime::from_timestamp(seconds, 0)
        .map_or_else(|| seconds.to_string(), |t| t.format("%Y-%m-%d %H:%M:%S").to_string())
}

/// A month of a year: `2026-10`.
#[must_use]
pub fn month_text(month: (i32, u32)) -> String {
    format!("{:04}-{:02}", month.0, month.1)
}

/// A day as its date: `2026-10-30`.
#[must_use]
pub fn day_text(day: Day) -> String {
    date(date_of(day))
}

/// The calendar day of a time of seconds since 1970-01-01: `2026-10-30`.
#[must_use]
pub fn day_of_time(seconds: i64) -> String {
    day_text(day_of(seconds, 0))
}

/// Hours and minutes of a time of seconds since 1970-01-01: `06:12`.
#[must_use]
pub fn clock(seconds: i64) -> String {
    let of_day = seconds.rem_euclid(86_400);
    format!("{:02}:{:02}", of_day / 3600, of_day % 3600 / 60)
}

/// Writes a time as text, for `serialize_with`.
///
/// # Errors
/// Those of the serializer.
pub fn as_time<S: Serializer>(seconds: &i64, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&time_text(*seconds))
}

/// Writes a time as text where there is one, for `serialize_with`.
///
/// # Errors
/// Those of the serializer.
pub fn as_time_if_any<S: Serializer>(seconds: &Option<i64>, to: S) -> Result<S::Ok, S::Error> {
    seconds.map(time_text).serialize(to)
}

/// Writes a month as text, for `serialize_with`.
///
/// # Errors
/// Those of the serializer.
pub fn as_month<S: Serializer>(month: &(i32, u32), to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&month_text(*month))
}
