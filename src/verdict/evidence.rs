//! What a verdict is reached from: plain numbers of one series over the period judged.

use chrono::NaiveDate;
use serde::Serialize;

use crate::analysis::body::rise::{NoBefore, RiseKind};
use crate::movement::period::Judged;
use crate::movement::scale::Carry;
use crate::stats::estimate::Estimate;
use crate::verdict::band::BandInput;

/// The two answers about the tail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// Strays kept out.
    Apart,
    /// Every reading taken as healthy.
    Together,
}

impl Answer {
    /// For a sentence.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Apart => "with strays kept out",
            Self::Together => "with every reading taken as healthy",
        }
    }
}

/// The reading that `1 - a` of the healthy body stays under, by one answer, in mA; of the last day judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tail {
    /// The estimate.
    pub quantile_ma: f64,
    /// `L`, its one-sided lower bound.
    pub lower_ma: f64,
    /// `U`, its one-sided upper bound; infinite where the data do not bound it.
    pub upper_ma: f64,
    /// How much of `U` is only the way to the edge of a wide reading step: no reading speaks for it.
    pub of_step_ma: f64,
    /// `U` at the end of the planning horizon, where a slope is established.
    pub upper_at_horizon_ma: Option<f64>,
}

impl Tail {
    /// What the band of this answer is made from.
    #[must_use]
    pub fn of(&self, setting: &BandInput) -> BandInput {
        let (upper_now_ma, of_step_ma) = (self.upper_ma, self.of_step_ma);
        BandInput { upper_now_ma, of_step_ma, ..setting.clone() }
    }

    /// The same at a station, by how its readings come to the scale of the series.
    #[must_use]
    pub fn at_station(self, carry: Carry) -> Self {
        let at = |ma: f64| if ma.is_finite() { carry.at_station(ma) } else { ma };
        Self {
            quantile_ma: at(self.quantile_ma),
            lower_ma: at(self.lower_ma),
            upper_ma: at(self.upper_ma),
            of_step_ma: at(self.upper_ma) - at(self.upper_ma - self.of_step_ma),
            upper_at_horizon_ma: self.upper_at_horizon_ma.map(at),
        }
    }
}

/// The stations that a limit must serve, which read differently: the lower end of the band is of the one that reads
/// most, the upper end of the one that reads least. Currents in mA.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HoldsAt {
    /// Station that reads most.
    pub highest: String,
    /// What a typical unit reads there.
    pub highest_typical_ma: f64,
    /// Station that reads least.
    pub lowest: String,
    /// What a typical unit reads there.
    pub lowest_typical_ma: f64,
    /// Whether both are of the time before a rise, as the band is.
    pub before_rise: bool,
}

/// Whose typical reading an end of the band takes, where it is not that of the series today.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Whose {
    /// The station that reads least; `None` where stations read alike.
    pub station: Option<String>,
    /// It is of the time before a rise.
    pub before_rise: bool,
}

/// A forecast date with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Forecast {
    /// The day.
    pub date: NaiveDate,
    /// Earliest day.
    pub low: NaiveDate,
    /// Latest day; `None` where the data do not bound it.
    pub high: Option<NaiveDate>,
}

/// Everything the verdict on a high limit needs. Currents in mA.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Voltage, kind of current, X50 at the station that reads least, ceiling, range, steps and leak path. Its `upper_now_ma` is not read: each
    /// answer brings its own.
    pub setting: BandInput,
    /// The typical reading of the series, on its one scale: X50 of the healthy body. `setting` has what that is at the
    /// station that reads least.
    pub typical_ma: f64,
    /// The limit in force; `None` where none is known.
    pub high_limit_ma: Option<f64>,
    /// The stations that read most and least; `None` where they read alike.
    pub holds_at: Option<HoldsAt>,
    /// X05, a unit that reads low, at the station that reads least.
    pub x05_ma: Option<f64>,
    /// The answer with strays kept out, at the station that reads most.
    pub apart: Option<Tail>,
    /// The answer with every reading taken as healthy, likewise.
    pub together: Option<Tail>,
    /// Which answer is in use; where it is absent the other one is.
    pub in_use: Answer,
    /// Share of units in excess beyond the cut.
    pub excess_share: Option<f64>,
    /// The units judged.
    pub judged: Judged,
    /// Over-limit results of the period that are no strays.
    pub healthy_rejects_seen: f64,
    /// Expected share of healthy units above the limit in force, by the answer in use.
    pub expected_reject_share: Option<Estimate>,
    /// Units a month, for the rejects a month.
    pub units_per_month: f64,
    /// Strays that passed, over the whole history.
    pub strays_passed: u64,
    /// The date at which expected rejects pass `a`, where drift brings it.
    pub limit_reached_on: Option<Forecast>,
    /// A rise of the product that is certain and material.
    pub rise: Option<RiseEvidence>,
    /// The readings may be rising: too little for a rise, too much to raise a limit on.
    pub may_rise: bool,
}

/// A rise of the product, certain and material, that nothing explains.
#[derive(Debug, Clone, PartialEq)]
pub struct RiseEvidence {
    /// How it rose.
    pub kind: RiseKind,
    /// Since when; `None` since the first day.
    pub since: Option<NaiveDate>,
    /// First day that may belong to it.
    pub earliest: Option<NaiveDate>,
    /// The time before, which its band is made from.
    pub before: Result<Before, NoBefore>,
}

/// What healthy units read before a rise.
#[derive(Debug, Clone, PartialEq)]
pub struct Before {
    /// Typical reading, mA.
    pub x50_ma: f64,
    /// The answer with strays kept out.
    pub apart: Option<Tail>,
    /// The answer with every reading taken as healthy.
    pub together: Option<Tail>,
    /// Which answer is in use.
    pub in_use: Answer,
    /// The units judged.
    pub judged: Judged,
}

impl Evidence {
    /// The station that reads most; `None` where stations read alike.
    pub(super) fn highest(&self) -> Option<String> {
        self.holds_at.as_ref().map(|at| at.highest.clone())
    }

    /// Whose typical reading the upper end of the band takes.
    pub(super) fn whose(&self) -> Whose {
        let station = self.holds_at.as_ref().map(|at| at.lowest.clone());
        Whose { station, before_rise: self.rise.is_some() }
    }

    /// The answers that can be used, the one in use first. A bound that is not a number drops its answer.
    #[must_use]
    pub fn answers(&self) -> Vec<(Answer, Tail)> {
        let usable = |t: &Tail| {
            t.quantile_ma.is_finite()
                && !t.lower_ma.is_nan()
                && !t.upper_ma.is_nan()
                && t.lower_ma <= t.upper_ma
                && t.lower_ma < f64::INFINITY
                && self.setting.x50_ma.is_finite()
        };
        let one = |answer, tail: Option<Tail>| tail.filter(usable).map(|t| (answer, t));
        let mut all: Vec<_> =
            [one(Answer::Apart, self.apart), one(Answer::Together, self.together)]
                .into_iter()
                .flatten()
                .collect();
        // Stable: the answer in use first.
        all.sort_by_key(|(answer, _)| *answer != self.in_use);
        all
    }

    /// The evidence that the band is made from: of the time before a rise, where there is one. `None` where
    /// nothing is known of that time.
    #[must_use]
    pub fn for_band(&self) -> Option<Self> {
        let Some(rise) = &self.rise else { return Some(self.clone()) };
        let before = rise.before.as_ref().ok()?;
        Some(Self {
            setting: BandInput { x50_ma: before.x50_ma, ..self.setting.clone() },
            apart: before.apart,
            together: before.together,
            in_use: before.in_use,
            ..self.clone()
        })
    }

    /// The same evidence without numbers that cannot be meant: a voltage, resistance, cap or step that is
    /// not above zero counts as not stated, a count that is not a number as none.
    #[must_use]
    pub fn sound(&self) -> Self {
        let positive = |x: &f64| *x > 0.0 && x.is_finite();
        let mut e = self.clone();
        let s = &mut e.setting;
        for value in [
            &mut s.applied_v,
            &mut s.leak_path_mohm,
            &mut s.ceiling_ma,
            &mut s.tester_range_ma,
            &mut s.limit_step_ma,
        ] {
            *value = value.filter(positive);
        }
        for value in [&mut s.reading_step_ma, &mut e.healthy_rejects_seen, &mut e.units_per_month] {
            *value = Some(*value).filter(positive).unwrap_or(0.0);
        }
        e.high_limit_ma = e.high_limit_ma.filter(positive);
        e.x05_ma = e.x05_ma.filter(|x| x.is_finite());
        e.excess_share = e.excess_share.filter(|x| x.is_finite());
        e
    }

    /// The limit in force; zero, blank and nonsense are unknown.
    #[must_use]
    pub fn limit_ma(&self) -> Option<f64> {
        self.high_limit_ma.filter(|x| *x > 0.0 && x.is_finite())
    }
}
