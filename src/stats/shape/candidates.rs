//! The candidate shapes, each fitted in time proportional to the number of points.
//!
//! A candidate is a few base columns (constant, covariates, time) and at most one column that begins at
//! a date. The base is made orthonormal once per AR(1) parameter; then the gain of the dated column at
//! every date follows from running sums over the points behind the date.

use super::Points;
use super::whitened::{Base, Dated, Whitened, lag_one};
use crate::autocorrelation::LARGEST_RHO;
use std::borrow::Cow;
use std::cell::OnceCell;

/// Part of the largest value that rounding may leave of a series without spread.
const ROUNDING: f64 = 16.0 * f64::EPSILON;

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

impl Kind {
    /// Which of [`PLAIN`] its first pass starts from; a wave has a base of its own.
    fn plain(self) -> Option<usize> {
        match self {
            Self::Steady | Self::Step | Self::Bend => Some(0),
            Self::Slope | Self::SlopeAndStep => Some(1),
            Self::Wave => None,
        }
    }
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
    /// Coefficients: constant, covariates, time where the kind has it (per day from the first), the
    /// column at a date (per day for a slope), or cosine and sine.
    pub coefficients: Vec<f64>,
}

/// Kinds whose bases stand, not prewhitened, at the first pass of nearly every kind, whatever the values.
const PLAIN: [Kind; 2] = [Kind::Steady, Kind::Slope];

/// Work space for fitting candidates to series over the same days and covariates.
#[derive(Debug)]
pub struct Fitter {
    time: Vec<f64>,
    span: f64,
    covariates: Vec<Vec<f64>>,
    wave: [Vec<f64>; 2],
    ones: Vec<f64>,
    /// The bases of [`PLAIN`], not prewhitened, made when they are asked for.
    plain: [OnceCell<Base>; 2],
}

impl Fitter {
    /// Prepares the columns.
    pub fn new(points: &Points) -> Self {
        let n = points.values.len();
        let first = points.days.first().copied().unwrap_or(0.0);
        let span = (points.days.last().copied().unwrap_or(0.0) - first).max(1.0);
        let turn = std::f64::consts::TAU / 365.25;
        let time: Vec<f64> = points.days.iter().map(|d| (d - first) / span).collect();
        Self {
            time,
            span,
            covariates: points.covariates.clone(),
            wave: [
                points.days.iter().map(|d| (turn * d).cos()).collect(),
                points.days.iter().map(|d| (turn * d).sin()).collect(),
            ],
            ones: vec![1.0; n],
            plain: [OnceCell::new(), OnceCell::new()],
        }
    }

    /// All candidates for one series, steady first.
    pub fn all(&mut self, y: &[f64], smallest: usize, wave: bool) -> Vec<Candidate> {
        let mut kinds = vec![Kind::Steady, Kind::Slope, Kind::Step, Kind::Bend, Kind::SlopeAndStep];
        if wave {
            kinds.push(Kind::Wave);
        }
        let plain = [0, 1].map(|which| self.plain_of(which, y));
        let of = |kind: Kind| {
            self.fit_from(kind, y, smallest, None, kind.plain().map(|which| &plain[which]))
        };
        kinds.into_iter().filter_map(of).collect()
    }

    /// One kind; with `at`, its date is given rather than searched.
    ///
    /// `None` where the series is too short for a date.
    pub fn fit(
        &self,
        kind: Kind,
        y: &[f64],
        smallest: usize,
        at: Option<usize>,
    ) -> Option<Candidate> {
        let first = kind.plain().map(|which| self.plain_of(which, y));
        self.fit_from(kind, y, smallest, at, first.as_ref())
    }

    /// What a base of [`PLAIN`] leaves of a series.
    fn plain_of(&self, which: usize, y: &[f64]) -> Whitened<'_> {
        let base = self.plain[which].get_or_init(|| Base::new(&self.base(PLAIN[which]), 0.0));
        Whitened::of(Cow::Borrowed(base), y)
    }

    /// The same, from what its plain base leaves of the series, where it has one.
    fn fit_from(
        &self,
        kind: Kind,
        y: &[f64],
        smallest: usize,
        at: Option<usize>,
        first: Option<&Whitened<'_>>,
    ) -> Option<Candidate> {
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
            let own;
            let white = match first {
                Some(first) if pass == 0 => first,
                _ => {
                    own = Whitened::new(&base, y, rho);
                    &own
                }
            };
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
                rho = lag_one(&left).clamp(0.0, LARGEST_RHO);
            }
            last = Some((index, coefficients, rss, white.rho()));
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
            bic: m * (rss / m).max(f64::MIN_POSITIVE).ln() - (1.0 - rho * rho).ln()
                + price * m.ln(),
            rho,
            coefficients,
        })
    }

    /// BIC of steps at all of `steps` together, with a slope that begins at point `slope_from` where
    /// there is one, on the scale of [`Candidate::bic`].
    pub fn joint_bic(&self, y: &[f64], steps: &[usize], slope_from: Option<usize>) -> f64 {
        let columns = self.joint_columns(steps, slope_from);
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
            rho = lag_one(&residuals(&columns, &coefficients, y)).clamp(0.0, LARGEST_RHO);
        }
        bic
    }

    /// What steps and a slope, fitted together by plain least squares, leave of `y`.
    pub fn joint_residuals(&self, y: &[f64], steps: &[usize], slope_from: usize) -> Vec<f64> {
        let columns = self.joint_columns(steps, Some(slope_from));
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let (coefficients, _) = Whitened::new(&columns, y, 0.0).solve(None);
        residuals(&columns, &coefficients, y)
    }

    /// Size of a step at each of `at` beside a slope and `others`, all fitted together, with its standard error at AR(1)
    /// parameter `rho`; `None` where the rest leaves no room for it.
    pub fn joint_steps(
        &self,
        y: &[f64],
        others: &[usize],
        slope_from: usize,
        at: impl Iterator<Item = usize>,
        rho: f64,
    ) -> Vec<Option<(f64, f64)>> {
        let columns = self.joint_columns(others, Some(slope_from));
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let white = Whitened::new(&columns, y, rho);
        let df = y.len() as f64 - columns.len() as f64 - 1.0;
        let one = |k: usize| {
            let column = self.dated_column(Dated::Step, k);
            let (coefficients, rss) = white.solve(Some(&column));
            let information = white.information(&column);
            let size = *coefficients.last()?;
            (information > 0.0 && df > 0.0).then(|| (size, (rss / df / information).sqrt()))
        };
        at.map(one).collect()
    }

    /// Constant, covariates, steps, and a slope from a point on.
    fn joint_columns(&self, steps: &[usize], slope_from: Option<usize>) -> Vec<Vec<f64>> {
        let base = self.base(Kind::Steady).into_iter().map(<[f64]>::to_vec);
        let steps = steps.iter().map(|k| self.dated_column(Dated::Step, *k));
        let slope = slope_from.map(|k| self.dated_column(Dated::Bend, k));
        base.chain(steps).chain(slope).collect()
    }

    /// What the candidate leaves of `y`, not whitened; nothing where that is rounding at every point, since rounding
    /// has a correlation of its own.
    pub fn residuals_of(&self, candidate: &Candidate, y: &[f64]) -> Vec<f64> {
        let (columns, coefficients) = self.columns_of(candidate);
        let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let left = residuals(&columns, &coefficients, y);
        let rounding = ROUNDING * y.iter().fold(0.0, |most: f64, v| most.max(v.abs()));
        if left.iter().all(|r| r.abs() <= rounding) { vec![0.0; left.len()] } else { left }
    }

    /// Standard error of the candidate's last coefficient, at AR(1) parameter `rho`: least squares on
    /// prewhitened points.
    pub fn standard_error(&self, candidate: &Candidate, y: &[f64], rho: f64) -> Option<f64> {
        let (columns, _) = self.columns_of(candidate);
        let (column, base) = columns.split_last()?;
        let base: Vec<&[f64]> = base.iter().map(Vec::as_slice).collect();
        let white = Whitened::new(&base, y, rho);
        let (_, rss) = white.solve(Some(column));
        let information = white.information(column);
        let df = y.len() as f64 - columns.len() as f64 - 1.0;
        let per = if candidate.kind == Kind::Bend || candidate.kind == Kind::Slope {
            self.span
        } else {
            1.0
        };
        (information > 0.0 && df > 0.0).then(|| (rss / df / information).sqrt() / per)
    }

    /// Sum of squares of a step column at `index` beside constant and covariates, prewhitened.
    pub fn step_information(&self, index: usize, rho: f64) -> Option<f64> {
        let base = self.base(Kind::Steady);
        let white = Whitened::new(&base, &self.ones, rho);
        let information = white.information(&self.dated_column(Dated::Step, index));
        (information > 0.0).then_some(information)
    }

    /// Plain sum of squares of the kind for every date in `range` (no prewhitening).
    pub fn profile(&self, kind: Kind, y: &[f64], range: std::ops::Range<usize>) -> Vec<f64> {
        let dated = if kind == Kind::Bend { Dated::Bend } else { Dated::Step };
        let white = Whitened::new(&self.base(kind), y, 0.0);
        let gains = white.gains(dated, &self.time, range);
        gains.into_iter().map(|gain| white.rss_base - gain).collect()
    }

    /// Sums of squares of a slope that begins at each date in `range`: a line from the date on, and a line and a
    /// square, so that it bends on from there; every column multiplied by `weights` as `y` already is.
    pub fn curved_profile(
        &self,
        y: &[f64],
        weights: &[f64],
        range: std::ops::Range<usize>,
    ) -> Vec<(f64, f64)> {
        let weighted = |column: &[f64]| -> Vec<f64> {
            column.iter().zip(weights).map(|(c, w)| c * w).collect()
        };
        let level: Vec<Vec<f64>> = self.base(Kind::Bend).into_iter().map(weighted).collect();
        range
            .map(|k| {
                let line = self.dated_column(Dated::Bend, k);
                let square: Vec<f64> = line.iter().map(|t| t * t).collect();
                let (line, square) = (weighted(&line), weighted(&square));
                let mut base: Vec<&[f64]> = level.iter().map(Vec::as_slice).collect();
                base.push(&line);
                let white = Whitened::new(&base, y, 0.0);
                (white.rss_base, white.solve(Some(&square)).1)
            })
            .collect()
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
