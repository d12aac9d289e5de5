//! Why a verdict on a high limit is what it is: each reason with its numbers.
//!
//! Takes nothing and decides nothing: the judge fills these in, and `limit_words` makes the sentences. So a
//! later reader asks for a reason by its kind and never by its spelling. Currents in mA, shares fractions of 1.

use chrono::NaiveDate;

use crate::analysis::body::rise::{NoBefore, RiseKind};
use crate::movement::period::Judged;
use crate::stats::expected_share::ExpectedShare;
use crate::verdict::band::UpperEnd;
use crate::verdict::evidence::{Answer, Forecast, HoldsAt, Tail, Whose};
use crate::verdict::physics::LeakAdds;
use crate::verdict::suggest::Suggestion;

/// One reason.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// The limit lies above the ceiling of the stated standard: unsafe.
    AboveCeiling(Above),
    /// The limit lies above the tester's range: it can never trip.
    AboveTesterRange(Above),
    /// No limit is known.
    NoLimitKnown,
    /// A file that the series is read from is probably misread: nothing is judged.
    Misread,
    /// Too few units for any verdict.
    TooFewUnits {
        /// Units judged.
        units: u64,
        /// Units of a provisional verdict.
        provisional: u64,
        /// Units of a verdict.
        verdict: u64,
    },
    /// The tail could not be estimated.
    NoTailEstimate,
    /// The verdict is provisional: what the period is short of.
    Provisional(Vec<Short>),
    /// The upper end lies below what healthy units read.
    NoBand {
        /// What healthy units reach at least.
        healthy_ma: f64,
        /// The highest workable limit.
        upper_ma: f64,
    },
    /// What would open a band, which hangs on how a leak joins the healthy current.
    WhatHelps(LeakAdds),
    /// The limit lies below `L` under every answer.
    BelowHealthy(Below),
    /// It does, but fewer healthy rejects than `too tight` asks were seen or are expected.
    FewRejects {
        /// Where it lies.
        below: Below,
        /// Healthy rejects.
        rejects: f64,
        /// Healthy rejects that `too tight` asks.
        asked: f64,
    },
    /// The limit lies above the upper end.
    AboveUpperEnd(Above),
    /// The limit lies above the upper end of the band of the time before a rise.
    AboveEarlierEnd(Above),
    /// The limit lies inside the band.
    InsideBand(Between),
    /// The product rises, and a limit never follows a drift.
    Rising {
        /// How.
        kind: RiseKind,
        /// Since when; `None` since the first day.
        since: Option<NaiveDate>,
        /// First day that may belong to it.
        earliest: Option<NaiveDate>,
        /// The limit in force.
        limit_ma: f64,
        /// Until when it still serves; `None` where no date can be given.
        until: Option<Forecast>,
    },
    /// The band is of the time before the rise.
    BandBefore(Judged),
    /// Nothing is known of the time before the rise, so there is no band.
    NoBandBefore(NoBefore),
    /// What healthy units read while the product rises, at the most.
    HealthyMeanwhile {
        /// Today.
        today_ma: f64,
        /// At the end of the planning horizon.
        at_horizon_ma: Option<f64>,
    },
    /// Nothing is suggested: the readings may be rising.
    MayRise,
    /// The limit lies between `L` and `U`.
    BetweenBounds(Between),
    /// The limit lies below `L` under one answer only.
    AnswersDisagree {
        /// The limit.
        limit_ma: f64,
        /// `L` of that answer.
        lower_ma: f64,
        /// The answer.
        answer: Answer,
    },
    /// The excess is too common to be defects and the answers give different verdicts.
    ExcessTooCommon {
        /// Share of units in excess.
        share: f64,
        /// Share that defects could explain.
        most: f64,
    },
    /// About how many units would decide; `None` where no number would.
    UnitsDecide(Option<u64>),
    /// Only re-tests decide.
    RetestsDecide,
    /// Stations that read differently, each of which the band must hold at.
    HoldsAtEach(HoldsAt),
    /// Where the lower end comes from.
    LowerEnd(LowerEnd),
    /// A rule about the upper end.
    UpperEnd {
        /// The rule.
        end: UpperEnd,
        /// Whether it sets the end.
        sets: bool,
        /// Whose typical reading it takes.
        of: Whose,
    },
    /// No leak path is stated.
    AskForLeakPath {
        /// The leak that a limit at the upper end passes.
        leak_ma: f64,
        /// The typical reading.
        typical_ma: f64,
        /// Whose it is.
        of: Whose,
    },
    /// A leak path of so many MΩ is stated, but no voltage is known.
    LeakPathWithoutVoltage(f64),
    /// The limit only repeats the ceiling.
    RepeatsCeiling {
        /// The limit.
        limit_ma: f64,
        /// A working limit.
        suggested_ma: Option<f64>,
    },
    /// A suggested limit with its proving loads.
    Suggested(Suggestion),
    /// Nothing is suggested: the bounds leave no limit between them.
    NoLimitBetween,
    /// Nothing is suggested: a limit is not raised on data that do not decide.
    NotRaised,
    /// Healthy units rejected a month.
    RejectsPerMonth(ExpectedShare),
    /// So many strays passed.
    StraysPassed(u64),
    /// The blind spot.
    BlindSpot {
        /// The limit.
        limit_ma: f64,
        /// Lowest resistance that passes in a typical unit, MΩ.
        typical_mohm: f64,
        /// The same in a unit that reads low.
        low_reader_mohm: Option<f64>,
    },
}

/// A limit above an end that it should keep to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Above {
    /// The limit.
    pub limit_ma: f64,
    /// The end.
    pub end_ma: f64,
    /// Whether something stated sets that end, and not a rule of thumb.
    pub proven: bool,
}

/// A limit below the least that the reading can be which a share of healthy units stays under.
#[derive(Debug, Clone, PartialEq)]
pub struct Below {
    /// The limit.
    pub limit_ma: f64,
    /// `L`.
    pub lower_ma: f64,
    /// The station that reads most, where that is so; `None` where stations read alike.
    pub at: Option<String>,
    /// The share.
    pub share: f64,
}

/// A limit between two ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    /// The limit.
    pub limit_ma: f64,
    /// The lower one.
    pub low_ma: f64,
    /// The upper one; infinite where nothing bounds it.
    pub high_ma: f64,
    /// Share of healthy units in question.
    pub share: f64,
}

/// What a period holds too few of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Short {
    /// What it holds.
    pub holds: u64,
    /// What a verdict needs.
    pub needs: u64,
    /// Of what: `unit`, `production day`, `lot`.
    pub of: &'static str,
}

/// Where the lower end of a band comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct LowerEnd {
    /// Share of healthy units that stay under the tail's reading.
    pub share: f64,
    /// That reading with its bounds.
    pub tail: Tail,
    /// The station that reads most, where that is so; `None` where stations read alike.
    pub at: Option<String>,
    /// By which answer.
    pub answer: Answer,
    /// Confidence of the bounds.
    pub confidence: f64,
    /// The lower end.
    pub lower_ma: f64,
    /// The step in which limits are set; 0 where none is known.
    pub step_ma: f64,
}
