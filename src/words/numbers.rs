//! Numbers as text: shares, counts, estimates with their intervals.

use std::fmt::{self, Display, Formatter};

use crate::stats::estimate::Estimate;
use crate::stats::expected_share::ExpectedShare;

/// Shown where a value is not there.
pub const NONE: &str = "–";
/// Shown where an end or a value has no bound.
pub const UNBOUNDED: &str = "not bounded";
/// Between groups of three digits: narrow, and never broken over two lines.
const THIN_SPACE: char = '\u{202f}';

/// Three significant digits without exponent or trailing zeros: `1.44`, `0.333`, `1200`.
#[must_use]
pub fn three_digits(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let decimals = (2 - x.abs().log10().floor() as i32).clamp(0, 12) as usize;
    let text = format!("{x:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A printed number, without a minus where it rounded to nothing: `-0.00 mA` is `0.00 mA`.
#[must_use]
pub fn nothing_has_no_sign(printed: &str) -> &str {
    match printed.strip_prefix('-') {
        Some(rest) if !rest.contains(|c: char| ('1'..='9').contains(&c)) => rest,
        _ => printed,
    }
}

/// Decimals that show a step of this size: 0.05 needs two, 0.1 one, 20 none; at most `most`.
#[must_use]
pub fn decimals_of(step: f64, most: usize) -> usize {
    let shows = |decimals: &usize| {
        let scaled = step * 10_f64.powi(*decimals as i32);
        scaled >= 0.999 && (scaled - scaled.round()).abs() < 1e-6 * scaled
    };
    (0..most).find(shows).unwrap_or(most)
}

/// A number that has no interval of its own, with the one digit that may be believed.
#[must_use]
pub fn one_digit(x: f64) -> f64 {
    if x == 0.0 || !x.is_finite() { x } else { format!("{x:.0e}").parse().unwrap_or(x) }
}

/// A change in per cent with its sign: `+3.63 %`.
#[must_use]
pub fn signed_percent(pct: f64) -> String {
    format!("{}{} %", if pct > 0.0 { "+" } else { "" }, three_digits(pct))
}

/// A share of 1 as per cent: `0.1 %`.
#[must_use]
pub fn percent(share: f64) -> String {
    format!("{} %", three_digits(share * 100.0))
}

/// A number with its noun, plural where due: `1 unit`, `12 units`.
#[must_use]
pub fn count(n: u64, noun: &str) -> String {
    if n == 1 { format!("1 {noun}") } else { format!("{n} {noun}s") }
}

/// The value of an estimate, printed by `show`.
#[must_use]
pub fn value(e: &Estimate, show: impl Fn(f64) -> String) -> String {
    if e.value.is_finite() { show(e.value) } else { UNBOUNDED.to_owned() }
}

/// The interval of an estimate: `1.205 mA to 1.219 mA`, `at least 1.205 mA` where an end is missing.
#[must_use]
pub fn interval(e: &Estimate, show: impl Fn(f64) -> String) -> String {
    match (e.low.is_finite(), e.high.is_finite()) {
        (true, true) => format!("{} to {}", show(e.low), show(e.high)),
        (true, false) => format!("at least {}", show(e.low)),
        (false, true) => format!("at most {}", show(e.high)),
        (false, false) => UNBOUNDED.to_owned(),
    }
}

/// The estimate with the digits that its interval leaves: two of half the interval's width, and of a number that
/// would vanish its first one.
///
/// 56.8 (0.489 to 900) becomes 60 (0.5 to 900). Source: GUM (JCGM 100:2008), 7.2.6, for the two digits (from memory).
/// Where no end is known, the estimate stays as it is.
#[must_use]
pub fn by_interval(e: &Estimate) -> Estimate {
    let Some(step) = step_left(e) else { return e.clone() };
    let first_digit = |x: f64| 10_f64.powi(x.abs().log10().floor() as i32);
    // Over one part of a power of ten: a quotient of whole numbers is the nearest there is.
    let to = |x: f64, step: f64| {
        if step < 1.0 {
            (x * step.recip().round()).round() / step.recip().round()
        } else {
            (x / step).round() * step
        }
    };
    let rounded = |x: f64| {
        if x == 0.0 || !x.is_finite() {
            x
        } else if x.abs() < step / 2.0 {
            to(x, first_digit(x))
        } else {
            to(x, step)
        }
    };
    Estimate { value: rounded(e.value), low: rounded(e.low), high: rounded(e.high), ..e.clone() }
}

/// The place of the second digit of half the interval's width; `None` where no end is known or it has no width.
fn step_left(e: &Estimate) -> Option<f64> {
    let ends = [e.low, e.high].map(|end| (end - e.value).abs());
    let known: Vec<f64> = ends.into_iter().filter(|d| d.is_finite()).collect();
    let half = known.iter().sum::<f64>() / known.len().max(1) as f64;
    (half > 0.0).then(|| 10_f64.powi(half.log10().floor() as i32 - 1))
}

/// How many decimals the interval leaves, at most `most`: value and ends are then printed alike.
#[must_use]
pub fn decimals_left(e: &Estimate, most: usize) -> usize {
    step_left(e).map_or(most, |step| decimals_of(step, most))
}

/// Value and interval with the digits that the interval leaves: `60 ppm (0.5 ppm to 900 ppm)`.
#[must_use]
pub fn measured(e: &Estimate, show: impl Fn(f64) -> String + Copy) -> String {
    with_interval(&by_interval(e), show)
}

/// Value and interval in one: `3.63 % (3.58 % to 3.69 %)`.
#[must_use]
pub fn with_interval(e: &Estimate, show: impl Fn(f64) -> String + Copy) -> String {
    format!("{} ({})", value(e, show), interval(e, show))
}

/// A share of 1 as per cent, three digits: `0.15 %`. What is above 0 and below 0.001 % says just that.
#[must_use]
pub fn share_pct(share: f64) -> String {
    if !share.is_finite() {
        UNBOUNDED.to_owned()
    } else if share > 0.0 && share < 1e-5 {
        "< 0.001 %".to_owned()
    } else {
        percent(share)
    }
}

/// A change in per cent with its sign: `+3.63 %`.
#[must_use]
pub fn change_pct(pct: f64) -> String {
    if pct.is_finite() { format!("{pct:+.2} %") } else { UNBOUNDED.to_owned() }
}

/// Parts per million with three digits: `1.25 ppm`, `53 100 ppm`.
#[must_use]
pub fn ppm(x: f64) -> String {
    if !x.is_finite() { UNBOUNDED.to_owned() } else { format!("{} ppm", digits(x)) }
}

/// An expected share as printed: its value, and its interval where that says more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrintedShare {
    /// `60 ppm`, or `below 1 in 250 000`.
    pub value: String,
    /// `20 ppm to 900 ppm`, `at most 900 ppm`; nothing where all of it lies below what the units can tell.
    pub interval: Option<String>,
}

/// An expected share, in parts per million: what its units cannot tell is said and not printed as a number.
#[must_use]
pub fn expected_share(share: &ExpectedShare) -> PrintedShare {
    let is_below = |x: f64| x < share.least();
    let (e, below) = (by_interval(share), below(share.least()));
    let interval = match (is_below(e.high), is_below(e.low)) {
        (true, _) => None,
        (false, true) if e.high.is_finite() => Some(format!("at most {}", ppm(e.high))),
        (false, true) => Some(UNBOUNDED.to_owned()),
        (false, false) => Some(interval(&e, ppm)),
    };
    PrintedShare { value: if is_below(e.value) { below } else { value(&e, ppm) }, interval }
}

/// What a share of so many parts per million is below, in words: `below 1 in 250 000`.
#[must_use]
pub fn below(least_ppm: f64) -> String {
    format!("below 1 in {}", digits(1e6 / least_ppm))
}

impl Display for PrintedShare {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        f.write_str(&self.value)?;
        self.interval.as_ref().map_or(Ok(()), |i| write!(f, " ({i})"))
    }
}

/// A number of units a month: less than one in eight years is just that.
#[must_use]
pub fn a_month(x: f64) -> String {
    if x < 0.01 { "< 0.01".to_owned() } else { digits(x) }
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

/// Writes a number of units as a whole count.
///
/// # Errors
/// Those of the serializer.
pub fn as_count<S: serde::Serializer>(units: &f64, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_u64(whole(*units))
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
