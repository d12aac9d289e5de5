//! Prewhitened least squares with one column that begins at a date, for all dates at once.

/// What begins at the date.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Dated {
    None,
    Step,
    Bend,
}

/// A base made orthonormal after prewhitening, and what it leaves of the values.
pub(super) struct Whitened {
    pub rho: f64,
    /// Orthonormal columns; a column that depends on earlier ones is zero.
    q: Vec<Vec<f64>>,
    /// `r[j][i]`: part of base column `j` along `q[i]`.
    r: Vec<Vec<f64>>,
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

impl Whitened {
    pub fn new(base: &[&[f64]], y: &[f64], rho: f64) -> Self {
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
        let mut left = whiten(y, rho);
        let along: Vec<f64> = q
            .iter()
            .map(|u| {
                let part = dot(u, &left);
                left.iter_mut().zip(u).for_each(|(a, b)| *a -= part * b);
                part
            })
            .collect();
        let rss_base = dot(&left, &left);
        Self { rho, q, r, along, left, rss_base }
    }

    /// Date of the largest gain; the first of equals.
    pub fn search(&self, dated: Dated, time: &[f64], range: std::ops::Range<usize>) -> usize {
        let first = range.start;
        let mut best = (first, f64::NEG_INFINITY);
        for (i, gain) in self.gains(dated, time, range).enumerate() {
            if gain > best.1 {
                best = (first + i, gain);
            }
        }
        best.0
    }

    /// Fall of the sum of squares by the dated column, for each date in the range.
    pub fn gains(
        &self,
        dated: Dated,
        time: &[f64],
        range: std::ops::Range<usize>,
    ) -> impl Iterator<Item = f64> {
        let n = self.left.len();
        let p = self.q.len();
        let rest = 1.0 - self.rho;
        // Running sums from the end: over i > k of v_i, and of v_i times whitened time, for the
        // residual and each base column.
        let mut sums = vec![0.0; 2 * (p + 1)];
        let mut time_sums = [0.0; 2];
        let mut out = vec![0.0; range.len()];
        for k in (range.start..n).rev() {
            // A step column is 1 at k and 1 - rho after it (whole at the first point).
            let at = |v: &[f64]| {
                if k == 0 { v[0] * (1.0 - self.rho * self.rho).sqrt() } else { v[k] }
            };
            let behind = (n - 1 - k) as f64;
            if let Some(slot) = k.checked_sub(range.start).filter(|s| *s < out.len()) {
                let start = time[k];
                // Over the residual first, then over the base.
                let (mut along, mut taken) = (0.0, 0.0);
                let size = if dated == Dated::Bend {
                    let shift = rest * start;
                    for (j, pair) in sums.chunks_exact(2).enumerate() {
                        let cross = pair[1] - shift * pair[0];
                        if j == 0 {
                            along = cross;
                        } else {
                            taken += cross * cross;
                        }
                    }
                    time_sums[1] - 2.0 * shift * time_sums[0] + shift * shift * behind
                } else {
                    for (j, pair) in sums.chunks_exact(2).enumerate() {
                        let v = if j == 0 { &self.left } else { &self.q[j - 1] };
                        let cross = at(v) + rest * pair[0];
                        if j == 0 {
                            along = cross;
                        } else {
                            taken += cross * cross;
                        }
                    }
                    1.0 + rest * rest * behind
                };
                let free = size - taken;
                out[slot] = if free > 1e-9 * size { along * along / free } else { 0.0 };
            }
            if k > 0 {
                let w = time[k] - self.rho * time[k - 1];
                time_sums[0] += w;
                time_sums[1] += w * w;
                for j in 0..=p {
                    let v = if j == 0 { self.left[k] } else { self.q[j - 1][k] };
                    sums[2 * j] += v;
                    sums[2 * j + 1] += v * w;
                }
            }
        }
        out.into_iter()
    }

    /// Sum of squares of a column beside the base.
    pub fn information(&self, column: &[f64]) -> f64 {
        let v = whiten(column, self.rho);
        let size = dot(&v, &v);
        let free = size - self.q.iter().map(|u| dot(u, &v).powi(2)).sum::<f64>();
        if free > 1e-9 * size { free } else { 0.0 }
    }

    /// Coefficients of base and column, and the sum of squares left.
    pub fn solve(&self, column: Option<&[f64]>) -> (Vec<f64>, f64) {
        let p = self.q.len();
        let mut along = self.along.clone();
        let mut own = None;
        let mut rss = self.rss_base;
        if let Some(column) = column {
            let mut v = whiten(column, self.rho);
            let size = dot(&v, &v);
            let mut parts = vec![0.0; p];
            for _ in 0..2 {
                for (i, u) in self.q.iter().enumerate() {
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
            let known: f64 = (j + 1..p).map(|k| self.r[k][j] * coefficients[k]).sum();
            if self.r[j][j] > 0.0 {
                coefficients[j] = (along[j] - known) / self.r[j][j];
            }
        }
        coefficients.extend(own);
        (coefficients, rss.max(0.0))
    }
}
