//! What the dates of a table show of how they are written: collected cell by cell, then decided for all of them.

use super::{
    Counts, DateWay, Moment, WrittenDate, Zone, bare_number, clock_and_zone, moment, offset_words,
    plain_date,
};
use crate::config::DateOrder;
use std::collections::BTreeMap;

/// An order under which dates span more years is none where another spans less.
const YEARS_MOST: i64 = 10;
/// Zones so far apart are two clocks, not one with summer time.
const SUMMER_S: i64 = 3600;
/// Of so many dates that tell an order, one of the other order is a slip of the pen: unreadable, and told.
const SLIP: u64 = 100;
/// The orders of three numbers of two digits.
const ORDERS: [DateOrder; 3] =
    [DateOrder::DayMonthYear, DateOrder::MonthDayYear, DateOrder::YearMonthDay];

/// The days that dates would have in one order.
#[derive(Debug, Clone, Copy)]
struct Days {
    /// Every one of them would exist.
    exist: bool,
    first: i64,
    last: i64,
}

impl Default for Days {
    fn default() -> Self {
        Self { exist: true, first: i64::MAX, last: i64::MIN }
    }
}

impl Days {
    fn look(&mut self, day: Option<i64>) {
        match day {
            Some(day) => {
                self.first = self.first.min(day);
                self.last = self.last.max(day);
            }
            None => self.exist = false,
        }
    }

    fn years(self) -> i64 {
        (self.last - self.first) / 365
    }
}

/// Texts that tell something.
#[derive(Debug, Clone, Default)]
struct Told {
    times: u64,
    first: String,
}

impl Told {
    fn look(&mut self, text: &str) {
        if self.times == 0 {
            text.clone_into(&mut self.first);
        }
        self.times += 1;
    }
}

/// What the dates of a table show.
#[derive(Debug, Clone, Default)]
pub struct DatesSeen {
    /// Texts that tell that the day comes first; that the month does.
    day_first: Told,
    month_first: Told,
    /// The first text that says nothing without an order.
    needs: Option<String>,
    /// Dates of three numbers of two digits, by order; with points between them in all.
    short: [Days; 3],
    short_without_points: bool,
    shorts: Option<String>,
    /// Dates with a month's name and a year of two digits: day first, year first.
    named: [Days; 2],
    has_named: bool,
    /// Bare numbers by what they may count; those that count nothing, and dates that are none.
    counts: BTreeMap<Counts, u64>,
    uncounted: u64,
    /// Not all numbers of ten digits may be year, month, day and time, one after the other.
    seconds_only: bool,
    written: bool,
    /// Zones with a text of each.
    zones: BTreeMap<Zone, String>,
    /// Most digits of a time without signs.
    clock_digits: usize,
}

/// Why it cannot be told how the dates of a table are written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unsure {
    /// They can be read both ways, one of them shown.
    Order(String),
    /// Some have the day first, others the month: one of each shown.
    BothOrders(String, String),
    /// Their zones are more than an hour apart: two shown.
    Zones(String, String),
}

impl DatesSeen {
    /// Looks at one more cell of the date column.
    pub fn look(&mut self, text: &str) {
        if let Some(count) = bare_number(text)
            && !matches!(whole_digits(text), 6 | 8 | 12 | 14 | 17)
        {
            self.look_at_number(count, text);
            return;
        }
        let (date, zone) = match plain_date(text) {
            Some((date, rest)) => (date, clock_and_zone(rest).and_then(|(_, zone)| zone)),
            None => match moment(text) {
                Some(Moment { date, zone, .. }) => (date, zone),
                None => return,
            },
        };
        self.written = true;
        self.look_at_zone(zone, text);
        match date {
            WrittenDate::Known { .. } => {}
            WrittenDate::Open { .. } => match date.tells() {
                Some(DateOrder::DayMonthYear) => self.day_first.look(text),
                Some(_) => self.month_first.look(text),
                None if date.needs_order() => {
                    self.needs.get_or_insert_with(|| text.to_owned());
                }
                None => {}
            },
            WrittenDate::Short { points, .. } => {
                self.short_without_points |= !points;
                self.shorts.get_or_insert_with(|| text.to_owned());
                for (days, order) in self.short.iter_mut().zip(ORDERS) {
                    let day = date.day(Some(order));
                    days.look(day);
                }
            }
            WrittenDate::Named { .. } => {
                self.has_named = true;
                self.named[0].look(date.day(Some(DateOrder::DayMonthYear)));
                self.named[1].look(date.day(Some(DateOrder::YearMonthDay)));
            }
        }
    }

    fn look_at_number(&mut self, count: f64, text: &str) {
        let counts = match whole_digits(text) {
            5 => Counts::SheetDays,
            10 => {
                self.seconds_only |= !may_be_parts(text);
                Counts::SinceEpoch(1)
            }
            13 => Counts::SinceEpoch(1_000),
            16 => Counts::SinceEpoch(1_000_000),
            19 => Counts::SinceEpoch(1_000_000_000),
            _ => {
                self.uncounted += 1;
                return;
            }
        };
        if DateWay::default().counted(counts, count).is_some() {
            *self.counts.entry(counts).or_default() += 1;
        } else {
            self.uncounted += 1;
        }
    }

    /// Looks at one more cell of a column of times.
    pub fn look_at_time(&mut self, text: &str) {
        if text.len() <= 6 && text.len() > 2 && text.bytes().all(|b| b.is_ascii_digit()) {
            self.clock_digits = self.clock_digits.max(if text.len() > 4 { 6 } else { 4 });
        } else if let Some((_, zone)) = clock_and_zone(text) {
            self.look_at_zone(zone, text);
        }
    }

    fn look_at_zone(&mut self, zone: Option<Zone>, text: &str) {
        if let Some(zone) = zone {
            self.zones.entry(zone).or_insert_with(|| text.to_owned());
        }
    }

    /// Whether the order is told by a date of which it is certain.
    #[must_use]
    pub fn tells_order(&self) -> bool {
        self.day_first.times + self.month_first.times > 0
    }

    /// How the dates are read; `stated` and the clock of `stated_east_s` are what the settings say.
    ///
    /// # Errors
    /// Where neither the dates nor the settings tell.
    pub fn decide(
        &self,
        stated: Option<DateOrder>,
        stated_east_s: Option<i64>,
    ) -> Result<DateWay, Unsure> {
        let counts = match self.counts.first_key_value() {
            Some((Counts::SinceEpoch(1), _)) if !self.seconds_only => None,
            // A total may stand below them.
            Some((counts, n))
                if self.counts.len() == 1 && self.uncounted * 10 <= *n && !self.written =>
            {
                Some(*counts)
            }
            _ => None,
        };
        if stated_east_s.is_none() {
            self.one_clock()?;
        }
        Ok(DateWay {
            order: self.order(stated)?,
            counts,
            clock_digits: self.clock_digits,
            clock_east_s: stated_east_s,
        })
    }

    fn order(&self, stated: Option<DateOrder>) -> Result<Option<DateOrder>, Unsure> {
        use DateOrder::{DayMonthYear, MonthDayYear, YearMonthDay};
        let (day, month) = (&self.day_first, &self.month_first);
        if day.times.min(month.times) * SLIP > day.times.max(month.times) {
            let both = || Unsure::BothOrders(day.first.clone(), month.first.clone());
            return stated.map(Some).ok_or_else(both);
        }
        let told = match day.times.cmp(&month.times) {
            std::cmp::Ordering::Greater => Some(DayMonthYear),
            std::cmp::Ordering::Less => Some(MonthDayYear),
            std::cmp::Ordering::Equal => None,
        };
        if let Some(order) = told.or(stated) {
            return Ok(Some(order));
        }
        if let Some(text) = &self.needs {
            return Err(Unsure::Order(text.clone()));
        }
        if let Some(text) = &self.shorts {
            let fit = self.short.iter().zip(ORDERS).filter(|(days, _)| days.exist);
            let near: Vec<DateOrder> = fit
                .filter(|(days, _)| days.years() <= YEARS_MOST)
                .map(|(_, order)| order)
                .collect();
            return match near.as_slice() {
                [] => Ok(None),
                [one] => Ok(Some(*one)),
                [first, ..] if *first == DayMonthYear && !self.short_without_points => {
                    Ok(Some(DayMonthYear))
                }
                _ => Err(Unsure::Order(text.clone())),
            };
        }
        let fits = |days: Days| days.exist && days.years() <= YEARS_MOST;
        let year_first = self.has_named && !fits(self.named[0]) && fits(self.named[1]);
        Ok(year_first.then_some(YearMonthDay))
    }

    /// # Errors
    /// Where the zones are of two clocks.
    fn one_clock(&self) -> Result<(), Unsure> {
        let mut known = self.zones.iter().filter_map(|(z, text)| Some((z.east_s?, text)));
        let (first, last) = (known.clone().next(), known.next_back());
        match (first, last) {
            (Some((low, a)), Some((high, b))) if high - low > SUMMER_S => {
                Err(Unsure::Zones(a.clone(), b.clone()))
            }
            _ => Ok(()),
        }
    }

    /// What a reader must be told of how the dates are read.
    #[must_use]
    pub fn told(&self, way: &DateWay) -> Vec<String> {
        let mut told = Vec::new();
        let laid = way.clock_east_s.map(|east_s| {
            format!("laid on the clock of {}, as utc_offset says", offset_words(east_s))
        });
        match way.counts {
            Some(Counts::SinceEpoch(_)) => told.push(format!(
                "dates count seconds since 1970, in UTC: {}",
                laid.as_deref().unwrap_or(
                    "taken as the plant's clock; where that is another, set utc_offset = \"+01:00\""
                )
            )),
            Some(Counts::SheetDays) => told
                .push("dates are numbers of days, as a spreadsheet counts from 1900 on".to_owned()),
            None => {}
        }
        if let Some((zone, text)) = self.zones.first_key_value() {
            let is_utc = zone.east_s == Some(0) && self.zones.len() == 1;
            told.push(match laid {
                Some(laid) => format!("times name their zone ({text:?}): {laid}"),
                None if is_utc => format!(
                    "times are in UTC ({text:?}): taken as the plant's clock; where that is another, set utc_offset = \"+01:00\""
                ),
                None => format!(
                    "times name their zone ({text:?}): the clock they show is taken as the plant's; utc_offset lays them on another"
                ),
            });
        }
        told
    }
}

/// Digits before the decimal sign.
fn whole_digits(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

/// Whether ten digits may be `YYYYMMDDhh` or `YYMMDDhhmm`.
fn may_be_parts(text: &str) -> bool {
    let part = |at: usize| text.get(at..at + 2).and_then(|t| t.parse::<u32>().ok()).unwrap_or(99);
    let is_date = |at: usize| (1..=12).contains(&part(at)) && (1..=31).contains(&part(at + 2));
    (part(0) == 20 && is_date(4) && part(8) < 24) || (is_date(2) && part(6) < 24 && part(8) < 60)
}
