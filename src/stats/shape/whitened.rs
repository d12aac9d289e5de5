//! Prewhitened least squares with one column that begins at a date, for all dates at once.

use std::borrow::Cow;
use std::ops::Range;

/// What begins at the date.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Dated {
    None,
    Step,
    Bend,
}

/// A base made orthonormal after prewhitening.
#[derive(Debug, Clone)]
pub(super) struct Base {
    pub rho: f64,
    /// Orthonormal columns; a column that depends on earlier ones is zero.
    q: Vec<Vec<f64>>,
    /// `r[j][i]`: part of base column `j` along `q[i]`.
    r: Vec<Vec<f64>>,
}

/// A base, and what it leaves of the values.
pub(super) struct Whitened<'a> {
    base: Cow<'a, Base>,
    along: Vec<f64>,
    left: Vec<f64>,
    pub rss_base: f64,
}

fn whiten(x: &[f64], rho: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(x.len());
    out.push(x[0] * (1.0 - rho * rho).sqrt());
    out.extend(x.windows(2).map(|w| w[1] - rho * w[0]));
    out
}

/// Sum of products in four running sums, which the processor adds side by side.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (quads_a, rest_a) = a.as_chunks::<4>();
    let (quads_b, rest_b) = b.as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (x, y) in quads_a.iter().zip(quads_b) {
        for i in 0..4 {
            sums[i] += x[i] * y[i];
        }
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(x, y)| x * y).sum();
    (sums[0] + sums[2]) + (sums[1] + sums[3]) + rest
}

/// Lag-1 correlation of residuals, which have mean zero already; 0 where all are zero.
pub(super) fn lag_one(left: &[f64]) -> f64 {
    let total = dot(left, left);
    let shared = dot(&left[..left.len() - 1], &left[1..]);
    if total > 0.0 && shared.is_finite() { shared / total } else { 0.0 }
}

/// Fall of a sum of squares by a column of squared size `size`, of which the base takes `taken`.
fn gain(along: f64, size: f64, taken: f64) -> f64 {
    let free = size - taken;
    if free > 1e-9 * size { along * along / free } else { 0.0 }
}

/// A sum for each of some columns, in an array where their number is known.
trait AsSums {
    type Sums: AsMut<[f64]>;

    fn zeros(&self) -> Self::Sums;
}

impl<const N: usize> AsSums for [&Vec<f64>; N] {
    type Sums = [f64; N];

    fn zeros(&self) -> [f64; N] {
        [0.0; N]
    }
}

impl AsSums for Vec<&Vec<f64>> {
    type Sums = Vec<f64>;

    fn zeros(&self) -> Vec<f64> {
        vec![0.0; self.len()]
    }
}

impl Base {
    pub fn new(base: &[&[f64]], rho: f64) -> Self {
        let mut q: Vec<Vec<f64>> = Vec::with_capacity(base.len());
        let mut r = Vec::with_capacity(base.len());
        for column in base {
            let mut v = whiten(column, rho);
            let size = dot(&v, &v).sqrt();
            let mut parts: Vec<f64> = vec![0.0; q.len()];
            // Twice is enough (Kahan, Parlett): the second pass restores orthogonality.
            for _ in 0..2 {
                for (i, u) in q.iter().enumerate() {
                    let part = dot(u, &v);
                    parts[i] += part;
                    v.iter_mut().zip(u).for_each(|(a, b)| *a -= part * b);
                }
            }
            let norm = dot(&v, &v).sqrt();
            if norm > 1e-9 * size && norm > 0.0 {
                v.iter_mut().for_each(|a| *a /= norm);
                parts.push(norm);
            } else {
                v.iter_mut().for_each(|a| *a = 0.0);
                parts.push(0.0);
            }
            q.push(v);
            r.push(parts);
        }
        Self { rho, q, r }
    }
}

impl Whitened<'static> {
    pub fn new(base: &[&[f64]], y: &[f64], rho: f64) -> Self {
        Self::of(Cow::Owned(Base::new(base, rho)), y)
    }
}

impl<'a> Whitened<'a> {
    /// What a base leaves of `y`.
    pub fn of(base: Cow<'a, Base>, y: &[f64]) -> Self {
        let mut left = whiten(y, base.rho);
        let along: Vec<f64> = base
            .q
            .iter()
            .map(|u| {
                let part = dot(u, &left);
                left.iter_mut().zip(u).for_each(|(a, b)| *a -= part * b);
                part
            })
            .collect();
        let rss_base = dot(&left, &left);
        Self { base, along, left, rss_base }
    }

    /// AR(1) parameter of the prewhitening.
    pub fn rho(&self) -> f64 {
        self.base.rho
    }

    /// Date of the largest gain; the first of equals.
    pub fn search(&self, dated: Dated, time: &[f64], range: Range<usize>) -> usize {
        let mut best = (range.start, f64::NEG_INFINITY);
        // From the last date to the first.
        self.each_gain(dated, time, range, |k, gain| {
            if gain >= best.1 {
                best = (k, gain);
            }
        });
        best.0
    }

    /// Fall of the sum of squares by the dated column, for each date in the range.
    pub fn gains(&self, dated: Dated, time: &[f64], range: Range<usize>) -> Vec<f64> {
        let mut gains = vec![0.0; range.len()];
        let first = range.start;
        self.each_gain(dated, time, range, |k, gain| gains[k - first] = gain);
        gains
    }

    fn each_gain(
        &self,
        dated: Dated,
        time: &[f64],
        range: Range<usize>,
        found: impl FnMut(usize, f64),
    ) {
        // One level, or a line, without covariates is nearly every base: their sums stay in registers.
        match (&self.base.q[..], dated) {
            ([a], Dated::Bend) => self.bends([a], time, range, found),
            ([a, b], Dated::Bend) => self.bends([a, b], time, range, found),
            (_, Dated::Bend) => {
                let columns: Vec<&Vec<f64>> = self.base.q.iter().collect();
                self.bends(columns, time, range, found);
            }
            ([a], _) => self.steps([a], range, found),
            ([a, b], _) => self.steps([a, b], range, found),
            _ => {
                let columns: Vec<&Vec<f64>> = self.base.q.iter().collect();
                self.steps(columns, range, found);
            }
        }
    }

    /// Gains of steps, from the last date to the first. A step column is 1 at its date and 1 - rho after it, whole at
    /// the first point.
    fn steps<'q, C: AsRef<[&'q Vec<f64>]> + AsSums>(
        &self,
        columns: C,
        range: Range<usize>,
        mut found: impl FnMut(usize, f64),
    ) {
        let (n, rest) = (self.left.len(), 1.0 - self.base.rho);
        let whole = (1.0 - self.base.rho * self.base.rho).sqrt();
        // Running sums over the points behind the date.
        let mut sum_left = 0.0;
        let mut sums = columns.zeros();
        let sums = sums.as_mut();
        let columns = columns.as_ref();
        for k in (range.start..n).rev() {
            if k < range.end {
                let part = if k == 0 { whole } else { 1.0 };
                let along = part * self.left[k] + rest * sum_left;
                let mut taken = 0.0;
                for (column, sum) in columns.iter().zip(&*sums) {
                    let cross = part * column[k] + rest * sum;
                    taken += cross * cross;
                }
                let size = 1.0 + rest * rest * (n - 1 - k) as f64;
                found(k, gain(along, size, taken));
            }
            sum_left += self.left[k];
            for (column, sum) in columns.iter().zip(&mut *sums) {
                *sum += column[k];
            }
        }
    }

    /// Gains of slopes that begin at a date, from the last to the first.
    fn bends<'q, C: AsRef<[&'q Vec<f64>]> + AsSums>(
        &self,
        columns: C,
        time: &[f64],
        range: Range<usize>,
        mut found: impl FnMut(usize, f64),
    ) {
        let (n, rest) = (self.left.len(), 1.0 - self.base.rho);
        // Running sums over the points behind the date, plain and times whitened time.
        let (mut left, mut left_timed) = (0.0, 0.0);
        let (mut time_sum, mut time_squared) = (0.0, 0.0);
        let (mut plain, mut timed) = (columns.zeros(), columns.zeros());
        let (plain, timed) = (plain.as_mut(), timed.as_mut());
        let columns = columns.as_ref();
        for k in (range.start..n).rev() {
            if k < range.end {
                let shift = rest * time[k];
                let along = left_timed - shift * left;
                let mut taken = 0.0;
                for (sum, timed) in plain.iter().zip(&*timed) {
                    let cross = timed - shift * sum;
                    taken += cross * cross;
                }
                let behind = (n - 1 - k) as f64;
                let size = time_squared - 2.0 * shift * time_sum + shift * shift * behind;
                found(k, gain(along, size, taken));
            }
            if k > 0 {
                let w = time[k] - self.base.rho * time[k - 1];
                time_sum += w;
                time_squared += w * w;
                left += self.left[k];
                left_timed += self.left[k] * w;
                let sums = plain.iter_mut().zip(&mut *timed);
                for (column, (sum, timed)) in columns.iter().zip(sums) {
                    *sum += column[k];
                    *timed += column[k] * w;
                }
            }
        }
    }

    /// Sum of squares of a column beside the base.
    pub fn information(&self, column: &[f64]) -> f64 {
        let v = whiten(column, self.base.rho);
        let size = dot(&v, &v);
        let free = size - self.base.q.iter().map(|u| dot(u, &v).powi(2)).sum::<f64>();
        if free > 1e-9 * size { free } else { 0.0 }
    }

    /// Coefficients of base and column, and the sum of squares left.
    pub fn solve(&self, column: Option<&[f64]>) -> (Vec<f64>, f64) {
        let p = self.base.q.len();
        let mut along = self.along.clone();
        let mut own = None;
        let mut rss = self.rss_base;
        if let Some(column) = column {
            let mut v = whiten(column, self.base.rho);
            let size = dot(&v, &v);
            let mut parts = vec![0.0; p];
            for _ in 0..2 {
                for (i, u) in self.base.q.iter().enumerate() {
                    let part = dot(u, &v);
                    parts[i] += part;
                    v.iter_mut().zip(u).for_each(|(a, b)| *a -= part * b);
                }
            }
            let free = dot(&v, &v);
            let b = if free > 1e-9 * size { dot(&v, &self.left) / free } else { 0.0 };
            rss -= b * b * free;
            along.iter_mut().zip(&parts).for_each(|(a, part)| *a -= b * part);
            own = Some(b);
        }
        let mut coefficients = vec![0.0; p];
        for j in (0..p).rev() {
            let known: f64 = (j + 1..p).map(|k| self.base.r[k][j] * coefficients[k]).sum();
            if self.base.r[j][j] > 0.0 {
                coefficients[j] = (along[j] - known) / self.base.r[j][j];
            }
        }
        coefficients.extend(own);
        (coefficients, rss.max(0.0))
    }
}
