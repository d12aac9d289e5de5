//! When the factory works: production days, shifts, and the weeks that serials and lots are named by.

use chrono::{Datelike, Days, NaiveDate, Weekday};

/// The calendar day `year-month-day`, one of the factory's constants.
pub(super) fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a day of the calendar")
}

/// The first production day.
pub fn first_day() -> NaiveDate {
    day(2025, 9, 1)
}

/// The last production day.
pub fn last_day() -> NaiveDate {
    day(2026, 10, 30)
}

/// The night of Sunday overtime at A1, in which the clock goes back from 03:00 to 02:00.
pub(super) fn overtime_night() -> NaiveDate {
    day(2025, 10, 26)
}

/// Whether the plan has production on `date`: Monday to Friday, less the closed days.
pub fn is_production_day(date: NaiveDate) -> bool {
    let within = |from, to| (from..=to).contains(&date);
    let closed = within(day(2025, 12, 22), day(2026, 1, 2))
        || within(day(2026, 8, 3), day(2026, 8, 14))
        || [day(2026, 4, 3), day(2026, 4, 6), day(2026, 5, 1), day(2026, 5, 25)].contains(&date);
    within(first_day(), last_day())
        && !matches!(date.weekday(), Weekday::Sat | Weekday::Sun)
        && !closed
}

/// Every production day, in order.
pub fn production_days() -> Vec<NaiveDate> {
    first_day()
        .iter_days()
        .take_while(|d| *d <= last_day())
        .filter(|d| is_production_day(*d))
        .collect()
}

/// The year and week of ISO 8601, as in a serial: `2540`.
pub(super) fn week_code(date: NaiveDate) -> String {
    let week = date.iso_week();
    format!("{:02}{:02}", week.year() % 100, week.week())
}

/// The first day of the 14-day period of lots that `date` lies in.
pub(super) fn lot_start(date: NaiveDate) -> NaiveDate {
    let days = (date - first_day()).num_days().max(0) as u64;
    first_day() + Days::new(days / 14 * 14)
}

/// A lot's name, from its first letters and the week of its first day: `KB-25-36`. Periods of 14 days
/// from 2025-09-01 begin in even weeks, so that an odd week names a lot outside the sequence.
pub(super) fn lot_name(letters: &str, start: NaiveDate) -> String {
    let week = start.iso_week();
    format!("{letters}-{:02}-{:02}", week.year() % 100, week.week())
}

/// The month of `date`, as `2026-10`.
pub(super) fn month_name(date: NaiveDate) -> String {
    format!("{:04}-{:02}", date.year(), date.month())
}

/// One of the two shifts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shift {
    /// 06:00 to 14:00.
    Early,
    /// 14:00 to 22:00.
    Late,
}

impl Shift {
    /// Begin of the shift in seconds after midnight.
    pub(super) fn begins(self) -> i64 {
        match self {
            Shift::Early => 6 * 3600,
            Shift::Late => 14 * 3600,
        }
    }

    /// End of the shift in seconds after midnight.
    pub(super) fn ends(self) -> i64 {
        self.begins() + 8 * 3600
    }
}

/// Share of a day's units made in the early shift.
pub(super) const EARLY_SHARE: f64 = 0.55;
