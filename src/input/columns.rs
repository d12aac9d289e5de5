//! Header spellings: which canonical column a header names, and in which unit.
//!
//! Generic trade words only; anything else is mapped in the config's `[columns]`.

pub use super::field::Field;
use super::header_words::by_trade_words;
use crate::config::Config;
use crate::error::Result;
use crate::records::Quantity;

/// What one header means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// A canonical column, with the unit of its numbers.
    Field(Field, Option<Quantity>),
    /// A factor of the config, by its place in the list.
    Factor(usize),
    /// Nothing this tool uses.
    Unknown,
}

/// Reads headers: first by the config's words, then by the trade's.
#[derive(Debug)]
pub struct Headers {
    mapped: Vec<(String, String)>,
    factors: Vec<String>,
}

impl Headers {
    /// A reader of headers for these settings.
    #[must_use]
    pub fn new(config: &Config) -> Self {
        Self {
            mapped: config.columns.iter().map(|(k, v)| (squeeze(k), v.clone())).collect(),
            factors: config.factors.iter().map(|f| squeeze(f)).collect(),
        }
    }

    /// What `header` means.
    #[must_use]
    pub fn meaning(&self, header: &str) -> Meaning {
        let plain = squeeze(header);
        if plain.is_empty() {
            return Meaning::Unknown;
        }
        let (words, unit) = split_unit(header);
        if let Some((_, target)) = self.mapped.iter().find(|(k, _)| *k == plain) {
            if let Some(field) = Field::from_name(target) {
                let unit = unit.filter(|u| field.quantity().is_some_and(|q| q.same_kind(*u)));
                return Meaning::Field(field, unit);
            }
            let target = squeeze(target);
            return match self.factors.iter().position(|f| *f == target) {
                Some(n) => Meaning::Factor(n),
                None => Meaning::Unknown,
            };
        }
        if let Some(field) = Field::from_name(&plain) {
            return Meaning::Field(field, field.quantity());
        }
        // Whoever names `line` as a factor does not mean the station, which the trade's words would take it for.
        if let Some(n) = self.factors.iter().position(|f| *f == plain) {
            return Meaning::Factor(n);
        }
        match by_trade_words(&words, unit) {
            Some(field) => {
                let unit = unit.filter(|u| field.quantity().is_some_and(|q| q.same_kind(*u)));
                Meaning::Field(field, unit)
            }
            None => Meaning::Unknown,
        }
    }
}

/// Refuses settings that name a column which does not exist: they would do nothing, without a word.
///
/// # Errors
/// With the nearest name that exists.
pub fn check(config: &Config) -> Result<()> {
    let fields = || Field::ALL.iter().map(|(_, name)| *name);
    let factors: Vec<String> = config.factors.iter().map(|f| squeeze(f)).collect();
    let is_factor = |name: &str| factors.contains(&squeeze(name));
    let both = || fields().chain(config.factors.iter().map(String::as_str));
    for target in config.columns.values() {
        if Field::from_name(target).is_none() && !is_factor(target) {
            return Err(config.unknown("[columns]", "column", target, both()));
        }
    }
    for name in config.values.keys() {
        if Field::from_name(name).is_none() && !is_factor(name) {
            return Err(config.unknown("[values]", "column", name, both()));
        }
    }
    for name in config.assume.keys() {
        if Field::from_name(name).is_none() {
            return Err(config.unknown("[assume]", "column", name, fields()));
        }
    }
    let pattern = config.files.pattern.as_deref().unwrap_or("");
    for piece in pattern.split('{').skip(1) {
        let name = piece.split('}').next().unwrap_or("");
        if Field::from_name(name).is_none() {
            return Err(config.unknown("[files] pattern", "column", name, fields()));
        }
    }
    Ok(())
}

/// Lower case, single spaces.
pub(super) fn squeeze(text: &str) -> String {
    text.trim_start_matches('\u{feff}')
        .to_lowercase()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The words of a header without its unit, lower case; and the unit, from brackets or the last word.
fn split_unit(header: &str) -> (String, Option<Quantity>) {
    let mut unit = None;
    let mut rest = String::new();
    let mut inside = String::new();
    let mut depth = 0_u32;
    for c in header.trim().chars() {
        match c {
            '[' | '(' | '（' | '【' => depth += 1,
            ']' | ')' | '）' | '】' => depth = depth.saturating_sub(1),
            _ if depth > 0 => inside.push(c),
            _ => rest.push(c),
        }
    }
    if !inside.is_empty() {
        unit = Quantity::from_unit(&inside);
    }
    let spaced: String = rest
        .chars()
        .map(|c| match c {
            '_' | '.' | ':' | '/' | '-' | '#' | '：' => ' ',
            '’' => '\'',
            other => other,
        })
        .collect();
    let mut words: Vec<&str> = spaced.split_whitespace().collect();
    if unit.is_none()
        && let Some(last) = words.last()
        && let Some(found) = Quantity::from_unit(last)
    {
        unit = Some(found);
        words.pop();
        if words.last() == Some(&"in") {
            words.pop();
        }
    }
    (words.join(" ").to_lowercase(), unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_come_from_brackets_or_the_last_word() {
        let headers = Headers::new(&Config::default());
        for (header, field, unit) in [
            ("Leakage [µA]", Field::Reading, Quantity::Current(-6)),
            ("i_leak_ua", Field::Reading, Quantity::Current(-6)),
            ("set V", Field::AppliedV, Quantity::Voltage(0)),
            ("room %RH", Field::Humidity, Quantity::Percent),
            ("Max mA", Field::HighLimit, Quantity::Current(-3)),
        ] {
            assert_eq!(headers.meaning(header), Meaning::Field(field, Some(unit)), "{header}");
        }
    }
}
