//! Is the high limit in force the right one? The order of the rules is fixed: unsafe limits are flagged
//! first, then a product that rises ([`super::rising`]), `no workable band`, `too tight`, `too loose`, `fits`,
//! and what is left is not decided.
//!
//! Below 50 units the answer is `not enough data` even where the band is closed. While data are short a
//! raise is never suggested, nor while the readings may be rising.
//!
//! Takes [`Evidence`], gives a [`Verdict`] of kinds and numbers; `limit_words` makes its sentences.

use crate::config::Config;
use crate::movement::period::Judged;
use crate::stats::expected_share::ExpectedShare;
use crate::verdict::band::{Band, band};
use crate::verdict::evidence::{Evidence, Forecast, Tail};
use crate::verdict::explain;
pub use crate::verdict::kind::VerdictKind;
use crate::verdict::kind::{AnswerVerdict, Decided, no_band};
use crate::verdict::reason::{Above, Below, Between, Reason};
use crate::verdict::rising::{self, Rising};
use crate::verdict::suggest::{Suggestion, blind_spot_mohm, suggest};
use crate::words::Wording;

/// The verdict on one high limit. Currents in mA, resistance in MΩ.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// `None` where no limit is known: then the band is printed alone.
    pub kind: Option<VerdictKind>,
    /// The limit judged.
    pub limit_ma: Option<f64>,
    /// Fewer units, days or lots than a verdict needs, but enough for a provisional one.
    pub provisional: bool,
    /// The limit lies above the stated ceiling.
    pub above_ceiling: bool,
    /// The limit lies above the tester's range.
    pub above_tester_range: bool,
    /// The limit only repeats the stated ceiling.
    pub repeats_ceiling: bool,
    /// The band by the answer in use, with all reasons for its upper end; `None` without an answer.
    pub band: Option<Band>,
    /// Lower end to print; `None` where no limit works.
    pub band_low_ma: Option<f64>,
    /// Upper end to print; `None` where no limit works or nothing bounds it.
    pub band_high_ma: Option<f64>,
    /// Lowest resistance of a steady leak path that passes, typical unit.
    pub blind_spot_mohm: Option<f64>,
    /// The same for a unit that reads low (X05): it hides more.
    pub blind_spot_low_reader_mohm: Option<f64>,
    /// Why; at least one, unsafe matters first.
    pub reasons: Vec<Reason>,
    /// The units judged.
    pub judged: Judged,
    /// A rise of the product, and what healthy units read meanwhile.
    pub rising: Option<Rising>,
    /// A limit suggested as advice.
    pub suggested: Option<Suggestion>,
    /// Until when the limit fits, where drift ends it.
    pub fits_until: Option<Forecast>,
    /// About how many units would decide, where more units can.
    pub units_needed: Option<u64>,
    /// Healthy units rejected a month at the limit in force.
    pub rejects_per_month: Option<ExpectedShare>,
    /// Strays that passed.
    pub strays_passed: u64,
    /// How its currents are printed.
    pub say: Wording,
}

impl Verdict {
    /// The suggested limit, mA.
    #[must_use]
    pub fn suggested_ma(&self) -> Option<f64> {
        self.suggested.as_ref().map(|s| s.limit_ma)
    }

    /// The same units without a verdict, since a file of theirs is probably misread.
    #[must_use]
    pub fn withheld(&self) -> Self {
        Self {
            kind: None,
            limit_ma: self.limit_ma,
            provisional: false,
            above_ceiling: false,
            above_tester_range: false,
            repeats_ceiling: false,
            band: None,
            band_low_ma: None,
            band_high_ma: None,
            blind_spot_mohm: None,
            blind_spot_low_reader_mohm: None,
            reasons: vec![Reason::Misread],
            judged: self.judged,
            rising: None,
            suggested: None,
            fits_until: None,
            units_needed: None,
            rejects_per_month: None,
            strays_passed: 0,
            say: self.say,
        }
    }

    /// Whether it was withheld.
    #[must_use]
    pub fn is_withheld(&self) -> bool {
        self.reasons.contains(&Reason::Misread)
    }

    /// Whether something stated sets the upper end of the band, and not a rule of thumb.
    #[must_use]
    pub fn high_end_is_proven(&self) -> bool {
        self.band.as_ref().is_none_or(|b| b.upper_set_by.is_proven())
    }

    /// Whether a change note may ask for a limit of `ma`: inside the workable band, what lies on its end but for
    /// rounding too. While the product rises only one that lowers the limit and spares what healthy units read
    /// today, below what something stated allows.
    #[must_use]
    pub fn serves(&self, ma: f64) -> bool {
        let at_least = |low: f64| ma >= low * (1.0 - 1e-9);
        let at_most = |high: f64| ma <= high * (1.0 + 1e-9);
        let Some(rising) = &self.rising else {
            return self.band_low_ma.is_some_and(at_least) && self.band_high_ma.is_none_or(at_most);
        };
        let stated =
            !self.high_end_is_proven() || self.band.as_ref().is_none_or(|b| at_most(b.upper_ma));
        stated
            && self.limit_ma.is_some_and(|limit| ma < limit)
            && rising.spares_today_ma.is_some_and(at_least)
    }
}

/// Judges the limit in force.
///
/// Returns a verdict with at least one reason, whatever the evidence. Below `provisional_units` units
/// no other verdict than `not enough data` is given, and nothing is suggested.
#[must_use]
pub fn judge(evidence: &Evidence, config: &Config) -> Verdict {
    let evidence = &evidence.sound();
    let setting = &evidence.setting;
    let limit = evidence.limit_ma();
    let for_band = evidence.for_band();
    let by_answer: Vec<AnswerVerdict> = for_band
        .iter()
        .flat_map(|e| e.answers().into_iter().map(move |(answer, tail)| (&e.setting, answer, tail)))
        .map(|(setting, answer, tail)| {
            let band = band(&tail.of(setting), config);
            let kind = limit.map(|limit| alone(limit, &tail, &band));
            AnswerVerdict { answer, tail, band, kind }
        })
        .collect();
    let above = |cap| above(limit, cap);
    let (ceiling, range) = (above(setting.ceiling_ma), above(setting.tester_range_ma));
    let mut reasons: Vec<Reason> = Vec::new();
    reasons.extend(ceiling.map(Reason::AboveCeiling));
    reasons.extend(range.map(Reason::AboveTesterRange));
    let decided = decide(evidence, &by_answer, limit, config, &mut reasons);
    let in_use = by_answer.first();
    let band = in_use.map(|a| a.band.clone());
    let enough = evidence.judged.units >= config.provisional_units;
    let workable = band.as_ref().and_then(Band::workable_ma);

    let short = explain::provisional(evidence, config).filter(|_| enough && in_use.is_some());
    let provisional = short.is_some();
    reasons.extend(short);
    if let Some(used) = in_use {
        reasons.extend(evidence.holds_at.clone().map(Reason::HoldsAtEach));
        reasons.extend(explain::lower_end(used, evidence.highest(), config));
        let setting = for_band.as_ref().map_or(setting, |e| &e.setting);
        reasons.extend(explain::band(setting, &used.band, &evidence.whose()));
    }
    reasons.extend(rising::reasons(evidence));
    let suggested = band.as_ref().filter(|_| enough).and_then(|band| {
        match for_band.as_ref().filter(|_| evidence.rise.is_some()) {
            Some(before) => rising::lower_only(evidence, before, band, limit, config),
            None => suggest(setting, band, limit, config),
        }
    });
    let suggested = explain::keep_suggestion(suggested, decided.kind, limit, evidence, config);
    let repeated = explain::ceiling_repeated(limit, setting, suggested.as_ref());
    let repeats_ceiling = repeated.is_some();
    reasons.extend(repeated);
    let judged = enough && in_use.is_some();
    let withheld = explain::suggestion(suggested.as_ref(), decided.kind, judged, evidence.may_rise);
    reasons.extend(withheld);

    let blind = |healthy: f64| limit.and_then(|limit| blind_spot_mohm(setting, limit, healthy));
    let mut verdict = Verdict {
        kind: decided.kind,
        limit_ma: limit,
        provisional,
        above_ceiling: ceiling.is_some(),
        above_tester_range: range.is_some(),
        repeats_ceiling,
        band,
        band_low_ma: workable.map(|(low, _)| low),
        band_high_ma: workable.map(|(_, high)| high).filter(|h| h.is_finite()),
        blind_spot_mohm: blind(setting.x50_ma),
        blind_spot_low_reader_mohm: evidence.x05_ma.and_then(blind),
        reasons,
        judged: evidence.judged,
        rising: rising::told(evidence),
        suggested,
        fits_until: decided.fits_until,
        units_needed: decided.units_needed,
        rejects_per_month: evidence.expected_reject_share.as_ref().filter(|_| limit.is_some()).map(
            |share| ExpectedShare::new(share, evidence.judged.units, evidence.units_per_month),
        ),
        strays_passed: evidence.strays_passed,
        say: Wording::new(setting.x50_ma, setting.step_ma()),
    };
    let costs = consequences(&verdict);
    verdict.reasons.extend(costs);
    verdict
}

/// What the limit in force costs and hides; nothing where none is known.
fn consequences(verdict: &Verdict) -> Vec<Reason> {
    let Some(limit_ma) = verdict.limit_ma else { return Vec::new() };
    let rejects = verdict.rejects_per_month.clone().map(Reason::RejectsPerMonth);
    let strays = (verdict.strays_passed > 0).then_some(Reason::StraysPassed(verdict.strays_passed));
    let blind = verdict.blind_spot_mohm.map(|typical_mohm| Reason::BlindSpot {
        limit_ma,
        typical_mohm,
        low_reader_mohm: verdict.blind_spot_low_reader_mohm,
    });
    rejects.into_iter().chain(strays).chain(blind).collect()
}

/// What one answer alone says.
fn alone(limit: f64, tail: &Tail, band: &Band) -> VerdictKind {
    if band.upper_ma < tail.lower_ma {
        VerdictKind::NoWorkableBand
    } else if limit < tail.lower_ma {
        VerdictKind::TooTight
    } else if limit > band.upper_ma {
        VerdictKind::TooLoose
    } else if limit >= tail.upper_ma {
        VerdictKind::Fits
    } else {
        VerdictKind::NotEnoughData
    }
}

fn above(limit: Option<f64>, cap: Option<f64>) -> Option<Above> {
    let (limit_ma, end_ma) = (limit?, cap.filter(|c| *c > 0.0)?);
    (limit_ma > end_ma).then_some(Above { limit_ma, end_ma, proven: true })
}

fn decide(
    evidence: &Evidence,
    answers: &[AnswerVerdict],
    limit: Option<f64>,
    config: &Config,
    reasons: &mut Vec<Reason>,
) -> Decided {
    let units = evidence.judged.units;
    let few = units < config.provisional_units;
    if few {
        reasons.push(Reason::TooFewUnits {
            units,
            provisional: config.provisional_units,
            verdict: config.verdict_units,
        });
    } else if answers.is_empty() && evidence.rise.is_none() {
        reasons.push(Reason::NoTailEstimate);
    }
    let Some(limit_ma) = limit else {
        reasons.push(Reason::NoLimitKnown);
        return Decided::default();
    };
    if let Some(rise) = evidence.rise.as_ref().filter(|_| !few) {
        return rising::decide(evidence, rise, answers, limit_ma, reasons);
    }
    let (Some(used), false) = (answers.first(), few) else {
        return Decided::open(few.then_some(config.verdict_units));
    };

    // More units cannot open a band that is closed under every answer.
    if answers.iter().all(|a| a.kind == Some(VerdictKind::NoWorkableBand)) {
        return no_band(evidence, used, reasons);
    }
    let below = |a: &&AnswerVerdict| limit_ma < a.tail.lower_ma;
    if answers.iter().all(|a| below(&a)) {
        return too_tight(evidence, used, limit_ma, config, reasons);
    }
    let share = evidence.excess_share.unwrap_or(0.0);
    if share > config.excess_share_max && answers.iter().any(|a| a.kind != used.kind) {
        reasons.push(Reason::ExcessTooCommon { share, most: config.excess_share_max });
        reasons.push(Reason::RetestsDecide);
        return Decided::open(None);
    }
    if limit_ma > used.band.upper_ma {
        let (end_ma, proven) = (used.band.upper_ma, used.band.upper_set_by.is_proven());
        reasons.push(Reason::AboveUpperEnd(Above { limit_ma, end_ma, proven }));
        return Decided::of(VerdictKind::TooLoose);
    }
    if let Some(one) = answers.iter().find(below) {
        let (lower_ma, answer) = (one.tail.lower_ma, one.answer);
        reasons.push(Reason::AnswersDisagree { limit_ma, lower_ma, answer });
        reasons.push(Reason::RetestsDecide);
        return Decided::open(None);
    }
    let share = 1.0 - config.accepted_reject_share;
    let tail = &used.tail;
    if limit_ma < tail.upper_ma {
        let needed = units_needed(units, limit_ma, tail);
        reasons.push(Reason::BetweenBounds(Between {
            limit_ma,
            low_ma: tail.lower_ma,
            high_ma: tail.upper_ma,
            share,
        }));
        reasons.push(Reason::UnitsDecide(needed));
        return Decided::open(needed);
    }
    reasons.push(Reason::InsideBand(Between {
        limit_ma,
        low_ma: tail.upper_ma,
        high_ma: used.band.upper_ma,
        share,
    }));
    Decided::of(VerdictKind::Fits)
}

fn too_tight(
    evidence: &Evidence,
    used: &AnswerVerdict,
    limit_ma: f64,
    config: &Config,
    reasons: &mut Vec<Reason>,
) -> Decided {
    let units = evidence.judged.units as f64;
    let expected = evidence.expected_reject_share.as_ref().map_or(0.0, |share| share.value * units);
    let rejects = evidence.healthy_rejects_seen.max(expected);
    let asked = config.too_tight_rejects;
    let share = 1.0 - config.accepted_reject_share;
    let below = Below { limit_ma, lower_ma: used.tail.lower_ma, at: evidence.highest(), share };
    if rejects >= asked {
        reasons.push(Reason::BelowHealthy(below));
        return Decided::of(VerdictKind::TooTight);
    }
    let needed = (rejects > 0.0).then(|| units_from(units * asked / rejects)).flatten();
    reasons.push(Reason::FewRejects { below, rejects, asked });
    reasons.push(Reason::UnitsDecide(needed));
    Decided::open(needed)
}

/// About how many units would put the limit outside the bounds.
///
/// - Formula: `n (half-width / distance of the limit from the estimate)^2`, both on the log scale, and at
///   least one unit more than now.
///
/// `None` where no number would do (the limit lies on the estimate, or a bound is not known).
fn units_needed(units: u64, limit: f64, tail: &Tail) -> Option<u64> {
    if !(tail.lower_ma > 0.0 && tail.quantile_ma > 0.0 && tail.upper_ma.is_finite()) {
        return None;
    }
    let half_width = (tail.upper_ma / tail.lower_ma).ln() / 2.0;
    let distance = (limit / tail.quantile_ma).ln().abs();
    units_from((units as f64 * (half_width / distance).powi(2)).max(units as f64 + 1.0))
}

/// Beyond this no line ever gets: the question is not decided by more units.
const UNITS_EVER: f64 = 1e9;

fn units_from(n: f64) -> Option<u64> {
    (n <= UNITS_EVER).then_some(n.ceil() as u64)
}
