//! Which units are judged: the period since the last established step, and the planning horizon.

use chrono::{Days, Months, NaiveDate};

use super::evidence::Judged;
use super::rules::Rules;
use super::wording::count;

/// Units of one production day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DayUnits {
    /// The day.
    pub day: NaiveDate,
    /// First attempts of that day.
    pub units: u64,
}

/// What decided where the period starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StartedBy {
    /// The last established step.
    Step,
    /// The longest period judged.
    LongestPeriod,
    /// Going further back for enough units.
    EnoughUnits,
    /// The history starts there.
    HistoryStart,
}

impl StartedBy {
    /// Machine name.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::LongestPeriod => "longest_period",
            Self::EnoughUnits => "enough_units",
            Self::HistoryStart => "history_start",
        }
    }
}

/// The period judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Period {
    /// Its days and units; `lots` is left `None` for the caller to fill.
    pub judged: Judged,
    /// What decided its start.
    pub started_by: StartedBy,
    /// One sentence for the report.
    pub sentence: String,
}

/// The period judged, ending on the last day with units.
///
/// - `established_steps`: first days of new levels, of the series or of a tester it uses, any order.
/// - `days`: units a day, any order, days repeated or empty allowed.
/// - `season`: the shape is `season`, so up to 12 months count.
///
/// Going back for enough units never crosses an established step. `None` where no day has units.
#[must_use]
pub fn judged_from(
    established_steps: &[NaiveDate],
    days: &[DayUnits],
    season: bool,
    rules: &Rules,
) -> Option<Period> {
    let mut used: Vec<DayUnits> = days.iter().copied().filter(|d| d.units > 0).collect();
    used.sort_by_key(|d| d.day);
    let (first, last) = (used.first()?.day, used.last()?.day);
    let months = if season { rules.judged_months_season } else { rules.judged_months };
    let step = established_steps.iter().copied().filter(|d| *d <= last && *d > first).max();
    let earliest = step.unwrap_or(first);
    // Six months that end on 30 October start on 1 May: the day after 30 April.
    let cap = last
        .checked_sub_months(Months::new(months))
        .and_then(|d| d.checked_add_days(Days::new(1)))
        .unwrap_or(first);
    let mut start = earliest.max(cap);
    let mut units: u64 = sum(used.iter().filter(|d| d.day >= start));
    let mut started_by = if start > earliest {
        StartedBy::LongestPeriod
    } else if step.is_some() {
        StartedBy::Step
    } else {
        StartedBy::HistoryStart
    };
    if units < rules.judged_units_min && start > earliest {
        let before: Vec<&DayUnits> =
            used.iter().filter(|d| d.day < start && d.day >= earliest).collect();
        started_by = if step.is_some() { StartedBy::Step } else { StartedBy::HistoryStart };
        for day in before.iter().rev() {
            start = day.day;
            units += day.units;
            if units >= rules.judged_units_min {
                started_by = StartedBy::EnoughUnits;
                break;
            }
        }
        // All units of the day on which enough were reached.
        units = sum(used.iter().filter(|d| d.day >= start));
    }
    let kept: Vec<&DayUnits> = used.iter().filter(|d| d.day >= start).collect();
    let from = kept.first().map_or(start, |d| d.day);
    let mut distinct: Vec<NaiveDate> = kept.iter().map(|d| d.day).collect();
    distinct.dedup();
    let why = match started_by {
        StartedBy::Step => "since the last established step".to_owned(),
        StartedBy::LongestPeriod => format!("the last {}", count(u64::from(months), "month")),
        StartedBy::EnoughUnits => {
            format!("back to where {} are reached", count(rules.judged_units_min, "unit"))
        }
        StartedBy::HistoryStart => "the whole history".to_owned(),
    };
    Some(Period {
        judged: Judged {
            from,
            to: last,
            units,
            production_days: distinct.len() as u64,
            lots: None,
        },
        started_by,
        sentence: format!(
            "Judged: {} from {from} to {last} on {}, {why}.",
            count(units, "unit"),
            count(distinct.len() as u64, "production day")
        ),
    })
}

fn sum<'a>(days: impl Iterator<Item = &'a DayUnits>) -> u64 {
    days.map(|d| d.units).sum()
}

/// Last day of the planning horizon: `horizon_months` after `to`, but never further ahead than the
/// history, which starts on `history_from`, reaches back.
#[must_use]
pub fn horizon_end(history_from: NaiveDate, to: NaiveDate, rules: &Rules) -> NaiveDate {
    let planned = to.checked_add_months(Months::new(rules.horizon_months));
    let back = u64::try_from((to - history_from).num_days()).unwrap_or(0);
    let allowed = to.checked_add_days(Days::new(back));
    planned.into_iter().chain(allowed).min().unwrap_or(to)
}
