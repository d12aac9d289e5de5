//! How verdict sentences print numbers: one unit and one number of decimals for a series.

use super::physics::Load;

/// Typical readings below this are printed in µA, mA.
pub const PRINTED_IN_UA_BELOW_MA: f64 = 0.02;

/// Unit and decimals of one series' currents.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wording {
    micro: bool,
    decimals: usize,
}

impl Wording {
    /// Currents of the size `typical_ma`, set in steps of `step_ma`: µA where they are small, and as many
    /// decimals as the step has (3 where the step is unknown).
    #[must_use]
    pub fn new(typical_ma: f64, step_ma: f64) -> Self {
        let micro = typical_ma < PRINTED_IN_UA_BELOW_MA;
        let step = if micro { step_ma * 1e3 } else { step_ma };
        let decimals = if step > 0.0 && step.is_finite() {
            // A step of 0.05 needs two decimals, a step of 0.1 one: count until nothing is left over.
            (0..6)
                .find(|d| {
                    let scaled = step * 10_f64.powi(*d);
                    scaled >= 0.999 && (scaled - scaled.round()).abs() < 1e-6 * scaled
                })
                .unwrap_or(6) as usize
        } else {
            3
        };
        Self { micro, decimals }
    }

    /// A set value (limit, ceiling), as it is typed in: `2.25 mA`.
    #[must_use]
    pub fn current(&self, ma: f64) -> String {
        self.with(ma, self.decimals)
    }

    /// An estimate or a bound, with one decimal more: `2.163 mA`.
    #[must_use]
    pub fn estimate(&self, ma: f64) -> String {
        self.with(ma, self.decimals + 1)
    }

    fn with(&self, ma: f64, decimals: usize) -> String {
        let (x, unit) = if self.micro { (ma * 1e3, "µA") } else { (ma, "mA") };
        let text = format!("{x:.decimals$} {unit}");
        // A number that rounds to nothing has no sign.
        match text.strip_prefix('-') {
            Some(rest) if !rest.contains(|c: char| ('1'..='9').contains(&c)) => rest.to_owned(),
            _ => text,
        }
    }
}

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

/// A change in per cent with its sign: `+3.63 %`.
#[must_use]
pub fn signed_percent(pct: f64) -> String {
    format!("{}{} %", if pct > 0.0 { "+" } else { "" }, three_digits(pct))
}

/// The text with its first letter large.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut signs = text.chars();
    signs
        .next()
        .map_or_else(String::new, |first| format!("{}{}", first.to_uppercase(), signs.as_str()))
}

/// A resistance given in MΩ: `1.44 MΩ`, `33.3 kΩ`, `2.1 GΩ`.
#[must_use]
pub fn resistance(mohm: f64) -> String {
    if mohm >= 1e3 {
        format!("{} GΩ", three_digits(mohm / 1e3))
    } else if mohm >= 0.1 {
        format!("{} MΩ", three_digits(mohm))
    } else {
        format!("{} kΩ", three_digits(mohm * 1e3))
    }
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

/// A load: `273 kΩ (8.25 W)`.
#[must_use]
pub fn load(load: &Load) -> String {
    format!("{} ({} W)", resistance(load.resistance_kohm / 1e3), three_digits(load.power_w))
}
