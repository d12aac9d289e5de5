//! What a table of settings is made of: a key with its range and reason, and the macro that makes struct,
//! defaults and list of keys from one row each.

use std::collections::BTreeMap;
use std::fmt;
use std::path::PathBuf;

use chrono::NaiveDate;

use super::{ClockTime, DateOrder, DecimalSign, People, UtcOffset};

/// A key of the settings, and what must be known of it wherever it is printed or checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Key {
    /// Its name in its section; in quotes where it is an example of the user's own words.
    pub name: &'static str,
    /// Unit of its value, or what it counts; `%` for a share that is printed in per cent.
    pub unit: &'static str,
    /// The numbers that it may be.
    pub range: Range,
    /// What it means, in one sentence.
    pub meaning: &'static str,
    /// Why its default is what it is: source or reason. Empty for what is no threshold: those are not printed
    /// with the method.
    pub reason: &'static str,
    /// What stands there where it has no default, as TOML.
    pub example: &'static str,
}

/// A section of the settings, and its keys.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// As it is headed; empty for the keys before all sections.
    pub head: &'static str,
    /// What it is for.
    pub meaning: &'static str,
    /// Its keys; examples where they are the user's own.
    pub keys: &'static [Key],
}

/// The numbers that a setting may be; never infinite and never none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Range {
    /// Any number, or no number at all.
    Any,
    /// Above this.
    Above(f64),
    /// This or more.
    AtLeast(f64),
    /// Above the first and below the second.
    Between(f64, f64),
    /// From the first to the second, both included.
    Within(f64, f64),
}

impl Range {
    /// Whether `x` lies in it.
    #[must_use]
    pub fn holds(self, x: f64) -> bool {
        x.is_finite()
            && match self {
                Self::Any => true,
                Self::Above(low) => x > low,
                Self::AtLeast(low) => x >= low,
                Self::Between(low, high) => x > low && x < high,
                Self::Within(low, high) => (low..=high).contains(&x),
            }
    }
}

impl fmt::Display for Range {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Any => f.write_str("any"),
            Self::Above(low) => write!(f, "above {low}"),
            Self::AtLeast(low) => write!(f, "of {low} or more"),
            Self::Between(low, high) => write!(f, "above {low} and below {high}"),
            Self::Within(low, high) => write!(f, "from {low} to {high}"),
        }
    }
}

/// A value of a setting, as far as tables ask for it.
pub trait Value {
    /// The number, for its range; `None` where it is none.
    fn number(&self) -> Option<f64> {
        None
    }

    /// The value as it is printed; `None` where nothing is stated.
    fn shown(&self) -> Option<String> {
        None
    }
}

macro_rules! numbers {
    ($($kind:ty),+) => {
        $( impl Value for $kind {
            #[expect(clippy::allow_attributes, reason = "of some kinds only")]
            #[allow(clippy::cast_lossless, clippy::cast_precision_loss, reason = "only compared with a range")]
            fn number(&self) -> Option<f64> {
                Some(*self as f64)
            }

            fn shown(&self) -> Option<String> {
                Some(self.to_string())
            }
        } )+
    };
}

numbers!(f64, u32, u64, usize, i64);

impl<T: Value> Value for Option<T> {
    fn number(&self) -> Option<f64> {
        self.as_ref().and_then(Value::number)
    }

    fn shown(&self) -> Option<String> {
        self.as_ref().and_then(Value::shown)
    }
}

impl Value for NaiveDate {
    fn shown(&self) -> Option<String> {
        Some(self.to_string())
    }
}

impl Value for ClockTime {
    fn shown(&self) -> Option<String> {
        Some(self.to_string())
    }
}

// Names, paths, words and lists are no thresholds: they have no range and are not printed with the method.
impl Value for String {}
impl Value for PathBuf {}
impl Value for DateOrder {}
impl Value for DecimalSign {}
impl Value for People {}
impl Value for UtcOffset {}
impl Value for Vec<String> {}

/// Numbers by the user's own words.
impl Value for BTreeMap<String, f64> {}

/// One struct of settings from one row a key:
/// `name: type = default, unit, range, meaning, why "reason", like "example";`.
///
/// Makes the struct, its `Default`, `KEYS` in the order of the rows, and `stated`, each key with its value.
macro_rules! settings {
    (
        $(#[$outer:meta])*
        $name:ident {
            $( $(#[$attr:meta])* $key:ident: $kind:ty = $value:expr, $unit:literal, $range:expr, $meaning:literal
                $(, why $reason:literal)? $(, like $example:literal)?; )+
        }
        $( sections {
            $( $section:ident: $held:ty = $head:literal, $for:literal, $keys:expr; )+
        } )?
        $( beside {
            $( $(#[$skipped:meta])+ $field:ident: $other:ty; )+
        } )?
    ) => {
        #[derive(Debug, Clone, Serialize, Deserialize)]
        $(#[$outer])*
        pub struct $name {
            $( #[doc = $meaning] $(#[$attr])* pub $key: $kind, )+
            $( $( #[doc = $for] pub $section: $held, )+ )?
            $( $( $(#[$skipped])+ pub $field: $other, )+ )?
        }

        impl Default for $name {
            fn default() -> Self {
                Self {
                    $( $key: $value, )+
                    $( $( $section: Default::default(), )+ )?
                    $( $( $field: Default::default(), )+ )?
                }
            }
        }

        impl $name {
            /// Every key, in the order of the reference.
            pub const KEYS: &'static [Key] = &[ $( Key {
                name: stringify!($key),
                unit: $unit,
                range: $range,
                meaning: $meaning,
                reason: concat!("" $(, $reason)?),
                example: concat!("" $(, $example)?),
            }, )+ ];

            $( /// Every section, the keys before all of them first.
            pub const SECTIONS: &'static [Section] = &[
                Section { head: "", meaning: "Before all sections.", keys: Self::KEYS },
                $( Section { head: $head, meaning: $for, keys: $keys }, )+
            ]; )?

            /// Each key with its value.
            pub fn stated(&self) -> impl Iterator<Item = (&'static Key, &dyn Value)> {
                Self::KEYS.iter().zip([ $( &self.$key as &dyn Value, )+ ])
            }
        }
    };
}

pub(super) use settings;
