//! Dates and times as exported, and what the dates of a whole table decide: the order of their parts, whether bare
//! numbers count seconds or days, and on which clock they are laid.
//!
//! Takes texts, gives seconds of the plant's clock. Two numbers and a year can be read both ways: the whole table
//! decides, else the settings (`date_order`), never a guess. Two-digit years: an order under which the table
//! would span more than ten years is none where another one spans less; with points the day comes first
//! (common practice, no source), as it does before a month's name. A zone behind a time is not converted: the
//! clock that a file shows is taken as the plant's, which is told, unless `utc_offset` says on which clock to lay
//! times that name their zone. Converting to the machine's own zone was rejected: two machines would give two
//! reports.

use chrono::{Datelike, NaiveDate};

use crate::config::DateOrder;

mod names;
mod seen;
mod written;

pub use seen::{DatesSeen, Unsure};
pub use written::{moment, time_of_day};

/// Years that a date may have: others are of another calendar, or damage.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=2199;
/// What is said to be expected of a date with its day and month in another order than the others.
pub const OTHER_ORDER: &str = "a date in the order of the table's other dates";
/// Seconds of a day.
const DAY_S: i64 = 86_400;

/// A date as written, before the order of its parts is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WrittenDate {
    /// Nothing to decide.
    Known {
        /// Year, month, day.
        ymd: [i32; 3],
    },
    /// Two numbers and a year of four digits.
    Open {
        /// First number.
        first: u32,
        /// Second number.
        second: u32,
        /// Year.
        year: i32,
        /// Between them stand points: day first, as those who write points do (common practice, no source).
        points: bool,
    },
    /// Three numbers of two digits.
    Short {
        /// The numbers.
        numbers: [u32; 3],
        /// Between them stand points.
        points: bool,
        /// The first has both its digits: it may be a year.
        is_whole: bool,
    },
    /// A month's name between two numbers of at most two digits: the day before it, as a rule.
    Named {
        /// First number.
        first: u32,
        /// Month.
        month: u32,
        /// Number behind the month.
        last: u32,
    },
}

/// A date, a time of day in seconds since midnight, and the zone of that time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// The date.
    pub date: WrittenDate,
    /// The time of day.
    pub second: Option<i64>,
    /// Its zone.
    pub zone: Option<Zone>,
}

/// A time zone as written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Zone {
    /// Seconds east of Greenwich, where its name says so.
    pub east_s: Option<i64>,
}

/// What bare numbers in a date column count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counts {
    /// Seconds since 1970-01-01, in UTC; so many of them make one second.
    SinceEpoch(u32),
    /// Days of a spreadsheet, 1 being 1900-01-01.
    SheetDays,
}

/// How the dates of a table are read.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DateWay {
    /// Order of the parts, where dates need one.
    pub order: Option<DateOrder>,
    /// What bare numbers count.
    pub counts: Option<Counts>,
    /// Most digits of times of day without signs (`93005`, `143005`): 6 or 4.
    pub clock_digits: usize,
    /// Seconds east of Greenwich of the clock on which times with a zone are laid.
    pub clock_east_s: Option<i64>,
}

/// What is wrong with a text that should be a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoMoment {
    /// It is no date.
    Date,
    /// There is no such day.
    Day,
    /// It has its day and month in another order than the table's other dates.
    Order,
    /// Its time is none.
    Time,
    /// Where its zone lies is not known.
    Zone,
}

impl NoMoment {
    /// What was expected.
    #[must_use]
    pub fn expected(self) -> &'static str {
        match self {
            Self::Date => "a date",
            Self::Day => "a day that exists",
            Self::Order => OTHER_ORDER,
            Self::Time => "a time of day",
            Self::Zone => "a zone whose offset is known",
        }
    }
}

impl WrittenDate {
    fn known(year: u32, month: u32, day: u32) -> Self {
        let whole = |n: u32| i32::try_from(n).unwrap_or(0);
        Self::Known { ymd: [whole(year), whole(month), whole(day)] }
    }

    fn of_date(date: NaiveDate) -> Self {
        Self::known(date.year_ce().1, date.month(), date.day())
    }

    /// A day of a week of a year (ISO 8601).
    fn of_week(year: u32, week: u32, day: u32) -> Option<Self> {
        let day = chrono::Weekday::try_from(u8::try_from(day.checked_sub(1)?).ok()?).ok()?;
        NaiveDate::from_isoywd_opt(i32::try_from(year).ok()?, week, day).map(Self::of_date)
    }

    /// A day of a year (ISO 8601).
    fn of_year(year: u32, day: u32) -> Option<Self> {
        NaiveDate::from_yo_opt(i32::try_from(year).ok()?, day).map(Self::of_date)
    }

    /// The day since 1970-01-01, in this order; `None` where there is no such day.
    #[must_use]
    pub fn day(self, order: Option<DateOrder>) -> Option<i64> {
        use DateOrder::{DayMonthYear, MonthDayYear, YearMonthDay};
        let century = |n: u32| i32::try_from(if n < 70 { 2000 + n } else { 1900 + n }).unwrap_or(0);
        let (y, m, d) = match self {
            Self::Known { ymd: [y, m, d] } => (y, u32::try_from(m).ok()?, u32::try_from(d).ok()?),
            Self::Open { first, second, year, points } => match (order, points) {
                (Some(MonthDayYear), _) => (year, first, second),
                (Some(DayMonthYear), _) | (None, true) => (year, second, first),
                (None, false) | (Some(YearMonthDay), _) => return None,
            },
            Self::Short { numbers: [a, b, c], points, is_whole } => match (order, points) {
                (Some(YearMonthDay), _) if is_whole => (century(a), b, c),
                (Some(MonthDayYear), _) => (century(c), a, b),
                (Some(DayMonthYear), _) | (None, true) => (century(c), b, a),
                (None, false) | (Some(YearMonthDay), _) => return None,
            },
            Self::Named { first, month, last } => match order {
                Some(YearMonthDay) => (century(first), month, last),
                _ => (century(last), month, first),
            },
        };
        let date = NaiveDate::from_ymd_opt(y, m, d).filter(|_| YEARS.contains(&y))?;
        Some((date - NaiveDate::default()).num_days())
    }

    /// What two numbers and a year tell about the order, if anything.
    #[must_use]
    pub fn tells(self) -> Option<DateOrder> {
        match self {
            Self::Open { first, second, .. } if first > 12 && second <= 12 => {
                Some(DateOrder::DayMonthYear)
            }
            Self::Open { first, second, .. } if second > 12 && first <= 12 => {
                Some(DateOrder::MonthDayYear)
            }
            _ => None,
        }
    }

    /// Whether the order matters for it.
    #[must_use]
    pub fn needs_order(self) -> bool {
        matches!(self, Self::Open { points: false, .. } | Self::Short { points: false, .. })
    }
}

impl DateWay {
    /// Seconds since 1970 of the plant's clock at the beginning of the day, and the time of day in seconds, where the
    /// text has one.
    ///
    /// # Errors
    /// What is wrong with the text.
    pub fn read(&self, text: &str) -> Result<(i64, Option<i64>), NoMoment> {
        if let Some(counts) = self.counts
            && let Some(count) = bare_number(text)
        {
            return self.counted(counts, count).ok_or(NoMoment::Date);
        }
        let found = moment(text).ok_or_else(|| what_is_wrong(text))?;
        let day = found.date.day(self.order).ok_or_else(|| match found.date.tells() {
            Some(order) if self.order.is_some_and(|own| own != order) => NoMoment::Order,
            _ => NoMoment::Day,
        })?;
        match found.second {
            None => Ok((day * DAY_S, None)),
            Some(second) => {
                let at = day * DAY_S + second + self.shift(found.zone)?;
                Ok((at - at.rem_euclid(DAY_S), Some(at.rem_euclid(DAY_S))))
            }
        }
    }

    /// A bare number as a moment; `None` where it counts nothing, or lies beyond believable times.
    fn counted(&self, counts: Counts, count: f64) -> Option<(i64, Option<i64>)> {
        let range = counts.believable();
        if !range.contains(&count) {
            return None;
        }
        #[expect(clippy::cast_possible_truncation, reason = "within the range of believable times")]
        let (at, has_time) = match counts {
            Counts::SinceEpoch(per_s) => {
                let at = (count / f64::from(per_s)).floor() as i64;
                (at + self.clock_east_s.unwrap_or(0), true)
            }
            // 1970-01-01 is day 25 569.
            Counts::SheetDays => {
                (((count - 25_569.0) * 86_400.0).round() as i64, count.fract() != 0.0)
            }
        };
        let second = at.rem_euclid(DAY_S);
        Some((at - second, has_time.then_some(second)))
    }

    /// Seconds to add to a time with this zone, to lay it on the plant's clock.
    ///
    /// # Errors
    /// Where it is not known where the zone lies.
    pub fn shift(&self, zone: Option<Zone>) -> Result<i64, NoMoment> {
        match (self.clock_east_s, zone) {
            (None, _) | (_, None) => Ok(0),
            (Some(clock), Some(Zone { east_s: Some(east) })) => Ok(clock - east),
            (Some(_), Some(Zone { east_s: None })) => Err(NoMoment::Zone),
        }
    }

    /// A time of day in a column of its own, in seconds, and what is to be added to lay it on the plant's clock.
    #[must_use]
    pub fn time(&self, text: &str) -> Option<(i64, i64)> {
        if text.len() <= self.clock_digits && text.bytes().all(|b| b.is_ascii_digit()) {
            let value: i64 = text.parse().ok()?;
            let value = if self.clock_digits == 4 { value * 100 } else { value };
            let (h, m, s) = (value / 10_000, value / 100 % 100, value % 100);
            return (h < 24 && m < 60 && s < 60).then_some((h * 3600 + m * 60 + s, 0));
        }
        if let Some(second) = clock(text) {
            return Some((second, 0));
        }
        let (second, zone) =
            time_of_day(text).or_else(|| moment(text).and_then(|m| Some((m.second?, m.zone))))?;
        Some((second, self.shift(zone).ok()?))
    }
}

impl Counts {
    /// Numbers that stand for the years 2001 to 2039, of a spreadsheet to 2059.
    fn believable(self) -> std::ops::Range<f64> {
        match self {
            Self::SinceEpoch(per_s) => {
                let per_s = f64::from(per_s);
                1.0e9 * per_s..2.2e9 * per_s
            }
            Self::SheetDays => 36_892.0..58_440.0,
        }
    }
}

/// The number that a text is, where it is nothing else; with a decimal point or comma.
fn bare_number(text: &str) -> Option<f64> {
    let is_number = text.bytes().all(|b| b.is_ascii_digit() || b == b'.' || b == b',')
        && text.bytes().filter(|b| !b.is_ascii_digit()).count() <= 1
        && text.as_bytes().first().is_some_and(u8::is_ascii_digit);
    if !is_number {
        return None;
    }
    if text.contains(',') { text.replace(',', ".").parse().ok() } else { text.parse().ok() }
}

/// Why a text is no moment: its date, or the time behind a sound date.
fn what_is_wrong(text: &str) -> NoMoment {
    match plain_date(text) {
        Some((_, rest)) if !rest.is_empty() => NoMoment::Time,
        _ => NoMoment::Date,
    }
}

/// Splits off a date of digits and one kind of sign at the front of `text`; the rest is the time, if any. The way
/// of nearly all files, without looking at words.
#[must_use]
pub fn plain_date(text: &str) -> Option<(WrittenDate, &str)> {
    let bytes = text.as_bytes();
    let mut parts = [0_u32; 3];
    let mut lengths = [0_u8; 3];
    let mut separator = None;
    let mut part = 0;
    let mut at = 0;
    while at < bytes.len() {
        let b = bytes[at];
        if b.is_ascii_digit() {
            if lengths[part] == 4 {
                return None;
            }
            parts[part] = parts[part] * 10 + u32::from(b - b'0');
            lengths[part] += 1;
        } else if matches!(b, b'-' | b'/' | b'.')
            && part < 2
            && lengths[part] > 0
            && separator.is_none_or(|s| s == b)
        {
            separator = Some(b);
            part += 1;
        } else {
            break;
        }
        at += 1;
    }
    let rest = text[at..].trim_start_matches(['T', ' ', ',']);
    if at < bytes.len() && rest.len() == text.len() - at {
        return None;
    }
    let points = separator == Some(b'.');
    let date = match lengths {
        [4, 1..=2, 1..=2] => WrittenDate::known(parts[0], parts[1], parts[2]),
        [1..=2, 1..=2, 4] => WrittenDate::Open {
            first: parts[0],
            second: parts[1],
            year: i32::try_from(parts[2]).ok()?,
            points,
        },
        [1..=2, 1..=2, 2] => {
            WrittenDate::Short { numbers: parts, points, is_whole: lengths[0] == 2 }
        }
        _ => return None,
    };
    Some((date, rest))
}

/// Seconds since midnight of a time such as `14:05:09`, `2:05 PM`, `14:05:09.250`, without a zone.
#[must_use]
pub fn clock(text: &str) -> Option<i64> {
    let bytes = text.as_bytes();
    let mut parts = [0_i64; 3];
    let mut part = 0;
    let mut digits = 0;
    let mut at = 0;
    while at < bytes.len() {
        let b = bytes[at];
        if b.is_ascii_digit() && digits < 2 {
            parts[part] = parts[part] * 10 + i64::from(b - b'0');
            digits += 1;
        } else if b == b':' && part < 2 && digits > 0 {
            part += 1;
            digits = 0;
        } else {
            break;
        }
        at += 1;
    }
    if part == 0 || digits == 0 {
        return None;
    }
    let mut rest = &text[at..];
    if let Some(fraction) = rest.strip_prefix(['.', ',']) {
        rest = fraction.trim_start_matches(|c: char| c.is_ascii_digit());
    }
    let mut hour = parts[0];
    let rest = rest.trim();
    if rest.eq_ignore_ascii_case("AM") && (1..=12).contains(&hour) {
        hour %= 12;
    } else if rest.eq_ignore_ascii_case("PM") && (1..=12).contains(&hour) {
        hour = hour % 12 + 12;
    } else if !rest.is_empty() {
        return None;
    }
    (hour < 24 && parts[1] < 60 && parts[2] < 61).then_some(hour * 3600 + parts[1] * 60 + parts[2])
}

/// Seconds since midnight of a time as [`clock`] reads it, also before `Z` and `+01:00`.
#[must_use]
pub fn clock_and_zone(text: &str) -> Option<(i64, Option<Zone>)> {
    if let Some(second) = clock(text) {
        return Some((second, None));
    }
    let at = text.rfind(['Z', '+', '-'])?;
    let second = clock(&text[..at])?;
    let two = |s: &str| -> Option<i64> {
        (s.len() == 2 && s.bytes().all(|b| b.is_ascii_digit())).then(|| s.parse().ok())?
    };
    let east_s = match text[at..].split_at(1) {
        ("Z", "") => 0,
        ("Z", _) => return None,
        (sign, offset) => {
            let hours = two(offset.get(..2)?)?;
            let minutes = match &offset[2..] {
                "" => 0,
                rest => two(rest.strip_prefix(':').unwrap_or(rest))?,
            };
            let east = hours * 3600 + minutes * 60;
            if sign == "-" { -east } else { east }
        }
    };
    Some((second, Some(Zone { east_s: Some(east_s) })))
}

/// An offset from UTC as people write it, `+01:00`, `-05:30`, `UTC`.
#[must_use]
pub fn offset_words(east_s: i64) -> String {
    let sign = if east_s < 0 { '-' } else { '+' };
    let minutes = east_s.abs() / 60;
    if east_s == 0 {
        "UTC".to_owned()
    } else {
        format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    }
}
