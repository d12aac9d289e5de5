//! Dates and times as exported, and the order of day and month, decided from the whole file.

use chrono::NaiveDate;

use crate::config::DateOrder;

/// A date as written, before the order of day and month is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WrittenDate {
    /// Year first: nothing to decide.
    Known {
        /// Year, month, day.
        ymd: (i32, u32, u32),
    },
    /// Two numbers and a year.
    Open {
        /// First number.
        first: u32,
        /// Second number.
        second: u32,
        /// Year.
        year: i32,
        /// Between them stand points: day first, as those who write points do (common practice, no
        /// source).
        points: bool,
    },
}

/// Splits off a date at the front of `text`; the rest is the time, if any.
#[must_use]
pub fn written_date(text: &str) -> Option<(WrittenDate, &str)> {
    let bytes = text.as_bytes();
    let mut parts = [0_u32; 3];
    let mut lengths = [0_usize; 3];
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
    if part != 2 || lengths[2] == 0 {
        return None;
    }
    let rest = text[at..].trim_start_matches(['T', ' ', ',']);
    if at < bytes.len() && rest.len() == text.len() - at {
        return None;
    }
    let year = |value: u32, length: usize| {
        let value = i32::try_from(value).unwrap_or(0);
        match length {
            4 => Some(value),
            2 => Some(2000 + value),
            _ => None,
        }
    };
    if lengths[0] == 4 {
        let ymd = (year(parts[0], 4)?, parts[1], parts[2]);
        return Some((WrittenDate::Known { ymd }, rest));
    }
    Some((
        WrittenDate::Open {
            first: parts[0],
            second: parts[1],
            year: year(parts[2], lengths[2])?,
            points: separator == Some(b'.'),
        },
        rest,
    ))
}

impl WrittenDate {
    /// The day since 1970-01-01, in this order; `None` where there is no such day.
    #[must_use]
    pub fn day(self, order: Option<DateOrder>) -> Option<i64> {
        let (y, m, d) = match self {
            Self::Known { ymd } => ymd,
            Self::Open { first, second, year, points } => match (order, points) {
                (Some(DateOrder::MonthDayYear), _) => (year, first, second),
                (Some(DateOrder::DayMonthYear), _) | (None, true) => (year, second, first),
                (None, false) => return None,
            },
        };
        let date = NaiveDate::from_ymd_opt(y, m, d)?;
        Some((date - NaiveDate::default()).num_days())
    }

    /// What this date tells about the order, if anything.
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
        matches!(self, Self::Open { points: false, .. })
    }
}

/// What the dates of a table tell about the order of day and month.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct OrderSeen {
    /// What they decide, if anything.
    pub order: Option<DateOrder>,
    /// Whether any of them needs the order.
    pub needed: bool,
}

impl OrderSeen {
    /// Looks at one more cell of the date column.
    pub fn look(&mut self, cell: &str) {
        if let Some((date, _)) = written_date(cell) {
            self.needed |= date.needs_order();
            self.order = self.order.or_else(|| date.tells());
        }
    }
}

/// Seconds since midnight of a time such as `14:05:09`, `2:05 PM`, `14:05:09.250`.
#[must_use]
pub fn clock(text: &str) -> Option<i64> {
    let text = text.trim();
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
    match rest.trim().to_ascii_uppercase().as_str() {
        "" | "Z" => {}
        "AM" | "A.M." if (1..=12).contains(&hour) => hour %= 12,
        "PM" | "P.M." if (1..=12).contains(&hour) => hour = hour % 12 + 12,
        zone if zone.starts_with(['+', '-']) && zone.len() <= 6 => {}
        _ => return None,
    }
    (hour < 24 && parts[1] < 60 && parts[2] < 61).then_some(hour * 3600 + parts[1] * 60 + parts[2])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_in_every_order() {
        let day = |text, order| written_date(text).and_then(|(d, _)| d.day(order));
        assert_eq!(day("1970-01-02", None), Some(1));
        assert_eq!(day("2.1.1970", None), Some(1));
        assert_eq!(day("01/02/1970", Some(DateOrder::MonthDayYear)), Some(1));
        assert_eq!(day("01/02/1970", None), None);
        assert_eq!(day("31.02.2026", None), None);
        assert_eq!(clock("12:00:05 AM"), Some(5));
        assert_eq!(clock("2:05 PM"), Some(14 * 3600 + 300));
        assert_eq!(clock("25:00"), None);
    }
}
