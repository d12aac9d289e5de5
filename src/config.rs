//! Validated settings, with defaults and units: what `leakdrift.toml` may hold (design section 17).
//!
//! One table, `config/keys.rs`, holds a row for each key; struct, default, reference, range and the lines of the
//! method page are made from it. Judges take the settings under the keys' own names. A file is refused, with
//! line and column, where it holds a key that is none or a number out of its range.

use std::fmt;
use std::path::{Path, PathBuf};

use chrono::{NaiveTime, Timelike};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};
use toml::de::{DeTable, DeValue};

use crate::error::{Error, ErrorKind, Result};

mod ceiling;
mod explain;
mod keys;
mod nearest;
mod place;
pub mod reference;
mod table;

use ceiling::Expected;
pub use ceiling::{Ceiling, Ceilings};
pub use keys::{CheckLoad, Config, Files, ModelConfig, Tester};
pub use nearest::nearest;
pub use table::{Key, Range, Section, Value};

/// The name of the settings file looked for beside the inputs.
pub const FILE_NAME: &str = "leakdrift.toml";

/// Known words are all named where there are no more of them.
const FEW: usize = 8;

/// Order of day and month in dates that do not begin with the year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum DateOrder {
    /// 31.12.2026
    #[serde(rename = "day-month-year")]
    DayMonthYear,
    /// 12/31/2026
    #[serde(rename = "month-day-year")]
    MonthDayYear,
    /// 26/12/31: only of years of two digits.
    #[serde(rename = "year-month-day")]
    YearMonthDay,
}

/// The sign before the decimals of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DecimalSign {
    /// `0.412`
    #[serde(alias = ".")]
    Point,
    /// `0,412`
    #[serde(alias = ",")]
    Comma,
}

impl DecimalSign {
    /// The other one, which may stand between thousands.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Point => Self::Comma,
            Self::Comma => Self::Point,
        }
    }
}

/// How operators are named.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum People {
    /// By a code made of the name.
    #[default]
    Coded,
    /// As the files name them.
    Shown,
}

/// How far east of Greenwich a clock is laid, `+01:00`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct UtcOffset(chrono::FixedOffset);

impl UtcOffset {
    /// Seconds east of Greenwich.
    #[must_use]
    pub fn east_s(self) -> i64 {
        self.0.local_minus_utc().into()
    }
}

impl TryFrom<String> for UtcOffset {
    type Error = String;

    fn try_from(text: String) -> std::result::Result<Self, String> {
        let offset = text.parse();
        offset.map(Self).map_err(|_| format!("expected an offset like \"+01:00\", found {text:?}"))
    }
}

impl From<UtcOffset> for String {
    fn from(offset: UtcOffset) -> Self {
        offset.0.to_string()
    }
}

/// A time of day, `HH:MM`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct ClockTime(NaiveTime);

impl ClockTime {
    /// Seconds after midnight.
    #[must_use]
    pub fn seconds(self) -> i64 {
        i64::from(self.0.num_seconds_from_midnight())
    }
}

impl TryFrom<String> for ClockTime {
    type Error = String;

    fn try_from(text: String) -> std::result::Result<Self, String> {
        let time = NaiveTime::parse_from_str(&text, "%H:%M");
        time.map(Self).map_err(|_| format!("expected a clock time like \"06:00\", found {text:?}"))
    }
}

impl From<ClockTime> for String {
    fn from(time: ClockTime) -> Self {
        time.to_string()
    }
}

impl fmt::Display for ClockTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.format("%H:%M"))
    }
}

/// A whole number, also where it is written with a point: 300.0.
fn whole<'de, D, T>(deserializer: D) -> std::result::Result<T, D::Error>
where
    D: Deserializer<'de>,
    T: TryFrom<i64>,
{
    let found = f64::deserialize(deserializer)?;
    #[expect(clippy::cast_possible_truncation, reason = "whole and small enough to be exact")]
    let number = (found.fract() == 0.0 && found.abs() < 9e15).then_some(found as i64);
    number
        .and_then(|n| T::try_from(n).ok())
        .ok_or_else(|| D::Error::custom(format!("expected a whole number, found {found}")))
}

/// One line of the settings that a method section tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SettingLine {
    /// Its name, as in the settings file.
    pub name: String,
    /// The value in use.
    pub value: String,
    /// Unit of the value, or what it counts.
    pub unit: &'static str,
    /// Why this default: source or reason.
    pub reason: &'static str,
}

/// A value that cannot be used, by the keys that lead to it.
struct Refused {
    keys: Vec<String>,
    what: String,
    to_do: String,
}

impl Config {
    /// The settings in `path`.
    ///
    /// # Errors
    /// Where the file cannot be read or a key or value is wrong: with line, column, the nearest known
    /// key, and what to do.
    pub fn read(path: &Path) -> Result<Self> {
        let bytes = std::fs::read(path).map_err(|e| Error::io("read", path, e))?;
        Self::parse(&explain::decoded(&bytes, path)?, path)
    }

    /// The settings in `text`, which came from `path`.
    ///
    /// # Errors
    /// As [`Config::read`].
    ///
    /// # Examples
    /// ```
    /// use leakdrift::config::Config;
    ///
    /// let path = "leakdrift.toml".as_ref();
    /// let config = Config::parse("horizon_months = 3\n[model.KB120]\nleak_path_mohm = 1", path)?;
    /// assert_eq!(config.model["KB120"].leak_path_mohm, Some(1.0));
    /// assert_eq!(config.confidence, 0.95, "what is not set has its default");
    ///
    /// let refused = Config::parse("horizon_month = 3", path).unwrap_err().to_string();
    /// assert!(refused.starts_with("leakdrift.toml, line 1, column 1: "));
    /// assert!(refused.contains("horizon_months"), "the nearest key is named");
    /// # Ok::<(), leakdrift::error::Error>(())
    /// ```
    pub fn parse(text: &str, path: &Path) -> Result<Self> {
        let mut config: Self =
            toml::from_str(text).map_err(|e| explain::explain(&e, text, path))?;
        config.path = Some(path.to_owned());
        text.clone_into(&mut config.text);
        match config.refused() {
            Some(Refused { keys, what, to_do }) => {
                let at = offset_of(text, &keys);
                Err(wrong(path, text, at, format!("{}: {what}", keys.join(".")), to_do))
            }
            None => Ok(config),
        }
    }

    /// An error about `word` in these settings: an unknown `kind` of word, with its line where it is found, and
    /// the nearest of the known ones, else the one that is `meant`.
    #[must_use]
    pub fn unknown<'w>(
        &self,
        section: &str,
        kind: &str,
        word: &str,
        meant: Option<&str>,
        known: impl Iterator<Item = &'w str>,
    ) -> Error {
        // In quotes first: a short word also stands inside others.
        let quoted = self.text.find(&format!("{word:?}")).map(|at| at + 1);
        let at = quoted.or_else(|| self.text.find(word));
        let path = self.path.as_deref().unwrap_or(Path::new(""));
        let what = format!("{section}: unknown {kind} {word:?}");
        let known: Vec<&str> = known.collect();
        // A slip of the pen comes before a word of the trade: `staton` is no state.
        let to_do = match meant.filter(|_| nearest(word, known.iter().copied()).is_empty()) {
            Some(meant) => format!("that {kind} is called {meant:?}"),
            None => nearest_known(word, known.into_iter()),
        };
        wrong(path, &self.text, at, what, to_do)
    }

    /// A path in the settings, made relative to their folder; where nothing is there, `\\` parts it as `/` does, as on
    /// the system that knows both.
    #[must_use]
    pub fn resolve(&self, path: &Path) -> PathBuf {
        let place = |path: &Path| match self.path.as_deref().and_then(Path::parent) {
            Some(dir) if path.is_relative() => dir.join(path),
            _ => path.to_owned(),
        };
        let parted = PathBuf::from(path.to_string_lossy().replace('\\', "/"));
        Some(place(path)).filter(|there| there.exists()).unwrap_or_else(|| place(&parted))
    }

    /// Events, register and decisions, from where they stand.
    pub fn side_files(&self) -> impl Iterator<Item = PathBuf> {
        let named = [&self.events, &self.calibration, &self.decisions];
        named.into_iter().flatten().map(|path| self.resolve(path))
    }

    /// Seconds after midnight at which a production day starts.
    #[must_use]
    pub fn day_starts_s(&self) -> i64 {
        self.day_starts.seconds()
    }

    /// What is assumed for a column the files lack, as text.
    #[must_use]
    pub fn assumed(&self, column: &str) -> Option<String> {
        Some(match self.assume.get(column)? {
            toml::Value::String(s) => s.clone(),
            other => other.to_string(),
        })
    }

    /// The settings of one model; those of no model where it has none.
    #[must_use]
    pub fn model(&self, name: &str) -> ModelConfig {
        self.model.get(name).cloned().unwrap_or_default()
    }

    /// The thresholds in use, one line each, as a method section tells them; a key that is not stated and has
    /// no default has none.
    #[must_use]
    pub fn lines(&self) -> Vec<SettingLine> {
        let own = self.stated().map(|(key, value)| ("", key, value));
        let tester = self.tester.stated().map(|(key, value)| ("tester.", key, value));
        own.chain(tester)
            .filter(|(_, key, _)| !key.reason.is_empty())
            .filter_map(|(section, key, value)| {
                let (value, unit) = match (key.unit, value.number()) {
                    ("%", Some(share)) => (crate::words::percent(share), ""),
                    (unit, _) => (value.shown()?, unit),
                };
                Some(SettingLine {
                    name: format!("{section}{}", key.name),
                    value,
                    unit,
                    reason: key.reason,
                })
            })
            .collect()
    }

    /// The first value out of its range, or word that is none.
    fn refused(&self) -> Option<Refused> {
        let by_name = |section: &str, name: &str| vec![section.to_owned(), name.to_owned()];
        let own = out_of_range(self.stated(), &[]);
        let tester = || out_of_range(self.tester.stated(), &["tester".to_owned()]);
        let loads = || {
            let mut all = self.check_loads.iter();
            all.find_map(|(n, load)| out_of_range(load.stated(), &by_name("check_loads", n)))
        };
        let models = || {
            let mut all = self.model.iter();
            all.find_map(|(name, model)| out_of_range(model.stated(), &by_name("model", name)))
        };
        own.or_else(tester).or_else(loads).or_else(models).or_else(|| self.refused_current())
    }

    /// The same of the currents that stand by the user's own words.
    fn refused_current(&self) -> Option<Refused> {
        let refused = |section: &str, name: &str, what: String, to_do: String| {
            Some(Refused { keys: vec![section.to_owned(), name.to_owned()], what, to_do })
        };
        let no_current = |section: &str, name: &str, found: String| {
            let what = format!("expected a current in mA above 0, found {found}");
            refused(section, name, what, "give it in mA".to_owned())
        };
        let mut leads = self.open_lead_ma.iter();
        if let Some((name, found)) = leads.find_map(|(n, ma)| Some((n, not_a_current(*ma)?))) {
            return no_current("open_lead_ma", name, found);
        }
        let tests = ["ac withstand", "dc withstand", "leakage"];
        let (name, expected) = self.ceiling.refused(&tests)?;
        match expected {
            Expected::Current(found) => no_current("ceiling", name, found),
            Expected::Test => {
                let to_do = nearest_known(name, tests.into_iter());
                refused("ceiling", name, "unknown test".to_owned(), to_do)
            }
            Expected::Words => refused(
                "ceiling",
                name,
                "expected words in quotes".to_owned(),
                "write what it is called".to_owned(),
            ),
        }
    }
}

/// A number that is no current above 0, as it is told.
fn not_a_current(ma: f64) -> Option<String> {
    (!Range::Above(0.0).holds(ma)).then(|| ma.to_string())
}

/// The first of these values that its range does not hold; `section` leads to them.
fn out_of_range<'v>(
    mut stated: impl Iterator<Item = (&'static Key, &'v dyn Value)>,
    section: &[String],
) -> Option<Refused> {
    stated.find_map(|(key, value)| {
        let found = value.number().filter(|x| !key.range.holds(*x))?;
        Some(Refused {
            keys: section.iter().cloned().chain([key.name.to_owned()]).collect(),
            what: format!("expected a number {}, found {found}", key.range),
            to_do: format!("correct it; it means: {}", key.meaning),
        })
    })
}

/// Where in a text the value stands to which these keys lead.
fn offset_of(text: &str, keys: &[String]) -> Option<usize> {
    let table = DeTable::parse(text).ok()?;
    let mut at = Some(table.get_ref());
    let mut start = None;
    for key in keys {
        let (_, value) = at?.iter().find(|(name, _)| name.get_ref().as_ref() == key.as_str())?;
        start = Some(value.span().start);
        at = match value.get_ref() {
            DeValue::Table(inner) => Some(inner),
            _ => None,
        };
    }
    start
}

/// An error of the settings file; `at` is the byte it is about.
fn wrong(path: &Path, text: &str, at: Option<usize>, what: String, to_do: String) -> Error {
    let before = at.map(|at| &text[..at.min(text.len())]);
    let column = |before: &str| before.chars().rev().take_while(|&c| c != '\n').count() + 1;
    ErrorKind::Config {
        path: path.to_owned(),
        line: before.map(|before| before.matches('\n').count() + 1),
        column: before.map(column),
        what,
        to_do,
    }
    .into()
}

/// Advice that names the known words that look like `found`; all of them where they are few, else where they are
/// listed.
fn nearest_known<'w>(found: &str, known: impl Iterator<Item = &'w str>) -> String {
    let known: Vec<&str> = known.collect();
    let quoted =
        |words: &[&str]| words.iter().map(|w| format!("{w:?}")).collect::<Vec<_>>().join(", ");
    match nearest(found, known.iter().copied()).as_slice() {
        [] if known.len() <= FEW => format!("known are {}", quoted(&known)),
        [] => "no known one looks like it; `leakdrift config` prints every key, `leakdrift config --columns` every column".to_owned(),
        [one] => format!("the nearest known one is {one:?}"),
        several => format!("the nearest known ones are {}", quoted(several)),
    }
}
