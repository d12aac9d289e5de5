//! Numbers as plants write them, and the decimal sign of a table: texts → values, and which sign they use.
//!
//! One sign with exactly three digits behind it (`1.171`) may be a decimal sign or stand between thousands. A
//! table decides by what else stands in it: texts that can be read in one way only, numbers that would be beyond
//! any test, whole numbers of four digits without a sign, and whole numbers just below a thousand among the
//! readings (`975`). Where that says nothing, or both, the settings must (`decimal_sign`): a factor of a thousand
//! is never guessed. Deciding cell by cell was rejected: `1.171` alone says nothing.

use std::collections::BTreeSet;

use crate::config::DecimalSign;
use crate::records::{Decimal, Quantity};

/// Currents beyond this, in amperes, are no leakage: 200 mA (common practice, no source).
const MOST_AMPERES: f64 = 0.2;
/// Voltages of such tests, in volts (common practice, no source).
const VOLTS: (f64, f64) = (20.0, 200_000.0);
/// Frequencies of such tests end here, in hertz (common practice, no source).
const MOST_HERTZ: f64 = 5000.0;
/// Of so many texts that show a decimal sign, one of the other sign is a slip of the pen.
const SLIP: u32 = 100;
/// Whole numbers below a thousand tell that thousands are marked from this share of a column on, and from so
/// many different marked ones: decimals all of three digits would end in a zero one time in ten.
const WHOLE_SHARE: u32 = 20;
const MARKED: usize = 3;

/// A number as written: its value, the unit written after it, and whether a sign says "below" or
/// "above" before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written {
    /// The number.
    pub number: Decimal,
    /// The unit behind it.
    pub unit: Option<Quantity>,
    /// −1 after `<`, 1 after `>`, else 0.
    pub side: i8,
}

/// Reads a number such as `0,412`, `1 250.0`, `>5.00`, `2.3 uA`.
///
/// Thousands signs are blanks, apostrophes, or the sign that is not the decimal one; they stand between groups of
/// three digits, all of one kind, the first group of one to three without a leading zero. `None` where it is no
/// number.
#[must_use]
pub fn number(text: &str, sign: DecimalSign) -> Option<Written> {
    let (side, at) = side(text);
    let (negative, mut at) = match text.as_bytes().get(at)? {
        b'-' => (true, at + 1),
        b'+' => (false, at + 1),
        _ if text[at..].starts_with('−') => (true, at + '−'.len_utf8()),
        _ => (false, at),
    };
    let bytes = text.as_bytes();
    let (decimal, other) = match sign {
        DecimalSign::Point => (b'.', b','),
        DecimalSign::Comma => (b',', b'.'),
    };
    let mut mantissa = 0_i64;
    let mut exponent = 0_i32;
    let first = at;
    let mut digits = 0;
    let mut in_fraction = false;
    let mut thousands: Option<char> = None;
    while let Some(&b) = bytes.get(at) {
        if b.is_ascii_digit() {
            mantissa = mantissa.checked_mul(10)?.checked_add(i64::from(b - b'0'))?;
            digits += 1;
            exponent -= i32::from(in_fraction);
            at += 1;
        } else if b == decimal && !in_fraction {
            in_fraction = true;
            at += 1;
        } else if let Some(mark) = thousands_mark(&text[at..], other)
            && !in_fraction
            && group_of_three(&bytes[at + mark.len_utf8()..])
            && match thousands {
                None => (1..=3).contains(&digits) && bytes[first] != b'0',
                Some(before) => before == mark,
            }
        {
            thousands = Some(mark);
            at += mark.len_utf8();
        } else {
            break;
        }
    }
    if digits == 0 {
        return None;
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        let rest = &text[at + 1..];
        let end = rest
            .char_indices()
            .find(|(n, c)| !(c.is_ascii_digit() || (*n == 0 && (*c == '-' || *c == '+'))))
            .map_or(rest.len(), |(n, _)| n);
        if let Ok(power) = rest[..end].parse::<i32>() {
            exponent = exponent.checked_add(power)?;
            at += 1 + end;
        }
    }
    let tail = text.get(at..)?.trim();
    let unit = if tail.is_empty() { None } else { Some(Quantity::from_unit(tail)?) };
    Some(Written {
        number: Decimal { mantissa: if negative { -mantissa } else { mantissa }, exponent },
        unit,
        side,
    })
}

/// What stands before a number, −1 for "below" and 1 for "above", and where the number begins.
fn side(text: &str) -> (i8, usize) {
    let side = match text.chars().next() {
        Some('<' | '≤') => -1,
        Some('>' | '≥') => 1,
        _ => 0,
    };
    let mut at = if side == 0 { 0 } else { text.chars().next().map_or(0, char::len_utf8) };
    while matches!(text.as_bytes().get(at), Some(b' ' | b'=')) {
        at += 1;
    }
    (side, at)
}

/// The thousands sign that `rest` begins with.
fn thousands_mark(rest: &str, other: u8) -> Option<char> {
    let first = rest.chars().next()?;
    (first == char::from(other) || is_thousands_blank(first)).then_some(first)
}

/// Blanks of any width and apostrophes.
fn is_thousands_blank(c: char) -> bool {
    matches!(c, ' ' | '\'' | '’' | '\u{a0}' | '\u{202f}' | '\u{2009}')
}

/// Whether exactly three digits follow.
fn group_of_three(rest: &[u8]) -> bool {
    rest.len() >= 3
        && rest[..3].iter().all(u8::is_ascii_digit)
        && !rest.get(3).is_some_and(u8::is_ascii_digit)
}

/// What one text shows of its table's decimal sign.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Shows {
    /// It has this decimal sign.
    Certain(DecimalSign),
    /// This sign is the decimal one, or stands between thousands.
    Open(DecimalSign),
    /// A whole number without a sign.
    Whole(f64),
    Nothing,
}

/// What a text shows, and the unit behind its number.
fn shows(text: &str) -> (Shows, Option<Quantity>) {
    use DecimalSign::{Comma, Point};
    let (_, at) = side(text);
    let body = text[at..].trim_start_matches(['+', '-', '−']);
    let in_number = |c: char| c.is_ascii_digit() || c == '.' || c == ',' || is_thousands_blank(c);
    let end = body.find(|c| !in_number(c)).unwrap_or(body.len());
    let (body, tail) = (body[..end].trim_end(), &body[end..]);
    let unit = Quantity::from_unit(tail);
    let blanks = body.contains(is_thousands_blank);
    let counts = (body.matches('.').count(), body.matches(',').count());
    let last = body.rfind(['.', ',']).unwrap_or(0);
    let sign = if body[last..].starts_with('.') { Point } else { Comma };
    let behind = body[last..].len().saturating_sub(1);
    let shown = match counts {
        _ if !body.starts_with(|c: char| c.is_ascii_digit() || c == '.' || c == ',') => {
            Shows::Nothing
        }
        (0, 0) if blanks => Shows::Nothing,
        (0, 0) => body.parse().map_or(Shows::Nothing, Shows::Whole),
        (1, 0) | (0, 1) => {
            let open = behind == 3 && (1..=3).contains(&last) && !body.starts_with('0') && !blanks;
            if open { Shows::Open(sign) } else { Shows::Certain(sign) }
        }
        (points, commas) if points > 0 && commas > 0 => {
            let once = if sign == Point { points == 1 } else { commas == 1 };
            if once { Shows::Certain(sign) } else { Shows::Nothing }
        }
        // Several of one sign stand between thousands, or it is a date.
        _ => match number(body, sign.other()) {
            Some(_) => Shows::Certain(sign.other()),
            None => Shows::Nothing,
        },
    };
    (shown, unit)
}

/// What the numbers of one column show.
#[derive(Debug, Clone, Default)]
struct Column {
    points: u32,
    commas: u32,
    /// Texts that can be read both ways, with their values as decimals, in thousandths.
    open: u32,
    open_values: BTreeSet<u64>,
    /// Whole numbers below a thousand that have three digits, and all that have fewer than four.
    hundreds: u32,
    /// Whole numbers of four digits and more without a sign.
    unmarked: bool,
    /// Numbers with a unit behind them stand in it.
    units: bool,
    /// The open ones as decimals, or as thousands, are beyond what such a test can be.
    no_decimals: bool,
    no_thousands: bool,
}

/// What the numbers of a table show of their decimal sign.
#[derive(Debug, Clone, Default)]
pub struct SignsSeen {
    columns: Vec<(usize, Column)>,
    /// The first text that can be read both ways, and the first of each certain sign.
    open: Option<(DecimalSign, String)>,
    certain: [Option<String>; 2],
}

/// Why the decimal sign of a table cannot be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unclear {
    /// Numbers that can be read both ways, one of them shown.
    Open(String),
    /// Numbers with a decimal point and others with a decimal comma, one of each shown.
    Both(String, String),
}

impl SignsSeen {
    /// Looks at one more text of a column whose numbers are of this unit; `tells` where whole numbers beside
    /// others tell that thousands are marked: in readings, of which there are many.
    pub fn look(&mut self, column: usize, unit: Option<Quantity>, tells: bool, text: &str) {
        let (shown, own_unit) = shows(text);
        if shown == Shows::Nothing {
            return;
        }
        if self.columns.last().is_none_or(|(last, _)| *last != column)
            && !self.columns.iter().any(|(n, _)| *n == column)
        {
            self.columns.push((column, Column::default()));
        }
        let Some((_, seen)) = self.columns.iter_mut().find(|(n, _)| *n == column) else { return };
        seen.units |= own_unit.is_some();
        match shown {
            Shows::Certain(sign) => {
                match sign {
                    DecimalSign::Point => seen.points += 1,
                    DecimalSign::Comma => seen.commas += 1,
                }
                self.certain[sign as usize].get_or_insert_with(|| text.to_owned());
            }
            Shows::Open(sign) => {
                seen.open += 1;
                let read = |sign| number(text, sign).map_or(0.0, |w| w.number.to_f64());
                let (decimal, thousands) = (read(sign), read(sign.other()));
                if seen.open_values.len() < MARKED {
                    seen.open_values.insert((decimal * 1000.0).round() as u64);
                }
                let unit = own_unit.or(unit);
                seen.no_decimals |= is_beyond(decimal, unit);
                seen.no_thousands |= is_beyond(thousands, unit);
                self.open.get_or_insert_with(|| (sign, text.to_owned()));
            }
            Shows::Whole(value) => {
                seen.hundreds += u32::from(tells && (100.0..1000.0).contains(&value));
                seen.unmarked |= value >= 1000.0;
            }
            Shows::Nothing => {}
        }
    }

    /// Whether numbers of a column carry units of their own.
    #[must_use]
    pub fn has_units(&self, column: usize) -> bool {
        self.columns.iter().any(|(n, seen)| *n == column && seen.units)
    }

    /// The decimal sign; `None` where no number has a sign.
    ///
    /// # Errors
    /// Where the numbers do not tell.
    pub fn decide(&self) -> Result<Option<DecimalSign>, Unclear> {
        use DecimalSign::{Comma, Point};
        let all = || self.columns.iter().map(|(_, c)| c);
        let points: u32 = all().map(|c| c.points).sum();
        let commas: u32 = all().map(|c| c.commas).sum();
        if points.min(commas) * SLIP > points.max(commas) {
            let text = |sign: DecimalSign| self.certain[sign as usize].clone().unwrap_or_default();
            return Err(Unclear::Both(text(Point), text(Comma)));
        }
        let certain = match points.cmp(&commas) {
            std::cmp::Ordering::Greater => Some(Point),
            std::cmp::Ordering::Less => Some(Comma),
            std::cmp::Ordering::Equal => None,
        };
        let Some((open, text)) = &self.open else { return Ok(certain) };
        // A column of which no number is certain, with whole numbers just below a thousand, marks its thousands.
        let marks_thousands = all().any(|c| {
            c.points + c.commas == 0
                && c.open_values.len() >= MARKED
                && c.hundreds * WHOLE_SHARE >= c.open + c.hundreds
                && c.hundreds > 0
        });
        let unclear = || Err(Unclear::Open(text.clone()));
        match certain {
            Some(sign) if sign == *open && marks_thousands => unclear(),
            Some(sign) => Ok(Some(sign)),
            None => {
                let is_decimal = all().any(|c| c.unmarked || c.no_thousands);
                let is_thousands = marks_thousands || all().any(|c| c.no_decimals);
                match (is_decimal, is_thousands) {
                    (true, false) => Ok(Some(*open)),
                    (false, true) => Ok(Some(open.other())),
                    _ => unclear(),
                }
            }
        }
    }
}

/// Whether no test of this kind has such a value.
fn is_beyond(value: f64, unit: Option<Quantity>) -> bool {
    let Some(unit) = unit else { return false };
    let value = value * 10_f64.powi(unit.exponent());
    match unit {
        Quantity::Current(_) => value > MOST_AMPERES,
        Quantity::Voltage(_) => !(VOLTS.0..=VOLTS.1).contains(&value),
        Quantity::Frequency(_) => value > MOST_HERTZ,
        Quantity::Percent | Quantity::Celsius => value > 200.0,
        Quantity::Resistance(_) | Quantity::Time(_) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_plants_write_them() {
        let in_pa = |text: &str, sign| {
            let w = number(text, sign).unwrap();
            w.number.in_units_of(-12 - w.unit.map_or(-3, Quantity::exponent)).unwrap()
        };
        assert_eq!(in_pa("0,412", DecimalSign::Comma), 412_000_000);
        assert_eq!(in_pa("2.3 uA", DecimalSign::Point), 2_300_000);
        assert_eq!(in_pa("1.234,5 µA", DecimalSign::Comma), 1_234_500_000);
        assert_eq!(in_pa("1\u{202f}234,5 µA", DecimalSign::Comma), 1_234_500_000);
        assert_eq!(number(">5.00", DecimalSign::Point).unwrap().side, 1);
        for no_number in ["#,##", "12 apples", "0,412", "1234,567", "1,234 567", "1,23", "1.171.5"]
        {
            assert!(number(no_number, DecimalSign::Point).is_none(), "{no_number}");
        }
    }
}
