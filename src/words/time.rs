//! Days, months and times as text.

use chrono::NaiveDate;

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
