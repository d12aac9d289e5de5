//! One cell of a table, whatever file it came from, and the numbers, words and times in it.

use crate::records::{Decimal, Quantity};

/// A cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell<'a> {
    /// Nothing there.
    Empty,
    /// Text, trimmed.
    Text(&'a str),
    /// A true number.
    Number(f64),
    /// A true date or date and time: seconds since 1970-01-01.
    Stamp(i64),
    /// A true time of day: seconds since midnight.
    Clock(i64),
    /// A formula error.
    Broken(&'a str),
}

impl<'a> Cell<'a> {
    /// A text cell from raw bytes, trimmed; empty where nothing is left. Bytes that are no UTF-8 are
    /// a broken cell.
    #[must_use]
    pub fn from_bytes(bytes: &'a [u8]) -> Self {
        let trimmed = bytes.trim_ascii();
        if trimmed.is_empty() {
            return Self::Empty;
        }
        match std::str::from_utf8(trimmed) {
            Ok(text) => Self::from_text(unquoted(text)),
            Err(_) => Self::Broken("bytes that are no text"),
        }
    }

    /// A text cell, trimmed; broken where it is the error of a spreadsheet's formula, as some formats and
    /// spreadsheets saved as text hold it.
    #[must_use]
    pub fn from_text(text: &'a str) -> Self {
        let text = text.trim();
        if text.is_empty() {
            Self::Empty
        } else if is_formula_error(text) {
            Self::Broken(text)
        } else {
            Self::Text(text)
        }
    }

    /// Whether nothing is there.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        matches!(self, Self::Empty)
    }

    /// The cell as a reader would see it.
    #[must_use]
    pub fn shown(&self) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Text(t) | Self::Broken(t) => (*t).to_owned(),
            Self::Number(x) => format!("{x}"),
            Self::Stamp(s) => chrono::DateTime::from_timestamp(*s, 0)
                .map_or_else(|| s.to_string(), |d| d.format("%Y-%m-%d %H:%M:%S").to_string()),
            Self::Clock(s) => format!("{:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60),
        }
    }
}

/// `#DIV/0!`, `#N/A`, `#NAME?` … in any language of a spreadsheet: capitals between a hash and a mark, or one of
/// the few without a mark (from memory).
fn is_formula_error(text: &str) -> bool {
    let Some(inside) = text.strip_prefix('#') else {
        return false;
    };
    ["N/A", "N/D", "NV"].contains(&inside)
        || inside.strip_suffix(['!', '?']).is_some_and(|word| {
            let capital = |c: char| c.is_uppercase() || "/0¡¿".contains(c);
            !word.is_empty() && word.chars().all(capital)
        })
}

/// A cell of delimited text without quotes that stand around it still: a stray one, or a pair of the other kind,
/// would make another model or serial of it.
fn unquoted(text: &str) -> &str {
    if !matches!(text.as_bytes(), [b'"' | b'\'', ..] | [.., b'"']) {
        return text;
    }
    let text = text.trim_matches('"');
    let inside = text.strip_prefix('\'').and_then(|t| t.strip_suffix('\''));
    inside.unwrap_or(text)
}

/// The decimal sign of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecimalSign {
    /// `0.412`
    Point,
    /// `0,412`
    Comma,
}

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
/// Thousands signs are spaces, apostrophes, or the sign that is not the decimal one when it stands
/// before groups of three digits. `None` where it is no number.
#[must_use]
pub fn number(text: &str, sign: DecimalSign) -> Option<Written> {
    let bytes = text.as_bytes();
    let mut at = 0;
    let mut side = 0_i8;
    match bytes.first()? {
        b'<' => (side, at) = (-1, 1),
        b'>' => (side, at) = (1, 1),
        _ if text.starts_with('≤') => (side, at) = (-1, '≤'.len_utf8()),
        _ if text.starts_with('≥') => (side, at) = (1, '≥'.len_utf8()),
        _ => {}
    }
    while bytes.get(at) == Some(&b' ') || bytes.get(at) == Some(&b'=') {
        at += 1;
    }
    let negative = match bytes.get(at) {
        Some(b'-') => {
            at += 1;
            true
        }
        Some(b'+') => {
            at += 1;
            false
        }
        _ => false,
    };
    let (decimal, thousands) = match sign {
        DecimalSign::Point => (b'.', b','),
        DecimalSign::Comma => (b',', b'.'),
    };
    let mut mantissa = 0_i64;
    let mut exponent = 0_i32;
    let mut digits = 0;
    let mut in_fraction = false;
    while let Some(&b) = bytes.get(at) {
        if b.is_ascii_digit() {
            mantissa = mantissa.checked_mul(10)?.checked_add(i64::from(b - b'0'))?;
            digits += 1;
            if in_fraction {
                exponent -= 1;
            }
        } else if b == decimal && !in_fraction {
            in_fraction = true;
        } else if (b == thousands || b == b'\'' || b == b' ')
            && !in_fraction
            && digits > 0
            && group_of_three(&bytes[at + 1..])
        {
            // A thousands sign: the three digits follow.
        } else {
            break;
        }
        at += 1;
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

/// Whether exactly three digits follow.
fn group_of_three(rest: &[u8]) -> bool {
    rest.len() >= 3
        && rest[..3].iter().all(u8::is_ascii_digit)
        && !rest.get(3).is_some_and(u8::is_ascii_digit)
}

/// Which decimal sign a set of number texts uses; `None` where none of them shows it.
#[must_use]
pub fn decimal_sign<'a>(texts: impl Iterator<Item = &'a str>) -> Option<DecimalSign> {
    let (mut point, mut comma) = (0_u32, 0_u32);
    for text in texts {
        let digits = |c: char| c.is_ascii_digit();
        let body = text.trim_start_matches(['<', '>', '≤', '≥', '=', ' ', '+', '-']);
        if !body.starts_with(digits) {
            continue;
        }
        let (last_point, last_comma) = (body.rfind('.'), body.rfind(','));
        match (last_point, last_comma) {
            (Some(p), Some(c)) if p > c => point += 4,
            (Some(_), Some(_)) => comma += 4,
            (Some(_), None) if body.matches('.').count() == 1 => point += 1,
            (None, Some(_)) if body.matches(',').count() == 1 => comma += 1,
            _ => {}
        }
    }
    match point.cmp(&comma) {
        std::cmp::Ordering::Greater => Some(DecimalSign::Point),
        std::cmp::Ordering::Less => Some(DecimalSign::Comma),
        std::cmp::Ordering::Equal => None,
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
        assert_eq!(number(">5.00", DecimalSign::Point).unwrap().side, 1);
        assert!(number("#,##", DecimalSign::Comma).is_none());
        assert!(number("12 apples", DecimalSign::Point).is_none());
    }
}
