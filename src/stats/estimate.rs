//! A number that is never shown without its uncertainty.

use serde::{Serialize, Serializer};

/// A point estimate with its confidence interval.
///
/// - Units: those of the quantity estimated; the interval shares them.
/// - Invariant: `low <= value <= high` where all are finite. An end that the data cannot bound is
///   infinite; no field is ever NaN.
/// - As JSON: an object of its fields, `null` for what is infinite.
///
/// ```
/// use leakdrift_stats::estimate::Estimate;
///
/// let x50 = Estimate::new(0.412, 0.405, 0.419, 0.95, "average of families").unwrap();
/// assert!(x50.contains(0.41) && !x50.contains(0.42));
/// let in_microamperes = x50.scaled(1000.0);
/// assert_eq!((in_microamperes.low, in_microamperes.high), (405.0, 419.0));
///
/// let unbounded = Estimate::new(3.0, 1.0, f64::INFINITY, 0.95, "exact").unwrap();
/// assert_eq!(
///     serde_json::to_string(&unbounded).unwrap(),
///     r#"{"value":3.0,"low":1.0,"high":null,"level":0.95,"method":"exact"}"#
/// );
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Estimate {
    /// The best single value.
    #[serde(serialize_with = "finite")]
    pub value: f64,
    /// Lower end of the interval.
    #[serde(serialize_with = "finite")]
    pub low: f64,
    /// Upper end of the interval.
    #[serde(serialize_with = "finite")]
    pub high: f64,
    /// Confidence level of the interval, a fraction of 1 (0.95).
    pub level: f64,
    /// How value and interval were made, in a few words for the reader of a report.
    pub method: String,
}

/// An end without a bound is written as nothing.
fn finite<S: Serializer>(x: &f64, to: S) -> Result<S::Ok, S::Error> {
    if x.is_finite() { to.serialize_f64(*x) } else { to.serialize_none() }
}

/// Writes the value of an estimate alone.
///
/// # Errors
/// Those of the serializer.
pub fn as_value<S: Serializer>(e: &Option<Estimate>, to: S) -> Result<S::Ok, S::Error> {
    e.as_ref().map(|e| e.value).serialize(to)
}

impl Estimate {
    /// An estimate from its parts; ends given in the wrong order are swapped, and an end that lies on
    /// the wrong side of the value is drawn to it.
    ///
    /// Returns `None` where any number is NaN, so that no report ever has to print one.
    pub fn new(
        value: f64,
        low: f64,
        high: f64,
        level: f64,
        method: impl Into<String>,
    ) -> Option<Self> {
        if [value, low, high, level].iter().any(|x| x.is_nan()) {
            return None;
        }
        let (low, high) = if low <= high { (low, high) } else { (high, low) };
        Some(Self {
            value,
            low: low.min(value),
            high: high.max(value),
            level,
            method: method.into(),
        })
    }

    /// The same estimate in another unit: value and ends multiplied by `factor` (positive or negative).
    pub fn scaled(&self, factor: f64) -> Self {
        let (a, b) = (self.low * factor, self.high * factor);
        Self {
            value: self.value * factor,
            low: a.min(b),
            high: a.max(b),
            level: self.level,
            method: self.method.clone(),
        }
    }

    /// Whether `x` lies inside the interval, ends included.
    pub fn contains(&self, x: f64) -> bool {
        self.low <= x && x <= self.high
    }
}
