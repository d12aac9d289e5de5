//! The six verdicts on a high limit, and what one answer about the tail says.

use std::fmt;

use serde::{Serialize, Serializer};

use crate::verdict::band::Band;
use crate::verdict::evidence::{Answer, Evidence, Forecast, Tail};
use crate::verdict::reason::Reason;

/// The six verdicts.
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
    /// The product rises, and a limit never follows a drift.
    Moving,
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
            Self::Moving => "moving",
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
            Self::Moving => "moving",
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

/// What the limit in force is called.
#[derive(Default)]
pub(super) struct Decided {
    pub(super) kind: Option<VerdictKind>,
    pub(super) fits_until: Option<Forecast>,
    pub(super) units_needed: Option<u64>,
}

impl Decided {
    pub(super) fn of(kind: VerdictKind) -> Self {
        Self { kind: Some(kind), ..Self::default() }
    }

    pub(super) fn open(units_needed: Option<u64>) -> Self {
        Self { units_needed, ..Self::of(VerdictKind::NotEnoughData) }
    }
}

/// That no limit serves both ends, and what would help.
pub(super) fn no_band(
    evidence: &Evidence,
    used: &AnswerVerdict,
    reasons: &mut Vec<Reason>,
) -> Decided {
    let (healthy_ma, upper_ma) = (used.tail.lower_ma, used.band.upper_ma);
    reasons.push(Reason::NoBand { healthy_ma, upper_ma });
    reasons.push(Reason::WhatHelps(evidence.setting.adds));
    Decided::of(VerdictKind::NoWorkableBand)
}
