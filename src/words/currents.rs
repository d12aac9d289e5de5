//! Currents and resistances as text: one unit and one number of decimals for a series.

use super::numbers::{
    UNBOUNDED, by_interval, decimals_of, nothing_has_no_sign, three_digits, with_interval,
};
use crate::stats::estimate::Estimate;

/// Typical readings below this are printed in µA, mA.
pub const PRINTED_IN_UA_BELOW_MA: f64 = 0.02;

/// Unit and decimals of one series' currents.
///
/// # Examples
/// ```
/// use leakdrift::words::currents::Wording;
///
/// let words = Wording::new(1.7, 0.05);
/// assert_eq!((words.current(2.25), words.estimate(2.1634)), ("2.25 mA".into(), "2.163 mA".into()));
/// assert_eq!(Wording::new(0.0082, 0.0001).current(0.0085), "8.5 µA", "small currents");
/// ```
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
        let decimals = if step > 0.0 && step.is_finite() { decimals_of(step, 6) } else { 3 };
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

    /// A change with the digits that its interval leaves: `0.0003 mA (-0.0001 mA to 0.0007 mA)`.
    #[must_use]
    pub fn change(&self, e: &Estimate) -> String {
        let e = by_interval(&if self.micro { e.scaled(1e3) } else { e.clone() });
        let unit = if self.micro { "µA" } else { "mA" };
        with_interval(&e, |x| format!("{} {unit}", three_digits(x)))
    }

    fn with(&self, ma: f64, decimals: usize) -> String {
        let (x, unit) = if self.micro { (ma * 1e3, "µA") } else { (ma, "mA") };
        nothing_has_no_sign(&format!("{x:.decimals$} {unit}")).to_owned()
    }
}

/// How the currents of one series are printed: unit and decimals are those of its verdict sentences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Currents(Wording);

impl Currents {
    /// For readings of the size `typical_ma`, shown in steps of `step_ma` (both mA).
    #[must_use]
    pub fn new(typical_ma: f64, step_ma: f64) -> Self {
        Self(Wording::new(typical_ma, step_ma))
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

    /// A change with its interval and the digits that this leaves: `0.0003 mA (-0.0001 mA to 0.0007 mA)`.
    #[must_use]
    pub fn change(&self, e: &Estimate) -> String {
        self.0.change(e)
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
