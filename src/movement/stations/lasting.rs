//! What a station adds for good: as per cent, as current, and month by month.
//!
//! A month's offsets are against the reference in its latest state, so that a step of the reference is one
//! of itself and of no other station.

use super::relative::{Shared, Taken};
use super::{ActsAs, MonthOffset, Station, StationOptions};
use crate::day::month_of;
use crate::stats::estimate::Estimate;
use crate::stats::numeric::weighted_median;
use crate::stats::offsets::{Effects, Entry, fit};
use rayon::prelude::*;
use std::collections::BTreeMap;

fn entries(
    shared: &Shared,
    values: &[f64],
    keep: impl Fn(usize) -> bool,
) -> (Vec<Entry>, Vec<usize>) {
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
pub(super) fn middle(shared: &Shared, levelled: &[f64], units: &[f64]) -> Option<usize> {
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
pub(super) struct Lasting {
    others: Vec<usize>,
    per_cent: Option<Effects>,
    current: Option<Effects>,
    acts_as: BTreeMap<usize, ActsAs>,
    /// What is taken off: of each station what is certain, as gain on the scale of logs and as current of leads.
    pub ln_gain: Vec<f64>,
    pub lead_ma: Vec<f64>,
    /// Standard errors of both.
    pub errors: Vec<[f64; 2]>,
    level: f64,
    reference: usize,
}

impl Lasting {
    pub fn of(
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
        // Each station alone as one or the other, the rest free in both; one scale, so losses compare.
        let both: Vec<Vec<f64>> = gains.iter().chain(&leads).cloned().collect();
        let ((per_cent, current), full) = rayon::join(
            || rayon::join(|| fit(&list, &gains, None), || fit(&list, &leads, None)),
            || fit(&list, &both, None),
        );
        let k = others.len();
        let without = |column: usize, scale: f64| {
            let rest = (0..2 * k).filter(|c| *c != column).map(|c| both[c].clone());
            fit(&list, &rest.collect::<Vec<_>>(), Some(scale)).map_or(f64::INFINITY, |e| e.loss)
        };
        let losses: Vec<f64> = full.as_ref().map_or_else(Vec::new, |full| {
            (0..2 * k).into_par_iter().map(|column| without(column, full.scale)).collect()
        });
        let mut lasting = Self {
            per_cent,
            current,
            acts_as: BTreeMap::new(),
            ln_gain: vec![0.0; stations],
            lead_ma: vec![0.0; stations],
            errors: vec![[0.0; 2]; stations],
            level: options.level,
            reference,
            others,
        };
        let mut dropped = vec![false; 2 * k];
        for i in 0..k {
            let Some(full) = &full else { break };
            let (as_current, as_per_cent) = (losses[i], losses[k + i]);
            let name = if as_current < as_per_cent { ActsAs::Milliampere } else { ActsAs::PerCent };
            lasting.acts_as.insert(lasting.others[i], name);
            // The second effect must earn its place.
            if as_current.min(as_per_cent) - full.loss < 10.0 {
                dropped[if as_current < as_per_cent { i } else { k + i }] = true;
            }
        }
        let kept_columns: Vec<usize> = (0..2 * k).filter(|c| !dropped[*c]).collect();
        let chosen: Vec<Vec<f64>> = kept_columns.iter().map(|c| both[*c].clone()).collect();
        match (full.is_some(), fit(&list, &chosen, None), lasting.per_cent.clone()) {
            (true, Some(effects), _) => {
                for (i, c) in kept_columns.iter().enumerate() {
                    lasting.take(lasting.others[c % k], usize::from(*c >= k), &effects, i);
                }
            }
            // One model alone cannot tell the two apart: per cent.
            (_, _, Some(effects)) => {
                (0..k).for_each(|i| lasting.take(lasting.others[i], 0, &effects, i));
            }
            _ => {}
        }
        lasting
    }

    /// Takes effect `i` off a station as gain (0) or as current (1), where its interval excludes none: one that
    /// may be none would only move readings about.
    fn take(&mut self, station: usize, which: usize, effects: &Effects, i: usize) {
        let alone: Vec<f64> =
            (0..effects.value.len()).map(|j| f64::from(u8::from(i == j))).collect();
        let value = effects.value[i];
        if value.abs() <= effects.reach(&alone, self.level) {
            return;
        }
        [&mut self.ln_gain, &mut self.lead_ma][which][station] = value;
        self.errors[station][which] = effects.covariance[i][i].max(0.0).sqrt();
    }

    pub fn station(&self, station: usize) -> Station {
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

/// Offsets month by month, as per cent over all models, steps left in; against the reference in its latest
/// state, so that a step of the reference is one of itself and of no other station.
pub(super) fn months(
    shared: &Shared,
    reference: usize,
    taken: &[Taken],
    out: &mut [Station],
    options: &StationOptions,
) {
    let own: Vec<Taken> = taken.iter().filter(|t| t.station == reference).copied().collect();
    let logs = shared.levelled(&own);
    let mut by_month: BTreeMap<(i32, u32), Vec<usize>> = BTreeMap::new();
    for (i, c) in shared.cells.iter().enumerate() {
        by_month.entry(month_of(c.day)).or_default().push(i);
    }
    for (month, members) in by_month {
        let here = |s: usize| members.iter().any(|i| shared.cells[*i].station == s);
        if !here(reference) {
            continue;
        }
        if let Some(offset_pct) =
            of_reference(shared, &members, reference, &out[reference], options)
        {
            out[reference].months.push(MonthOffset { month, offset_pct });
        }
        let others: Vec<usize> = (0..out.len()).filter(|s| *s != reference && here(*s)).collect();
        let inside: std::collections::BTreeSet<usize> = members.iter().copied().collect();
        let (list, kept) = entries(shared, &logs, |i| inside.contains(&i));
        let Some(effects) = fit(&list, &columns(shared, &kept, &others, false), None) else {
            continue;
        };
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

/// The reference in one month against its latest state: none but its own steps yet to come, by the share of
/// its days before each.
fn of_reference(
    shared: &Shared,
    members: &[usize],
    reference: usize,
    station: &Station,
    options: &StationOptions,
) -> Option<Estimate> {
    let days: Vec<i32> = members
        .iter()
        .map(|i| &shared.cells[*i])
        .filter(|c| c.station == reference)
        .map(|c| c.day)
        .collect();
    let (mut value, mut low, mut high) = (0.0, 0.0, 0.0);
    for step in &station.moved {
        let before = days.iter().filter(|d| **d < step.day).count() as f64 / days.len() as f64;
        let back = |pct: f64| -before * (pct / 100.0).ln_1p();
        value += back(step.size_pct.value);
        low += back(step.size_pct.high);
        high += back(step.size_pct.low);
    }
    let pct = |d: f64| 100.0 * d.exp_m1();
    Estimate::new(
        pct(value),
        pct(low),
        pct(high),
        options.level,
        "its own later steps, by the share of days before each",
    )
}
