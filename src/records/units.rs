//! Decimal numbers kept exact, and the units they come in.

/// A decimal number: `mantissa` times ten to the `exponent`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Decimal {
    /// All digits as one whole number.
    pub mantissa: i64,
    /// Power of ten.
    pub exponent: i32,
}

impl Decimal {
    /// The number as a whole count of ten to the `unit` (for example −9 for nano), rounded half away
    /// from zero; `None` where it does not fit.
    #[must_use]
    pub fn in_units_of(self, unit: i32) -> Option<i64> {
        let shift = self.exponent - unit;
        if self.mantissa == 0 {
            return Some(0);
        }
        if shift >= 0 {
            let factor = 10_i64.checked_pow(u32::try_from(shift).ok()?)?;
            return self.mantissa.checked_mul(factor);
        }
        let Some(divisor) = u32::try_from(-shift).ok().and_then(|n| 10_i64.checked_pow(n)) else {
            return Some(0);
        };
        let half = divisor / 2;
        let rounded = if self.mantissa >= 0 {
            self.mantissa.checked_add(half)? / divisor
        } else {
            self.mantissa.checked_sub(half)? / divisor
        };
        Some(rounded)
    }

    /// The nearest floating-point number.
    #[must_use]
    pub fn to_f64(self) -> f64 {
        let power = 10_f64.powi(self.exponent.abs());
        #[expect(clippy::cast_precision_loss, reason = "rounding to the nearest is what is asked")]
        let mantissa = self.mantissa as f64;
        if self.exponent < 0 { mantissa / power } else { mantissa * power }
    }

    /// The decimal that a floating-point number was most likely typed as: its shortest text.
    ///
    /// `None` for infinities, NaN and numbers beyond 18 digits.
    #[must_use]
    pub fn from_f64(x: f64) -> Option<Self> {
        if !x.is_finite() {
            return None;
        }
        // Twelve significant digits: spreadsheets store 0.1 + 0.2 as 0.30000000000000004.
        let text = format!("{x:.11e}");
        let (digits, exponent) = text.split_once('e')?;
        let exponent: i32 = exponent.parse().ok()?;
        let (whole, fraction) = digits.split_once('.')?;
        let fraction = fraction.trim_end_matches('0');
        let mantissa: i64 = format!("{whole}{fraction}").parse().ok()?;
        Some(Self { mantissa, exponent: exponent - i32::try_from(fraction.len()).ok()? })
    }
}

/// Milliamperes as whole picoamperes; `None` where they do not fit.
#[must_use]
pub fn ma_to_pa(ma: f64) -> Option<i64> {
    Decimal::from_f64(ma)?.in_units_of(-9)
}

/// Picoamperes as milliamperes.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "readings are far below 2^53 picoamperes")]
pub fn pa_to_ma(pa: i64) -> f64 {
    pa as f64 / 1e9
}

/// What a number measures, and in which power of ten of its base unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Electric current; base ampere.
    Current(i32),
    /// Voltage; base volt.
    Voltage(i32),
    /// Resistance; base ohm.
    Resistance(i32),
    /// Frequency; base hertz.
    Frequency(i32),
    /// Time; base second.
    Time(i32),
    /// Temperature in degrees Celsius.
    Celsius,
    /// Per cent.
    Percent,
}

impl Quantity {
    /// The unit a text names, for example `µA`, `kV`, `Hz`; case matters only between milli and mega.
    #[must_use]
    pub fn from_unit(text: &str) -> Option<Self> {
        Some(match text.trim() {
            "A" | "a" => Self::Current(0),
            "mA" | "ma" | "MA" => Self::Current(-3),
            "µA" | "μA" | "uA" | "ua" | "UA" | "µa" | "μa" => Self::Current(-6),
            "nA" | "na" => Self::Current(-9),
            "V" | "v" | "Vac" | "VAC" | "Vdc" | "VDC" => Self::Voltage(0),
            "kV" | "kv" | "KV" | "kVac" | "kVdc" => Self::Voltage(3),
            "mV" => Self::Voltage(-3),
            "Hz" | "hz" | "HZ" => Self::Frequency(0),
            "kHz" => Self::Frequency(3),
            "s" | "S" | "sec" | "Sec" | "seconds" => Self::Time(0),
            "ms" => Self::Time(-3),
            "min" => return None,
            "Ω" | "Ohm" | "ohm" | "ohms" => Self::Resistance(0),
            "mΩ" | "mOhm" | "mohm" => Self::Resistance(-3),
            "kΩ" | "kOhm" | "kohm" => Self::Resistance(3),
            "MΩ" | "MOhm" | "Mohm" => Self::Resistance(6),
            "°C" | "C" | "degC" | "c" => Self::Celsius,
            "%" | "%RH" | "% RH" | "%rh" | "% r.F." | "%rF" => Self::Percent,
            other => return Self::from_words(other),
        })
    }

    /// The unit that a text is, in brackets or not.
    #[must_use]
    pub fn from_bracketed(text: &str) -> Option<Self> {
        Self::from_unit(text.trim().trim_matches(['[', ']', '(', ')']))
    }

    /// The units of which [`Self::from_unit`] does not know the spelling as it stands: in words, with the kind of
    /// current behind it, or with the sign for micro as another code page shows it.
    fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim_end_matches(['~', '=', '⎓', '.']).trim_end();
        let lower = plain.to_lowercase();
        for kind in ["rms", "eff", "ac", "dc"] {
            if let Some(unit) = lower.strip_suffix(kind)
                && let Some(unit) = plain.get(..unit.len()).filter(|unit| !unit.trim().is_empty())
            {
                return Self::from_unit(unit.trim_end_matches(['_', '(']));
            }
        }
        if plain != text {
            return Self::from_unit(plain);
        }
        Some(match lower.as_str() {
            "amp" | "amps" | "ampere" | "amperes" | "安" | "安培" => Self::Current(0),
            "milliamp" | "milliamps" | "milliampere" | "milliamperes" | "miliampery"
            | "miliamperios" | "milliampère" | "milliampères" | "毫安" => Self::Current(-3),
            // The sign for micro of code pages 437 and 850 read as a western one, and of UTF-8.
            "æa" | "╡a" | "âµa" | "î¼a" | "microamp" | "microamps" | "microampere"
            | "microamperes" | "mikroampere" | "microampère" | "microampères" | "微安" => {
                Self::Current(-6)
            }
            "volt" | "volts" | "伏" => Self::Voltage(0),
            "kilovolt" | "kilovolts" | "千伏" => Self::Voltage(3),
            "hertz" | "赫兹" => Self::Frequency(0),
            "second" | "sek" | "sekunden" | "secondes" | "secondi" | "segundos" | "sekundy"
            | "秒" => Self::Time(0),
            "msec" | "millisekunden" | "毫秒" => Self::Time(-3),
            _ => return None,
        })
    }

    /// The power of ten of the base unit.
    #[must_use]
    pub fn exponent(self) -> i32 {
        match self {
            Self::Current(e)
            | Self::Voltage(e)
            | Self::Resistance(e)
            | Self::Frequency(e)
            | Self::Time(e) => e,
            Self::Celsius | Self::Percent => 0,
        }
    }

    /// Whether both measure the same thing.
    #[must_use]
    pub fn same_kind(self, other: Self) -> bool {
        std::mem::discriminant(&self) == std::mem::discriminant(&other)
    }
}
