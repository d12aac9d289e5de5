//! Why a verdict is what it is: each reason a machine word and a full sentence.

/// The kinds of reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReasonKind {
    /// The limit lies above the ceiling of the stated standard: unsafe.
    AboveCeiling,
    /// The limit lies above the tester's range: it can never trip.
    AboveTesterRange,
    /// No limit is known.
    NoLimitKnown,
    /// Too few units for any verdict.
    TooFewUnits,
    /// The tail could not be estimated.
    NoTailEstimate,
    /// The verdict is provisional.
    Provisional,
    /// The upper end lies below what healthy units read.
    NoBand,
    /// What would open a band.
    WhatHelps,
    /// The limit lies below `L` under every answer.
    BelowHealthy,
    /// Fewer healthy rejects than `too tight` asks.
    FewRejects,
    /// The limit lies above the upper end.
    AboveUpperEnd,
    /// The limit lies inside the band.
    InsideBand,
    /// Drift will put the limit below the lower end.
    FitsUntil,
    /// The limit lies between `L` and `U`.
    BetweenBounds,
    /// The limit lies below `L` under one answer only.
    AnswersDisagree,
    /// The excess is too common to be defects and the answers give different verdicts.
    ExcessTooCommon,
    /// What would decide the question.
    WhatDecides,
    /// Where the lower end comes from.
    LowerEnd,
    /// Where the upper end comes from.
    UpperEnd,
    /// No leak path is stated.
    AskForLeakPath,
    /// A leak path is stated but the voltage is unknown.
    LeakPathWithoutVoltage,
    /// Only drift closes the band before the end of the horizon.
    BandClosesWithDrift,
    /// The limit only repeats the ceiling.
    RepeatsCeiling,
    /// A tighter limit is possible.
    TighterPossible,
    /// A suggested limit with its proving loads.
    Suggested,
    /// No limit can be suggested.
    NothingSuggested,
    /// Good units rejected a month.
    RejectsPerMonth,
    /// Strays that passed.
    StraysPassed,
    /// The blind spot.
    BlindSpot,
}

impl ReasonKind {
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::AboveCeiling => "above_ceiling",
            Self::AboveTesterRange => "above_tester_range",
            Self::NoLimitKnown => "no_limit_known",
            Self::TooFewUnits => "too_few_units",
            Self::NoTailEstimate => "no_tail_estimate",
            Self::Provisional => "provisional",
            Self::NoBand => "no_band",
            Self::WhatHelps => "what_helps",
            Self::BelowHealthy => "below_healthy",
            Self::FewRejects => "few_rejects",
            Self::AboveUpperEnd => "above_upper_end",
            Self::InsideBand => "inside_band",
            Self::FitsUntil => "fits_until",
            Self::BetweenBounds => "between_bounds",
            Self::AnswersDisagree => "answers_disagree",
            Self::ExcessTooCommon => "excess_too_common",
            Self::WhatDecides => "what_decides",
            Self::LowerEnd => "lower_end",
            Self::UpperEnd => "upper_end",
            Self::AskForLeakPath => "ask_for_leak_path",
            Self::LeakPathWithoutVoltage => "leak_path_without_voltage",
            Self::BandClosesWithDrift => "band_closes_with_drift",
            Self::RepeatsCeiling => "repeats_ceiling",
            Self::TighterPossible => "tighter_possible",
            Self::Suggested => "suggested",
            Self::NothingSuggested => "nothing_suggested",
            Self::RejectsPerMonth => "rejects_per_month",
            Self::StraysPassed => "strays_passed",
            Self::BlindSpot => "blind_spot",
        }
    }
}

/// One reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// Its kind.
    pub kind: ReasonKind,
    /// A full sentence with numbers and units.
    pub sentence: String,
}

/// A growing list of reasons.
#[derive(Debug, Default)]
pub(super) struct Reasons(pub(super) Vec<Reason>);

impl Reasons {
    pub(super) fn add(&mut self, kind: ReasonKind, sentence: impl Into<String>) {
        self.0.push(Reason { kind, sentence: sentence.into() });
    }
}
