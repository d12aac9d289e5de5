//! What readings may be compared: the key of a series (design section 2).

use std::collections::HashMap;
use std::sync::LazyLock;

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::{AtPlant, Outcomes, Pass, Series};
use crate::config::{Config, ModelConfig};
use crate::day::days_of;
use crate::records::{Current, TestKind};

/// A series as findings name it: its model, and its id under the key `series`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct SeriesName {
    /// Index into the series of the pass.
    #[serde(skip)]
    pub index: usize,
    /// Model.
    pub model: String,
    /// Id.
    #[serde(rename = "series")]
    pub id: String,
}

/// What one series is called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Called {
    /// Safe for files and links, unique in its pass.
    pub id: String,
    /// Model and conditions; with test point and step only where two series would otherwise look alike.
    pub title: String,
    /// What an action about it names: the model where it has one series, else the title.
    pub subject: String,
}

impl Called {
    /// What all series are called, in their order.
    #[must_use]
    pub fn all(series: &[Series]) -> Vec<Self> {
        let mut alike: HashMap<String, u32> = HashMap::new();
        let mut of_model: HashMap<&str, u32> = HashMap::new();
        for s in series {
            *alike.entry(s.key.title()).or_default() += 1;
            *of_model.entry(&s.key.model).or_default() += 1;
        }
        let mut seen: HashMap<String, u32> = HashMap::new();
        let one = |s: &Series| {
            let mut slug = s.key.slug();
            if slug.is_empty() {
                slug = "series".to_owned();
            }
            let n = seen.entry(slug.clone()).or_default();
            *n += 1;
            let mut title = s.key.title();
            if alike[&title] > 1 {
                if !s.key.test_point.is_empty() {
                    title.push_str(&format!(", {}", s.key.test_point));
                }
                if !s.key.step.is_empty() {
                    title.push_str(&format!(", step {}", s.key.step));
                }
            }
            let alone = of_model[s.key.model.as_str()] == 1;
            Self {
                id: if *n > 1 { format!("{slug}-{n}") } else { slug },
                subject: if alone { s.key.model.clone() } else { title.clone() },
                title,
            }
        };
        series.iter().map(one).collect()
    }
}

/// Model, kind of test, where and how it was made.
///
/// # Examples
/// ```
/// use leakdrift::records::{Current, TestKind};
/// use leakdrift::series::SeriesKey;
///
/// let key = SeriesKey {
///     model: "KB120".to_owned(),
///     plant: None,
///     step: "1".to_owned(),
///     test: TestKind::AcWithstand,
///     test_point: "mains to case".to_owned(),
///     current: Current::Total,
///     applied_mv: Some(1_250_000),
///     frequency_mhz: Some(50_000),
///     dwell_ms: None,
///     units_together: 1,
/// };
/// assert_eq!(key.title(), "KB120, AC withstand 1250 V 50 Hz");
/// assert_eq!(key.slug(), "kb120-1-ac-withstand-1250-v-50-hz-mains-to-case");
/// ```
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SeriesKey {
    /// Model; of more than one plant with the plant in brackets.
    pub model: String,
    /// Its plant, where it is told.
    pub plant: Option<AtPlant>,
    /// Place in a sequence of tests; empty where there is none.
    pub step: String,
    /// Kind of test.
    pub test: TestKind,
    /// Where the voltage was applied; empty where not told.
    pub test_point: String,
    /// Total current or the part in phase.
    pub current: Current,
    /// Set voltage in millivolts.
    pub applied_mv: Option<i64>,
    /// Set frequency in millihertz.
    pub frequency_mhz: Option<i64>,
    /// Time at full voltage in milliseconds; for DC only, where absorption current still falls.
    pub dwell_ms: Option<i64>,
    /// Units on one tester at once.
    pub units_together: u16,
}

impl SeriesKey {
    /// Its plant; empty where it is not told.
    #[must_use]
    pub fn plant(&self) -> &str {
        self.plant.as_ref().map_or("", |at| &at.plant)
    }

    /// What files call its model, at whatever plant.
    #[must_use]
    pub fn own_model(&self) -> &str {
        self.plant.as_ref().map_or(&self.model, |at| &at.own)
    }

    /// What events and settings may call its model: that of this plant, then that of all.
    #[must_use]
    pub fn names(&self) -> [&str; 2] {
        [&self.model, self.own_model()]
    }

    /// The settings of its model; those of no model where it has none.
    #[must_use]
    pub fn settings<'a>(&self, config: &'a Config) -> &'a ModelConfig {
        static NONE: LazyLock<ModelConfig> = LazyLock::new(ModelConfig::default);
        self.names().into_iter().find_map(|name| config.model.get(name)).unwrap_or(&NONE)
    }

    /// Set voltage in volts.
    #[must_use]
    pub fn applied_v(&self) -> Option<f64> {
        self.applied_mv.map(thousandth)
    }

    /// Frequency in hertz.
    #[must_use]
    pub fn frequency_hz(&self) -> Option<f64> {
        self.frequency_mhz.map(thousandth)
    }

    /// Dwell in seconds.
    #[must_use]
    pub fn dwell_s(&self) -> Option<f64> {
        self.dwell_ms.map(thousandth)
    }

    /// The kind of test with voltage and frequency, for example `AC withstand 1500 V 50 Hz`.
    #[must_use]
    pub fn conditions(&self) -> String {
        let mut text = self.test.words().to_owned();
        if let Some(v) = self.applied_v() {
            text.push_str(&format!(" {v} V"));
        }
        if let Some(f) = self.frequency_hz().filter(|_| !self.test.is_dc()) {
            text.push_str(&format!(" {f} Hz"));
        }
        if let Some(t) = self.dwell_s() {
            text.push_str(&format!(" {t} s"));
        }
        if self.current == Current::InPhase {
            text.push_str(", in-phase current");
        }
        if self.units_together > 1 {
            text.push_str(&format!(", {} units together", self.units_together));
        }
        text
    }

    /// Title for people: model and conditions.
    #[must_use]
    pub fn title(&self) -> String {
        format!("{}, {}", self.model, self.conditions())
    }

    /// A name safe for files and links: lower case, letters, digits and dashes.
    #[must_use]
    pub fn slug(&self) -> String {
        let mut slug = String::new();
        let text =
            format!("{} {} {} {}", self.model, self.step, self.conditions(), self.test_point);
        for c in text.chars() {
            if c.is_ascii_alphanumeric() {
                slug.push(c.to_ascii_lowercase());
            } else if !slug.ends_with('-') {
                slug.push('-');
            }
            if slug.len() >= 60 {
                break;
            }
        }
        slug.trim_matches('-').to_owned()
    }
}

/// As JSON has it: voltages in volts, frequencies in hertz, times in seconds.
impl Serialize for SeriesKey {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let named = |text: &'_ String| (!text.is_empty()).then(|| text.clone());
        let mut map = to.serialize_map(Some(10))?;
        map.serialize_entry("model", &self.model)?;
        map.serialize_entry("plant", &self.plant.as_ref().map(|at| &at.plant))?;
        map.serialize_entry("test", &self.test.key().replace(' ', "_"))?;
        map.serialize_entry("applied_v", &self.applied_v())?;
        map.serialize_entry("frequency_hz", &self.frequency_hz())?;
        map.serialize_entry("test_point", &named(&self.test_point))?;
        map.serialize_entry("step", &named(&self.step))?;
        let in_phase = self.current == Current::InPhase;
        map.serialize_entry("current", if in_phase { "in_phase" } else { "total" })?;
        map.serialize_entry("dwell_s", &self.dwell_s())?;
        map.serialize_entry("units_together", &self.units_together)?;
        map.end()
    }
}

/// A series as pages and machines know it, with the units that were tested.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NamedSeries {
    /// Safe, unique name; also of its charts.
    pub id: String,
    /// Title for people, for example `KB120, AC withstand 1250 V 50 Hz`.
    pub title: String,
    /// What may be compared.
    #[serde(flatten)]
    pub key: SeriesKey,
    /// Units: first attempts that were completed.
    pub units: u64,
    /// Units of the month under review.
    pub units_this_month: u64,
    /// Outcomes of first attempts.
    pub outcomes: Outcomes,
}

impl NamedSeries {
    /// All series of a pass, in its order.
    #[must_use]
    pub fn all(pass: &Pass, month: (i32, u32)) -> Vec<Self> {
        let days = days_of(month);
        let one = |(n, (called, s)): (usize, (&Called, &Series))| Self {
            id: called.id.clone(),
            title: called.title.clone(),
            units: s.units(),
            units_this_month: s
                .outcomes
                .iter()
                .filter(|o| days.contains(&o.day) && o.outcome.is_completed())
                .map(|o| u64::from(o.count))
                .sum(),
            outcomes: Outcomes::new(&pass.series, n),
            key: s.key.clone(),
        };
        pass.called.iter().zip(&pass.series).enumerate().map(one).collect()
    }
}

#[expect(clippy::cast_precision_loss, reason = "settings stay far below 2^53")]
fn thousandth(n: i64) -> f64 {
    n as f64 / 1000.0
}
