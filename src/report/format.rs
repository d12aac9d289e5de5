//! Numbers and names as text: one way for all pages.
//!
//! Takes finished values and gives what a reader sees. A number that is not finite is written in words, so
//! that no page ever shows one.

use std::borrow::Cow;

use chrono::NaiveDate;

use super::model::{E, SeriesReport};
use crate::verdict::wording::{self, Wording, three_digits};

/// Shown where a value is not there.
pub const NONE: &str = "–";
/// Shown where an end or a value has no bound.
pub const UNBOUNDED: &str = "not bounded";
/// Between groups of three digits: narrow, and never broken over two lines.
const THIN_SPACE: char = '\u{202f}';

/// How the currents of one series are printed: unit and decimals are those of its verdict sentences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Currents(Wording);

impl Currents {
    /// For readings of the size `typical_ma`, shown in steps of `step_ma` (both mA).
    #[must_use]
    pub fn new(typical_ma: f64, step_ma: f64) -> Self {
        Self(Wording::new(typical_ma, step_ma))
    }

    /// For a series: its median decides on the unit, or the latest month's, or its limit.
    #[must_use]
    pub fn of(series: &SeriesReport) -> Self {
        let body = series.distribution.as_ref().and_then(|d| d.x50_ma.as_ref());
        let typical = body
            .map(|e| e.value)
            .or_else(|| series.months.iter().rev().find_map(|m| m.x50_ma))
            .or(series.limit.high_ma)
            .filter(|x| x.is_finite())
            .unwrap_or(1.0);
        Self::new(typical, series.reading_step_ma)
    }

    /// A value as somebody typed it in or would (a limit, an end of the band), in mA: `2.25 mA`, `9.0 µA`.
    /// A value between two steps keeps the further decimal that it needs.
    #[must_use]
    pub fn set(&self, ma: f64) -> String {
        if !ma.is_finite() {
            return UNBOUNDED.to_owned();
        }
        let short = self.0.current(ma);
        if says(&short, ma) { short } else { self.0.estimate(ma) }
    }

    /// A single reading in mA, with the decimals of the reading step: `2.31 mA`.
    #[must_use]
    pub fn reading(&self, ma: f64) -> String {
        if ma.is_finite() { self.0.current(ma) } else { UNBOUNDED.to_owned() }
    }

    /// An estimate in mA, with one decimal more than the reading step: `2.163 mA`.
    #[must_use]
    pub fn estimate(&self, ma: f64) -> String {
        if ma.is_finite() { self.0.estimate(ma) } else { UNBOUNDED.to_owned() }
    }
}

/// Whether a printed current still says `ma`, within one part in a million.
fn says(printed: &str, ma: f64) -> bool {
    let Some((number, unit)) = printed.split_once(' ') else {
        return false;
    };
    let factor = if unit == "mA" { 1.0 } else { 1e-3 };
    number.parse::<f64>().is_ok_and(|x| (x * factor - ma).abs() <= 1e-6 * ma.abs())
}

/// The value of an estimate, printed by `show`.
#[must_use]
pub fn value(e: &E, show: impl Fn(f64) -> String) -> String {
    if e.value.is_finite() { show(e.value) } else { UNBOUNDED.to_owned() }
}

/// The interval of an estimate: `1.205 mA to 1.219 mA`, `at least 1.205 mA` where an end is missing.
#[must_use]
pub fn interval(e: &E, show: impl Fn(f64) -> String) -> String {
    match (e.low.is_finite(), e.high.is_finite()) {
        (true, true) => format!("{} to {}", show(e.low), show(e.high)),
        (true, false) => format!("at least {}", show(e.low)),
        (false, true) => format!("at most {}", show(e.high)),
        (false, false) => UNBOUNDED.to_owned(),
    }
}

/// Value and interval in one: `3.63 % (3.58 % to 3.69 %)`.
#[must_use]
pub fn with_interval(e: &E, show: impl Fn(f64) -> String + Copy) -> String {
    format!("{} ({})", value(e, show), interval(e, show))
}

/// A share of 1 as per cent, three digits: `0.15 %`. What is above 0 and below 0.001 % says just that.
#[must_use]
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        UNBOUNDED.to_owned()
    } else if share > 0.0 && share < 1e-5 {
        "< 0.001 %".to_owned()
    } else {
        wording::percent(share)
    }
}

/// A change in per cent with its sign: `+3.63 %`.
#[must_use]
pub fn change_pct(pct: f64) -> String {
    if pct.is_finite() { format!("{pct:+.2} %") } else { UNBOUNDED.to_owned() }
}

/// Parts per million with three digits: `1.25 ppm`, `53 100 ppm`; below a hundredth, `< 0.01 ppm`.
#[must_use]
pub fn ppm(x: f64) -> String {
    if !x.is_finite() {
        UNBOUNDED.to_owned()
    } else if x > 0.0 && x < 0.01 {
        "< 0.01 ppm".to_owned()
    } else {
        format!("{} ppm", digits(x))
    }
}

/// Expected parts per million: as [`ppm`], but an expectation is never none at all.
#[must_use]
pub fn expected_ppm(x: f64) -> String {
    if x < 0.01 { "< 0.01 ppm".to_owned() } else { ppm(x) }
}

/// Three significant digits, thousands grouped: `0.125`, `53 100`.
#[must_use]
pub fn digits(x: f64) -> String {
    if !x.is_finite() {
        return UNBOUNDED.to_owned();
    }
    if x.abs() < 1000.0 {
        return three_digits(x);
    }
    let scale = 10_f64.powi(x.abs().log10().floor() as i32 - 2);
    let text = format!("{:.0}", (x / scale).round() * scale);
    match text.strip_prefix('-') {
        Some(rest) => format!("-{}", group(rest)),
        None => group(&text),
    }
}

/// A p-value: `p = 0.23`, `p = 0.003`, `p < 0.001`.
#[must_use]
pub fn p_value(p: f64) -> String {
    if !p.is_finite() {
        "p not known".to_owned()
    } else if p < 0.001 {
        "p < 0.001".to_owned()
    } else if p < 0.1 {
        format!("p = {p:.3}")
    } else {
        format!("p = {p:.2}")
    }
}

/// A number of units as a whole count; below zero it is none.
#[must_use]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts stay far below 2^53, and none is below zero"
)]
pub fn whole(units: f64) -> u64 {
    units.round().max(0.0) as u64
}

/// Where rows went, as one sum: `7 rows read = 4 used + 2 set aside + 1 unreadable`.
#[must_use]
pub fn row_sum(read: u64, used: u64, set_aside: u64, unreadable: u64) -> String {
    format!("{read} rows read = {used} used + {set_aside} set aside + {unreadable} unreadable")
}

/// A count with its thousands grouped: `45 500`.
#[must_use]
pub fn grouped(n: u64) -> String {
    group(&n.to_string())
}

fn group(digits: &str) -> String {
    let mut out = String::with_capacity(digits.len() * 2);
    for (n, c) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n).is_multiple_of(3) {
            out.push(THIN_SPACE);
        }
        out.push(c);
    }
    out
}

/// A count with its noun: `1 unit`, `45 500 units`.
#[must_use]
pub fn counted(n: u64, noun: &str) -> String {
    // `series` is its own plural.
    let plural = if n == 1 || noun.ends_with('s') { "" } else { "s" };
    format!("{} {noun}{plural}", grouped(n))
}

/// A day: `2026-10-30`.
#[must_use]
pub fn date(day: NaiveDate) -> String {
    day.format("%Y-%m-%d").to_string()
}

/// A machine word for people: `slope_and_step` as `slope and step`.
#[must_use]
pub fn words(key: &str) -> String {
    key.replace('_', " ")
}

/// Any text, safe in one line of markdown, also in a table cell: no sign of it is taken for markup.
///
/// Line breaks, control signs and signs that turn the direction of writing become spaces; the rest is kept.
#[must_use]
pub fn text(raw: &str) -> String {
    let mut out = String::with_capacity(raw.len() + 8);
    let signs: Vec<char> = raw.trim().chars().collect();
    let number = signs.iter().take_while(|c| c.is_ascii_digit()).count();
    for (n, &c) in signs.iter().enumerate() {
        let beside =
            |m: Option<usize>| m.and_then(|m| signs.get(m)).is_some_and(|c| c.is_alphanumeric());
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            c if turns_or_breaks(c) => out.push(' '),
            '\\' | '|' | '`' | '[' | ']' | '*' | '#' | '~' | '$' => out.extend(['\\', c]),
            // Inside a word it is no emphasis: file names stay readable.
            '_' if !(beside(n.checked_sub(1)) && beside(Some(n + 1))) => out.extend(['\\', c]),
            // What would start a list or a rule.
            '-' | '+' | '=' if n == 0 => out.extend(['\\', c]),
            '.' | ')' if n > 0 && n == number && !beside(Some(n + 1)) => out.extend(['\\', c]),
            // What some readers of markdown make a link by itself.
            ':' if signs.get(n + 1) == Some(&'/') => out.push_str("\\:"),
            '.' if n >= 3 && signs[n - 3..n].iter().all(|c| c.eq_ignore_ascii_case(&'w')) => {
                out.push_str("\\.")
            }
            c => out.push(c),
        }
    }
    out
}

fn turns_or_breaks(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}' | '\u{2029}')
        || ('\u{202a}'..='\u{202e}').contains(&c)
        || ('\u{2066}'..='\u{2069}').contains(&c)
}

/// A name for a page: as [`text`], and in words where it is blank.
#[must_use]
pub fn name(raw: &str) -> String {
    let shown = text(raw);
    if shown.trim().is_empty() { "(no name)".to_owned() } else { shown }
}

/// The address of a file beside the page, or of a place on it: all but letters, digits and `-._/` as `%XX`.
#[must_use]
pub fn address(path: &str) -> String {
    let mut out = String::with_capacity(path.len());
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

/// The place on the page that belongs to a series: letters, digits, `-` and `_` only.
#[must_use]
pub fn anchor(id: &str) -> String {
    let plain = |c: char| {
        if c.is_alphanumeric() || c == '-' || c == '_' { c } else { '-' }
    };
    format!("series-{}", id.chars().map(plain).collect::<String>())
}

/// A cell that no spreadsheet takes for a formula: what begins like one gets a `'` before it.
#[must_use]
pub fn defused(cell: &str) -> Cow<'_, str> {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) {
        Cow::Owned(format!("'{cell}"))
    } else {
        Cow::Borrowed(cell)
    }
}
