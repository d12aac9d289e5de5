//! The month under review against the time before it: what matters, and one sentence.
//!
//! What matters first: a certain rise of failures (half a point, or double), rejects past the accepted
//! share, a level that used 10 % of the room or 2 % of itself, a spread wider by a fifth; then the share of
//! the room used.

use std::fmt::{self, Display, Formatter};

use chrono::NaiveDate;
use serde::Serialize;

use crate::analysis::jump::cells::Counted;
use crate::analysis::jump::{Jump, Scope};
use crate::analysis::month::change::MonthChange;
use crate::config::Config;
use crate::day::{date_of, days_of};
use crate::series::Series;
use crate::stats::estimate::Estimate;
use crate::stats::expected_share::ExpectedShare;
use crate::words::numbers::{by_interval, interval, one_digit, value};
use crate::words::{Wording, capital, percent, signed_percent, three_digits};

/// Spread of the month over that before from which a wider spread matters.
const WIDER: f64 = 1.2;

/// What matters most of a month, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Matters {
    /// More units failed.
    FailuresRose,
    /// More units failed, by a jump that ended within the month.
    FailuresRoseAndEnded,
    /// ExpectedShare rejects passed the accepted share.
    RejectsPassedAccepted,
    /// The level moved by a share of the room or of itself that counts.
    LevelMoved,
    /// The spread widened.
    SpreadGrew,
    /// Fewer units failed.
    FailuresFell,
    /// Nothing of these.
    Nothing,
}

impl Display for Matters {
    /// A few words for a table.
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FailuresRose => "failures rose",
            Self::FailuresRoseAndEnded => "failures rose, and ended",
            Self::RejectsPassedAccepted => "healthy units now rejected",
            Self::LevelMoved => "level moved",
            Self::SpreadGrew => "spread grew",
            Self::FailuresFell => "failures fell",
            Self::Nothing => "nothing that matters",
        })
    }
}

/// A month with what is decided about it: `month` of a series in `results.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MonthJudged {
    /// The finding.
    #[serde(flatten)]
    pub change: MonthChange,
    /// What matters most.
    pub matters: Matters,
    /// Its place among all series, 1 first; 0 until all are known ([`rank`]).
    pub rank: usize,
    /// One sentence.
    pub sentence: String,
}

/// A jump in failures of the series that ended within the month, and what came after it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EndedJump {
    /// Since when it was.
    pub since: NaiveDate,
    /// When it ended.
    pub ended: NaiveDate,
    /// Units judged in the month since it ended.
    pub judged: u64,
    /// Of these, failed.
    pub failed: u64,
}

impl EndedJump {
    /// That of a series in a month, if there is one.
    #[must_use]
    pub fn of(series: &Series, jumps: &[Jump], place: usize, month: (i32, u32)) -> Option<Self> {
        let own = jumps.iter().flat_map(Jump::each).filter(|j| {
            matches!(j.scope, Scope::Series(n) if n as usize == place)
                && j.counted == Counted::Failed
                && j.rises()
        });
        let days = days_of(month);
        let ended = |j: &Jump| j.ended.map(|e| e.day).filter(|day| days.contains(day));
        let (jump, day) = own.filter_map(|j| Some((j, ended(j)?))).max_by_key(|(_, day)| *day)?;
        let after = series
            .outcomes
            .iter()
            .filter(|o| o.day >= day && days.contains(&o.day) && o.outcome.is_completed());
        let (mut judged, mut failed) = (0, 0);
        for o in after {
            judged += u64::from(o.count);
            failed += if o.outcome.is_failure() { u64::from(o.count) } else { 0 };
        }
        Some(Self { since: date_of(jump.date.day), ended: date_of(day), judged, failed })
    }
}

/// What of a month is certain.
struct Certain<'a> {
    level: Option<&'a Estimate>,
    spread: Option<&'a Estimate>,
    /// ExpectedShare rejects that passed the accepted share: what is expected now, and that share.
    rejects: Option<(f64, f64)>,
    failures: Option<&'a Estimate>,
    ended: Option<EndedJump>,
}

/// Judges a month. A change counts only where its interval excludes none, and it is large enough.
#[must_use]
pub fn judge_month(
    change: &MonthChange,
    ended: Option<EndedJump>,
    say: &Wording,
    config: &Config,
) -> MonthJudged {
    let judged =
        |matters, sentence| MonthJudged { change: change.clone(), matters, rank: 0, sentence };
    if change.baseline_from.is_none() {
        return judged(Matters::Nothing, "Nothing was tested before this month.".to_owned());
    }
    let accepted = config.accepted_reject_share;
    let expected = |ppm: &Option<ExpectedShare>| ppm.as_ref().map(|e| e.value / 1e6);
    let certain = Certain {
        level: change.level_pct.as_ref().filter(|e| !e.contains(0.0)),
        spread: change.spread_ratio.as_ref().filter(|e| !e.contains(1.0)),
        rejects: expected(&change.expected_reject_ppm)
            .filter(|now| *now > accepted)
            .filter(|_| {
                expected(&change.expected_reject_ppm_before).is_some_and(|was| was <= accepted)
            })
            .map(|now| (now, accepted)),
        failures: change.failure_change.as_ref().filter(|e| !e.contains(0.0)),
        ended,
    };
    judged(matters(change, &certain, config), sentence(change, &certain, say))
}

fn matters(change: &MonthChange, certain: &Certain<'_>, config: &Config) -> Matters {
    let rose = certain.failures.is_some_and(|e| {
        let before = change.failure_share_before.as_ref().map_or(0.0, |s| s.value);
        e.value >= config.jump_rise || (e.value > 0.0 && e.value >= before)
    });
    let level_counts = certain.level.is_some_and(|e| {
        e.value.abs() >= 100.0 * config.material_step_typical_share
            || change.room_used.is_some_and(|u| u.abs() >= config.material_step_room_share)
    });
    if rose && certain.ended.is_some() {
        Matters::FailuresRoseAndEnded
    } else if rose {
        Matters::FailuresRose
    } else if certain.rejects.is_some() {
        Matters::RejectsPassedAccepted
    } else if level_counts {
        Matters::LevelMoved
    } else if certain.spread.is_some_and(|e| e.value >= WIDER) {
        Matters::SpreadGrew
    } else if certain.failures.is_some_and(|e| e.value < 0.0) {
        Matters::FailuresFell
    } else {
        Matters::Nothing
    }
}

/// Orders months: what matters most first, then what used the larger share of the room.
pub fn rank<'a>(months: impl Iterator<Item = &'a mut MonthJudged>) {
    let mut order: Vec<&mut MonthJudged> = months.collect();
    let used = |m: &MonthJudged| m.change.room_used.map_or(0.0, f64::abs);
    order.sort_by(|a, b| a.matters.cmp(&b.matters).then(used(b).total_cmp(&used(a))));
    for (n, month) in order.into_iter().enumerate() {
        month.rank = n + 1;
    }
}

fn sentence(change: &MonthChange, certain: &Certain<'_>, say: &Wording) -> String {
    let mut parts = vec![level_words(change, certain.level, say)];
    if let Some(e) = certain.spread.map(by_interval) {
        parts.push(format!(
            "the spread is {} times that before ({})",
            value(&e, three_digits),
            interval(&e, three_digits)
        ));
    }
    if let Some((now, accepted)) = certain.rejects {
        parts.push(format!(
            "{} of healthy units are now expected over the limit, above the accepted {}",
            percent(one_digit(now)),
            percent(accepted)
        ));
    }
    parts.push(failure_words(change, certain.failures));
    if let Some(EndedJump { since, ended, judged, failed }) = certain.ended {
        parts.push(format!(
            "the jump since {since} ended on {ended}: {failed} of {judged} failed since then"
        ));
    }
    format!("{}.", capital(&parts.join("; ")))
}

fn level_words(change: &MonthChange, certain: Option<&Estimate>, say: &Wording) -> String {
    let room = if change.room_allowed_for { ", temperature and humidity allowed for" } else { "" };
    let (Some(e), Some((was, now))) = (&change.level_pct, change.x50_before_ma.zip(change.x50_ma))
    else {
        return "there are too few days to compare the level".to_owned();
    };
    if certain.is_none() {
        return format!(
            "no certain change of the level ({}{room})",
            interval(&by_interval(e), signed_percent)
        );
    }
    let used = change.room_used.map_or_else(String::new, |u| {
        if u >= 0.0 {
            format!("; this used about {} of the room to the limit", percent(one_digit(u)))
        } else {
            format!("; this gave back about {} of the room to the limit", percent(one_digit(-u)))
        }
    });
    let from_to = if change.room_allowed_for {
        String::new()
    } else {
        format!(" from {} to {}", say.estimate(was), say.estimate(now))
    };
    format!(
        "the level {}{from_to}, by {} ({}{room}){used}",
        if e.value > 0.0 { "rose" } else { "fell" },
        value(&by_interval(e), signed_percent),
        interval(&by_interval(e), signed_percent)
    )
}

fn failure_words(change: &MonthChange, certain: Option<&Estimate>) -> String {
    let of = |failed: u64, units: u64, share: &Option<Estimate>| {
        share.as_ref().map_or_else(
            || "no unit".to_owned(),
            |share| format!("{failed} of {units} ({})", value(&by_interval(share), percent)),
        )
    };
    let now = of(change.failed, change.units, &change.failure_share);
    let before = of(change.failed_before, change.units_before, &change.failure_share_before);
    let points = |x: f64| three_digits(100.0 * x);
    match certain.map(by_interval) {
        Some(e) => {
            let size = Estimate {
                value: e.value.abs(),
                low: e.low.abs().min(e.high.abs()),
                high: e.low.abs().max(e.high.abs()),
                ..e.clone()
            };
            format!(
                "failures {} by {} percentage points ({}), to {now} from {before}",
                if e.value > 0.0 { "rose" } else { "fell" },
                value(&size, points),
                interval(&size, points)
            )
        }
        None => format!("no certain change in failures: {now}, {before} before"),
    }
}
