//! Days, as people write them.

use chrono::NaiveDate;

/// A date such as `2026-10-30`.
pub fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day of the calendar")
}
