//! `[ceiling]`: the highest limit that the user's own standard allows, by test, and where that stands.
//!
//! A test has a number, or a table of its own with the number and the standard and clause that it is from; `standard`
//! and `clause` beside the tests are those of all that name none. What is not stated is told as that: an auditor asks.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Deserializer, MapAccess, Visitor};
use serde::{Deserialize, Serialize};

use super::not_a_current;

/// Keys of the section that are no tests.
const WORDS: [&str; 2] = ["standard", "clause"];

/// The section.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Ceilings(BTreeMap<String, Stated>);

/// What stands behind one key.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
enum Stated {
    Ma(f64),
    Words(String),
    Own(Own),
}

/// A test's own table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Own {
    ma: f64,
    standard: Option<String>,
    clause: Option<String>,
}

/// What was expected of a key that is refused.
pub(super) enum Expected {
    /// Words in quotes.
    Words,
    /// A test that there is.
    Test,
    /// A current above 0; what was found in its place.
    Current(String),
}

/// A ceiling and what it rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ceiling {
    /// Kind of test, as the settings name it.
    pub test: String,
    /// Highest limit, mA.
    pub ma: f64,
    /// The standard it is from; `None` where nobody stated it.
    pub standard: Option<String>,
    /// Its clause.
    pub clause: Option<String>,
}

impl Ceiling {
    /// What it rests on, in words.
    #[must_use]
    pub fn basis(&self) -> String {
        match (&self.standard, &self.clause) {
            (Some(standard), Some(clause)) => format!("{standard}, clause {clause}"),
            (Some(standard), None) => format!("{standard}, clause not stated"),
            (None, Some(clause)) => format!("standard not stated, clause {clause}"),
            (None, None) => "standard and clause not stated".to_owned(),
        }
    }
}

impl Ceilings {
    /// The ceiling of a kind of test, mA.
    #[must_use]
    pub fn ma(&self, test: &str) -> Option<f64> {
        match self.0.get(test)? {
            Stated::Ma(ma) | Stated::Own(Own { ma, .. }) => Some(*ma),
            Stated::Words(_) => None,
        }
    }

    /// All ceilings, by test.
    pub fn all(&self) -> impl Iterator<Item = Ceiling> {
        let of_all = |key: &str| match self.0.get(key) {
            Some(Stated::Words(words)) => Some(words.clone()),
            _ => None,
        };
        let [standard, clause] = WORDS.map(of_all);
        self.0.iter().filter_map(move |(test, stated)| {
            let (ma, own) = match stated {
                Stated::Words(_) => return None,
                Stated::Ma(ma) => (*ma, None),
                Stated::Own(own) => (own.ma, Some(own)),
            };
            let of_own = |choose: fn(&Own) -> &Option<String>| own.and_then(|o| choose(o).clone());
            // A clause of one standard is none of another.
            let other = own.is_some_and(|o| o.standard.is_some());
            Some(Ceiling {
                test: test.clone(),
                ma,
                standard: of_own(|o| &o.standard).or_else(|| standard.clone()),
                clause: of_own(|o| &o.clause).or_else(|| clause.clone().filter(|_| !other)),
            })
        })
    }

    /// The first key that is neither a test of `tests` with a current nor the words of one, and what was expected of it.
    pub(super) fn refused(&self, tests: &[&str]) -> Option<(&str, Expected)> {
        self.0.iter().find_map(|(key, stated)| {
            let words = WORDS.contains(&key.as_str());
            let what = match stated {
                Stated::Words(_) if words => return None,
                Stated::Ma(_) | Stated::Own(_) if words => Expected::Words,
                _ if !tests.contains(&key.as_str()) => Expected::Test,
                Stated::Words(found) => Expected::Current(format!("{found:?}")),
                Stated::Ma(ma) | Stated::Own(Own { ma, .. }) => {
                    Expected::Current(not_a_current(*ma)?)
                }
            };
            Some((key.as_str(), what))
        })
    }
}

/// By hand: what tries one shape after another forgets where in the file it was.
impl<'de> Deserialize<'de> for Stated {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Reader;
        impl<'de> Visitor<'de> for Reader {
            type Value = Stated;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a current in mA, or a table with ma, standard and clause")
            }

            fn visit_f64<E: de::Error>(self, ma: f64) -> Result<Stated, E> {
                Ok(Stated::Ma(ma))
            }

            #[expect(clippy::cast_precision_loss, reason = "a current")]
            fn visit_i64<E: de::Error>(self, ma: i64) -> Result<Stated, E> {
                Ok(Stated::Ma(ma as f64))
            }

            fn visit_str<E: de::Error>(self, words: &str) -> Result<Stated, E> {
                Ok(Stated::Words(words.to_owned()))
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Stated, A::Error> {
                Own::deserialize(MapAccessDeserializer::new(map)).map(Stated::Own)
            }
        }
        from.deserialize_any(Reader)
    }
}
