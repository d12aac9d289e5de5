//! What every parser of a run needs of the settings: words, place holders, and what is known of models.

use std::collections::BTreeMap;

use hashbrown::HashSet;

use super::cell::is_invisible;
use super::columns::{Field, Headers, squeeze};
use super::kinds::test_kind;
use super::mapped::{Mapped, Unmet};
use super::outcomes::Outcomes;
use crate::config::Config;
use crate::error::Result;
use crate::records::{Limits, TestKind, ma_to_pa};

/// What all parsers of a run share: words and defaults from the config.
#[derive(Debug)]
pub struct Words {
    pub(super) headers: Headers,
    pub(super) outcomes: Outcomes,
    pub(super) values: BTreeMap<Field, BTreeMap<String, Mapped<String>>>,
    pub(super) factor_values: Vec<BTreeMap<String, Mapped<String>>>,
    pub(super) placeholders: HashSet<String>,
    pub(super) fault_locating: Vec<String>,
    pub(super) check_loads: HashSet<String>,
    pub(super) model_limits: BTreeMap<String, Limits>,
    pub(super) default_test: TestKind,
    pub(super) day_starts_s: i64,
}

impl Words {
    /// The words of these settings.
    ///
    /// # Errors
    /// Where an outcome word of the config is unknown.
    pub fn new(config: &Config) -> Result<Self> {
        super::columns::check(config)?;
        let table = |name: &str| -> Option<BTreeMap<String, Mapped<String>>> {
            config
                .values
                .get(name)
                .map(|t| t.iter().map(|(k, v)| (squeeze(k), Mapped::new(v.clone()))).collect())
        };
        let pa = |ma: Option<f64>| ma.and_then(ma_to_pa);
        Ok(Self {
            headers: Headers::new(config),
            outcomes: Outcomes::new(config)?,
            values: Field::ALL.iter().filter_map(|(f, name)| Some((*f, table(name)?))).collect(),
            factor_values: config.factors.iter().map(|f| table(f).unwrap_or_default()).collect(),
            placeholders: config.placeholder_serials.iter().map(|s| plain_serial(s)).collect(),
            fault_locating: config.fault_locating_words.iter().map(|w| squeeze(w)).collect(),
            check_loads: config.check_loads.keys().map(|k| plain_serial(k)).collect(),
            model_limits: config
                .model
                .iter()
                .map(|(k, m)| {
                    (k.clone(), Limits { high_pa: pa(m.high_limit_ma), low_pa: pa(m.low_limit_ma) })
                })
                .collect(),
            default_test: config
                .assumed("test")
                .and_then(|t| test_kind(&t, TestKind::AcWithstand))
                .unwrap_or(TestKind::AcWithstand),
            day_starts_s: config.day_starts_s(),
        })
    }
}

impl Words {
    /// Words under `[outcomes]` and `[values]` that no row had so far.
    #[must_use]
    pub fn unmet(&self, config: &Config) -> Vec<Unmet> {
        let outcomes = config.outcomes.keys().filter(|word| !self.outcomes.is_met(word));
        let mut unmet: Vec<Unmet> = outcomes
            .map(|word| Unmet { section: "[outcomes]".to_owned(), word: word.clone() })
            .collect();
        for (column, words) in &config.values {
            let of_factor = config.factors.iter().position(|f| f == column);
            let mapped = Field::from_name(column)
                .and_then(|field| self.values.get(&field))
                .or_else(|| self.factor_values.get(of_factor?));
            let is_met = |word: &str| {
                mapped.is_some_and(|words| words.get(&squeeze(word)).is_some_and(Mapped::is_met))
            };
            let section = format!("[values.{column}]");
            let left = words.keys().filter(|word| !is_met(word));
            unmet.extend(left.map(|word| Unmet { section: section.clone(), word: word.clone() }));
        }
        unmet
    }
}

/// A serial as it is compared: without case, spaces and dashes.
#[must_use]
pub fn plain_serial(serial: &str) -> String {
    serial
        .chars()
        .filter(|c| !c.is_whitespace() && !"-–—_".contains(*c) && !is_invisible(*c))
        .flat_map(char::to_lowercase)
        .collect()
}
