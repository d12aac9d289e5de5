//! Is the high limit in force the right one? The order of the rules is fixed: unsafe limits are flagged
//! first, then `no workable band`, `too tight`, `too loose`, `fits`, and what is left is not decided.
//!
//! Below 50 units the answer is `not enough data` even where the band is closed. While data are short a
//! raise is never suggested.

use crate::config::Config;
use crate::movement::period::Judged;
use crate::stats::estimate::Estimate;
use crate::verdict::band::{Band, BandInput, band};
use crate::verdict::evidence::{Answer, Evidence, Forecast, Tail};
use crate::verdict::explain;
use crate::verdict::reason::{Reason, ReasonKind, Reasons};
use crate::verdict::suggest::{Suggestion, blind_spot_mohm, suggest};
use crate::words::{Wording, count, percent};

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
}

/// The verdict on one high limit. Currents in mA, resistance in MΩ.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// `None` where no limit is known: then the band is printed alone.
    pub kind: Option<VerdictKind>,
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
    /// A limit suggested as advice.
    pub suggested: Option<Suggestion>,
    /// Until when the limit fits, where drift ends it.
    pub fits_until: Option<Forecast>,
    /// About how many units would decide, where more units can.
    pub units_needed: Option<u64>,
    /// Healthy units rejected a month at the limit in force.
    pub rejects_per_month: Option<Estimate>,
    /// Strays that passed.
    pub strays_passed: u64,
    /// What each answer says alone, the one in use first.
    pub by_answer: Vec<AnswerVerdict>,
    /// The verdict in one sentence.
    pub sentence: String,
}

impl Verdict {
    /// The suggested limit, mA.
    #[must_use]
    pub fn suggested_ma(&self) -> Option<f64> {
        self.suggested.as_ref().map(|s| s.limit_ma)
    }

    /// Whether the answers about the tail lead to different verdicts, so that both are printed.
    #[must_use]
    pub fn answers_differ(&self) -> bool {
        self.by_answer.windows(2).any(|pair| pair[0].kind != pair[1].kind)
    }
}

/// What one answer about the tail says about the limit.
#[derive(Debug, Clone, PartialEq)]
pub struct AnswerVerdict {
    /// Which answer.
    pub answer: Answer,
    /// Its tail.
    pub tail: Tail,
    /// Its band.
    pub band: Band,
    /// Its verdict; `None` where no limit is known.
    pub kind: Option<VerdictKind>,
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
    let say = Wording::new(setting.x50_ma, setting.step_ma());
    let by_answer: Vec<AnswerVerdict> = evidence
        .answers()
        .into_iter()
        .map(|(answer, tail)| {
            let band = band_of(setting, &tail, config);
            let kind = limit.map(|limit| alone(limit, &tail, &band));
            AnswerVerdict { answer, tail, band, kind }
        })
        .collect();
    let mut reasons = Reasons::default();
    let flags = unsafe_flags(limit, setting, say, &mut reasons);
    let decided = decide(evidence, &by_answer, limit, say, config, &mut reasons);
    let in_use = by_answer.first();
    let band = in_use.map(|a| a.band.clone());
    let enough = evidence.judged.units >= config.provisional_units;
    let workable = band.as_ref().and_then(Band::workable_ma);

    let provisional =
        enough && in_use.is_some() && explain::provisional(evidence, config, &mut reasons);
    if let Some(used) = in_use {
        explain::lower_end(used, say, config, &mut reasons);
        explain::band(setting, &used.band, say, &mut reasons);
    }
    let suggested =
        band.as_ref().filter(|_| enough).and_then(|band| suggest(setting, band, config));
    let suggested = explain::keep_suggestion(suggested, decided.kind, limit, setting, config);
    let repeats_ceiling =
        explain::ceiling_repeated(limit, setting, suggested.as_ref(), say, &mut reasons);
    explain::suggestion(
        suggested.as_ref(),
        decided.kind,
        enough && in_use.is_some(),
        say,
        &mut reasons,
    );

    let blind = |healthy: f64| limit.and_then(|limit| blind_spot_mohm(setting, limit, healthy));
    let blind_spot = blind(setting.x50_ma);
    let blind_spot_low = evidence.x05_ma.and_then(blind);
    let rejects_per_month = evidence
        .expected_reject_share
        .as_ref()
        .filter(|_| limit.is_some())
        .map(|share| share.scaled(evidence.units_per_month));
    explain::consequences(
        evidence,
        limit,
        rejects_per_month.as_ref(),
        (blind_spot, blind_spot_low),
        say,
        &mut reasons,
    );
    let mut verdict = Verdict {
        kind: decided.kind,
        provisional,
        above_ceiling: flags.above_ceiling,
        above_tester_range: flags.above_range,
        repeats_ceiling,
        band,
        band_low_ma: workable.map(|(low, _)| low),
        band_high_ma: workable.map(|(_, high)| high).filter(|h| h.is_finite()),
        blind_spot_mohm: blind_spot,
        blind_spot_low_reader_mohm: blind_spot_low,
        reasons: reasons.0,
        judged: evidence.judged,
        suggested,
        fits_until: decided.fits_until,
        units_needed: decided.units_needed,
        rejects_per_month,
        strays_passed: evidence.strays_passed,
        by_answer,
        sentence: String::new(),
    };
    verdict.sentence = explain::sentence(&verdict, limit, say);
    verdict
}

fn band_of(setting: &BandInput, tail: &Tail, config: &Config) -> Band {
    band(
        &BandInput {
            upper_now_ma: tail.upper_ma,
            upper_at_horizon_ma: tail.upper_at_horizon_ma,
            ..setting.clone()
        },
        config,
    )
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

struct UnsafeFlags {
    above_ceiling: bool,
    above_range: bool,
}

fn unsafe_flags(
    limit: Option<f64>,
    setting: &BandInput,
    say: Wording,
    reasons: &mut Reasons,
) -> UnsafeFlags {
    let above = |cap: Option<f64>| {
        let (limit, cap) = (limit?, cap.filter(|c| *c > 0.0)?);
        (limit > cap).then_some((limit, cap))
    };
    let ceiling = above(setting.ceiling_ma);
    let range = above(setting.tester_range_ma);
    if let Some((limit, cap)) = ceiling {
        reasons.add(
            ReasonKind::AboveCeiling,
            format!(
                "The limit of {} lies above the ceiling of {} that the stated standard sets: this is unsafe.",
                say.current(limit),
                say.current(cap)
            ),
        );
    }
    if let Some((limit, cap)) = range {
        reasons.add(
            ReasonKind::AboveTesterRange,
            format!(
                "The limit of {} lies above the end of the tester's range at {}: it can never trip.",
                say.current(limit),
                say.current(cap)
            ),
        );
    }
    UnsafeFlags { above_ceiling: ceiling.is_some(), above_range: range.is_some() }
}

#[derive(Default)]
struct Decided {
    kind: Option<VerdictKind>,
    fits_until: Option<Forecast>,
    units_needed: Option<u64>,
}

impl Decided {
    fn of(kind: VerdictKind) -> Self {
        Self { kind: Some(kind), ..Self::default() }
    }
}

fn decide(
    evidence: &Evidence,
    answers: &[AnswerVerdict],
    limit: Option<f64>,
    say: Wording,
    config: &Config,
    reasons: &mut Reasons,
) -> Decided {
    let units = evidence.judged.units;
    let few = units < config.provisional_units;
    if few {
        reasons.add(
            ReasonKind::TooFewUnits,
            format!(
                "Only {} {} judged; a provisional verdict needs {}, a verdict {}.",
                count(units, "unit"),
                if units == 1 { "was" } else { "were" },
                config.provisional_units,
                config.verdict_units
            ),
        );
    }
    if answers.is_empty() && !few {
        reasons.add(
            ReasonKind::NoTailEstimate,
            "The upper tail of the readings could not be estimated; see the notes for the cause.",
        );
    }
    let Some(limit) = limit else {
        reasons.add(
            ReasonKind::NoLimitKnown,
            "No high limit is known for these units, so there is no verdict on one; give high_limit_ma in \
             the settings.",
        );
        return Decided::default();
    };
    let (Some(used), false) = (answers.first(), few) else {
        return Decided {
            units_needed: few.then_some(config.verdict_units),
            ..Decided::of(VerdictKind::NotEnoughData)
        };
    };

    // More units cannot open a band that is closed under every answer.
    if answers.iter().all(|a| a.kind == Some(VerdictKind::NoWorkableBand)) {
        explain::no_band(&evidence.setting, used, say, reasons);
        return Decided::of(VerdictKind::NoWorkableBand);
    }
    let below = |a: &&AnswerVerdict| limit < a.tail.lower_ma;
    if answers.iter().all(|a| below(&a)) {
        return too_tight(evidence, used, limit, say, config, reasons);
    }
    let excess = evidence.excess_share.unwrap_or(0.0);
    if excess > config.excess_share_max && answers.iter().any(|a| a.kind != used.kind) {
        reasons.add(
            ReasonKind::ExcessTooCommon,
            format!(
                "{} of the units lie beyond where the healthy body ends, more than the {} that defects \
                 could explain, and the two answers about them lead to different verdicts.",
                percent(excess),
                percent(config.excess_share_max)
            ),
        );
        explain::retests_decide(reasons);
        return Decided::of(VerdictKind::NotEnoughData);
    }
    if limit > used.band.upper_ma {
        reasons.add(
            ReasonKind::AboveUpperEnd,
            format!(
                "The limit of {} lies above the upper end of the workable band, {}.",
                say.current(limit),
                say.estimate(used.band.upper_ma)
            ),
        );
        return Decided::of(VerdictKind::TooLoose);
    }
    if let Some(one) = answers.iter().find(below) {
        reasons.add(
            ReasonKind::AnswersDisagree,
            format!(
                "The limit of {} lies below {}, which healthy units reach {}, but not so by the other answer.",
                say.current(limit),
                say.estimate(one.tail.lower_ma),
                one.answer.words()
            ),
        );
        explain::retests_decide(reasons);
        return Decided::of(VerdictKind::NotEnoughData);
    }
    if limit < used.tail.upper_ma {
        let needed = units_needed(units, limit, &used.tail);
        explain::between(limit, &used.tail, needed, say, config, reasons);
        return Decided { units_needed: needed, ..Decided::of(VerdictKind::NotEnoughData) };
    }
    Decided {
        fits_until: explain::fits(evidence, used, limit, say, config, reasons),
        ..Decided::of(VerdictKind::Fits)
    }
}

fn too_tight(
    evidence: &Evidence,
    used: &AnswerVerdict,
    limit: f64,
    say: Wording,
    config: &Config,
    reasons: &mut Reasons,
) -> Decided {
    let units = evidence.judged.units;
    let expected =
        evidence.expected_reject_share.as_ref().map_or(0.0, |share| share.value * units as f64);
    let rejects = evidence.healthy_rejects_seen.max(expected);
    let below = format!(
        "The limit of {} lies below {}, the least that the {} point of the healthy units can be",
        say.current(limit),
        say.estimate(used.tail.lower_ma),
        percent(1.0 - config.accepted_reject_share)
    );
    if rejects >= config.too_tight_rejects {
        reasons.add(ReasonKind::BelowHealthy, format!("{below}."));
        return Decided::of(VerdictKind::TooTight);
    }
    let needed = (rejects > 0.0)
        .then(|| units_from(units as f64 * config.too_tight_rejects / rejects))
        .flatten();
    reasons.add(
        ReasonKind::FewRejects,
        format!(
            "{below}, but only {} healthy rejects were seen or are expected in the period; calling a limit \
             too tight takes {}.",
            crate::words::three_digits(rejects),
            config.too_tight_rejects
        ),
    );
    explain::units_decide(needed, reasons);
    Decided { units_needed: needed, ..Decided::of(VerdictKind::NotEnoughData) }
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
