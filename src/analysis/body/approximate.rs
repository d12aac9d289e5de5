//! Which answers about the tail are only approximate: what simulation shows to cover less than it says.

use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};

use crate::analysis::body::describe::{Because, Body, Which};

/// Block variance over the usual one from which days decide the interval.
const DAYS_DECIDE: f64 = 2.0;

/// Why the numbers about the tail hold less often than their level says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Approximate {
    /// Days differ more than units of one day do, so the interval rests on few days.
    DaysDecide,
    /// A long healthy tail and strays explain the readings alike.
    LongTailOrStrays,
    /// It cannot be told whether the highest readings are damage or a long healthy tail: both answers are in the interval.
    CannotBeTold,
    /// Strays are kept out of a body that no family describes.
    StraysOutsideFamilies,
    /// No family describes the highest readings, and strays among them would lengthen their tail unseen.
    OutsideFamilies,
    /// Reading steps are wide beside the spread: within one nothing is known.
    WideSteps,
    /// Too few units for a tail of their own: the families alone say what lies beyond the readings.
    FamiliesAlone,
}

impl Approximate {
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::DaysDecide => "days_decide",
            Self::LongTailOrStrays => "long_tail_or_strays",
            Self::CannotBeTold => "cannot_be_told",
            Self::StraysOutsideFamilies => "strays_outside_families",
            Self::OutsideFamilies => "outside_families",
            Self::WideSteps => "wide_steps",
            Self::FamiliesAlone => "families_alone",
        }
    }

    /// As printed, a sentence.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::DaysDecide => {
                "Days differ more than the units of one day do: the intervals rest on the number of days and hold a little less often than they say."
            }
            Self::LongTailOrStrays => {
                "A long healthy tail explains the highest readings as well as strays would: the data do not tell which."
            }
            Self::CannotBeTold => {
                "Whether the highest readings are damage or a long healthy tail cannot be told from these data, only by testing these units once more. Until then the interval is the wider of both answers."
            }
            Self::StraysOutsideFamilies => {
                "Strays are kept out of a body that no family describes: where the healthy tail is long, its end is set too low."
            }
            Self::OutsideFamilies => {
                "No family describes the highest readings: the end of the tail is what a general law of tails says, and strays among them would lengthen it unseen."
            }
            Self::WideSteps => {
                "The reading step is wider than half of the spread: where inside a step the currents lie is not known, so intervals reach to the edges of a step."
            }
            Self::FamiliesAlone => {
                "Too few units for a tail of their own: what lies beyond the readings is what the families say."
            }
        }
    }
}

/// As JSON has it: the machine name, and the sentence.
impl Serialize for Approximate {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut object = to.serialize_struct("Approximate", 2)?;
        object.serialize_field("reason", self.key())?;
        object.serialize_field("sentence", self.words())?;
        object.end()
    }
}

impl Body {
    /// Why the answer in use about the reading that a share `accepted` exceeds is only approximate; empty
    /// where simulation shows the intervals to hold.
    #[must_use]
    pub fn approximate(&self, accepted: f64) -> Vec<Approximate> {
        let Ok((which, because)) = self.in_use else {
            return Vec::new();
        };
        let tail = match which {
            Which::Apart => &self.local,
            Which::Together => &self.tail,
        };
        let days = tail.as_ref().ok().and_then(|tail| tail.dispersion(accepted));
        let mut found = Vec::new();
        if days.is_some_and(|ratio| ratio > DAYS_DECIDE) {
            found.push(Approximate::DaysDecide);
        }
        if !self.told && self.answers().len() == 2 {
            found.push(Approximate::CannotBeTold);
        } else if because == Because::LongTail {
            found.push(Approximate::LongTailOrStrays);
        }
        match which {
            _ if !self.is_outside_families(which) => {}
            Which::Apart => found.push(Approximate::StraysOutsideFamilies),
            Which::Together => found.push(Approximate::OutsideFamilies),
        }
        if self.has_wide_steps() {
            found.push(Approximate::WideSteps);
        }
        if tail.is_err() {
            found.push(Approximate::FamiliesAlone);
        }
        found
    }
}
