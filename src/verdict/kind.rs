//! The five verdicts on a high limit, and what one answer about the tail says.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::verdict::band::Band;
use crate::verdict::evidence::{Answer, Tail};

/// The five verdicts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum VerdictKind {
    /// Healthy units are rejected.
    TooTight,
    /// Inside the workable band.
    Fits,
    /// A harmful leak passes.
    TooLoose,
    /// No limit serves both ends.
    NoWorkableBand,
    /// The data do not decide.
    NotEnoughData,
}

impl VerdictKind {
    /// Machine name, as in `results.json`.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::TooTight => "too_tight",
            Self::Fits => "fits",
            Self::TooLoose => "too_loose",
            Self::NoWorkableBand => "no_workable_band",
            Self::NotEnoughData => "not_enough_data",
        }
    }

    /// As printed.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::TooTight => "too tight",
            Self::Fits => "fits",
            Self::TooLoose => "too loose",
            Self::NoWorkableBand => "no workable band",
            Self::NotEnoughData => "not enough data",
        }
    }

    /// Whether the limit must not stay as it is.
    #[must_use]
    pub fn needs_action(self) -> bool {
        matches!(self, Self::TooTight | Self::TooLoose | Self::NoWorkableBand)
    }
}

impl fmt::Display for VerdictKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

impl Serialize for VerdictKind {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.key())
    }
}

/// What one answer about the tail says about the limit.
pub(super) struct AnswerVerdict {
    pub(super) answer: Answer,
    pub(super) tail: Tail,
    pub(super) band: Band,
    /// `None` where no limit is known.
    pub(super) kind: Option<VerdictKind>,
}
