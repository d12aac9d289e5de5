//! The month under review against the time before it: what matters, and one sentence.
//!
//! What matters first: a certain rise of failures (half a point, or double), rejects past the accepted
//! share, a level that used 10 % of the room or 2 % of itself, a spread wider by a fifth; then the share of
//! the room used.

use crate::analysis::month::change::{MonthChange, Share};
use crate::config::Config;
use crate::stats::estimate::Estimate;
use crate::words::{Wording, capital, percent, signed_percent, three_digits};

/// Spread of the month over that before from which a wider spread matters.
const WIDER: f64 = 1.2;

/// What matters most of a month, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Matters {
    /// More units failed.
    FailuresRose,
    /// Expected rejects passed the accepted share.
    RejectsPassed,
    /// The level moved by a share of the room or of itself that counts.
    LevelMoved,
    /// The spread widened.
    SpreadGrew,
    /// Fewer units failed.
    FailuresFell,
    /// Nothing of these.
    Nothing,
}

impl Matters {
    /// A few words for a table.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::FailuresRose => "failures rose",
            Self::RejectsPassed => "healthy units now rejected",
            Self::LevelMoved => "level moved",
            Self::SpreadGrew => "spread grew",
            Self::FailuresFell => "failures fell",
            Self::Nothing => "nothing that matters",
        }
    }

    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::FailuresRose => "failures_rose",
            Self::RejectsPassed => "rejects_passed_accepted",
            Self::LevelMoved => "level_moved",
            Self::SpreadGrew => "spread_grew",
            Self::FailuresFell => "failures_fell",
            Self::Nothing => "nothing",
        }
    }
}

/// What was decided about a month.
#[derive(Debug, Clone, PartialEq)]
pub struct MonthJudged {
    /// What matters most.
    pub matters: Matters,
    /// Share of the room from the baseline's level to the limit that the level used since; negative where it
    /// gave room back. `None` where no limit or level is known, or there was no room.
    pub room_used: Option<f64>,
    /// One sentence.
    pub sentence: String,
}

/// Judges a month. A change counts only where its interval excludes none, and it is large enough.
#[must_use]
pub fn judge_month(
    change: &MonthChange,
    limit_ma: Option<f64>,
    say: &Wording,
    config: &Config,
) -> MonthJudged {
    if change.baseline.is_none() {
        return MonthJudged {
            matters: Matters::Nothing,
            room_used: None,
            sentence: "Nothing was tested before this month.".to_owned(),
        };
    }
    let room =
        change.typical_ma.zip(limit_ma).map(|(t, limit)| limit - t[0]).filter(|room| *room > 0.0);
    // The change as the interval has it, so that the room's air stays out where it was allowed for.
    let moved_ma =
        change.typical_ma.zip(change.level_pct.as_ref()).map(|(t, pct)| t[0] * pct.value / 100.0);
    let room_used = moved_ma.zip(room).map(|(moved, room)| moved / room);
    let level = change.level_pct.as_ref().filter(|e| !e.contains(0.0));
    let level_counts = level
        .is_some_and(|e| e.value.abs() >= 100.0 * config.material_step_typical_share)
        || level.is_some() && room_used.is_some_and(|u| u.abs() >= config.material_step_room_share);
    let spread = change.spread_ratio.as_ref().filter(|e| !e.contains(1.0));
    let failures = change.failure_change.as_ref().filter(|e| !e.contains(0.0));
    let rose = failures.is_some_and(|e| {
        let before = change.failures[0].share.as_ref().map_or(0.0, |s| s.value);
        e.value >= config.jump_rise || (e.value > 0.0 && e.value >= before)
    });
    let a = config.accepted_reject_share;
    let value = |n: usize| change.expected_share[n].as_ref().map(|e| e.value);
    let passed = value(1).is_some_and(|now| now > a) && value(0).is_some_and(|was| was <= a);
    let matters = if rose {
        Matters::FailuresRose
    } else if passed {
        Matters::RejectsPassed
    } else if level_counts {
        Matters::LevelMoved
    } else if spread.is_some_and(|e| e.value >= WIDER) {
        Matters::SpreadGrew
    } else if failures.is_some_and(|e| e.value < 0.0) {
        Matters::FailuresFell
    } else {
        Matters::Nothing
    };
    let mut parts = vec![level_words(change, level, room_used, say)];
    if let Some(e) = spread {
        parts.push(format!(
            "the spread is {} times that before ({} to {})",
            three_digits(e.value),
            three_digits(e.low),
            three_digits(e.high)
        ));
    }
    if passed {
        parts.push(format!(
            "{} of healthy units are now expected over the limit, above the accepted {}",
            percent(value(1).unwrap_or(0.0)),
            percent(a)
        ));
    }
    parts.push(failure_words(&change.failures, failures));
    MonthJudged { matters, room_used, sentence: format!("{}.", capital(&parts.join("; "))) }
}

fn level_words(
    change: &MonthChange,
    certain: Option<&Estimate>,
    room_used: Option<f64>,
    say: &Wording,
) -> String {
    let room = if change.room_allowed_for { ", the room's air allowed for" } else { "" };
    let (Some(e), Some(typical)) = (&change.level_pct, change.typical_ma) else {
        return "there are too few days to compare the level".to_owned();
    };
    if certain.is_none() {
        return format!(
            "no certain change of the level ({} to {}{room})",
            signed_percent(e.low),
            signed_percent(e.high)
        );
    }
    let used = room_used.map_or_else(String::new, |u| {
        if u >= 0.0 {
            format!("; this used {} of the room to the limit", percent(u))
        } else {
            format!("; this gave back {} of the room to the limit", percent(-u))
        }
    });
    let from_to = if change.room_allowed_for {
        String::new()
    } else {
        format!(" from {} to {}", say.estimate(typical[0]), say.estimate(typical[1]))
    };
    format!(
        "the level {}{from_to}, by {} ({} to {}{room}){used}",
        if e.value > 0.0 { "rose" } else { "fell" },
        signed_percent(e.value),
        signed_percent(e.low),
        signed_percent(e.high)
    )
}

fn failure_words(failures: &[Share; 2], certain: Option<&Estimate>) -> String {
    let [before, now] = failures;
    let of = |s: &Share| {
        s.share.as_ref().map_or_else(
            || "none judged".to_owned(),
            |share| format!("{} of {} ({})", s.failed, s.judged, percent(share.value)),
        )
    };
    let points = |x: f64| three_digits(100.0 * x.abs());
    match certain {
        Some(e) => format!(
            "failures {} by {} points ({} to {}), to {} from {}",
            if e.value > 0.0 { "rose" } else { "fell" },
            points(e.value),
            points(if e.value > 0.0 { e.low } else { e.high }),
            points(if e.value > 0.0 { e.high } else { e.low }),
            of(now),
            of(before)
        ),
        None => format!("no certain change in failures: {}, {} before", of(now), of(before)),
    }
}
