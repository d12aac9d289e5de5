//! What was decided about both limits of a series: `series[].verdict` of `results.json`.

use serde::{Serialize, Serializer};

use crate::analysis::units::causes::Cause;
use crate::movement::Period;
use crate::verdict::evidence::{HoldsAt, Whose};
use crate::verdict::limit::Verdict;
use crate::verdict::low_limit::LowLimit;
use crate::verdict::reason::Reason;
use crate::words::object;

/// The verdicts on both limits, with all that explains them.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedLimits {
    /// The high limit.
    pub high: Verdict,
    /// The low limit.
    pub low: LowLimit,
    /// Lots whose failures stand out: no part of the healthy body.
    pub apart: Vec<Cause>,
    /// The period judged.
    pub period: Period,
}

/// An end of the workable band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// The lower end.
    Low,
    /// The upper end.
    High,
}

/// One rule about an end of the band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandEnd {
    /// Which end.
    pub end: End,
    /// `healthy`, `leak_path`, `twice_as_far`, `twice_typical`, `ceiling`, `tester_range`.
    pub rule: &'static str,
    /// The limit it asks for, mA; `None` where it asks for none that is bounded.
    pub ma: Option<f64>,
    /// Whether it sets the end.
    pub sets: bool,
    /// In a sentence.
    pub sentence: String,
}

impl JudgedLimits {
    /// Why, in sentences: the high limit, lots left out, the low limit, the period.
    #[must_use]
    pub fn reasons(&self) -> Vec<String> {
        let (high, low) = (&self.high, &self.low);
        let apart = self.apart.iter().map(|c| {
            format!(
                "{c} Its {} units are no part of the healthy body and are counted apart.",
                c.units
            )
        });
        high.reasons
            .iter()
            .map(|r| r.sentence(high.say))
            .chain(apart)
            .chain(low.reasons.iter().map(|r| r.sentence(low.say)))
            .chain([self.period.sentence.clone()])
            .collect()
    }

    /// Every rule about an end of the band, the lower end first; none without a band.
    #[must_use]
    pub fn band_ends(&self) -> Vec<BandEnd> {
        let Some(band) = &self.high.band else { return Vec::new() };
        let say = self.high.say;
        let finite = |ma: f64| Some(ma).filter(|x| x.is_finite());
        let lower = self.high.reasons.iter().find(|r| matches!(r, Reason::LowerEnd(_)));
        let lower = lower.map(|reason| BandEnd {
            end: End::Low,
            rule: "healthy",
            ma: finite(band.lower_ma),
            sets: true,
            sentence: reason.sentence(say),
        });
        let station = self.holds_at().map(|at| at.lowest.clone());
        let of = Whose { station, before_rise: self.high.rising.is_some() };
        let upper = band.ends.iter().map(|end| BandEnd {
            end: End::High,
            rule: end.rule.kind().key(),
            ma: finite(end.ma),
            sets: band.is_set_by(end),
            sentence: end.sentence(&of, say),
        });
        lower.into_iter().chain(upper).collect()
    }

    /// The stations whose typical readings the ends of the band are of; `None` where stations read alike.
    #[must_use]
    pub fn holds_at(&self) -> Option<&HoldsAt> {
        self.high.reasons.iter().find_map(|r| match r {
            Reason::HoldsAtEach(at) => Some(at),
            _ => None,
        })
    }

    /// The verdict on the high limit as printed.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self.high.kind {
            Some(kind) => kind.words(),
            None if self.high.is_withheld() => "not judged",
            None => "no limit known",
        }
    }
}

impl Serialize for JudgedLimits {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Units {
            from: chrono::NaiveDate,
            to: chrono::NaiveDate,
            units: u64,
        }
        let (high, low, judged) = (&self.high, &self.low, &self.high.judged);
        object!(to;
            "verdict": high.kind,
            "provisional": high.provisional,
            "band_low_ma": high.band_low_ma,
            "band_high_ma": high.band_high_ma,
            "band_high_basis": high.band.as_ref().filter(|_| high.band_high_ma.is_some()).map(|b| b.upper_set_by.basis()),
            "band_ends": self.band_ends(),
            "holds_at": self.holds_at(),
            "blind_spot_mohm": high.blind_spot_mohm,
            "reasons": self.reasons(),
            "rising": high.rising,
            "judged": Units { from: judged.from, to: judged.to, units: judged.units },
            "suggested_ma": high.suggested_ma(),
            "fits_until": high.fits_until.map(|f| f.date),
            "units_needed": high.units_needed,
            "rejects_per_month": high.rejects_per_month,
            "low_limit_from_ma": low.from_ma,
            "low_limit_to_ma": low.to_ma,
            "low_limit_suggested_ma": low.suggested_ma,
            "open_lead_passes": low.open_lead_passes,
        )
    }
}
