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

pub mod correction;
mod relative;

pub use correction::Correction;

use crate::stats::estimate::Estimate;
use crate::stats::offsets::{Effects, Entry, fit, weighted_median};
use crate::stats::shape::candidates::Fitter;
use crate::stats::shape::steps::{Step, measure_one};
use crate::stats::shape::{self, Points};
use crate::stats::special::student_t_quantile;
use crate::stats::trend::median;
use relative::{Shared, Taken};
use std::collections::BTreeMap;

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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CannotTell {
    /// No model was tested on two stations on one day.
    NothingShared,
    /// Too few such days (under 20).
    TooFewDays,
}

/// How an offset acts over models.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ActsAs {
    /// The same per cent: meter or voltage.
    PerCent,
    /// The same capacitance: leads and fixture.
    Milliampere,
}

/// A step of one station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationStep {
    /// First day at the new level.
    pub day: i32,
    /// Earliest day that fits nearly as well.
    pub day_low: i32,
    /// Latest day that fits nearly as well.
    pub day_high: i32,
    /// Change of the readings, per cent of the level before.
    pub size_pct: Estimate,
    /// p-value of the step's shape times the number of stations looked at.
    pub p_value: f64,
}

/// Offset of a station in one month.
#[derive(Debug, Clone, PartialEq)]
pub struct MonthOffset {
    /// Year and month, 1 to 12.
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
    pub moved: Vec<StationStep>,
    /// Month by month, as one per cent over all models.
    pub months: Vec<MonthOffset>,
}

/// All stations.
#[derive(Debug, Clone, PartialEq)]
pub struct Stations {
    /// By number.
    pub stations: Vec<Station>,
    /// Number of the reference station (offset 0).
    pub reference: usize,
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
    for (station, p_value, step) in measured(&shared, &taken, &p_values, options) {
        out[station].moved.push(as_station_step(&step.0, &step.1, p_value, options.level));
    }
    out.iter_mut().for_each(|s| s.moved.sort_by_key(|m| m.day));
    months(&shared, reference, &mut out, options);
    let mut correction = Correction {
        ln_gain: lasting.ln_gain.clone(),
        lead_ma: lasting.lead_ma.clone(),
        steps: vec![Vec::new(); stations],
        drive,
        level_ma: vec![BTreeMap::new(); series.len()],
    };
    taken.iter().for_each(|t| correction.steps[t.station].push((t.day, t.size)));
    // Levels as the reference shows them: gain and leads of every cell taken off.
    let level = |c: &Cell| correction.corrected(c.series, c.station, c.day, c.median_ma);
    correction.level_ma = levels(cells, series.len(), options.smallest_cell, level);
    Ok(Stations { stations: out, reference, correction })
}

/// Median level of each series in stretches of 30 days.
fn levels(
    cells: &[Cell],
    series: usize,
    smallest: f64,
    level: impl Fn(&Cell) -> f64,
) -> Vec<BTreeMap<i32, f64>> {
    let mut bins: Vec<BTreeMap<i32, Vec<f64>>> = vec![BTreeMap::new(); series];
    for c in cells.iter().filter(|c| usable(c, smallest) && c.series < series) {
        bins[c.series].entry(c.day.div_euclid(30)).or_default().push(level(c));
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
    let fits = |c: &&Cell| usable(c, options.smallest_cell) && c.series < drive.len() && c.station < stations;
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
    for group in kept.chunk_by(|a, b| (a.series, a.day) == (b.series, b.day)).filter(|g| g.len() > 1) {
        shared.cells.extend_from_slice(group);
        shared.group.extend(std::iter::repeat_n(shared.groups, group.len()));
        shared.groups += 1;
    }
    if shared.cells.is_empty() {
        return Err(CannotTell::NothingShared);
    }
    let mut days: Vec<i32> = shared.cells.iter().map(|c| c.day).collect();
    days.sort_unstable();
    days.dedup();
    if days.len() < shape::FEWEST_POINTS {
        return Err(CannotTell::TooFewDays);
    }
    shared.weight = shared.cells.iter().map(|c| c.units).collect();
    let level = levels(&shared.cells, drive.len(), options.smallest_cell, |c| c.median_ma);
    let level_of = |c: &Cell| level[c.series].get(&c.day.div_euclid(30)).copied().unwrap_or(c.median_ma);
    shared.lead = shared.cells.iter().map(|c| drive[c.series] / level_of(c)).collect();
    weigh(&mut shared, drive.len());
    // Leads add less where a leak adds at right angles; a moving product is used near its lowest only.
    let lowest: Vec<f64> =
        level.iter().map(|l| l.values().copied().fold(f64::INFINITY, f64::min)).collect();
    let near = |c: &Cell| drive[c.series] == 0.0 || level_of(c) <= lowest[c.series] * (1.0 + options.still_share);
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

fn series_of(shared: &Shared, station: usize, taken: &[Taken]) -> Points {
    let moving = shared.without_lasting(&shared.levelled(taken));
    let (days, values) = shared.against_others(station, &moving);
    Points { days: days.into_iter().map(f64::from).collect(), values, ..Points::default() }
}

/// Steps of stations, the clearest first, each taken off before the next is sought.
fn find_steps(shared: &Shared, stations: usize, options: &StationOptions) -> (Vec<Taken>, Vec<f64>) {
    let (mut taken, mut p_values): (Vec<Taken>, Vec<f64>) = (Vec::new(), Vec::new());
    let smallest = options.shape.smallest_segment;
    for _ in 0..3 * stations {
        let mut proposals: Vec<(f64, Taken, Points)> = Vec::new();
        for station in 0..stations {
            let points = series_of(shared, station, &taken);
            if points.values.len() < shape::FEWEST_POINTS {
                continue;
            }
            let all = Fitter::new(&points).all(&points.values, smallest, false);
            let Some(best) = all.iter().min_by(|a, b| a.bic.total_cmp(&b.bic)) else { continue };
            if let (true, Some(k), Some(size)) = (best.kind.has_step(), best.index, best.coefficients.last()) {
                let step = Taken { station, day: points.days[k] as i32, size: *size };
                proposals.push((all[0].bic - best.bic, step, points));
            }
        }
        proposals.sort_by(|a, b| b.0.total_cmp(&a.0));
        proposals.truncate(4);
        let unrest = |step: &Taken| {
            let with: Vec<Taken> = taken.iter().chain([step]).copied().collect();
            shared.unrest(&shared.without_lasting(&shared.levelled(&with)))
        };
        let chosen = proposals.into_iter().min_by(|a, b| unrest(&a.1).total_cmp(&unrest(&b.1)));
        let Some((_, step, points)) = chosen else { break };
        let p_value = shape::test(&points, &options.shape).map_or(1.0, |t| t.p_value) * stations as f64;
        if p_value > 0.05 {
            break;
        }
        taken.push(step);
        p_values.push(p_value);
        settle(shared, &mut taken, smallest);
    }
    (taken, p_values)
}

/// Sizes of all steps together: each is measured with the others taken off, a few times over.
fn settle(shared: &Shared, taken: &mut [Taken], smallest: usize) {
    for _ in 0..4 {
        for i in 0..taken.len() {
            let points = series_of(shared, taken[i].station, taken);
            let at = points.days.partition_point(|d| *d < f64::from(taken[i].day));
            let fitter = Fitter::new(&points);
            let step = fitter.fit(shape::candidates::Kind::Step, &points.values, smallest, Some(at));
            if let Some(more) = step.and_then(|s| s.coefficients.last().copied()) {
                taken[i].size += more;
            }
        }
    }
}

type Measured = (usize, f64, (Step, Points));

/// Each step measured with itself put back, between its station's neighbouring steps; in 75 days on
/// either side where every series moves.
fn measured(shared: &Shared, taken: &[Taken], p_values: &[f64], options: &StationOptions) -> Vec<Measured> {
    taken
        .iter()
        .zip(p_values)
        .filter_map(|(own, p_value)| {
            let mut points = series_of(shared, own.station, taken);
            let day = f64::from(own.day);
            for (v, d) in points.values.iter_mut().zip(&points.days) {
                *v += if *d >= day { own.size } else { 0.0 };
            }
            let others = || taken.iter().filter(|t| t.station == own.station).map(|t| f64::from(t.day));
            let mut from = others().filter(|d| *d < day).fold(f64::NEG_INFINITY, f64::max);
            let mut to = others().filter(|d| *d > day).fold(f64::INFINITY, f64::min);
            if !shared.any_still {
                (from, to) = (from.max(day - 75.0), to.min(day + 75.0));
            }
            let (a, b) = (points.days.partition_point(|d| *d < from), points.days.partition_point(|d| *d < to));
            let part = points.part(a, b);
            let at = part.days.partition_point(|d| *d < day);
            let step = measure_one(&part, at, options.shape.smallest_segment, 0, *p_value)?;
            Some((own.station, *p_value, (step, part)))
        })
        .collect()
}

fn as_station_step(step: &Step, points: &Points, p_value: f64, level: f64) -> StationStep {
    let reach = student_t_quantile(0.5 + 0.5 * level, step.df) * step.se;
    let pct = |d: f64| 100.0 * d.exp_m1();
    let day = |k: usize| points.days[k] as i32;
    StationStep {
        day: day(step.index),
        day_low: if step.index_low > 0 { day(step.index_low - 1) + 1 } else { day(0) },
        day_high: day(step.index_high),
        size_pct: Estimate {
            value: pct(step.size),
            low: pct(step.size - reach),
            high: pct(step.size + reach),
            level,
            method: "station against the others, least squares with AR(1) errors".into(),
        },
        p_value,
    }
}

fn entries(shared: &Shared, values: &[f64], keep: impl Fn(usize) -> bool) -> (Vec<Entry>, Vec<usize>) {
    let kept: Vec<usize> = (0..values.len()).filter(|i| keep(*i)).collect();
    let entry = |i: &usize| Entry {
        group: shared.group[*i],
        cluster: shared.cells[*i].day,
        value: values[*i],
        weight: shared.weight[*i],
    };
    (kept.iter().map(entry).collect(), kept)
}

/// Columns of the stations in `list`: 1, or the lead column, where the cell is the station's.
fn columns(shared: &Shared, kept: &[usize], list: &[usize], lead: bool) -> Vec<Vec<f64>> {
    list.iter()
        .map(|s| {
            kept.iter()
                .map(|i| match shared.cells[*i].station == *s {
                    true if lead => shared.lead[*i],
                    own => f64::from(u8::from(own)),
                })
                .collect()
        })
        .collect()
}

/// The station whose offset is the median over units.
fn middle(shared: &Shared, levelled: &[f64], units: &[f64]) -> Option<usize> {
    let present: Vec<usize> = (0..units.len()).filter(|s| units[*s] > 0.0).collect();
    let (list, kept) = entries(shared, levelled, |i| shared.still[i]);
    let effects = fit(&list, &columns(shared, &kept, &present[1..], false), None);
    let mut offsets = vec![0.0];
    offsets.extend(effects.map_or_else(|| vec![0.0; present.len() - 1], |e| e.value));
    let weights: Vec<f64> = present.iter().map(|s| units[*s]).collect();
    let centre = weighted_median(&offsets, &weights)?;
    offsets.iter().position(|o| *o == centre).map(|i| present[i])
}

/// Lasting offsets: as per cent, as current, and both where both are needed.
struct Lasting {
    others: Vec<usize>,
    per_cent: Option<Effects>,
    current: Option<Effects>,
    acts_as: BTreeMap<usize, ActsAs>,
    ln_gain: Vec<f64>,
    lead_ma: Vec<f64>,
    level: f64,
    reference: usize,
}

impl Lasting {
    fn of(
        shared: &Shared,
        levelled: &[f64],
        reference: usize,
        stations: usize,
        options: &StationOptions,
    ) -> Self {
        let others: Vec<usize> = (0..stations)
            .filter(|s| *s != reference && shared.cells.iter().any(|c| c.station == *s))
            .collect();
        let (list, kept) = entries(shared, levelled, |i| shared.still[i]);
        let gains = columns(shared, &kept, &others, false);
        let leads = columns(shared, &kept, &others, true);
        let per_cent = fit(&list, &gains, None);
        let current = fit(&list, &leads, None);
        let mut lasting = Self {
            per_cent,
            current,
            acts_as: BTreeMap::new(),
            ln_gain: vec![0.0; stations],
            lead_ma: vec![0.0; stations],
            level: options.level,
            reference,
            others,
        };
        // Each station alone as one or the other, the rest free in both; one scale, so losses compare.
        let both: Vec<Vec<f64>> = gains.iter().chain(&leads).cloned().collect();
        let k = lasting.others.len();
        let full = fit(&list, &both, None);
        let scale = full.as_ref().map(|f| f.scale);
        let mut dropped = vec![false; 2 * k];
        for i in 0..k {
            let Some(full) = &full else { break };
            let without = |j: usize| {
                let rest: Vec<Vec<f64>> =
                    (0..2 * k).filter(|c| *c != j).map(|c| both[c].clone()).collect();
                fit(&list, &rest, scale).map_or(f64::INFINITY, |e| e.loss)
            };
            let (as_current, as_per_cent) = (without(i), without(k + i));
            let name = if as_current < as_per_cent { ActsAs::Milliampere } else { ActsAs::PerCent };
            lasting.acts_as.insert(lasting.others[i], name);
            // The second effect must earn its place.
            if as_current.min(as_per_cent) - full.loss < 10.0 {
                dropped[if as_current < as_per_cent { i } else { k + i }] = true;
            }
        }
        let kept_columns: Vec<usize> = (0..2 * k).filter(|c| !dropped[*c]).collect();
        let chosen: Vec<Vec<f64>> = kept_columns.iter().map(|c| both[*c].clone()).collect();
        match (full.is_some(), fit(&list, &chosen, None), &lasting.per_cent) {
            (true, Some(effects), _) => {
                for (c, v) in kept_columns.iter().zip(&effects.value) {
                    let station = lasting.others[c % k];
                    if *c < k { lasting.ln_gain[station] = *v } else { lasting.lead_ma[station] = *v }
                }
            }
            // One model alone cannot tell the two apart: per cent.
            (_, _, Some(effects)) => {
                for (station, v) in lasting.others.iter().zip(&effects.value) {
                    lasting.ln_gain[*station] = *v;
                }
            }
            _ => {}
        }
        lasting
    }

    fn station(&self, station: usize) -> Station {
        if station == self.reference {
            let zero = |method: &str| Estimate::new(0.0, 0.0, 0.0, self.level, method);
            let (offset_pct, offset_ma) = (zero("reference"), zero("reference"));
            return Station { offset_pct, offset_ma, ..Station::default() };
        }
        let Some(i) = self.others.iter().position(|s| *s == station) else {
            return Station::default();
        };
        let ends = |effects: &Effects| {
            let unit: Vec<f64> =
                (0..self.others.len()).map(|j| f64::from(u8::from(i == j))).collect();
            (effects.value[i], effects.reach(&unit, self.level))
        };
        let pct = |d: f64| 100.0 * d.exp_m1();
        let method = "robust split of log medians, days as clusters";
        let offset_pct = self.per_cent.as_ref().and_then(|e| {
            let (v, r) = ends(e);
            Estimate::new(pct(v), pct(v - r), pct(v + r), self.level, method)
        });
        let offset_ma = self.current.as_ref().and_then(|e| {
            let (v, r) = ends(e);
            Estimate::new(v, v - r, v + r, self.level, method)
        });
        let certain = |e: &Option<Estimate>| e.as_ref().is_some_and(|e| !e.contains(0.0));
        let acts_as = self
            .acts_as
            .get(&station)
            .copied()
            .filter(|_| certain(&offset_pct) || certain(&offset_ma));
        Station { offset_pct, offset_ma, acts_as, ..Station::default() }
    }
}

/// Offsets month by month, as per cent over all models, steps left in.
fn months(shared: &Shared, reference: usize, out: &mut [Station], options: &StationOptions) {
    let logs = shared.levelled(&[]);
    let mut by_month: BTreeMap<(i32, u32), Vec<usize>> = BTreeMap::new();
    for (i, c) in shared.cells.iter().enumerate() {
        by_month.entry(month_of(c.day)).or_default().push(i);
    }
    for (month, members) in by_month {
        let here = |s: usize| members.iter().any(|i| shared.cells[*i].station == s);
        if !here(reference) {
            continue;
        }
        let others: Vec<usize> = (0..out.len()).filter(|s| *s != reference && here(*s)).collect();
        let inside: std::collections::BTreeSet<usize> = members.iter().copied().collect();
        let (list, kept) = entries(shared, &logs, |i| inside.contains(&i));
        let Some(effects) = fit(&list, &columns(shared, &kept, &others, false), None) else { continue };
        for (i, s) in others.iter().enumerate() {
            let unit: Vec<f64> = (0..others.len()).map(|j| f64::from(u8::from(i == j))).collect();
            let (v, reach) = (effects.value[i], effects.reach(&unit, options.level));
            let pct = |d: f64| 100.0 * d.exp_m1();
            let method = "robust split of log medians within the month";
            if let Some(offset_pct) =
                Estimate::new(pct(v), pct(v - reach), pct(v + reach), options.level, method)
            {
                out[*s].months.push(MonthOffset { month, offset_pct });
            }
        }
    }
}

/// Year and month of a day since 1970-01-01 (proleptic Gregorian; Hinnant's algorithm, from memory).
fn month_of(day: i32) -> (i32, u32) {
    let z = i64::from(day) + 719_468;
    let era = z.div_euclid(146_097);
    let of_era = z.rem_euclid(146_097);
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let shifted = (5 * of_year + 2) / 153;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    ((year + era * 400 + i64::from(month <= 2)) as i32, month as u32)
}
