//! Validated settings, with defaults and units: what `leakdrift.toml` may hold (design section 17).

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::error::{ErrorKind, Result};

pub mod reference;
pub mod rules;

pub use rules::Rules;

/// The name of the settings file looked for beside the inputs.
pub const FILE_NAME: &str = "leakdrift.toml";

/// All settings. Every key has a default; unknown keys are refused.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Where the settings came from; paths in them are relative to its folder.
    #[serde(skip)]
    pub path: Option<PathBuf>,
    /// The text of that file, for naming a place in it.
    #[serde(skip)]
    pub text: String,
    /// Name of the report; the first path's name where not given.
    pub name: Option<String>,
    /// Further columns that may explain failures.
    pub factors: Vec<String>,
    /// Events file (date, what, station, model).
    pub events: Option<PathBuf>,
    /// Calibration register (instrument, station, done_on, due_on, error_pct).
    pub calibration: Option<PathBuf>,
    /// Clock time at which a production day starts, `HH:MM`.
    pub day_starts: String,
    /// Order of day and month, only where the files cannot decide it.
    pub date_order: Option<DateOrder>,
    /// Serials that name no unit, compared like serials.
    pub placeholder_serials: Vec<String>,
    /// Words in a remark that mark a fault-locating run, compared without case.
    pub fault_locating_words: Vec<String>,
    /// Header as exported = canonical column.
    pub columns: BTreeMap<String, String>,
    /// Word as exported = outcome.
    pub outcomes: BTreeMap<String, String>,
    /// By text column: value as exported = value to use.
    pub values: BTreeMap<String, BTreeMap<String, String>>,
    /// Pieces of file and folder names that are columns.
    pub files: Files,
    /// Values of columns that the files lack.
    pub assume: BTreeMap<String, toml::Value>,
    /// The testers' range and accuracy.
    pub tester: Tester,
    /// Check loads, by serial or model.
    pub check_loads: BTreeMap<String, CheckLoad>,
    /// The user's own standard, by test, in mA.
    pub ceiling: BTreeMap<String, f64>,
    /// Reading with no unit connected, by station, in mA at 1000 V and 50 Hz.
    pub open_lead_ma: BTreeMap<String, f64>,
    /// Overrides by model.
    pub model: BTreeMap<String, ModelConfig>,
    /// Accepted share of healthy units rejected.
    pub accepted_reject_share: f64,
    /// Confidence of every interval.
    pub confidence: f64,
    /// How far ahead limits must hold, in months.
    pub horizon_months: f64,
    /// Longest period judged, in months.
    pub judged_months: f64,
    /// Longest period judged where the shape is `season`, in months.
    pub judged_months_season: f64,
    /// Fewest units in the period judged before it is lengthened.
    pub judged_units: f64,
    /// Units a verdict needs.
    pub verdict_units: f64,
    /// Production days a verdict needs.
    pub verdict_days: u32,
    /// Lots a verdict needs, where lots are known.
    pub verdict_lots: u32,
    /// Units from which a verdict is printed as provisional.
    pub provisional_units: f64,
    /// Healthy rejects that `too tight` needs.
    pub too_tight_rejects: f64,
    /// Limits are set in multiples of this, in mA; the reading step where not given.
    pub limit_step_ma: Option<f64>,
    /// Readings of one station and decade from which the reading step is found.
    pub step_from_readings: u64,
    /// Units that make a daily point.
    pub daily_point_units: f64,
    /// Units that make a weekly point where days are thin.
    pub weekly_point_units: f64,
    /// Units from which a month has a row.
    pub month_units: f64,
    /// Share of the room that a drift must eat within the horizon to be material.
    pub material_room_share: f64,
    /// Reading steps that a material drift must move.
    pub material_steps: f64,
    /// Share of the room that makes a step material.
    pub material_step_room_share: f64,
    /// Share of the typical reading that makes a step material.
    pub material_step_typical_share: f64,
    /// Production days of the baseline.
    pub baseline_days: u32,
    /// Units of the baseline.
    pub baseline_units: f64,
    /// BIC gain from which two groups are reported.
    pub groups_bic_gain: f64,
    /// Standard deviations between the means of two groups.
    pub groups_separation: f64,
    /// Share of the smaller of two groups.
    pub groups_smaller_share: f64,
    /// Units of the smaller of two groups.
    pub groups_smaller_units: f64,
    /// Strays listed in the summary for one series.
    pub strays_listed: usize,
    /// Tests of one unit that make an unmarked fault-locating run.
    pub fault_run_tests: usize,
    /// Longest gap between tests of such a run, in seconds.
    pub fault_run_gap_s: i64,
    /// Equal readings in a row at one station that make a display that stands still.
    pub frozen_readings: usize,
    /// Expected number of such runs by chance below which they are reported.
    pub frozen_chance: f64,
    /// Days after which the same serial is a returned unit.
    pub returned_after_days: i64,
    /// Days on which a serial is seen from which it names no unit.
    pub placeholder_days: usize,
    /// Dates further than this many years from the median day are not believed.
    pub believable_years: f64,
    /// Retests allowed after a failure.
    pub retests_allowed: u32,
    /// p-value from which a change of the share of failures is reported.
    pub jump_p: f64,
    /// Failures after a jump from which it is flagged.
    pub jump_failures: f64,
    /// Ratio of the shares from which a jump is flagged.
    pub jump_ratio: f64,
    /// Rise of the share from which a jump is flagged.
    pub jump_rise: f64,
    /// Failures that a cause of a jump must have.
    pub cause_failures: f64,
    /// Share of the excess failures that a cause of a jump must explain.
    pub cause_share: f64,
    /// Seed of every random draw.
    pub seed: u64,
}

impl Default for Config {
    fn default() -> Self {
        let words = |list: &[&str]| list.iter().map(|w| (*w).to_owned()).collect();
        Self {
            path: None,
            text: String::new(),
            name: None,
            factors: Vec::new(),
            events: None,
            calibration: None,
            day_starts: "00:00".to_owned(),
            date_order: None,
            placeholder_serials: words(&[
                "0", "00", "000", "0000", "00000", "000000", "test", "n/a", "na", "none",
                "unknown", "x", "xxx", "xxxx", "-", "?",
            ]),
            fault_locating_words: words(&[
                "fault locating",
                "fault location",
                "fault finding",
                "troubleshooting",
                "Fehlersuche",
                "recherche de défaut",
                "ricerca guasto",
                "búsqueda de fallo",
            ]),
            columns: BTreeMap::new(),
            outcomes: BTreeMap::new(),
            values: BTreeMap::new(),
            files: Files::default(),
            assume: BTreeMap::new(),
            tester: Tester::default(),
            check_loads: BTreeMap::new(),
            ceiling: BTreeMap::new(),
            open_lead_ma: BTreeMap::new(),
            model: BTreeMap::new(),
            accepted_reject_share: 0.001,
            confidence: 0.95,
            horizon_months: 6.0,
            judged_months: 6.0,
            judged_months_season: 12.0,
            judged_units: 300.0,
            verdict_units: 200.0,
            verdict_days: 10,
            verdict_lots: 3,
            provisional_units: 50.0,
            too_tight_rejects: 3.0,
            limit_step_ma: None,
            step_from_readings: 200,
            daily_point_units: 5.0,
            weekly_point_units: 10.0,
            month_units: 30.0,
            material_room_share: 0.20,
            material_steps: 3.0,
            material_step_room_share: 0.10,
            material_step_typical_share: 0.02,
            baseline_days: 25,
            baseline_units: 300.0,
            groups_bic_gain: 10.0,
            groups_separation: 2.0,
            groups_smaller_share: 0.05,
            groups_smaller_units: 30.0,
            strays_listed: 200,
            fault_run_tests: 8,
            fault_run_gap_s: 60,
            frozen_readings: 12,
            frozen_chance: 1e-6,
            returned_after_days: 30,
            placeholder_days: 20,
            believable_years: 10.0,
            retests_allowed: 1,
            jump_p: 0.01,
            jump_failures: 5.0,
            jump_ratio: 2.0,
            jump_rise: 0.005,
            cause_failures: 3.0,
            cause_share: 0.10,
            seed: 20_261_030,
        }
    }
}

/// Order of day and month in dates that do not begin with the year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum DateOrder {
    /// 31.12.2026
    #[serde(rename = "day-month-year")]
    DayMonthYear,
    /// 12/31/2026
    #[serde(rename = "month-day-year")]
    MonthDayYear,
}

/// `[files]`.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Files {
    /// For example `{station}/*`: the last folders and the file name, pieces in braces are columns.
    pub pattern: Option<String>,
}

/// `[tester]`.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Tester {
    /// End of the current range, in mA.
    pub range_ma: Option<f64>,
    /// Accuracy in per cent of the reading.
    pub accuracy_pct: f64,
    /// Accuracy in reading steps, added to the per cent.
    pub accuracy_steps: f64,
}

impl Default for Tester {
    fn default() -> Self {
        Self { range_ma: None, accuracy_pct: 1.5, accuracy_steps: 2.0 }
    }
}

/// `[check_loads."NAME"]`.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckLoad {
    /// Its resistance in megohms, where it is a resistor.
    #[serde(default)]
    pub resistance_mohm: Option<f64>,
    /// The outcome it must give.
    pub expect: String,
}

/// `[model."NAME"]`.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ModelConfig {
    /// Smallest harmful leak path, in megohms.
    pub leak_path_mohm: Option<f64>,
    /// High limit in mA, where the files do not carry it.
    pub high_limit_ma: Option<f64>,
    /// Low limit in mA, where the files do not carry it.
    pub low_limit_ma: Option<f64>,
    /// Capacitance between the tested parts, in nF.
    pub capacitance_nf: Option<f64>,
    /// Models of one group share one limit.
    pub limit_group: Option<String>,
    /// Limits are set in multiples of this, in mA.
    pub limit_step_ma: Option<f64>,
    /// Lowest voltage that the test must be made at, in V.
    pub required_v: Option<f64>,
    /// Shortest dwell the test must have, in s.
    pub required_dwell_s: Option<f64>,
}

impl Config {
    /// The settings in `path`.
    ///
    /// # Errors
    /// Where the file cannot be read or a key or value is wrong: with line, column, the nearest known
    /// key, and what to do.
    pub fn read(path: &Path) -> Result<Self> {
        let text =
            std::fs::read_to_string(path).map_err(|e| crate::error::Error::io("read", path, e))?;
        Self::parse(&text, path)
    }

    /// The settings in `text`, which came from `path`.
    ///
    /// # Errors
    /// As [`Config::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self> {
        let mut config: Self = toml::from_str(text).map_err(|e| explain(&e, text, path))?;
        config.path = Some(path.to_owned());
        text.clone_into(&mut config.text);
        config.check(path)?;
        Ok(config)
    }

    /// Where a settings file for these inputs belongs: in the first folder given, or beside the first file.
    #[must_use]
    pub fn place_beside(paths: &[PathBuf]) -> PathBuf {
        let first = paths.first().map_or(Path::new("."), PathBuf::as_path);
        let folder = if first.is_dir() { first } else { first.parent().unwrap_or(Path::new(".")) };
        folder.join(FILE_NAME)
    }

    /// The settings file beside the inputs, if there is one: in a folder given, or in the folder of a
    /// file given.
    #[must_use]
    pub fn beside(paths: &[PathBuf]) -> Option<PathBuf> {
        paths
            .iter()
            .filter_map(|p| {
                if p.is_dir() {
                    Some(p.clone())
                } else {
                    let parent = p.parent()?;
                    Some(if parent.as_os_str().is_empty() {
                        PathBuf::from(".")
                    } else {
                        parent.to_owned()
                    })
                }
            })
            .map(|dir| dir.join(FILE_NAME))
            .find(|p| p.is_file())
    }

    /// An error about `word` in these settings: an unknown `kind` of word, with its line where it is found and
    /// the nearest of the known ones.
    #[must_use]
    pub fn unknown<'w>(
        &self,
        section: &str,
        kind: &str,
        word: &str,
        known: impl Iterator<Item = &'w str>,
    ) -> crate::error::Error {
        // In quotes first: a short word also stands inside others.
        let quoted = self.text.find(&format!("{word:?}")).map(|at| at + 1);
        let place = quoted.or_else(|| self.text.find(word)).map(|at| {
            let before = &self.text[..at];
            let line = before.matches('\n').count() + 1;
            (line, before.chars().rev().take_while(|&c| c != '\n').count() + 1)
        });
        ErrorKind::Config {
            path: self.path.clone().unwrap_or_default(),
            line: place.map(|p| p.0),
            column: place.map(|p| p.1),
            what: format!("{section}: unknown {kind} {word:?}"),
            to_do: format!("the nearest known one is {:?}", nearest(word, known)),
        }
        .into()
    }

    /// A path in the settings, made relative to their folder.
    #[must_use]
    pub fn resolve(&self, path: &Path) -> PathBuf {
        match self.path.as_deref().and_then(Path::parent) {
            Some(dir) if path.is_relative() => dir.join(path),
            _ => path.to_owned(),
        }
    }

    /// Seconds after midnight at which a production day starts.
    #[must_use]
    pub fn day_starts_s(&self) -> i64 {
        clock(&self.day_starts).unwrap_or(0)
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

    fn check(&self, path: &Path) -> Result<()> {
        let wrong = |what: String, to_do: &str| {
            Err(ErrorKind::Config {
                path: path.to_owned(),
                line: None,
                column: None,
                what,
                to_do: to_do.to_owned(),
            }
            .into())
        };
        if clock(&self.day_starts).is_none() {
            return wrong(
                format!("day_starts: expected HH:MM, found {:?}", self.day_starts),
                "write it like \"06:00\"",
            );
        }
        for (key, value, low, high) in [
            ("accepted_reject_share", self.accepted_reject_share, 0.0, 0.1),
            ("confidence", self.confidence, 0.5, 1.0),
            ("horizon_months", self.horizon_months, 0.0, 120.0),
        ] {
            if !(value > low && value < high) {
                return wrong(
                    format!("{key}: expected a number between {low} and {high}, found {value}"),
                    "give a fraction of 1 for shares, months for times",
                );
            }
        }
        for (group, table) in [("ceiling", &self.ceiling), ("open_lead_ma", &self.open_lead_ma)] {
            if let Some((key, value)) = table.iter().find(|(_, v)| !(**v > 0.0 && v.is_finite())) {
                return wrong(
                    format!("{group}.{key:?}: expected a current in mA above zero, found {value}"),
                    "give it in mA",
                );
            }
        }
        for key in self.ceiling.keys() {
            if !["ac withstand", "dc withstand", "leakage"].contains(&key.as_str()) {
                return wrong(
                    format!("ceiling: unknown test {key:?}"),
                    "use \"ac withstand\", \"dc withstand\" or \"leakage\"",
                );
            }
        }
        Ok(())
    }
}

/// Seconds after midnight of `HH:MM`.
fn clock(text: &str) -> Option<i64> {
    let (h, m) = text.split_once(':')?;
    let (h, m): (i64, i64) = (h.parse().ok()?, m.parse().ok()?);
    ((0..24).contains(&h) && (0..60).contains(&m)).then_some(h * 3600 + m * 60)
}

/// The known word that looks most like `found`.
fn nearest<'w>(found: &str, known: impl Iterator<Item = &'w str>) -> &'w str {
    known
        .max_by(|a, b| strsim::jaro_winkler(found, a).total_cmp(&strsim::jaro_winkler(found, b)))
        .unwrap_or("")
}

/// A TOML error with its place, and for an unknown key the nearest known one.
fn explain(error: &toml::de::Error, text: &str, path: &Path) -> crate::error::Error {
    let (line, column) = error.span().map_or((None, None), |span| {
        let before = &text[..span.start.min(text.len())];
        let line = before.matches('\n').count() + 1;
        let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
        (Some(line), Some(column))
    });
    let message = error.message().trim().replace('\n', " ");
    let quoted: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
    let unknown = message.starts_with("unknown field") || message.starts_with("unknown variant");
    let (what, to_do) = match quoted.split_first() {
        Some((found, known)) if unknown => {
            let nearest = nearest(found, known.iter().copied());
            let kind = if message.starts_with("unknown field") { "key" } else { "value" };
            (format!("unknown {kind} {found:?}"), format!("the nearest known one is {nearest:?}"))
        }
        _ => (message.clone(), "correct the line named".to_owned()),
    };
    ErrorKind::Config { path: path.to_owned(), line, column, what, to_do }.into()
}
