//! What moved, over all series at once: testers first, then two groups, then each product.
//!
//! Two groups are looked for on the last 60 production days only: over a whole history a drift looks like
//! two groups, and lots would seem to explain it. They are compared on the days and stations that tested
//! both (`together`): the ratio from a mixture of all recent readings carried the stations' mix and left
//! three small steps of a product that stood still. The lot of a day is then that of the lower group.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::config::Config;
use crate::day::Day;
use crate::movement::drift::{
    self, DayFacts, DayPoint, Drift, DriftOptions, PointUnits, ReadingLine,
};
use crate::movement::groups::{FactorLevel, Split, split_by};
use crate::movement::limits::{LimitHistory, history};
use crate::movement::period::{Period, period};
use crate::movement::readings::{Reading, ma, readings};
use crate::movement::room_share::{RoomShare, room_share};
use crate::movement::scale::{OneScale, log_spread};
use crate::movement::stations::{
    self, CannotTell, Cell, SeriesFacts, StationOptions, Stations, TesterStep,
};
use crate::progress::{Stage, Tell, Things};
use crate::series::{Pass, Register, Says};
use crate::stats::mixture::{GroupRules, two_groups};
use crate::stats::multiple::benjamini_hochberg;
use crate::stats::numeric::median;
use crate::stats::sample::Sample;
use crate::stats::shape;

/// Production days looked back on for two groups that exist side by side.
const GROUP_DAYS: usize = 60;

/// The movement of all series and stations.
#[derive(Debug)]
pub struct Movement {
    /// What stations add to every model, or why that cannot be told.
    pub stations: Result<Stations, CannotTell>,
    /// Plants, of several, whose stations tell nothing.
    pub untold: Vec<Untold>,
    /// One entry per series of the pass.
    pub series: Vec<SeriesMovement>,
}

/// A plant of which product and tester cannot be told apart, while of others they can.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Untold {
    /// The plant; empty where it is not told.
    pub plant: String,
    /// Why.
    pub why: CannotTell,
}

impl std::fmt::Display for Untold {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let plant = if self.plant.is_empty() { "tests of no plant" } else { &self.plant };
        write!(f, "{plant}: {}", self.why)
    }
}

/// The movement of one series.
#[derive(Debug)]
pub struct SeriesMovement {
    /// The last of its readings, as shown.
    pub last: Option<Reading>,
    /// Stations that tested it, in order.
    pub used_at: Vec<u16>,
    /// How they come to one scale.
    pub scale: OneScale,
    /// Standard deviation of log readings about the middle of their station and day; 0 where not known.
    pub log_spread: f64,
    /// Daily or weekly medians on the one scale, each reading divided by its group's level.
    pub points: Vec<DayPoint>,
    /// How they moved.
    pub drift: Drift,
    /// p-value of the shape, adjusted over all series (Benjamini–Hochberg).
    pub adjusted_p: f64,
    /// Two groups side by side and the factor that separates them.
    pub split: Option<GroupSplit>,
    /// Limits over time.
    pub limits: LimitHistory,
    /// What it used of its room; `None` without points.
    pub room_share: Option<RoomShare>,
    /// The period judged.
    pub period: Period,
}

impl SeriesMovement {
    /// Typical reading of the last points, mA.
    pub fn typical_now_ma(&self) -> f64 {
        let last: Vec<f64> = self.points.iter().rev().take(25).map(|p| p.value_ma).collect();
        median(&last).or_else(|| self.last.map(|r| r.ma)).unwrap_or(0.0)
    }
}

/// Two groups side by side.
#[derive(Debug, Clone)]
pub struct GroupSplit {
    /// The factor and the levels on either side.
    pub split: Split,
    /// Its place among the factors.
    pub factor: usize,
    /// Upper group over lower, from the days and stations that tested both.
    pub ratio: f64,
    /// First day of the group that came later; `None` where both are there from the first day.
    pub since: Option<Day>,
    /// Levels of the group that came later, by name.
    pub came_later: Vec<String>,
}

/// Options for two groups from the settings.
pub fn group_rules(config: &Config) -> GroupRules {
    GroupRules {
        bic_gain: config.groups_bic_gain,
        separation: config.groups_separation,
        smallest_share: config.groups_smaller_share,
        smallest_units: config.groups_smaller_units,
    }
}

/// Options of the shape test from the settings: its replicates are drawn from the one seed.
fn shape_options(config: &Config) -> shape::Options {
    shape::Options { seed: config.seed, ..shape::Options::default() }
}

/// Finds what moved, and so which period of each series is judged.
pub fn find(pass: &Pass, register: &Register, config: &Config, tell: &Tell<'_>) -> Movement {
    let each = Things::new(tell, Stage::Move, pass.series.len());
    let all = 0..pass.series.len();
    let facts = facts(pass);
    let cells: Vec<Cell> =
        all.clone().into_par_iter().flat_map_iter(|n| cells(n, &readings(pass, n))).collect();
    let options = StationOptions {
        level: config.confidence,
        shape: shape_options(config),
        ..StationOptions::default()
    };
    let plants: Vec<&str> = pass.plant.plants().into_iter().collect();
    let (mut stations, untold) = by_plant(pass, &plants, &cells, &facts, &options);
    if let Ok(found) = &mut stations {
        leave_in(found, pass, register);
    }
    let mut series: Vec<SeriesMovement> = all
        .into_par_iter()
        .map(|n| of_series(pass, register, config, n, stations.as_ref().ok()))
        .inspect(|_| each.one_more())
        .collect();
    let p: Vec<f64> = series.iter().map(|s| s.drift.p_value).collect();
    for (s, adjusted) in series.iter_mut().zip(benjamini_hochberg(&p)) {
        s.adjusted_p = adjusted;
    }
    for (moved, series) in series.iter_mut().zip(&pass.series) {
        moved.period = period(series, moved, stations.as_ref().ok(), &pass.plant.stations, config);
    }
    Movement { stations, untold, series }
}

/// Stations of each plant against the others of it, and the plants of which nothing is known where of others it is.
fn by_plant(
    pass: &Pass,
    plants: &[&str],
    cells: &[Cell],
    facts: &[SeriesFacts],
    options: &StationOptions,
) -> (Result<Stations, CannotTell>, Vec<Untold>) {
    let all = pass.plant.stations.len();
    let [first, _, ..] = plants else {
        return (stations::assess(cells, facts, all, options), Vec::new());
    };
    let of = |s: usize| u16::try_from(s).map_or(*first, |s| pass.plant.plant_of(s));
    let parts: Vec<_> = plants
        .iter()
        .map(|plant| {
            let own: Vec<Cell> =
                cells.iter().filter(|c| of(c.station) == *plant).copied().collect();
            stations::assess(&own, facts, all, options)
        })
        .collect();
    let untold = plants.iter().zip(&parts).filter_map(|(plant, part)| {
        Some(Untold { plant: (*plant).to_owned(), why: *part.as_ref().err()? })
    });
    let untold = untold.collect();
    let places: Vec<usize> =
        (0..all).map(|s| plants.iter().position(|p| *p == of(s)).unwrap_or(0)).collect();
    (stations::together(parts, &places), untold)
}

/// Days about a step in which a calibration or event of its station confirms it.
const BESIDE: Day = 3;

/// Leaves in what may be the product: a step of a station that one series alone shows and nothing recorded confirms.
fn leave_in(found: &mut Stations, pass: &Pass, register: &Register) {
    let moved: Vec<Vec<TesterStep>> = found.stations.iter().map(|s| s.moved.clone()).collect();
    found.correction.keep_steps(|station, step| {
        let name = pass.plant.stations[station].as_str();
        let dates = moved[station].iter().find(|m| m.day == step.day);
        let (low, high) = dates.map_or((step.day, step.day), |m| (m.day_low, m.day_high));
        let beside = |day: Day| (low - BESIDE..=high + BESIDE).contains(&day);
        let mut events = register.events_about(Some(name), &[]);
        let mut calibrations = register.calibrations.iter().flatten();
        step.series > 1
            || calibrations.any(|c| c.station == name && beside(c.done_on))
            || events.any(|e| e.station == name && e.model.is_empty() && beside(e.day))
    });
}

/// Voltage and frequency of every series, for currents that grow with both.
pub fn facts(pass: &Pass) -> Vec<SeriesFacts> {
    pass.series
        .iter()
        .map(|s| SeriesFacts {
            volts: s.key.applied_v().unwrap_or(0.0),
            hertz: if s.key.test.is_dc() { 0.0 } else { s.key.frequency_hz().unwrap_or(0.0) },
        })
        .collect()
}

/// Median per station and day.
fn cells(series: usize, readings: &[Reading]) -> Vec<Cell> {
    readings
        .chunk_by(|a, b| (a.day, a.station) == (b.day, b.station))
        .filter_map(|group| {
            let lines: Vec<_> = group.iter().map(|r| (centre(r), r.step_ma, r.count)).collect();
            Some(Cell {
                series,
                station: usize::from(group[0].station),
                day: group[0].day,
                median_ma: drift::grouped_median(&lines)?,
                units: group.iter().map(|r| r.count).sum(),
            })
        })
        .collect()
}

/// A reading's place in a median: trips lie beyond everything.
fn centre(r: &Reading) -> f64 {
    match r.says {
        Says::Above => f64::INFINITY,
        Says::Below => r.ma / 2.0,
        Says::Value => r.ma,
    }
}

fn of_series(
    pass: &Pass,
    register: &Register,
    config: &Config,
    n: usize,
    stations: Option<&Stations>,
) -> SeriesMovement {
    let readings = readings(pass, n);
    let scale = OneScale::new(stations, n, &readings);
    let corrected = |r: &Reading| {
        let shown_ma = if r.says == Says::Above { r.ma } else { centre(r) };
        scale.carry(r.station, r.day).on_scale(shown_ma)
    };
    let mut split = side_by_side(pass, config, n, &readings, &scale);
    let grouped: Vec<(Reading, bool)> =
        split.as_ref().map_or_else(Vec::new, |split| by_group(pass, n, split));
    if let Some(split) = &mut split {
        together(split, &grouped);
    }
    let lines: Vec<ReadingLine> = match &split {
        None => readings
            .iter()
            .map(|r| ReadingLine {
                day: r.day,
                centre_ma: corrected(r),
                tripped: r.says == Says::Above,
                step_ma: r.step_ma * scale.carry(r.station, r.day).times,
                count: r.count,
            })
            .collect(),
        Some(split) => grouped
            .iter()
            .map(|(r, upper)| {
                let factor = if *upper { split.ratio } else { 1.0 };
                ReadingLine {
                    day: r.day,
                    centre_ma: corrected(r) / factor,
                    tripped: r.says == Says::Above,
                    step_ma: r.step_ma * scale.carry(r.station, r.day).times / factor,
                    count: r.count,
                }
            })
            .collect(),
    };
    let fewest = PointUnits { daily: config.daily_point_units, weekly: config.weekly_point_units };
    let points = drift::day_points(&lines, &day_facts(pass, n, split.as_ref()), fewest);
    let options = DriftOptions::new(config);
    let mut drift = drift::assess(&points, &options);
    // The baseline begins after the last known change that leaves room for one, and lies before a slope.
    let recorded = register
        .events_about(None, &pass.series[n].key.names())
        .filter(|e| !e.model.is_empty())
        .map(|e| e.day);
    let mut known: Vec<Day> = recorded.chain(drift.steps.iter().map(|s| s.day)).collect();
    known.sort_unstable();
    let slopes = matches!(drift.shape, Some(drift::Shape::Slope | drift::Shape::SlopeAndStep));
    let slope_from = drift.since.filter(|_| slopes);
    let after = known.into_iter().rev().find_map(|day| {
        let options = DriftOptions { baseline_from: Some(day), ..options.clone() };
        drift::chart::ewma_chart(&points, drift.rho.unwrap_or(0.0), &options)
            .filter(|chart| slope_from.is_none_or(|from| chart.baseline.1 < from))
    });
    drift.ewma = drift.ewma.map(|of_all| after.unwrap_or(of_all));
    let limits = history(&pass.series[n], &pass.plant.stations);
    SeriesMovement {
        adjusted_p: drift.p_value,
        room_share: room_share(&points, &drift, &limits, config),
        limits,
        log_spread: log_spread(&readings),
        scale,
        last: readings.last().copied(),
        used_at: super::readings::stations(&readings),
        points,
        drift,
        split,
        period: Period::default(),
    }
}

/// How the groups lie to each other on the days and stations that tested both, and since when there are two.
///
/// The ratio is the mean of log ratios of daily medians, weighed by units: what moves both groups alike, and
/// what a station adds to both, is no part of it.
fn together(split: &mut GroupSplit, readings: &[(Reading, bool)]) {
    let mut cells: BTreeMap<(Day, u16), [Vec<Reading>; 2]> = BTreeMap::new();
    let mut first = [Day::MAX; 2];
    for (r, upper) in readings {
        let side = usize::from(*upper);
        first[side] = first[side].min(r.day);
        cells.entry((r.day, r.station)).or_default()[side].push(*r);
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    for sides in cells.values() {
        let middle = |side: usize| {
            let lines: Vec<_> =
                sides[side].iter().map(|r| (centre(r), r.step_ma, r.count)).collect();
            let units: f64 = lines.iter().map(|l| l.2).sum();
            drift::grouped_median(&lines).map(|m| (m, units))
        };
        if let (Some((low, n)), Some((high, m))) = (middle(0), middle(1)) {
            let w = n * m / (n + m);
            sum += w * (high / low).ln();
            weight += w;
        }
    }
    let ratio = (sum / weight).exp();
    if ratio.is_finite() && ratio > 0.0 {
        split.ratio = ratio;
    }
    let later = usize::from(first[1] > first[0]);
    if first[0] != first[1] && first[later] != Day::MAX {
        split.since = Some(first[later]);
        let levels = [&split.split.lower, &split.split.upper][later];
        split.came_later.clone_from(levels);
    }
}

/// Air and lot of most units of each day; where there are two groups, of those of the lower one, since lots of
/// two suppliers that take turns are no change of lot.
fn day_facts(pass: &Pass, n: usize, split: Option<&GroupSplit>) -> BTreeMap<Day, DayFacts> {
    let mut sets: BTreeMap<(Day, u32), u64> = BTreeMap::new();
    for o in &pass.series[n].outcomes {
        *sets.entry((o.day, o.factors)).or_default() += u64::from(o.count);
    }
    let mut lots: BTreeMap<Day, BTreeMap<&str, u64>> = BTreeMap::new();
    for ((day, factors), count) in &sets {
        let Some(levels) = pass.plant.factor_sets.get(*factors as usize) else {
            continue;
        };
        let of_upper = split.is_some_and(|s| s.split.upper.contains(&levels[s.factor]));
        if let Some(lot) = levels.first()
            && !lot.is_empty()
            && !of_upper
        {
            *lots.entry(*day).or_default().entry(lot).or_default() += count;
        }
    }
    let mut numbers: BTreeMap<&str, u32> = BTreeMap::new();
    let mut facts: BTreeMap<Day, DayFacts> = pass
        .plant
        .air
        .get(pass.series[n].key.plant())
        .into_iter()
        .flatten()
        .map(|(d, air)| {
            let (humidity, temperature) = (air.humidity_pct, air.temperature_c);
            (*d, DayFacts { humidity, temperature, lot: None })
        })
        .collect();
    for (day, counts) in &lots {
        // The largest, the first by name of equals.
        let most = counts.iter().max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0))).map(|(l, _)| *l);
        if let Some(lot) = most {
            let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
            let number = *numbers.entry(lot).or_insert(next);
            facts.entry(*day).or_default().lot = Some(number);
        }
    }
    facts
}

/// Readings of each row of a series with whether its factor level lies in the upper group.
fn by_group(pass: &Pass, n: usize, split: &GroupSplit) -> Vec<(Reading, bool)> {
    let mut lines: BTreeMap<(Day, u16, i64, bool), f64> = BTreeMap::new();
    for test in pass.passes_of(n) {
        let upper = split.split.upper.contains(&test.levels()[split.factor]);
        if let Some((pa, _)) = test.shown() {
            *lines.entry((test.day(), test.station(), pa, upper)).or_default() +=
                f64::from(test.count());
        }
    }
    lines
        .into_iter()
        .map(|((day, station, pa, upper), count)| {
            (reading(pass, n, day, station, pa, count), upper)
        })
        .collect()
}

/// Units of series `n` that passed with one reading.
fn reading(pass: &Pass, n: usize, day: Day, station: u16, pa: i64, count: f64) -> Reading {
    let step_ma = ma(pass.plant.steps.at(n, station, pa));
    Reading { day, station, ma: ma(pa), step_ma, says: Says::Value, count }
}

/// Two groups that exist side by side on the last production days, and the factor that separates them.
///
/// Only days near each other are looked at: over a whole history a drift looks like two groups, and lots,
/// which change with time, would seem to explain it.
fn side_by_side(
    pass: &Pass,
    config: &Config,
    n: usize,
    readings: &[Reading],
    scale: &OneScale,
) -> Option<GroupSplit> {
    let mut days: Vec<Day> = readings.iter().map(|r| r.day).collect();
    days.dedup();
    let from = days[days.len().saturating_sub(GROUP_DAYS)..].first().copied()?;
    let rules = group_rules(config);
    let recent = readings.iter().filter(|r| r.day >= from && r.says == Says::Value);
    let sample = Sample::new(recent.map(|r| (scale.carried(r).observation(), r.count))).ok()?;
    let groups = two_groups(&sample, None, &rules)?;
    // Units by station, day and what they read, in picoamperes.
    type Readings = BTreeMap<(u16, Day, i64), f64>;
    let mut levels: BTreeMap<(usize, &str), Readings> = BTreeMap::new();
    for test in pass.tests_of(n).flat_map(|t| t.within(from, Day::MAX).passes()) {
        let Some((pa, _)) = test.shown() else { continue };
        for (factor, level) in test.levels().iter().enumerate().filter(|(_, l)| !l.is_empty()) {
            let at = (test.station(), test.day(), pa);
            *levels.entry((factor, level)).or_default().entry(at).or_default() +=
                f64::from(test.count());
        }
    }
    let levels: Vec<FactorLevel> = levels
        .into_iter()
        .filter_map(|((factor, level), lines)| {
            let sample = Sample::new(lines.into_iter().map(|((station, day, pa), count)| {
                let shown = reading(pass, n, day, station, pa, count);
                (scale.carried(&shown).observation(), count)
            }))
            .ok()?;
            Some(FactorLevel {
                factor: pass.plant.factor_names[factor].clone(),
                level: level.to_owned(),
                sample,
            })
        })
        .collect();
    let split = split_by(&groups, &levels, &rules)?;
    let factor = pass.plant.factor_names.iter().position(|f| *f == split.factor)?;
    let ratio = groups.groups[1].median / groups.groups[0].median;
    (ratio.is_finite() && ratio > 0.0).then_some(GroupSplit {
        split,
        factor,
        ratio,
        since: None,
        came_later: Vec::new(),
    })
}
