//! The candidate shapes, each fitted in time proportional to the number of points.
//!
//! A candidate is a few base columns (constant, covariates, time) and at most one column that begins at
//! a date. The base is made orthonormal once per AR(1) parameter; then the gain of the dated column at
//! every date follows from running sums over the points behind the date.

use super::Points;
use crate::stats::autocorrelation::{LARGEST_RHO, about_zero};

/// The kinds of shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// One level.
    Steady,
    /// A line through the whole series.
    Slope,
    /// One level to a date, another from it on.
    Step,
    /// A slope that begins at a date.
    Bend,
    /// A line with a jump at a date.
    SlopeAndStep,
    /// A yearly wave.
    Wave,
}

/// One candidate, fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its kind.
    pub kind: Kind,
    /// First point after the date, for kinds that have one: the new level's first point, or the last
    /// point before a slope takes hold.
    pub index: Option<usize>,
    /// `n ln(rss/n) - ln(1 - rho^2)` and the price.
    pub bic: f64,
    /// AR(1) parameter of this candidate's errors.
    pub rho: f64,
    /// Sum of squares of the prewhitened residuals.
    pub rss: f64,
    /// Coefficients: constant, covariates, time where the kind has it (per day from the first), the
    /// column at a date (per day for a slope), or cosine and sine.
    pub coefficients: Vec<f64>,
}

#[derive(Clone, Copy, PartialEq)]
enum Dated {
    None,
    Step,
    Bend,
}

/// Work space for fitting candidates to series over the same days and covariates.
#[derive(Debug)]
pub struct Fitter {
    time: Vec<f64>,
    span: f64,
    covariates: Vec<Vec<f64>>,
    wave: [Vec<f64>; 2],
    ones: Vec<f64>,
}

impl Fitter {
    /// Prepares the columns.
    #[must_use]
    pub fn new(points: &Points) -> Self {
        let n = points.values.len();
        let first = points.days.first().copied().unwrap_or(0.0);
        let span = (points.days.last().copied().unwrap_or(0.0) - first).max(1.0);
        let turn = std::f64::consts::TAU / 365.25;
        Self {
            time: points.days.iter().map(|d| (d - first) / span).collect(),
            span,
            covariates: points.covariates.clone(),
            wave: [
                points.days.iter().map(|d| (turn * d).cos()).collect(),
                points.days.iter().map(|d| (turn * d).sin()).collect(),
            ],
            ones: vec![1.0; n],
        }
    }

    /// All candidates for one series, steady first.
    pub fn all(&mut self, y: &[f64], smallest: usize, wave: bool) -> Vec<Candidate> {
        let mut kinds = vec![Kind::Steady, Kind::Slope, Kind::Step, Kind::Bend, Kind::SlopeAndStep];
        if wave {
            kinds.push(Kind::Wave);
        }
        kinds.into_iter().filter_map(|k| self.fit(k, y, smallest, None)).collect()
    }

    /// One kind; with `at`, its date is given rather than searched.
    ///
    /// `None` where the series is too short for a date.
    #[must_use]
    pub fn fit(&self, kind: Kind, y: &[f64], smallest: usize, at: Option<usize>) -> Option<Candidate> {
        let n = y.len();
        let dated = match kind {
            Kind::Step | Kind::SlopeAndStep => Dated::Step,
            Kind::Bend => Dated::Bend,
            Kind::Steady | Kind::Slope | Kind::Wave => Dated::None,
        };
        let price = match kind {
            Kind::Steady => 0.0,
            Kind::Slope => 1.0,
            Kind::Step | Kind::Bend | Kind::Wave => 2.0,
            Kind::SlopeAndStep => 3.0,
        };
        let base = self.base(kind);
        let range = match at {
            Some(k) => k..k + 1,
            None => smallest.max(1)..(n + 1).saturating_sub(smallest.max(1)),
        };
        if dated != Dated::None && (range.is_empty() || range.end > n) {
            return None;
        }
        let mut rho = 0.0;
        let mut last = None;
        for pass in 0..3 {
            let white = Whitened::new(&base, y, rho);
            let index = match dated {
                Dated::None => None,
                _ => Some(white.search(dated, &self.time, range.clone())),
            };
            let mut columns = base.clone();
            let column = index.map(|k| self.dated_column(dated, k));
            columns.extend(column.as_deref());
            let (coefficients, rss) = white.solve(column.as_deref());
            if pass < 2 {
                let left = residuals(&columns, &coefficients, y);
                rho = about_zero(&left, 1).unwrap_or(0.0).clamp(0.0, LARGEST_RHO);
            }
            last = Some((index, coefficients, rss, white.rho));
        }
        let (index, mut coefficients, rss, rho) = last?;
        let m = n as f64;
        // Time runs from 0 to 1 inside; per day outside.
        let first_timed = 1 + self.covariates.len();
        if kind.has_slope() {
            coefficients[first_timed] /= self.span;
        }
        Some(Candidate {
            kind,
            index,
            bic: m * (rss / m).max(f64::MIN_POSITIVE).ln() - (1.0 - rho * rho).ln() + price * m.ln(),
            rho,
            rss,
            coefficients,
        })
    }

    /// BIC of steps at all of `steps` together, with a slope that begins at point `slope_from` where
    /// there is one, on the scale of [`Candidate::bic`].
    #[must_use]
    pub fn joint_bic(&self, y: &[f64], steps: &[usize], slope_from: Option<usize>) -> f64 {
        let mut columns: Vec<Vec<f64>> =
            self.base(Kind::Steady).into_iter().map(<[f64]>::to_vec).collect();
        columns.extend(steps.iter().map(|k| self.dated_column(Dated::Step, *k)));
        columns.extend(slope_from.map(|k| self.dated_column(Dated::Bend, k)));
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        // A slope that begins at a cut, or with the series, has no date of its own to pay for.
        let slope_price = match slope_from {
            None => 0.0,
            Some(k) if k == 0 || steps.contains(&k) => 1.0,
            Some(_) => 2.0,
        };
        let m = y.len() as f64;
        let (mut rho, mut bic) = (0.0, f64::INFINITY);
        for _ in 0..3 {
            let (coefficients, rss) = Whitened::new(&columns, y, rho).solve(None);
            bic = m * (rss / m).max(f64::MIN_POSITIVE).ln() - (1.0 - rho * rho).ln()
                + (2.0 * steps.len() as f64 + slope_price) * m.ln();
            rho = about_zero(&residuals(&columns, &coefficients, y), 1)
                .unwrap_or(0.0)
                .clamp(0.0, LARGEST_RHO);
        }
        bic
    }

    /// What the candidate leaves of `y`, not whitened.
    #[must_use]
    pub fn residuals_of(&self, candidate: &Candidate, y: &[f64]) -> Vec<f64> {
        let (columns, coefficients) = self.columns_of(candidate);
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        residuals(&columns, &coefficients, y)
    }

    /// Standard error of the candidate's last coefficient, at AR(1) parameter `rho`: least squares on
    /// prewhitened points.
    #[must_use]
    pub fn standard_error(&self, candidate: &Candidate, y: &[f64], rho: f64) -> Option<f64> {
        let (columns, _) = self.columns_of(candidate);
        let (column, base) = columns.split_last()?;
        let base: Vec<&[f64]> = base.iter().map(Vec::as_slice).collect();
        let white = Whitened::new(&base, y, rho);
        let (_, rss) = white.solve(Some(column));
        let information = white.information(column);
        let df = y.len() as f64 - columns.len() as f64 - 1.0;
        let per = if candidate.kind == Kind::Bend || candidate.kind == Kind::Slope { self.span } else { 1.0 };
        (information > 0.0 && df > 0.0).then(|| (rss / df / information).sqrt() / per)
    }

    /// Sum of squares of a step column at `index` beside constant and covariates, prewhitened.
    #[must_use]
    pub fn step_information(&self, index: usize, rho: f64) -> Option<f64> {
        let base = self.base(Kind::Steady);
        let white = Whitened::new(&base, &self.ones, rho);
        let information = white.information(&self.dated_column(Dated::Step, index));
        (information > 0.0).then_some(information)
    }

    /// Plain sum of squares of the kind for every date in `range` (no prewhitening).
    #[must_use]
    pub fn profile(&self, kind: Kind, y: &[f64], range: std::ops::Range<usize>) -> Vec<f64> {
        let dated = if kind == Kind::Bend { Dated::Bend } else { Dated::Step };
        let white = Whitened::new(&self.base(kind), y, 0.0);
        white.gains(dated, &self.time, range).map(|gain| white.rss_base - gain).collect()
    }

    fn base(&self, kind: Kind) -> Vec<&[f64]> {
        let mut base: Vec<&[f64]> = vec![&self.ones];
        base.extend(self.covariates.iter().map(Vec::as_slice));
        match kind {
            Kind::Slope | Kind::SlopeAndStep => base.push(&self.time),
            Kind::Wave => base.extend(self.wave.iter().map(Vec::as_slice)),
            Kind::Steady | Kind::Step | Kind::Bend => {}
        }
        base
    }

    fn columns_of(&self, candidate: &Candidate) -> (Vec<Vec<f64>>, Vec<f64>) {
        let mut columns: Vec<Vec<f64>> =
            self.base(candidate.kind).into_iter().map(<[f64]>::to_vec).collect();
        let mut coefficients = candidate.coefficients.clone();
        if candidate.kind.has_slope() {
            coefficients[1 + self.covariates.len()] *= self.span;
        }
        if let Some(k) = candidate.index {
            let dated = if candidate.kind == Kind::Bend { Dated::Bend } else { Dated::Step };
            columns.push(self.dated_column(dated, k));
        }
        (columns, coefficients)
    }

    fn dated_column(&self, dated: Dated, index: usize) -> Vec<f64> {
        let start = self.time[index];
        self.time
            .iter()
            .enumerate()
            .map(|(i, t)| match dated {
                Dated::Bend => (t - start).max(0.0),
                _ => f64::from(i >= index),
            })
            .collect()
    }
}

/// Share of the sum of squares about the mean that columns explain together, by least squares.
#[must_use]
pub fn share_explained(columns: &[&[f64]], y: &[f64]) -> f64 {
    if y.is_empty() {
        return 0.0;
    }
    let ones = vec![1.0; y.len()];
    let total = Whitened::new(&[&ones], y, 0.0).rss_base;
    let mut all: Vec<&[f64]> = vec![&ones];
    all.extend(columns);
    let left = Whitened::new(&all, y, 0.0).rss_base;
    if total > 0.0 { (1.0 - left / total).clamp(0.0, 1.0) } else { 0.0 }
}

fn residuals(columns: &[&[f64]], coefficients: &[f64], y: &[f64]) -> Vec<f64> {
    let mut left = y.to_vec();
    for (column, b) in columns.iter().zip(coefficients) {
        for (r, c) in left.iter_mut().zip(column.iter()) {
            *r -= b * c;
        }
    }
    left
}

/// A base made orthonormal after prewhitening, and what it leaves of the values.
struct Whitened {
    rho: f64,
    /// Orthonormal columns; a column that depends on earlier ones is zero.
    q: Vec<Vec<f64>>,
    /// `r[j][i]`: part of base column `j` along `q[i]`.
    r: Vec<Vec<f64>>,
    along: Vec<f64>,
    left: Vec<f64>,
    rss_base: f64,
}

fn whiten(x: &[f64], rho: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(x.len());
    out.push(x[0] * (1.0 - rho * rho).sqrt());
    out.extend(x.windows(2).map(|w| w[1] - rho * w[0]));
    out
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

impl Whitened {
    fn new(base: &[&[f64]], y: &[f64], rho: f64) -> Self {
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
    fn search(&self, dated: Dated, time: &[f64], range: std::ops::Range<usize>) -> usize {
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
    fn gains(
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
            let at = |v: &[f64]| if k == 0 { v[0] * (1.0 - self.rho * self.rho).sqrt() } else { v[k] };
            let behind = (n - 1 - k) as f64;
            if let Some(slot) = k.checked_sub(range.start).filter(|s| *s < out.len()) {
                let start = time[k];
                let (size, cross) = match dated {
                    Dated::Bend => {
                        let shift = rest * start;
                        let size = time_sums[1] - 2.0 * shift * time_sums[0] + shift * shift * behind;
                        let cross = |j: usize| sums[2 * j + 1] - shift * sums[2 * j];
                        (size, (0..=p).map(cross).collect::<Vec<_>>())
                    }
                    _ => {
                        let size = 1.0 + rest * rest * behind;
                        let cross = |j: usize| {
                            at(if j == 0 { &self.left } else { &self.q[j - 1] }) + rest * sums[2 * j]
                        };
                        (size, (0..=p).map(cross).collect::<Vec<_>>())
                    }
                };
                let free = size - cross[1..].iter().map(|c| c * c).sum::<f64>();
                out[slot] = if free > 1e-9 * size { cross[0] * cross[0] / free } else { 0.0 };
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
    fn information(&self, column: &[f64]) -> f64 {
        let v = whiten(column, self.rho);
        let size = dot(&v, &v);
        let free = size - self.q.iter().map(|u| dot(u, &v).powi(2)).sum::<f64>();
        if free > 1e-9 * size { free } else { 0.0 }
    }

    /// Coefficients of base and column, and the sum of squares left.
    fn solve(&self, column: Option<&[f64]>) -> (Vec<f64>, f64) {
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
