//! Product or tester: what a station shows on every model is the station.
//!
//! Log daily medians are split into a level for each model and day, and what stations add to it: a gain
//! (the same per cent on every model) and the current of leads and fixture (the same capacitance, hence mA
//! in proportion to volts times hertz). Steps of a station are found once over all models, from the
//! station against the others day by day; of the stations that could explain a change the one that leaves
//! least unrest is named, and its step taken off before the next is sought.
//!
//! The reference is the plant's middle station (median weighted by units): a mean would move whenever
//! one station moves, and would put part of its step on every product.
//!
//! Products that moved more than 5 % measure no station.

pub mod correction;
mod lasting;
mod moves;
mod relative;

pub use correction::{Correction, StepTaken};

use serde::Serialize;

use crate::day::{Day, as_date};
use crate::stats::estimate::Estimate;
use crate::stats::numeric::median;
use crate::stats::shape;
use lasting::{Lasting, middle, months};
use moves::{find_steps, measured};
use relative::Shared;
use std::collections::BTreeMap;

use crate::words::time::as_month;

/// Median of one series at one station on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Number of the series, as in the list of [`SeriesFacts`].
    pub series: usize,
    /// Number of the station, from 0.
    pub station: usize,
    /// Days since 1970-01-01.
    pub day: i32,
    /// Median reading, mA.
    pub median_ma: f64,
    /// Units behind it.
    pub units: f64,
}

/// What drives the current of leads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeriesFacts {
    /// Set voltage, V.
    pub volts: f64,
    /// Frequency, Hz; 0 for DC.
    pub hertz: f64,
}

/// Settings.
#[derive(Debug, Clone, PartialEq)]
pub struct StationOptions {
    /// Confidence level of intervals.
    pub level: f64,
    /// Fewest units of a cell.
    pub smallest_cell: f64,
    /// A series whose level moved by more than this share measures no station, except near its lowest.
    pub still_share: f64,
    /// The shape test for steps.
    pub shape: shape::Options,
}

impl Default for StationOptions {
    fn default() -> Self {
        Self {
            level: 0.95,
            smallest_cell: 3.0,
            still_share: 0.05,
            shape: shape::Options::default(),
        }
    }
}

/// Why product and tester cannot be told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CannotTell {
    /// There are no two stations.
    #[error("product and tester cannot be told apart: there is one station only, or none is named")]
    OneStation,
    /// No model was tested on two stations on one day.
    #[error(
        "product and tester cannot be told apart: no model was tested on two stations on one day"
    )]
    NothingShared,
    /// Too few such days.
    #[error(
        "product and tester cannot be told apart: fewer than {} days with a model on two stations",
        shape::FEWEST_POINTS
    )]
    TooFewDays,
}

/// How an offset acts over models.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum ActsAs {
    /// The same per cent: meter or voltage.
    #[serde(rename = "per_cent")]
    PerCent,
    /// The same capacitance: leads and fixture.
    #[serde(rename = "ma")]
    Milliampere,
}

/// A step of a tester, seen on products or on a check load.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TesterStep {
    /// First day at the new level.
    #[serde(rename = "date", serialize_with = "as_date")]
    pub day: Day,
    /// Earliest day that fits nearly as well.
    #[serde(rename = "date_low", serialize_with = "as_date")]
    pub day_low: Day,
    /// Latest day that fits nearly as well.
    #[serde(rename = "date_high", serialize_with = "as_date")]
    pub day_high: Day,
    /// Change of the readings, per cent of the level before.
    pub size_pct: Estimate,
    /// p-value of the step's shape: of products times the stations looked at, of check loads adjusted over all.
    #[serde(skip)]
    pub p_value: f64,
}

/// Offset of a station in one month.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MonthOffset {
    /// Year and month, 1 to 12.
    #[serde(serialize_with = "as_month")]
    pub month: (i32, u32),
    /// Against the reference, per cent.
    pub offset_pct: Estimate,
}

/// What is known of one station; every field empty where it shared no model.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Station {
    /// Offset since the last step of any station, as one per cent over all models.
    pub offset_pct: Option<Estimate>,
    /// The same as one current, mA at 1000 V and 50 Hz.
    pub offset_ma: Option<Estimate>,
    /// The better of the two, where either interval excludes zero.
    pub acts_as: Option<ActsAs>,
    /// Steps in order of time.
    pub moved: Vec<TesterStep>,
    /// Month by month, as one per cent over all models.
    pub months: Vec<MonthOffset>,
}

/// All stations.
#[derive(Debug, Clone, PartialEq)]
pub struct Stations {
    /// By number.
    pub stations: Vec<Station>,
    /// Numbers of the reference stations (offset 0): one of each plant.
    pub references: Vec<usize>,
    /// What to divide readings by.
    pub correction: Correction,
}

/// Splits daily medians into product and station.
///
/// - Shape: one cell per series, station and day at most; `stations` of them in all.
/// # Errors
/// See [`CannotTell`]; readings then need no correction that could be known.
pub fn assess(
    cells: &[Cell],
    series: &[SeriesFacts],
    stations: usize,
    options: &StationOptions,
) -> Result<Stations, CannotTell> {
    let drive: Vec<f64> = series.iter().map(|s| s.volts * s.hertz / 50_000.0).collect();
    let shared = share(cells, &drive, stations, options)?;
    let (taken, p_values) = find_steps(&shared, stations, options);
    let levelled = shared.levelled(&taken);
    let mut units = vec![0.0; stations];
    shared.cells.iter().for_each(|c| units[c.station] += c.units);
    let reference = middle(&shared, &levelled, &units).unwrap_or(0);
    let lasting = Lasting::of(&shared, &levelled, reference, stations, options);
    let mut out: Vec<Station> = (0..stations).map(|s| lasting.station(s)).collect();
    let found = measured(&shared, &taken, &p_values, options);
    let mut steps: Vec<Vec<StepTaken>> = vec![Vec::new(); stations];
    for (own, found) in taken.iter().zip(found) {
        let size = found.as_ref().map(|f| &f.step.size_pct);
        let reach = size.map_or(f64::INFINITY, |pct| {
            0.5 * ((pct.high / 100.0).ln_1p() - (pct.low / 100.0).ln_1p())
        });
        steps[own.station].push(StepTaken {
            day: own.day,
            size: own.size,
            reach,
            error: found.as_ref().map_or(f64::INFINITY, |f| f.error),
            series: shared.series_across(own),
        });
        out[own.station].moved.extend(found.map(|f| f.step));
    }
    out.iter_mut().for_each(|s| s.moved.sort_by_key(|m| m.day));
    months(&shared, reference, &taken, &mut out, options);
    let correction = Correction {
        ln_gain: lasting.ln_gain.clone(),
        lead_ma: lasting.lead_ma.clone(),
        errors: lasting.errors.clone(),
        steps,
        drive,
    };
    Ok(Stations { stations: out, references: vec![reference], correction })
}

/// What was found of each plant alone, as one: `of` says for each station which of `parts` it stands in. Stations of a
/// plant of which nothing can be told stay as they are.
///
/// # Errors
/// Where of no plant anything can be told: why not of the first.
pub fn together(
    parts: Vec<Result<Stations, CannotTell>>,
    of: &[usize],
) -> Result<Stations, CannotTell> {
    let mut all: Option<Stations> = None;
    let mut why = None;
    for (n, part) in parts.into_iter().enumerate() {
        match (part, &mut all) {
            (Err(reason), _) => why = why.or(Some(reason)),
            (Ok(part), None) => all = Some(part),
            (Ok(mut part), Some(all)) => {
                for s in (0..of.len()).filter(|s| of[*s] == n) {
                    std::mem::swap(&mut all.stations[s], &mut part.stations[s]);
                    all.correction.take(s, &mut part.correction);
                }
                all.references.extend(part.references);
            }
        }
    }
    all.ok_or(why.unwrap_or(CannotTell::OneStation))
}

/// Median level of each series in stretches of 30 days.
fn levels(cells: &[Cell], series: usize, smallest: f64) -> Vec<BTreeMap<i32, f64>> {
    let mut bins: Vec<BTreeMap<i32, Vec<f64>>> = vec![BTreeMap::new(); series];
    for c in cells.iter().filter(|c| usable(c, smallest) && c.series < series) {
        bins[c.series].entry(c.day.div_euclid(30)).or_default().push(c.median_ma);
    }
    bins.into_iter()
        .map(|b| b.into_iter().filter_map(|(k, v)| Some((k, median(&v)?))).collect())
        .collect()
}

fn usable(c: &Cell, smallest: f64) -> bool {
    c.units >= smallest && c.median_ma > 0.0 && c.median_ma.is_finite()
}

fn share(
    cells: &[Cell],
    drive: &[f64],
    stations: usize,
    options: &StationOptions,
) -> Result<Shared, CannotTell> {
    let fits = |c: &&Cell| {
        usable(c, options.smallest_cell) && c.series < drive.len() && c.station < stations
    };
    let mut kept: Vec<Cell> = cells.iter().filter(fits).copied().collect();
    kept.sort_by_key(|c| (c.series, c.day, c.station));
    let mut shared = Shared {
        cells: Vec::new(),
        group: Vec::new(),
        groups: 0,
        weight: Vec::new(),
        lead: Vec::new(),
        still: Vec::new(),
        any_still: true,
    };
    for group in
        kept.chunk_by(|a, b| (a.series, a.day) == (b.series, b.day)).filter(|g| g.len() > 1)
    {
        shared.cells.extend_from_slice(group);
        shared.group.extend(std::iter::repeat_n(shared.groups, group.len()));
        shared.groups += 1;
    }
    if shared.cells.is_empty() {
        return Err(if stations < 2 { CannotTell::OneStation } else { CannotTell::NothingShared });
    }
    let mut days: Vec<i32> = shared.cells.iter().map(|c| c.day).collect();
    days.sort_unstable();
    days.dedup();
    if days.len() < shape::FEWEST_POINTS {
        return Err(CannotTell::TooFewDays);
    }
    shared.weight = shared.cells.iter().map(|c| c.units).collect();
    let level = levels(&shared.cells, drive.len(), options.smallest_cell);
    let level_of =
        |c: &Cell| level[c.series].get(&c.day.div_euclid(30)).copied().unwrap_or(c.median_ma);
    shared.lead = shared.cells.iter().map(|c| drive[c.series] / level_of(c)).collect();
    weigh(&mut shared, drive.len());
    // Leads add less where a leak adds at right angles; a moving product is used near its lowest only.
    let lowest: Vec<f64> =
        level.iter().map(|l| l.values().copied().fold(f64::INFINITY, f64::min)).collect();
    let near = |c: &Cell| {
        drive[c.series] == 0.0 || level_of(c) <= lowest[c.series] * (1.0 + options.still_share)
    };
    shared.still = shared.cells.iter().map(near).collect();
    let driven = |i: &usize| drive[shared.cells[*i].series] > 0.0;
    let all = (0..shared.cells.len()).filter(driven).count() as f64;
    let still = (0..shared.cells.len()).filter(driven).filter(|i| shared.still[*i]).count() as f64;
    shared.any_still = still >= 0.3 * all;
    if !shared.any_still {
        shared.still.iter_mut().for_each(|s| *s = true);
    }
    Ok(shared)
}

/// Inverse variances: units over the spread of one unit, found for each series.
fn weigh(shared: &mut Shared, series: usize) {
    let logs = shared.levelled(&[]);
    let moving = shared.without_lasting(&logs);
    let means = shared.means(&moving, &shared.weight);
    let mut totals = vec![0.0; shared.groups];
    for (i, c) in shared.cells.iter().enumerate() {
        totals[shared.group[i]] += c.units;
    }
    let mut sizes: Vec<Vec<f64>> = vec![Vec::new(); series];
    for (i, c) in shared.cells.iter().enumerate() {
        let free = (1.0 - c.units / totals[shared.group[i]]).max(0.05);
        let apart = (moving[i] - means[shared.group[i]]).abs();
        sizes[c.series].push(apart * (c.units / free).sqrt());
    }
    // 1.4826 makes the median size a standard deviation; a quantised series may show none at all.
    let spread: Vec<f64> =
        sizes.iter().map(|s| (1.4826 * median(s).unwrap_or(0.0)).max(1e-3)).collect();
    shared.weight = shared.cells.iter().map(|c| c.units / spread[c.series].powi(2)).collect();
}
