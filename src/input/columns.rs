//! Header spellings: which canonical column a header names, and in which unit.
//!
//! The settings' `[columns]` come first, then canonical names and factors, then generic trade words
//! (`header_meaning`).

use std::collections::{BTreeMap, BTreeSet};

pub use super::field::{Field, IGNORED, reference};
use super::header_meaning::{Clarity, named};
use super::outcomes::{Outcomes, Said};
use crate::config::Config;
use crate::error::Result;
use crate::records::{Outcome, Quantity};

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

/// What a header says, and by what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Heading {
    /// What it means; unknown where only the values can tell.
    pub(super) meaning: Meaning,
    /// By what it is known.
    pub(super) by: By,
    /// Columns it may be, where the values decide.
    pub(super) may_be: Vec<Field>,
    /// The unit it names, of whatever quantity.
    pub(super) unit: Option<Quantity>,
    /// Whether its words say that it is none of the columns used.
    pub(super) is_other: bool,
    /// What stands in its brackets where a unit should be, and cannot be read: it is none of the columns that it
    /// may be then, for a number in an unknown unit is worse than none.
    pub(super) strange: Option<String>,
}

/// From so many digits on, a cell is a value and no header.
const VALUE_DIGITS: usize = 4;

/// By what a header is known, the weakest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum By {
    /// By nothing.
    Nothing,
    /// Words that mean one column as a rule.
    UsualWords,
    /// Words that mean nothing else.
    ClearWords,
    /// Its canonical name, or that of a factor.
    Name,
    /// The settings.
    Settings,
}

/// Reads headers: first by the config's words, then by the trade's.
#[derive(Debug)]
pub struct Headers {
    mapped: Vec<(String, String)>,
    factors: Vec<String>,
    /// The settings' words for values, by canonical column: what a column holds may tell what it is.
    pub(super) values: BTreeMap<String, BTreeMap<String, String>>,
    pub(super) outcomes: Option<Outcomes>,
    /// The words for outcomes that the settings map.
    pub(super) outcome_words: BTreeSet<String>,
    /// Whether the settings give limits by model.
    pub(super) has_model_limits: bool,
}

impl Headers {
    /// A reader of headers for these settings.
    #[must_use]
    pub fn new(config: &Config) -> Self {
        let squeezed = |words: &BTreeMap<String, String>| {
            words.iter().map(|(word, value)| (squeeze(word), value.clone())).collect()
        };
        Self {
            mapped: config.columns.iter().map(|(k, v)| (squeeze(k), v.clone())).collect(),
            factors: config.factors.iter().map(|f| squeeze(f)).collect(),
            values: config.values.iter().map(|(k, v)| (k.clone(), squeezed(v))).collect(),
            outcomes: Outcomes::new(config).ok(),
            outcome_words: config
                .outcomes
                .keys()
                .chain(config.values.get(Field::Outcome.name()).into_iter().flat_map(|t| t.keys()))
                .map(|word| squeeze(word))
                .collect(),
            has_model_limits: config.model.values().any(|m| m.high_limit_ma.is_some()),
        }
    }

    /// What `header` means.
    #[must_use]
    pub fn meaning(&self, header: &str) -> Meaning {
        self.heading(header).meaning
    }

    /// What `header` means, and by what.
    pub(super) fn heading(&self, header: &str) -> Heading {
        let plain = squeeze(header);
        let mut heading = Heading {
            meaning: Meaning::Unknown,
            by: By::Nothing,
            may_be: Vec::new(),
            unit: None,
            is_other: false,
            strange: None,
        };
        // A cell that begins with a digit, or holds many, is a value.
        let digits = plain.chars().filter(char::is_ascii_digit).count();
        let is_value = plain.is_empty()
            || digits >= VALUE_DIGITS
            || plain.starts_with(|c: char| c.is_ascii_digit());
        let mapped = self.mapped.iter().find(|(k, _)| *k == plain);
        if is_value && mapped.is_none() {
            return heading;
        }
        let named = named(header);
        (heading.unit, heading.is_other) = (named.unit, named.is_other);
        let with_unit = |field: Field| {
            let unit = named.unit.filter(|u| field.quantity().is_some_and(|q| q.same_kind(*u)));
            Meaning::Field(field, unit)
        };
        let factor = |name: &str| self.factors.iter().position(|f| f == name);
        let (meaning, by) = if let Some((_, target)) = mapped {
            let meaning = Field::with_unit(target).map(|(field, stated)| {
                let own = named.unit.filter(|u| field.quantity().is_some_and(|q| q.same_kind(*u)));
                let is_canonical = stated == field.quantity();
                // Another unit than the field's own holds, whatever the header shows.
                heading.unit = if is_canonical { heading.unit } else { stated };
                Meaning::Field(field, if is_canonical { own.or(stated) } else { stated })
            });
            let factor = || factor(&squeeze(target)).map(Meaning::Factor);
            (meaning.or_else(factor).unwrap_or(Meaning::Unknown), By::Settings)
        } else if let Some(field) = Field::from_name(&plain) {
            (Meaning::Field(field, field.quantity()), By::Name)
        } else if let Some(n) = factor(&plain) {
            // Whoever names `line` as a factor does not mean the station, which the trade's words would take it for.
            (Meaning::Factor(n), By::Name)
        } else {
            // Of a text or a date, words in brackets are only more words.
            let is_number = named.fields.iter().any(|f| f.quantity().is_some());
            let is_strange = named.strange.is_some();
            heading.strange = named.strange.filter(|_| is_number);
            match (named.fields.first(), named.clarity) {
                (Some(_), _) if heading.strange.is_some() => {
                    (heading.may_be, heading.is_other) = (named.fields, true);
                    (Meaning::Unknown, By::Nothing)
                }
                (Some(field), Clarity::Clear) if is_strange => (with_unit(*field), By::UsualWords),
                (Some(field), Clarity::Clear) => (with_unit(*field), By::ClearWords),
                (Some(field), Clarity::Usual) => (with_unit(*field), By::UsualWords),
                (Some(_), Clarity::Open) => {
                    heading.may_be = named.fields;
                    (Meaning::Unknown, By::Nothing)
                }
                (None, _) => (Meaning::Unknown, By::Nothing),
            }
        };
        Heading { meaning, by, ..heading }
    }
}

impl Headers {
    /// Whether a name is a word for a pass or a failure, and used for little else.
    pub(super) fn is_outcome(&self, name: &str) -> bool {
        let said = self.outcomes.as_ref().and_then(|outcomes| outcomes.said(name));
        let is_whole = matches!(said, Some(Said::Fail | Said::Class(Outcome::Pass)));
        is_whole && name.trim().chars().count() > 1 && !super::layout::is_often_something_else(name)
    }

    /// What stands in a header where a unit does, and is none of what the column holds (`own`); `None` where
    /// nothing does, or the settings say what the header means.
    #[must_use]
    pub fn unread_unit(&self, header: &str, own: Quantity) -> Option<String> {
        let plain = squeeze(header);
        if self.mapped.iter().any(|(k, _)| *k == plain) {
            return None;
        }
        if self.heading(header).unit.is_some_and(|unit| !unit.same_kind(own)) {
            return Some(header.to_owned());
        }
        let start = header.find(['[', '(', '（', '【'])?;
        let is_square = header[start..].starts_with(['[', '【']);
        let inside = header[start..].trim_start_matches(['[', '(', '（', '【']);
        let inside = inside[..inside.find([']', ')', '）', '】']).unwrap_or(inside.len())].trim();
        let word = inside.to_lowercase();
        // A remark stands in round brackets as a rule: only what looks like a unit, or is one of no current.
        let is_remark = BESIDE_UNITS.contains(&word.as_str())
            || (!is_square
                && word.chars().count() > 3
                && !word.contains(['?', '\u{fffd}'])
                && !NO_UNITS_OF_CURRENT.contains(&word.as_str())
                && !inside
                    .split(|c: char| !c.is_alphabetic())
                    .any(|w| Quantity::from_unit(w).is_some_and(|u| u.same_kind(own))));
        let is_read = inside.is_empty() || Quantity::from_unit(inside).is_some() || is_remark;
        (!is_read).then(|| inside.to_owned())
    }
}

/// Words in brackets that say which value it is, not its unit. Common practice, no source.
const BESIDE_UNITS: [&str; 22] = [
    "max", "min", "rms", "eff", "ac", "dc", "hv", "total", "peak", "avg", "mean", "end", "final",
    "set", "soll", "ist", "actual", "measured", "gemessen", "real", "hi", "lo",
];

/// Words in round brackets that are units, of something else. Common practice, no source.
const NO_UNITS_OF_CURRENT: [&str; 6] = ["counts", "digits", "percent", "steps", "ticks", "p.u."];

/// Refuses settings that name a column which does not exist: they would do nothing, without a word.
///
/// # Errors
/// With the nearest name that exists.
pub fn check(config: &Config) -> Result<()> {
    let fields = || Field::ALL.iter().map(|(_, name)| *name);
    let factors: Vec<String> = config.factors.iter().map(|f| squeeze(f)).collect();
    let is_factor = |name: &str| factors.contains(&squeeze(name));
    let both = || fields().chain(config.factors.iter().map(String::as_str));
    // Whoever writes `leakage current` for a column means one all the same.
    let headers = Headers::new(&Config::default());
    let meant = |name: &str| match headers.meaning(name) {
        Meaning::Field(field, _) => Some(field.name()),
        Meaning::Factor(_) | Meaning::Unknown => None,
    };
    for target in config.columns.values() {
        if Field::with_unit(target).is_none() && !is_factor(target) && target != IGNORED {
            let all = both().chain([IGNORED]);
            return Err(config.unknown("[columns]", "column", target, meant(target), all));
        }
    }
    for name in config.values.keys() {
        if Field::from_name(name).is_none() && !is_factor(name) {
            return Err(config.unknown("[values]", "column", name, meant(name), both()));
        }
    }
    for name in config.assume.keys() {
        if Field::from_name(name).is_none() {
            return Err(config.unknown("[assume]", "column", name, meant(name), fields()));
        }
    }
    let pattern = config.files.pattern.as_deref().unwrap_or("");
    for piece in pattern.split('{').skip(1) {
        let name = piece.split('}').next().unwrap_or("");
        if Field::from_name(name).is_none() {
            return Err(config.unknown("[files] pattern", "column", name, meant(name), fields()));
        }
    }
    Ok(())
}

/// Lower case, single spaces of whatever kind, without signs that are not seen.
pub(super) fn squeeze(text: &str) -> String {
    super::cell::tidy(text).to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
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
