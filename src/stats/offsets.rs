//! Log values split into a level for each group (a model on a day) and effects that groups share (the
//! offset of a station), robustly.
//!
//! Group levels are taken out exactly, so two stations in a group are enough; a median polish has no
//! unique answer there. Stray cells are held by Huber weights, and intervals come from day to day
//! scatter, since cells of one day hang together.

use crate::numeric::inverse_of_any;
use crate::special::student_t_quantile;

/// Huber's constant: 95 % efficiency for normal errors. Source: Huber & Ronchetti (from memory).
const HUBER: f64 = 1.345;
/// Median absolute deviation to standard deviation, normal data.
const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;

/// One value with its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Group whose level is taken out: numbered from 0 without large gaps.
    pub group: usize,
    /// Cluster that errors may share (a day).
    pub cluster: i32,
    /// Value, usually a logarithm.
    pub value: f64,
    /// Weight: inverse variance, up to a common factor.
    pub weight: f64,
}

/// Shared effects, fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct Effects {
    /// One for each column.
    pub value: Vec<f64>,
    /// Their covariance, clustered.
    pub covariance: Vec<Vec<f64>>,
    /// Weighted Huber loss, twice, over the squared scale: comparable between fits at one scale.
    pub loss: f64,
    /// Robust sd of a residual of weight 1.
    pub scale: f64,
    /// Clusters that hold information.
    pub clusters: usize,
}

impl Effects {
    /// Half-width of the interval of `sum c_i effect_i`, Student t with clusters − 1 degrees of freedom.
    pub fn reach(&self, combination: &[f64], level: f64) -> f64 {
        let k = combination.len();
        let variance: f64 = (0..k)
            .flat_map(|i| (0..k).map(move |j| (i, j)))
            .map(|(i, j)| combination[i] * combination[j] * self.covariance[i][j])
            .sum();
        let df = (self.clusters as f64 - 1.0).max(1.0);
        student_t_quantile(0.5 + 0.5 * level, df) * variance.max(0.0).sqrt()
    }
}

/// Fits `value = level(group) + sum column effect` by Huber's M-estimate with groups taken out.
///
/// - `columns[k][i]`: column `k` at entry `i`. `scale`: of a residual of weight 1, or `None` to find it.
/// - `None` where columns cannot be told apart, there are fewer entries than unknowns, a column is not as long as the
///   entries, a number is not finite, or a weight not above 0.
pub fn fit(entries: &[Entry], columns: &[Vec<f64>], scale: Option<f64>) -> Option<Effects> {
    let (n, k) = (entries.len(), columns.len());
    let usable = |e: &Entry| e.value.is_finite() && e.weight.is_finite() && e.weight > 0.0;
    let whole = |c: &Vec<f64>| c.len() == n && c.iter().all(|x| x.is_finite());
    if !entries.iter().all(usable) || !columns.iter().all(whole) {
        return None;
    }
    let groups = entries.iter().map(|e| e.group + 1).max()?;
    let mut seen = vec![false; groups];
    entries.iter().for_each(|e| seen[e.group] = true);
    let free = n as f64 - seen.iter().filter(|s| **s).count() as f64 - k as f64;
    if free < 1.0 {
        return None;
    }
    let y: Vec<f64> = entries.iter().map(|e| e.value).collect();
    let mut weights: Vec<f64> = entries.iter().map(|e| e.weight).collect();
    let mut value = vec![0.0; k];
    let mut found_scale = scale.unwrap_or(0.0);
    let mut state = None;
    for _ in 0..12 {
        let y_in = within(entries, &weights, groups, &y);
        let x: Vec<Vec<f64>> =
            columns.iter().map(|c| within(entries, &weights, groups, c)).collect();
        let (a, b) = products(&weights, &x, &y_in);
        let inverse = inverse_of_any(a)?;
        value = (0..k).map(|i| (0..k).map(|j| inverse[i][j] * b[j]).sum()).collect();
        let left: Vec<f64> =
            (0..n).map(|e| y_in[e] - (0..k).map(|i| value[i] * x[i][e]).sum::<f64>()).collect();
        if scale.is_none() {
            let mut sizes: Vec<f64> =
                (0..n).map(|e| left[e].abs() * entries[e].weight.sqrt()).collect();
            sizes.sort_by(f64::total_cmp);
            // Levels fitted to few cells draw residuals in: give back the degrees of freedom.
            found_scale = MAD_TO_SIGMA * sizes[n / 2] * (n as f64 / free).sqrt();
        }
        for (e, entry) in entries.iter().enumerate() {
            let u = left[e].abs() * entry.weight.sqrt() / found_scale.max(1e-300);
            weights[e] = entry.weight * if u > HUBER { HUBER / u } else { 1.0 };
        }
        state = Some((left, inverse));
    }
    let (left, inverse) = state?;
    let mut loss = 0.0;
    // What a change of the effects changes in the scores: nothing of what lies too far out. With the weights in its place
    // the variance came out a quarter too small.
    let mut slopes = vec![0.0; n];
    for (e, entry) in entries.iter().enumerate() {
        let u = left[e].abs() * entry.weight.sqrt() / found_scale.max(1e-300);
        loss += if u <= HUBER { u * u } else { 2.0 * HUBER * u - HUBER * HUBER };
        slopes[e] = if u <= HUBER { entry.weight } else { 0.0 };
    }
    let mut inside = vec![false; groups];
    entries.iter().zip(&slopes).for_each(|(e, slope)| inside[e.group] |= *slope > 0.0);
    let of_groups: Vec<f64> =
        (0..n).map(|e| if inside[entries[e].group] { slopes[e] } else { weights[e] }).collect();
    let x: Vec<Vec<f64>> = columns.iter().map(|c| within(entries, &of_groups, groups, c)).collect();
    let inverse = inverse_of_any(products(&slopes, &x, &left).0).unwrap_or(inverse);
    let (covariance, clusters) = sandwich(entries, &weights, &x, &left, &inverse);
    let finite =
        loss.is_finite() && covariance.iter().flatten().chain(&value).all(|x| x.is_finite());
    finite.then_some(Effects { value, covariance, loss, scale: found_scale, clusters })
}

/// Weighted sums of products: of each two columns, and of each with `y`.
fn products(weights: &[f64], x: &[Vec<f64>], y: &[f64]) -> (Vec<Vec<f64>>, Vec<f64>) {
    let k = x.len();
    // Entry by entry: so the sums do not wait for each other.
    let (mut sums, mut b) = (vec![0.0; k * k], vec![0.0; k]);
    let mut row = vec![0.0; k];
    for (e, weight) in weights.iter().enumerate() {
        row.iter_mut().zip(x).for_each(|(cell, column)| *cell = column[e]);
        for (i, cell) in row.iter().enumerate() {
            let weighted = weight * cell;
            b[i] += weighted * y[e];
            let upper = &mut sums[i * k + i..(i + 1) * k];
            upper.iter_mut().zip(&row[i..]).for_each(|(sum, other)| *sum += weighted * other);
        }
    }
    let a = (0..k).map(|i| (0..k).map(|j| sums[i.min(j) * k + i.max(j)]).collect()).collect();
    (a, b)
}

/// A column with the weighted mean of each group taken off.
fn within(entries: &[Entry], weights: &[f64], groups: usize, column: &[f64]) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); groups];
    for ((e, w), v) in entries.iter().zip(weights).zip(column) {
        sums[e.group].0 += w * v;
        sums[e.group].1 += w;
    }
    entries.iter().zip(column).map(|(e, v)| v - sums[e.group].0 / sums[e.group].1).collect()
}

/// Liang & Zeger's (1986) covariance with errors shared inside clusters, of an M-estimate: `inverse` is that of the
/// scores' slopes (Huber & Ronchetti; both from memory).
fn sandwich(
    entries: &[Entry],
    weights: &[f64],
    x: &[Vec<f64>],
    left: &[f64],
    inverse: &[Vec<f64>],
) -> (Vec<Vec<f64>>, usize) {
    let k = x.len();
    let mut scores: std::collections::BTreeMap<i32, Vec<f64>> = std::collections::BTreeMap::new();
    for (e, entry) in entries.iter().enumerate() {
        let score = scores.entry(entry.cluster).or_insert_with(|| vec![0.0; k]);
        for i in 0..k {
            score[i] += weights[e] * x[i][e] * left[e];
        }
    }
    let g = scores.len() as f64;
    let correction = if g > 1.0 { g / (g - 1.0) } else { 1.0 };
    let influence: Vec<Vec<f64>> = scores
        .values()
        .map(|s| (0..k).map(|i| (0..k).map(|j| inverse[i][j] * s[j]).sum()).collect())
        .collect();
    let covariance = (0..k)
        .map(|i| {
            (0..k)
                .map(|j| correction * influence.iter().map(|v| v[i] * v[j]).sum::<f64>())
                .collect()
        })
        .collect();
    (covariance, scores.len())
}
