//! The upper tail without a family for the body: a generalised Pareto law of the excesses over a threshold.

use crate::stats::blocks::block_variance;
use crate::stats::empirical::Empirical;
use crate::stats::estimate::Estimate;
use crate::stats::sample::{Grouped, Observation};
use crate::stats::special::{normal_quantile, student_t_quantile};
use crate::stats::tolerance::increasing_root;

/// Standard deviation of the normal penalty on the shape: tails of measured characteristics are
/// rarely far from exponential, and some hundred readings cannot say more. From simulation.
pub const SHAPE_SD: f64 = 0.2;
/// Closer to the threshold than this many log units of the share, an interval on the log of the
/// excess is wider than the readings there allow, so it is made on the excess itself.
const NEAR_THRESHOLD: f64 = 0.5;
/// Shares below `share × exp(-this)` are not told apart from none.
const FARTHEST: f64 = 60.0;

/// Why no tail was fitted.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TailError {
    /// Too few readings lie beyond the threshold to fit two parameters.
    #[error("only {0} readings lie beyond the threshold of the tail")]
    TooFew(f64),
    /// The search found no maximum with a positive definite information.
    #[error("the search for the law of the tail did not end at a maximum")]
    NoMaximum,
}

/// A value with its one-sided lower and upper bounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// The best single value.
    pub value: f64,
    /// One-sided lower bound.
    pub lower: f64,
    /// One-sided upper bound.
    pub upper: f64,
}

/// A fitted tail: `P(X > x) = share (1 + shape (x - threshold)/scale)^(-1/shape)` beyond the threshold.
#[derive(Debug, Clone, PartialEq)]
pub struct Tail {
    /// Where the tail starts.
    pub threshold: f64,
    /// Share of all readings beyond the threshold.
    pub share: f64,
    /// Scale, in the unit of the readings.
    pub scale: f64,
    /// Shape: 0 exponential, above 0 heavier, below 0 with an end.
    pub shape: f64,
    /// Number of readings beyond the threshold.
    pub beyond: f64,
    /// Usual covariance of (ln scale, shape).
    covariance: [[f64; 2]; 2],
    /// Usual variance of ln share.
    share_variance: f64,
    /// Influence of each day on (ln scale, shape, ln share).
    influence: Vec<[f64; 3]>,
}

impl Tail {
    /// The tail of `data` beyond `threshold`, which must be an edge of the readings' intervals.
    ///
    /// - Method: penalised maximum likelihood over intervals, readings beyond a limit right-censored there;
    ///   a limit below the threshold says nothing about the tail's law and enters its share through
    ///   the non-parametric estimate. Newton's method, halving steps that do not improve.
    /// - Source: Pickands J. (1975) Ann. Statist. 3:119-131; Davison A.C., Smith R.L. (1990) J. R. Statist.
    ///   Soc. B 52:393-442; penalty as in Coles S.G., Dixon M.J. (1999) Extremes 2:5-23 (all from memory).
    /// # Errors
    /// See [`TailError`].
    pub fn fit(data: &Grouped, threshold: f64) -> Result<Self, TailError> {
        let lines = data.sample().lines();
        let excesses: Vec<Option<Observation>> =
            lines.iter().map(|line| excess(line.observation, threshold)).collect();
        let beyond: f64 = lines
            .iter()
            .zip(&excesses)
            .filter(|(_, e)| e.is_some())
            .map(|(line, _)| line.count)
            .sum();
        let n = data.sample().total();
        let share = Empirical::of(data.sample()).sf(threshold);
        if beyond < 10.0 || !(share > 0.0 && share < 1.0) {
            return Err(TailError::TooFew(beyond));
        }
        let weighted: Vec<(Observation, f64)> = lines
            .iter()
            .zip(&excesses)
            .filter_map(|(line, e)| e.map(|e| (e, line.count)))
            .collect();
        let (at, covariance) = maximise(&weighted).ok_or(TailError::NoMaximum)?;
        let influence = data
            .days()
            .iter()
            .map(|day| {
                let (mut score, mut over) = ([0.0; 2], 0.0);
                for &(line, count) in &day.counts {
                    if let Some(e) = excesses[line as usize] {
                        over += count;
                        if let Some(term) = Term::of(e, at) {
                            score[0] += count * term.gradient[0];
                            score[1] += count * term.gradient[1];
                        }
                    }
                }
                [
                    covariance[0][0] * score[0] + covariance[0][1] * score[1],
                    covariance[1][0] * score[0] + covariance[1][1] * score[1],
                    (over - share * day.total()) / (n * share),
                ]
            })
            .collect();
        Ok(Self {
            threshold,
            share,
            scale: at[0].exp(),
            shape: at[1],
            beyond,
            covariance,
            share_variance: (1.0 - share) / (n * share),
            influence,
        })
    }

    /// The reading that a share `q` lies beyond; `None` where `q` is not in (0, share].
    #[must_use]
    pub fn upper_quantile(&self, q: f64) -> Option<f64> {
        let r = self.depth(q)?;
        Some(self.threshold + self.scale * growth(self.shape, r))
    }

    /// Share beyond `x`; `None` below the threshold.
    #[must_use]
    pub fn sf(&self, x: f64) -> Option<f64> {
        (x >= self.threshold)
            .then(|| self.share * ln_sf((x - self.threshold) / self.scale, self.shape).exp())
    }

    /// The reading that a share `q` lies beyond, with its two-sided interval at `level`.
    #[must_use]
    pub fn quantile_estimate(&self, q: f64, level: f64) -> Option<Estimate> {
        let bounds = self.bounds(q, 0.5 + level / 2.0)?;
        Estimate::new(
            bounds.value,
            bounds.lower,
            bounds.upper,
            level,
            "generalised Pareto tail, interval on the log of the excess, days in blocks",
        )
    }

    /// The reading that a share `q` lies beyond, with one-sided bounds at `confidence` each.
    #[must_use]
    pub fn bounds(&self, q: f64, confidence: f64) -> Option<Bounds> {
        if !(confidence > 0.0 && confidence < 1.0) {
            return None;
        }
        self.bounds_at(self.depth(q)?, confidence)
    }

    /// Standard error of the log of the excess at `q`, with its degrees of freedom where days vary more
    /// than independent readings would.
    #[must_use]
    pub fn log_excess_error(&self, q: f64) -> Option<(f64, Option<f64>)> {
        Some(self.error(self.gradient(self.depth(q)?)))
    }

    /// Share beyond `x` with its two-sided interval at `level`: the shares whose quantile bounds are `x`,
    /// so that both ways of asking agree. `None` below the threshold.
    #[must_use]
    pub fn exceedance(&self, x: f64, level: f64) -> Option<Estimate> {
        let value = self.sf(x)?;
        let confidence = 0.5 + level / 2.0;
        let share_at = |bound: fn(&Bounds) -> f64, none: f64| {
            let gap = |r: f64| self.bounds_at(r, confidence).map_or(f64::NAN, |b| bound(&b) - x);
            if gap(1e-9) >= 0.0 {
                return self.share;
            }
            increasing_root(gap, 1e-9, FARTHEST).map_or(none, |r| self.share * (-r).exp())
        };
        let low = share_at(|b| b.lower, 0.0);
        let high = share_at(|b| b.upper, self.share * (-FARTHEST).exp());
        Estimate::new(
            value,
            low,
            high,
            level,
            "generalised Pareto tail, from the interval of its quantiles, days in blocks",
        )
    }

    /// How many log units `q` lies below the tail's share.
    fn depth(&self, q: f64) -> Option<f64> {
        (q > 0.0 && q <= self.share).then(|| (self.share / q).ln())
    }

    /// Gradient of the log of the excess by (ln scale, shape, ln share).
    fn gradient(&self, r: f64) -> [f64; 3] {
        let xi = self.shape;
        let g = growth(xi, r);
        let by_shape = if (xi * r).abs() < 1e-4 {
            r / 2.0 + xi * r * r / 12.0
        } else {
            r * (xi * r).exp() / (xi * r).exp_m1() - 1.0 / xi
        };
        [1.0, by_shape, (xi * r).exp() / g]
    }

    fn error(&self, g: [f64; 3]) -> (f64, Option<f64>) {
        let c = &self.covariance;
        let usual = g[0] * g[0] * c[0][0]
            + 2.0 * g[0] * g[1] * c[0][1]
            + g[1] * g[1] * c[1][1]
            + g[2] * g[2] * self.share_variance;
        let days: Vec<f64> = self
            .influence
            .iter()
            .map(|day| g[0] * day[0] + g[1] * day[1] + g[2] * day[2])
            .collect();
        let block = block_variance(&days, usual);
        (block.variance.sqrt(), block.degrees_of_freedom)
    }

    fn bounds_at(&self, r: f64, confidence: f64) -> Option<Bounds> {
        let (error, df) = self.error(self.gradient(r));
        let t = df.map_or_else(
            || normal_quantile(confidence),
            |df| student_t_quantile(confidence, df),
        );
        let excess = self.scale * growth(self.shape, r);
        let (low, high) = if r < NEAR_THRESHOLD {
            (excess * (1.0 - t * error), excess * (1.0 + t * error))
        } else {
            (excess * (-t * error).exp(), excess * (t * error).exp())
        };
        let bounds = Bounds {
            value: self.threshold + excess,
            lower: self.threshold + low,
            upper: self.threshold + high,
        };
        (bounds.lower.is_finite() && !bounds.upper.is_nan()).then_some(bounds)
    }
}

/// `(exp(shape r) - 1)/shape`, the excess in scales at depth `r`.
fn growth(shape: f64, r: f64) -> f64 {
    if (shape * r).abs() < 1e-8 { r } else { (shape * r).exp_m1() / shape }
}

/// `ln P(excess > z scales)`; negative infinity beyond the end.
fn ln_sf(z: f64, shape: f64) -> f64 {
    if shape * z <= -1.0 {
        f64::NEG_INFINITY
    } else if (shape * z).abs() < 1e-8 {
        -z
    } else {
        -(shape * z).ln_1p() / shape
    }
}

/// What an observation says about the excess; `None` where it need not lie beyond the threshold.
fn excess(observation: Observation, threshold: f64) -> Option<Observation> {
    match observation {
        Observation::Exact(x) => (x > threshold).then(|| Observation::Exact(x - threshold)),
        Observation::Above(x) => (x >= threshold).then(|| Observation::Above(x - threshold)),
        Observation::Between { low, high } => {
            ((low + high) / 2.0 > threshold).then(|| Observation::Between {
                low: (low - threshold).max(0.0),
                high: high - threshold,
            })
        }
        Observation::Below(_) => None,
    }
}

/// Log-likelihood of one excess and its gradient by (ln scale, shape).
struct Term {
    value: f64,
    gradient: [f64; 2],
}

impl Term {
    fn of(excess: Observation, at: [f64; 2]) -> Option<Self> {
        let (scale, shape) = (at[0].exp(), at[1]);
        let term = match excess {
            Observation::Exact(y) => {
                let z = y / scale;
                let base = 1.0 + shape * z;
                let tail = Self::survival(y, at)?;
                Self {
                    value: -at[0] + tail.value - base.ln(),
                    gradient: [
                        -1.0 + tail.gradient[0] + shape * z / base,
                        tail.gradient[1] - z / base,
                    ],
                }
            }
            Observation::Above(y) => Self::survival(y, at)?,
            Observation::Between { low, high } => {
                let near = Self::survival(low, at)?;
                match Self::survival(high, at) {
                    None => near,
                    Some(far) => {
                        // Share of the survival at the near edge that lies beyond the far one.
                        let ratio = (far.value - near.value).exp();
                        let inside = -(far.value - near.value).exp_m1();
                        Self {
                            value: near.value + inside.ln(),
                            gradient: [
                                (near.gradient[0] - ratio * far.gradient[0]) / inside,
                                (near.gradient[1] - ratio * far.gradient[1]) / inside,
                            ],
                        }
                    }
                }
            }
            Observation::Below(_) => return None,
        };
        let finite = term.value.is_finite() && term.gradient.iter().all(|g| g.is_finite());
        finite.then_some(term)
    }

    /// `ln P(excess > y)`; `None` beyond the end.
    fn survival(y: f64, at: [f64; 2]) -> Option<Self> {
        let (z, shape) = (y / at[0].exp(), at[1]);
        let base = 1.0 + shape * z;
        if base <= 0.0 {
            return None;
        }
        let by_shape = if (shape * z).abs() < 1e-4 {
            z * z / 2.0 - 2.0 * shape * z * z * z / 3.0
        } else {
            (shape * z).ln_1p() / (shape * shape) - z / (shape * base)
        };
        Some(Self { value: ln_sf(z, shape), gradient: [z / base, by_shape] })
    }
}

fn objective(lines: &[(Observation, f64)], at: [f64; 2]) -> Option<Term> {
    let variance = SHAPE_SD * SHAPE_SD;
    let mut sum = Term { value: -at[1] * at[1] / (2.0 * variance), gradient: [0.0, -at[1] / variance] };
    for &(line, count) in lines {
        let term = Term::of(line, at)?;
        sum.value += count * term.value;
        sum.gradient[0] += count * term.gradient[0];
        sum.gradient[1] += count * term.gradient[1];
    }
    sum.value.is_finite().then_some(sum)
}

/// Where the penalised likelihood is largest, and the inverse information there.
fn maximise(lines: &[(Observation, f64)]) -> Option<([f64; 2], [[f64; 2]; 2])> {
    let total: f64 = lines.iter().map(|line| line.1).sum();
    let middle = |o: Observation| match o {
        Observation::Between { low, high } => (low + high) / 2.0,
        other => other.low(),
    };
    let mean = lines.iter().map(|&(o, count)| count * middle(o)).sum::<f64>() / total;
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    let mut at = [mean.ln(), 0.0];
    let mut here = objective(lines, at)?;
    for _ in 0..100 {
        let information = information(lines, at)?;
        let inverse = invert(information);
        // Away from the maximum the information may not be positive definite: then along the gradient.
        let step = match inverse {
            Some(v) => [
                v[0][0] * here.gradient[0] + v[0][1] * here.gradient[1],
                v[1][0] * here.gradient[0] + v[1][1] * here.gradient[1],
            ],
            None => [here.gradient[0] / total, here.gradient[1] / total],
        };
        let mut size = 1.0 / (step[0].abs().max(step[1].abs()) / 0.5).max(1.0);
        let mut moved = false;
        for _ in 0..40 {
            let next = [at[0] + size * step[0], at[1] + size * step[1]];
            if let Some(there) = objective(lines, next).filter(|t| t.value >= here.value) {
                moved = there.value > here.value;
                at = next;
                here = there;
                break;
            }
            size /= 2.0;
        }
        let small = step[0].abs().max(step[1].abs()) < 1e-9;
        if small || !moved {
            break;
        }
    }
    let covariance = invert(information(lines, at)?)?;
    // Newton's decrement: twice the likelihood still to be gained.
    let gain = here.gradient[0]
        * (covariance[0][0] * here.gradient[0] + 2.0 * covariance[0][1] * here.gradient[1])
        + here.gradient[1] * covariance[1][1] * here.gradient[1];
    (gain < 1e-4).then_some((at, covariance))
}

/// Negative second derivatives, by central differences of the gradient.
fn information(lines: &[(Observation, f64)], at: [f64; 2]) -> Option<[[f64; 2]; 2]> {
    let h = 1e-4;
    let mut out = [[0.0; 2]; 2];
    for i in 0..2 {
        let (mut up, mut down) = (at, at);
        up[i] += h;
        down[i] -= h;
        let (up, down) = (objective(lines, up)?, objective(lines, down)?);
        for j in 0..2 {
            out[i][j] = -(up.gradient[j] - down.gradient[j]) / (2.0 * h);
        }
    }
    let cross = (out[0][1] + out[1][0]) / 2.0;
    Some([[out[0][0], cross], [cross, out[1][1]]])
}

fn invert(m: [[f64; 2]; 2]) -> Option<[[f64; 2]; 2]> {
    let determinant = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    (m[0][0] > 0.0 && determinant > 0.0).then(|| {
        [
            [m[1][1] / determinant, -m[0][1] / determinant],
            [-m[1][0] / determinant, m[0][0] / determinant],
        ]
    })
}
