//! The sentences of a verdict, and the parts of it that only add information.

use crate::config::Config;
use crate::stats::estimate::Estimate;
use crate::verdict::band::{Band, BandInput, UpperKind};
use crate::verdict::cautions::WHO_DECIDES;
use crate::verdict::evidence::{Evidence, Forecast, Tail};
use crate::verdict::limit::{AnswerVerdict, Verdict, VerdictKind};
use crate::verdict::physics::load;
use crate::verdict::physics::{self, LeakAdds};
use crate::verdict::reason::{ReasonKind, Reasons};
use crate::verdict::suggest::Suggestion;
use crate::words::{Wording, count, percent, resistance, three_digits};

/// Whether the verdict is provisional, with the reason.
pub(super) fn provisional(evidence: &Evidence, config: &Config, reasons: &mut Reasons) -> bool {
    let judged = &evidence.judged;
    let mut short = Vec::new();
    if judged.units < config.verdict_units {
        short.push(format!("{} of {}", judged.units, count(config.verdict_units, "unit")));
    }
    if judged.production_days < config.verdict_days {
        short.push(format!(
            "{} of {}",
            judged.production_days,
            count(config.verdict_days, "production day")
        ));
    }
    if let Some(lots) = judged.lots.filter(|lots| *lots < config.verdict_lots) {
        short.push(format!("{lots} of {}", count(config.verdict_lots, "lot")));
    }
    if short.is_empty() {
        return false;
    }
    reasons.add(
        ReasonKind::Provisional,
        format!("Provisional: the period judged holds {}.", short.join(" and ")),
    );
    true
}

/// Why no limit works, and what helps.
pub(super) fn no_band(
    setting: &BandInput,
    used: &AnswerVerdict,
    say: Wording,
    reasons: &mut Reasons,
) {
    reasons.add(
        ReasonKind::NoBand,
        format!(
            "Healthy units reach at least {}, above the highest workable limit of {}: every limit either \
             rejects good units or lets a bad one through, and more units cannot change that.",
            say.estimate(used.tail.lower_ma),
            say.estimate(used.band.upper_ma)
        ),
    );
    let dc = match setting.adds {
        LeakAdds::AtRightAngles => {
            "test with DC or judge the in-phase current, which leaves out the capacitive current; reduce the \
             filter capacitance; "
        }
        LeakAdds::InPhase => "",
    };
    reasons.add(
        ReasonKind::WhatHelps,
        format!(
            "What helps: {dc}split the units into groups that read alike; or fix the process that spreads the readings."),
    );
}

/// Where the lower end comes from, by name and number.
pub(super) fn lower_end(
    used: &AnswerVerdict,
    say: Wording,
    config: &Config,
    reasons: &mut Reasons,
) {
    let (tail, band) = (&used.tail, &used.band);
    if !band.lower_today_ma.is_finite() {
        return;
    }
    let share = percent(1.0 - config.accepted_reject_share);
    let rounded = if band.step_ma > 0.0 {
        format!(", rounded up to a limit step of {}", say.estimate(band.step_ma))
    } else {
        String::new()
    };
    let today = format!(
        "{share} of healthy units stay under {} {}; its upper bound at {} confidence is {}",
        say.estimate(tail.quantile_ma),
        used.answer.words(),
        percent(config.confidence),
        say.estimate(tail.upper_ma),
    );
    let sentence = if band.lower_ma > band.lower_today_ma {
        format!(
            "{today}{rounded}: today's lower end is {}. Drift carries it to {} at the end of the planning \
             horizon: the lower end of the band.",
            say.current(band.lower_today_ma),
            say.current(band.lower_ma)
        )
    } else {
        format!(
            "{today}{rounded}: this sets the lower end of the band, {}.",
            say.current(band.lower_ma)
        )
    };
    reasons.add(ReasonKind::LowerEnd, sentence);
}

/// Where the upper end comes from; asks for a leak path where none bounds it.
pub(super) fn band(setting: &BandInput, band: &Band, say: Wording, reasons: &mut Reasons) {
    for end in &band.ends {
        let sets = if end.kind == band.upper_set_by {
            " This sets the upper end of the band."
        } else {
            ""
        };
        reasons.add(ReasonKind::UpperEnd, format!("{}{sets}", end.sentence));
    }
    if let (Some(mohm), true) =
        (setting.leak_path_mohm, band.ends.iter().all(|e| e.kind != UpperKind::LeakPath))
    {
        reasons.add(
            ReasonKind::LeakPathWithoutVoltage,
            format!(
                "A smallest harmful leak path of {} is stated, but no test voltage is known to turn it into a current.",
                resistance(mohm)
            ),
        );
    }
    let by_distance = matches!(band.upper_set_by, UpperKind::TwiceAsFar | UpperKind::TwiceTypical);
    let hidden = physics::hidden_leak_ma(setting.adds, band.upper_ma, setting.x50_ma);
    if let (true, Some(leak)) = (by_distance && band.upper_ma.is_finite(), hidden) {
        reasons.add(
            ReasonKind::AskForLeakPath,
            format!(
                "No smallest harmful leak path is stated. A limit at the upper end passes a leak of {}, {} times \
                 the typical reading: state leak_path_mohm for this model in the settings.",
                say.estimate(leak),
                three_digits(leak / setting.x50_ma)
            ),
        );
    }
    if !band.is_open() && band.is_open_today() {
        reasons.add(
            ReasonKind::BandClosesWithDrift,
            format!(
                "Drift carries the lower end from {} to {} within the planning horizon, above the upper end of \
                 {}: the band closes unless the drift is stopped.",
                say.current(band.lower_today_ma),
                say.current(band.lower_ma),
                say.estimate(band.upper_ma)
            ),
        );
    }
}

/// The suggestion that stands beside this verdict: always where the limit does not fit, as advice where
/// the limit lies far above it, and no raise while the data do not decide.
pub(super) fn keep_suggestion(
    suggestion: Option<Suggestion>,
    kind: Option<VerdictKind>,
    limit: Option<f64>,
    setting: &BandInput,
    config: &Config,
) -> Option<Suggestion> {
    let s = suggestion?;
    let Some(limit) = limit else { return Some(s) };
    match kind {
        Some(VerdictKind::NoWorkableBand) => None,
        Some(VerdictKind::Fits) => {
            let far = limit - setting.x50_ma
                > config.tighter_advice_factor * (s.limit_ma - setting.x50_ma);
            far.then_some(Suggestion { only_tighter: true, ..s })
        }
        // Raising a limit is the unsafe direction: not on data that do not decide.
        Some(VerdictKind::NotEnoughData) if s.limit_ma > limit => None,
        _ => Some(s),
    }
}

/// Whether the limit only repeats the ceiling, worded as that.
pub(super) fn ceiling_repeated(
    limit: Option<f64>,
    setting: &BandInput,
    suggestion: Option<&Suggestion>,
    say: Wording,
    reasons: &mut Reasons,
) -> bool {
    let (Some(limit), Some(ceiling)) = (limit, setting.ceiling_ma) else {
        return false;
    };
    // Half a step: the same setting as far as the tester can be set.
    if (limit - ceiling).abs() > (setting.step_ma() / 2.0).max(1e-9 * ceiling) {
        return false;
    }
    let rest = suggestion.map_or_else(String::new, |s| {
        format!(" a working limit of {} would find a changed product.", say.current(s.limit_ma))
    });
    reasons.add(
        ReasonKind::RepeatsCeiling,
        format!(
            "{} is the legal limit{}{rest}",
            say.current(limit),
            if rest.is_empty() { "." } else { ";" }
        ),
    );
    true
}

/// The suggested limit with its proving loads, or why there is none.
pub(super) fn suggestion(
    suggestion: Option<&Suggestion>,
    kind: Option<VerdictKind>,
    judged: bool,
    say: Wording,
    reasons: &mut Reasons,
) {
    let Some(s) = suggestion else {
        if judged && matches!(kind, Some(VerdictKind::TooTight | VerdictKind::TooLoose) | None) {
            reasons.add(
                ReasonKind::NothingSuggested,
                "No limit is suggested: the bounds leave no limit between them; more units may open the band.",
            );
        } else if judged && kind == Some(VerdictKind::NotEnoughData) {
            reasons.add(
                ReasonKind::NothingSuggested,
                "No limit is suggested: a limit is not raised on data that do not decide.",
            );
        }
        return;
    };
    let proof = s.proving.as_ref().map_or_else(String::new, |p| {
        format!(
            " Prove it at the station: a load of {} must trip, one of {} must pass.",
            load(&p.must_trip),
            load(&p.must_pass)
        )
    });
    let blind = s
        .blind_spot_mohm
        .map_or_else(String::new, |r| format!(" Its blind spot is {}.", resistance(r)));
    let limit = say.current(s.limit_ma);
    let (kind, lead) = if s.only_tighter {
        (ReasonKind::TighterPossible, format!("A tighter limit is possible: {limit}."))
    } else {
        (ReasonKind::Suggested, format!("A limit of {limit} is suggested."))
    };
    reasons.add(kind, format!("{lead}{blind}{proof} {WHO_DECIDES}"));
}

/// The limit fits: says so, and until when where drift ends it.
pub(super) fn fits(
    evidence: &Evidence,
    used: &AnswerVerdict,
    limit: f64,
    say: Wording,
    config: &Config,
    reasons: &mut Reasons,
) -> Option<Forecast> {
    let high = if used.band.upper_ma.is_finite() {
        format!(" to {}", say.estimate(used.band.upper_ma))
    } else {
        String::new()
    };
    reasons.add(
        ReasonKind::InsideBand,
        format!(
            "The limit of {} lies inside the limits that serve now, {}{high}: at least {} of healthy units \
             stay under it.",
            say.current(limit),
            say.estimate(used.tail.upper_ma),
            percent(1.0 - config.accepted_reject_share)
        ),
    );
    // Only a carried lower end can lie above a limit that fits today, apart from rounding to a step.
    if used.band.lower_ma <= used.band.lower_today_ma || limit >= used.band.lower_ma {
        return None;
    }
    let horizon = say.current(used.band.lower_ma);
    let when = evidence.limit_reached_on;
    let sentence = match when {
        Some(f) => format!(
            "Drift raises the lower end to {horizon} within the planning horizon: the limit fits until {}{}.",
            f.date,
            interval(&f)
        ),
        None => format!(
            "Drift may raise the lower end to {horizon} within the planning horizon, above the limit; no date \
             can be given yet."
        ),
    };
    reasons.add(ReasonKind::FitsUntil, sentence);
    when
}

/// A forecast's interval in brackets.
pub(super) fn interval(f: &Forecast) -> String {
    f.high.map_or_else(
        || format!(" (not before {})", f.low),
        |high| format!(" ({} to {high})", f.low),
    )
}

/// The limit lies between the bounds.
pub(super) fn between(
    limit: f64,
    tail: &Tail,
    needed: Option<u64>,
    say: Wording,
    config: &Config,
    reasons: &mut Reasons,
) {
    let high = if tail.upper_ma.is_finite() {
        say.estimate(tail.upper_ma)
    } else {
        "an upper bound that the data cannot give".to_owned()
    };
    reasons.add(
        ReasonKind::BetweenBounds,
        format!(
            "The limit of {} lies between {} and {high}, the bounds of the reading that {} of healthy units stay under.",
            say.current(limit),
            say.estimate(tail.lower_ma),
            percent(1.0 - config.accepted_reject_share)
        ),
    );
    units_decide(needed, reasons);
}

/// How many units decide.
pub(super) fn units_decide(needed: Option<u64>, reasons: &mut Reasons) {
    reasons.add(
        ReasonKind::WhatDecides,
        match needed {
            Some(n) => format!("About {} would decide it.", count(n, "unit")),
            None => "No number of units that a line makes would decide it; re-tests of the units in the tail might."
                .to_owned(),
        },
    );
}

/// Re-tests decide.
pub(super) fn retests_decide(reasons: &mut Reasons) {
    reasons.add(
        ReasonKind::WhatDecides,
        "Re-tests of the units with the highest readings decide whether they are healthy or damaged; more units alone do not.",
    );
}

/// Fewer rejects a month than this are printed as just that: less than one in eight years.
const HARDLY_ANY: f64 = 0.01;

fn rejects_sentence(r: &Estimate) -> String {
    let few = |x: f64| {
        if x < HARDLY_ANY { format!("fewer than {HARDLY_ANY}") } else { three_digits(x) }
    };
    if r.high < HARDLY_ANY {
        return format!("Fewer than {HARDLY_ANY} healthy units a month are rejected.");
    }
    let interval = if r.high.is_finite() {
        format!("{} to {}", few(r.low), three_digits(r.high))
    } else {
        format!("at least {}", few(r.low))
    };
    if r.value < HARDLY_ANY {
        format!(
            "Fewer than {HARDLY_ANY} healthy units a month are rejected (at most {}).",
            three_digits(r.high)
        )
    } else {
        format!("About {} healthy units a month are rejected ({interval}).", three_digits(r.value))
    }
}

/// What the limit in force costs and hides.
pub(super) fn consequences(
    evidence: &Evidence,
    limit: Option<f64>,
    rejects: Option<&Estimate>,
    blind: (Option<f64>, Option<f64>),
    say: Wording,
    reasons: &mut Reasons,
) {
    let Some(limit) = limit else { return };
    if let Some(r) = rejects {
        reasons.add(ReasonKind::RejectsPerMonth, rejects_sentence(r));
    }
    if evidence.strays_passed > 0 {
        reasons.add(
            ReasonKind::StraysPassed,
            format!(
                "{} passed although the reading does not belong with the healthy units; re-test before shipment.",
                count(evidence.strays_passed, "unit")
            ),
        );
    }
    if let Some(r) = blind.0 {
        let low = blind.1.map_or_else(String::new, |low| {
            format!(", and down to {} in a unit that reads low", resistance(low))
        });
        reasons.add(
            ReasonKind::BlindSpot,
            format!(
                "At {} a steady leak path down to {} passes in a typical unit{low}; this says nothing about a gap \
                 that only flashes over.",
                say.current(limit),
                resistance(r)
            ),
        );
    }
}

/// The verdict in one sentence.
pub(super) fn sentence(verdict: &Verdict, limit: Option<f64>, say: Wording) -> String {
    let band = match (verdict.band_low_ma, verdict.band_high_ma) {
        (Some(low), Some(high)) => {
            format!("workable limits run from {} to {}", say.current(low), say.estimate(high))
        }
        (Some(low), None) => format!("workable limits start at {}", say.current(low)),
        _ => "no workable limit can be given".to_owned(),
    };
    let start = match (limit, verdict.kind) {
        (Some(limit), Some(VerdictKind::NoWorkableBand)) => {
            return format!(
                "No workable band: no limit, {} or another, keeps healthy units and stops a harmful leak.",
                say.current(limit)
            );
        }
        (Some(limit), Some(VerdictKind::NotEnoughData)) => {
            format!("Not enough data to judge the limit of {}", say.current(limit))
        }
        (Some(limit), Some(kind @ VerdictKind::Fits)) => format!(
            "The limit of {} {}{}",
            say.current(limit),
            kind.words(),
            verdict.fits_until.map_or_else(String::new, |f| format!(" until {}", f.date))
        ),
        (Some(limit), Some(kind)) => {
            format!("The limit of {} is {}", say.current(limit), kind.words())
        }
        _ => "No high limit is known".to_owned(),
    };
    let provisional = if verdict.provisional { " (provisional)" } else { "" };
    format!("{start}{provisional}; {band}.")
}
