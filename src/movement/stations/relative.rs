//! How a station reads against the others, day by day.

use super::Cell;
use crate::stats::numeric::median;
use std::collections::BTreeMap;

/// Cells of models that two or more stations tested on one day, in order of series, day and station.
#[derive(Debug, Clone)]
pub(super) struct Shared {
    pub cells: Vec<Cell>,
    /// Group (series and day) of each cell.
    pub group: Vec<usize>,
    pub groups: usize,
    /// Inverse variance of each cell's log median.
    pub weight: Vec<f64>,
    /// Lead column: per cent (as a fraction) that 1 mA of leads at 1000 V 50 Hz adds.
    pub lead: Vec<f64>,
    /// Whether the cell's series stands still enough to measure stations by.
    pub still: Vec<bool>,
    /// Whether any series is still.
    pub any_still: bool,
}

/// A step of one station, as taken off: log readings before `day` are raised by `size`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Taken {
    pub station: usize,
    pub day: i32,
    pub size: f64,
}

impl Shared {
    /// Series that a step's station shares with others both before and after it.
    pub fn series_across(&self, step: &Taken) -> usize {
        let mut sides: BTreeMap<usize, [bool; 2]> = BTreeMap::new();
        for c in self.cells.iter().filter(|c| c.station == step.station) {
            sides.entry(c.series).or_default()[usize::from(c.day >= step.day)] = true;
        }
        sides.values().filter(|sides| **sides == [true, true]).count()
    }

    /// Log medians with the steps taken off.
    pub fn levelled(&self, steps: &[Taken]) -> Vec<f64> {
        self.cells
            .iter()
            .map(|c| {
                let lift: f64 = steps
                    .iter()
                    .filter(|s| s.station == c.station && c.day < s.day)
                    .map(|s| s.size)
                    .sum();
                c.median_ma.ln() + lift
            })
            .collect()
    }

    /// The lasting difference of each (series, station) taken off: what is left moves in time only.
    pub fn without_lasting(&self, levelled: &[f64]) -> Vec<f64> {
        let mut places: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
        for (i, c) in self.cells.iter().enumerate() {
            places.entry((c.series, c.station)).or_default().push(i);
        }
        let mut out = levelled.to_vec();
        for _ in 0..8 {
            let means = self.means(&out, &self.weight);
            for members in places.values() {
                let apart: Vec<f64> =
                    members.iter().map(|i| out[*i] - means[self.group[*i]]).collect();
                let shift = median(&apart).unwrap_or(0.0);
                members.iter().for_each(|i| out[*i] -= shift);
            }
        }
        out
    }

    /// Weighted mean of each group.
    pub fn means(&self, values: &[f64], weight: &[f64]) -> Vec<f64> {
        let mut sums = vec![(0.0, 0.0); self.groups];
        for i in 0..values.len() {
            sums[self.group[i]].0 += weight[i] * values[i];
            sums[self.group[i]].1 += weight[i];
        }
        sums.into_iter().map(|s| s.0 / s.1).collect()
    }

    /// Weighted sum of squares about group means, still cells only, each held at three sd.
    pub fn unrest(&self, values: &[f64]) -> f64 {
        let means = self.means(values, &self.weight);
        (0..values.len())
            .filter(|i| self.still[*i])
            .map(|i| (self.weight[i] * (values[i] - means[self.group[i]]).powi(2)).min(9.0))
            .sum()
    }

    /// A station against the others: day and mean difference over the series it shared, for days with
    /// at least a quarter of the usual information.
    pub fn against_others(&self, station: usize, moving: &[f64]) -> (Vec<i32>, Vec<f64>) {
        let mut sums = vec![(0.0, 0.0); self.groups];
        for i in 0..moving.len() {
            sums[self.group[i]].0 += self.weight[i] * moving[i];
            sums[self.group[i]].1 += self.weight[i];
        }
        let mut days: BTreeMap<i32, (f64, f64)> = BTreeMap::new();
        for (i, c) in
            self.cells.iter().enumerate().filter(|(i, c)| c.station == station && self.still[*i])
        {
            let (sum, weight) = sums[self.group[i]];
            let others = weight - self.weight[i];
            if others <= 0.0 {
                continue;
            }
            let apart = moving[i] - (sum - self.weight[i] * moving[i]) / others;
            let precision = 1.0 / (1.0 / self.weight[i] + 1.0 / others);
            // One stray median must not carry a day: hold it at four sd.
            let reach = 4.0 / precision.sqrt() + 0.05;
            let day = days.entry(c.day).or_default();
            day.0 += precision * apart.clamp(-reach, reach);
            day.1 += precision;
        }
        let all: Vec<f64> = days.values().map(|d| d.1).collect();
        let usual = median(&all).unwrap_or(0.0);
        days.into_iter().filter(|(_, d)| d.1 >= 0.25 * usual).map(|(k, d)| (k, d.0 / d.1)).unzip()
    }
}
