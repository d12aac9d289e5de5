//! Axes: ranges that can be drawn, and ticks that can be read.

use super::ChartError;
use chrono::{Datelike, Days, NaiveDate};

use crate::words::numbers;

/// How values are spread along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Equal distances for equal differences.
    Linear,
    /// Equal distances for equal ratios.
    Log,
    /// Days since 1970-01-01, ticks at the starts of months; at single days where there are few of those.
    Date,
}

/// A labelled place on an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where.
    pub at: f64,
    /// Its words.
    pub label: String,
}

/// One axis of a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// What is measured, with its unit in brackets where it has one.
    pub title: String,
    /// How values are spread.
    pub scale: Scale,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Ticks given by hand; otherwise they are found.
    pub ticks: Option<Vec<Tick>>,
}

/// The narrowest axis, relative to its ends, on which places can still be told apart.
const NARROWEST: f64 = 1e-9;

impl Axis {
    /// An axis between two ends, not yet checked. `unit` may be empty.
    pub fn new(title: &str, unit: &str, scale: Scale, low: f64, high: f64) -> Self {
        let title = if unit.is_empty() { title.to_owned() } else { format!("{title} ({unit})") };
        Self { title, scale, low, high, ticks: None }
    }

    /// An axis wide enough for all values, with a margin of `margin` of their range at both ends.
    /// Equal values get a range around them. Values that are not finite are left to the layers'
    /// check; on a logarithmic axis those not above zero are left out.
    pub fn covering(
        title: &str,
        unit: &str,
        scale: Scale,
        values: impl IntoIterator<Item = f64>,
        margin: f64,
    ) -> Self {
        let mut low = f64::INFINITY;
        let mut high = f64::NEG_INFINITY;
        for value in values {
            if value.is_finite() && (scale != Scale::Log || value > 0.0) {
                low = low.min(value);
                high = high.max(value);
            }
        }
        if low > high {
            (low, high) = if scale == Scale::Log { (0.1, 10.0) } else { (0.0, 1.0) };
        }
        let (low, high) = match scale {
            Scale::Log => {
                let (a, b) = (low.ln(), high.ln());
                let pad = if b - a < 1e-3 { 0.7 } else { (b - a) * margin };
                ((a - pad).exp().max(f64::MIN_POSITIVE), (b + pad).exp().min(f64::MAX))
            }
            Scale::Linear | Scale::Date => {
                let size = low.abs().max(high.abs());
                let range = high - low;
                let pad = if range > size * NARROWEST * 10.0 && range > 0.0 {
                    range * margin
                } else if scale == Scale::Date {
                    15.0
                } else if size > 0.0 {
                    size * 0.05
                } else {
                    1.0
                };
                (low - pad, high + pad)
            }
        };
        Self::new(title, unit, scale, low, high)
    }

    /// The same axis with its lower end at `low`.
    pub fn from(mut self, low: f64) -> Self {
        self.low = low;
        self
    }

    /// The same axis with ticks given by hand.
    pub fn with_ticks(mut self, ticks: Vec<Tick>) -> Self {
        self.ticks = Some(ticks);
        self
    }

    /// Refuses an axis that cannot be drawn.
    ///
    /// # Errors
    /// `NotFinite`, `EmptyRange`, `NotPositive`.
    pub fn check(&self) -> Result<(), ChartError> {
        super::finite(
            &format!("an end of the axis \"{}\"", self.title),
            [self.low, self.high, self.high - self.low],
        )?;
        let size = self.low.abs().max(self.high.abs());
        if self.scale == Scale::Log && self.low <= 0.0 {
            return Err(ChartError::NotPositive { axis: self.title.clone(), low: self.low });
        }
        // Twice MIN_POSITIVE keeps a range in denormal numbers from being divided by.
        if self.high - self.low <= (size * NARROWEST).max(2.0 * f64::MIN_POSITIVE) {
            return Err(ChartError::EmptyRange {
                axis: self.title.clone(),
                low: self.low,
                high: self.high,
            });
        }
        if let Some(ticks) = &self.ticks {
            super::finite("a tick", ticks.iter().map(|t| t.at))?;
        }
        Ok(())
    }

    /// Place of a value as a fraction of the axis: 0 at the lower end, 1 at the upper. Values beyond an
    /// end give fractions beyond it; on a logarithmic axis those not above zero lie far below.
    pub fn fraction(&self, value: f64) -> f64 {
        let f = match self.scale {
            Scale::Log => {
                if value <= 0.0 {
                    return -10.0;
                }
                (value.ln() - self.low.ln()) / (self.high.ln() - self.low.ln())
            }
            Scale::Linear | Scale::Date => (value - self.low) / (self.high - self.low),
        };
        f.clamp(-10.0, 11.0)
    }

    /// True where the value lies on the axis.
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// Ticks inside the range, ascending, about `room` of them at most.
    pub fn ticks(&self, room: usize) -> Vec<Tick> {
        let room = room.max(2);
        if let Some(ticks) = &self.ticks {
            return ticks.iter().filter(|t| self.holds(t.at)).cloned().collect();
        }
        match self.scale {
            Scale::Linear => linear_ticks(self.low, self.high, room),
            Scale::Log => log_ticks(self.low, self.high, room),
            Scale::Date => date_ticks(self.low, self.high, room),
        }
    }
}

fn linear_ticks(low: f64, high: f64, room: usize) -> Vec<Tick> {
    let raw = (high - low) / room as f64;
    let power = 10f64.powf(raw.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= raw * 0.999)
        .unwrap_or(power * 10.0);
    if !(step.is_normal() && (low / step).abs() < 1e12) {
        return [low, high].map(|v| Tick { at: v, label: format!("{v:.2e}") }).to_vec();
    }
    let decimals = decimals_of(step);
    let first = (low / step - 1e-9).ceil();
    (0..=room * 2)
        .map(|i| (first + i as f64) * step)
        .take_while(|v| *v <= high + step * 1e-9)
        .map(|v| Tick {
            at: v.clamp(low, high),
            label: number(if v.abs() < step * 1e-6 { 0.0 } else { v }, decimals),
        })
        .collect()
}

fn log_ticks(low: f64, high: f64, room: usize) -> Vec<Tick> {
    let decades = high.log10() - low.log10();
    if decades < 0.7 {
        return linear_ticks(low, high, room);
    }
    let multiples: &[f64] = if decades * 3.0 <= room as f64 { &[1.0, 2.0, 5.0] } else { &[1.0] };
    let every = (decades / room as f64).ceil().max(1.0) as i32;
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let mut ticks = Vec::new();
    for exponent in (first..=last).filter(|e| e.rem_euclid(every) == 0) {
        for multiple in multiples {
            let value = multiple * 10f64.powi(exponent);
            if value.is_normal() && value >= low * (1.0 - 1e-9) && value <= high * (1.0 + 1e-9) {
                ticks.push(Tick {
                    at: value.clamp(low, high),
                    label: number(value, usize::try_from(-exponent).unwrap_or(0)),
                });
            }
        }
    }
    ticks
}

fn date_ticks(low: f64, high: f64, room: usize) -> Vec<Tick> {
    let (Some(first), Some(last)) = (date(low.ceil()), date(high.floor())) else {
        return Vec::new();
    };
    let days = (last - first).num_days();
    // Of fewer months hardly one begins within the axis.
    if days < 120 {
        let every = [1, 2, 7, 14, 28].into_iter().find(|e| days / e < room as i64).unwrap_or(28);
        let since_monday = u64::from(first.weekday().num_days_from_monday());
        let skip = if every >= 7 { (7 - since_monday) % 7 } else { 0 };
        return (0..=room as u64)
            .filter_map(|i| first.checked_add_days(Days::new(skip + i * every as u64)))
            .filter(|d| *d <= last)
            .map(|d| Tick { at: day_number(d), label: d.format("%Y-%m-%d").to_string() })
            .collect();
    }
    let months = i64::from(last.year() - first.year()) * 12 + i64::from(last.month())
        - i64::from(first.month());
    let every = [1, 2, 3, 6, 12, 24, 60, 120, 600, 6000, 60_000]
        .into_iter()
        .find(|e| months / e < room as i64)
        .unwrap_or(600_000);
    let start = i64::from(first.year()) * 12 + i64::from(first.month0());
    (start..=start + months)
        .filter(|m| m.rem_euclid(every) == 0)
        .filter_map(|m| {
            let year = i32::try_from(m.div_euclid(12)).ok()?;
            NaiveDate::from_ymd_opt(year, m.rem_euclid(12) as u32 + 1, 1)
        })
        .filter(|d| *d >= first && *d <= last)
        .map(|d| Tick { at: day_number(d), label: d.format("%Y-%m").to_string() })
        .collect()
}

fn date(day: f64) -> Option<NaiveDate> {
    // Within chrono's calendar, which ends near the year 262143.
    if day.abs() > 9.0e7 {
        return None;
    }
    NaiveDate::from_epoch_days(day as i32)
}

fn day_number(date: NaiveDate) -> f64 {
    f64::from(date.to_epoch_days())
}

/// A day in the form `2026-03-09`; days outside the calendar as their number.
pub fn day_text(day: i32) -> String {
    date(f64::from(day)).map_or_else(|| format!("day {day}"), |d| d.format("%Y-%m-%d").to_string())
}

/// Decimals that show a step of this size exactly enough: 0.01 gives 2, 0.5 gives 1, 20 gives 0; at most 9.
pub fn decimals_of(step: f64) -> usize {
    if !(step.is_finite() && step > 0.0) {
        return 2;
    }
    numbers::decimals_of(step, 9)
}

/// A number for people: fixed decimals, thousands apart by a thin space, powers of ten where it is
/// very large or very small.
pub fn number(value: f64, decimals: usize) -> String {
    let size = value.abs();
    if size >= 1e7 || (size > 0.0 && size < 10f64.powi(-6)) {
        return format!("{value:.1e}");
    }
    let text = format!("{value:.decimals$}");
    let text = numbers::nothing_has_no_sign(&text);
    let (whole, rest) = match text.find('.') {
        Some(dot) => text.split_at(dot),
        None => (text, ""),
    };
    let (sign, digits) = match whole.strip_prefix('-') {
        Some(digits) => ("\u{2212}", digits),
        None => ("", whole),
    };
    if digits.len() <= 4 {
        return format!("{sign}{digits}{rest}");
    }
    let mut grouped = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            grouped.push('\u{2009}');
        }
        grouped.push(digit);
    }
    format!("{sign}{grouped}{rest}")
}

/// A share as per cent, with as many decimals as it needs: `5.3 %`, `0.15 %`, `0.002 %`.
pub fn percent(share: f64) -> String {
    let value = share * 100.0;
    let decimals = match value.abs() {
        0.0 => 0,
        v if v >= 10.0 => 0,
        v if v >= 1.0 => 1,
        v if v >= 0.1 => 2,
        v if v >= 0.01 => 3,
        _ => 4,
    };
    format!("{} %", number(value, decimals))
}

/// A count with its noun: `1 unit`, `2 units`, `45 500 units`.
pub fn counted(count: u64, noun: &str) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{} {noun}{s}", number(count as f64, 0))
}
