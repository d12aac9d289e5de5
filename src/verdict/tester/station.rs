//! A station: whether it differs, when it moved and what is recorded of that, and the passes it puts in doubt.

use std::collections::BTreeMap;
use std::fmt::{self, Display};

use serde::{Serialize, Serializer};

use super::{Plant, large, recorded};
use crate::analysis::units::doubt::{Doubt, Shows};
use crate::day::{Day, as_date, date_of};
use crate::movement::check_record::LoadRecord;
use crate::movement::stations::{ActsAs, MonthOffset, TesterStep};
use crate::stats::estimate::Estimate;
use crate::words::signed_percent;
use crate::words::time::day_text;

/// Days about a step of a station in which its check load must step too.
const TOGETHER: Day = 7;

/// A station against the others.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StationVerdict {
    /// Station.
    pub station: String,
    /// Whether the others are held against it.
    #[serde(skip)]
    pub is_reference: bool,
    /// Offset against the reference, per cent.
    pub offset_pct: Option<Estimate>,
    /// Whether the offset is certain and large enough.
    pub flagged: bool,
    /// Steps.
    pub moved: Vec<StationMove>,
    /// How the offset acts over models.
    pub acts_as: Option<ActsAs>,
    /// Offset at 1000 V (AC: 50 Hz), mA.
    pub offset_ma: Option<Estimate>,
    /// Passes that would have failed at the corrected reading; `None` where nothing can tell.
    pub passes_in_doubt: Option<u64>,
    /// How they came about.
    pub doubts: Vec<PassesInDoubt>,
    /// Offset month by month.
    pub months: Vec<MonthOffset>,
    /// What its offset points to beyond meter, voltage, leads and fixture.
    pub hint: Option<FrequencyHint>,
}

/// A step of a station, and what goes with it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StationMove {
    /// The step.
    #[serde(flatten)]
    pub step: TesterStep,
    /// What is recorded of that time, and explains it.
    pub event: Option<String>,
    /// Step of its check load at the same time, per cent.
    pub check_load_pct: Option<Estimate>,
}

impl StationMove {
    /// The step with what happened then.
    #[must_use]
    pub fn sentence(&self, station: &str) -> String {
        let load = self.check_load_pct.as_ref().map_or_else(String::new, |pct| {
            format!(" Its check load moved by {} at the same time.", signed_percent(pct.value))
        });
        let event = self.event.as_ref().map_or_else(
            || " No event or calibration is recorded then.".to_owned(),
            |e| format!(" Recorded then: {e}."),
        );
        format!(
            "Readings of {station} changed by {:+.2} % on {} on every model ({} to {}): the tester, not the product.{load}{event}",
            self.step.size_pct.value,
            day_text(self.step.day),
            day_text(self.step.day_low),
            day_text(self.step.day_high)
        )
    }
}

/// Passes of a stretch in which a station read too low, counted again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PassesInDoubt {
    /// First day counted again.
    #[serde(serialize_with = "as_date")]
    pub from: Day,
    /// Last day.
    #[serde(serialize_with = "as_date")]
    pub to: Day,
    /// What readings were raised by, per cent.
    pub raised_pct: Estimate,
    /// Passes counted again.
    pub passes: u64,
    /// Those that would have failed.
    pub would_have_failed: u64,
    /// The same at the lower end of the interval.
    pub low: u64,
    /// The same at its upper end.
    pub high: u64,
    /// Those that would have failed, by series, most first.
    pub by_series: Vec<DoubtOfSeries>,
    /// In words.
    pub sentence: String,
}

/// Passes in doubt of one series.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoubtOfSeries {
    /// Model.
    #[serde(skip)]
    pub model: String,
    /// Id of the series.
    pub series: String,
    /// Passes that would have failed.
    pub would_have_failed: u64,
}

/// What an offset near the ratio of two mains frequencies points to.
///
/// The current of a capacitance grows with frequency: 60 for 50 Hz reads 20 % more, the other way 16.7 % less
/// (arithmetic).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrequencyHint {
    /// Set to 60 Hz where the others are set to 50 Hz.
    SixtyForFifty,
    /// The other way round.
    FiftyForSixty,
}

impl FrequencyHint {
    /// The hint that an offset gives, if any.
    #[must_use]
    pub fn of(offset_pct: &Estimate) -> Option<Self> {
        let near =
            |ratio: f64| (offset_pct.value - ratio).abs() <= 2.0 || offset_pct.contains(ratio);
        if offset_pct.contains(0.0) {
            None
        } else if near(20.0) {
            Some(Self::SixtyForFifty)
        } else if near(-100.0 / 6.0) {
            Some(Self::FiftyForSixty)
        } else {
            None
        }
    }
}

impl Display for FrequencyHint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::SixtyForFifty => "a ratio near 60/50: check the frequency",
            Self::FiftyForSixty => "a ratio near 50/60: check the frequency",
        })
    }
}

impl Serialize for FrequencyHint {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// Every station.
pub(super) fn judge(plant: &Plant<'_>) -> Vec<StationVerdict> {
    let found = plant.known.movement.stations.as_ref().ok();
    let judge_one = |(n, name): (usize, &String)| {
        let s = found.map(|f| f.stations[n].clone()).unwrap_or_default();
        let number = u16::try_from(n).unwrap_or(u16::MAX);
        let doubts: Vec<PassesInDoubt> = plant
            .findings
            .doubts
            .iter()
            .filter(|d| d.station == number)
            .map(|d| in_doubt(plant, d, name))
            .collect();
        let known = found.is_some() || !doubts.is_empty() || plant.findings.calibrations.is_some();
        StationVerdict {
            station: name.clone(),
            is_reference: found.is_some_and(|f| f.references.contains(&n)),
            flagged: s.offset_pct.as_ref().is_some_and(|o| large(o, plant.config)),
            moved: moves(plant, number, s.moved),
            acts_as: s.acts_as,
            offset_ma: s.offset_ma,
            passes_in_doubt: known.then(|| doubts.iter().map(|d| d.would_have_failed).sum()),
            doubts,
            months: s.months,
            hint: s.offset_pct.as_ref().and_then(FrequencyHint::of),
            offset_pct: s.offset_pct,
        }
    };
    plant.pass.plant.stations.iter().enumerate().map(judge_one).collect()
}

/// Steps of one station, with what was recorded then and what its check load did.
fn moves(plant: &Plant<'_>, station: u16, steps: Vec<TesterStep>) -> Vec<StationMove> {
    let happened = plant.happened_at(station);
    let loads = || plant.findings.checks.iter().flatten().flat_map(|c| &c.loads);
    let of_loads: Vec<&TesterStep> =
        loads().filter(|r: &&LoadRecord| r.station == station).flat_map(|r| &r.steps).collect();
    let judge_one = |step: TesterStep| {
        let about = step.day_low - TOGETHER..=step.day_high + TOGETHER;
        let load = of_loads.iter().find(|l| about.contains(&l.day));
        StationMove {
            event: recorded(&happened, &step),
            check_load_pct: load.map(|l| l.size_pct.clone()),
            step,
        }
    };
    steps.into_iter().map(judge_one).collect()
}

fn in_doubt(plant: &Plant<'_>, doubt: &Doubt, station: &str) -> PassesInDoubt {
    let by_series = by_series(plant, doubt);
    PassesInDoubt {
        from: doubt.from,
        to: doubt.to,
        raised_pct: doubt.raised_pct.clone(),
        passes: doubt.passes,
        would_have_failed: doubt.units.len() as u64,
        low: doubt.ends.0,
        high: doubt.ends.1,
        sentence: doubt_sentence(doubt, station, &by_series),
        by_series,
    }
}

/// Passes in doubt by series, most first.
fn by_series(plant: &Plant<'_>, doubt: &Doubt) -> Vec<DoubtOfSeries> {
    let mut counts: BTreeMap<usize, u64> = BTreeMap::new();
    for unit in &doubt.units {
        if let Some(series) = unit.series {
            *counts.entry(series).or_default() += u64::from(unit.count);
        }
    }
    let mut counts: Vec<(usize, u64)> = counts.into_iter().collect();
    counts.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
    let named = counts.into_iter().map(|(n, would_have_failed)| DoubtOfSeries {
        model: plant.names[n].model.clone(),
        series: plant.names[n].id.clone(),
        would_have_failed,
    });
    named.collect()
}

/// How passes in doubt came about, and how many there are.
fn doubt_sentence(doubt: &Doubt, station: &str, by_series: &[DoubtOfSeries]) -> String {
    let raised = signed_percent(doubt.raised_pct.value);
    let why = match &doubt.shows {
        Shows::StepUp { day, calibrated } => format!(
            "its readings rose by {raised} on {}{}",
            date_of(*day),
            if *calibrated { ", when it was calibrated" } else { "" }
        ),
        Shows::StepDown { day } => format!(
            "its readings fell on {} without a calibration: if the level before was right, they are {} too low since",
            date_of(*day),
            raised.trim_start_matches('+')
        ),
        Shows::Calibration { instrument, day, error_pct } => format!(
            "{instrument} was found {} wrong on {}",
            signed_percent(*error_pct),
            date_of(*day)
        ),
    };
    let named: Vec<String> =
        by_series.iter().map(|s| format!("{} {}", s.model, s.would_have_failed)).collect();
    let named = if named.is_empty() { String::new() } else { format!(" ({})", named.join(", ")) };
    let n = doubt.units.len() as u64;
    format!(
        "At {station} {} from {} to {} would have failed at the corrected reading, {} to {}{named}: {why}.",
        if n == 1 { "1 pass".to_owned() } else { format!("{n} passes") },
        date_of(doubt.from),
        date_of(doubt.to),
        doubt.ends.0,
        doubt.ends.1
    )
}
