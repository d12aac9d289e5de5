//! The upper tail without a family for the body: a generalised Pareto law of the excesses over a threshold.

use crate::stats::blocks::block_variance;
use crate::stats::empirical::Empirical;
use crate::stats::estimate::Estimate;
use crate::stats::pareto::{Term, excess, growth, ln_sf, maximise, objective};
use crate::stats::sample::{Grouped, Observation};
use crate::stats::special::{normal_quantile, student_t_quantile};
use crate::stats::tolerance::increasing_root_within;

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
    /// The excesses and their counts, for intervals from the likelihood.
    excesses: Vec<(Observation, f64)>,
    /// Penalised log-likelihood at the maximum.
    highest: f64,
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
        let excesses: Vec<Option<Observation>> = lines
            .iter()
            .map(|line| excess(line.observation, threshold))
            .collect();
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
        let highest = objective(&weighted, at).ok_or(TailError::NoMaximum)?.value;
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
            excesses: weighted,
            highest,
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
            "generalised Pareto tail, interval from the likelihood of the excess, days in blocks",
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
        let y = x - self.threshold;
        let best = if value > 0.0 {
            (self.share / value).ln()
        } else {
            f64::INFINITY
        };
        let (low, high) = if best < NEAR_THRESHOLD {
            // The error of the log excess over its slope in the depth is the error of the depth.
            let g = self.gradient(best.max(1e-9));
            let (error, df) = self.error(g);
            let half = multiple(confidence, df) * error / g[2];
            (value * (-half).exp(), (value * half.exp()).min(1.0))
        } else {
            let at = |sign: f64, from: f64, to: f64| {
                let gap = |r: f64| {
                    let (error, df) = self.error(self.gradient(r));
                    sign * multiple(confidence, df)
                        - self.signed_root(y, r, error).unwrap_or(f64::NAN)
                };
                increasing_root_within(gap, from, to, 1e-7)
            };
            let near = best.min(FARTHEST);
            (
                at(-1.0, near, FARTHEST).map_or(0.0, |r| self.share * (-r).exp()),
                at(1.0, NEAR_THRESHOLD / 10.0, near)
                    .map_or(self.share, |r| self.share * (-r).exp()),
            )
        };
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
        let t = multiple(confidence, df);
        let excess = self.scale * growth(self.shape, r);
        let (low, high) = if r < NEAR_THRESHOLD {
            (excess * (1.0 - t * error), excess * (1.0 + t * error))
        } else {
            (
                self.likelihood_end(excess, r, error, -t)?,
                self.likelihood_end(excess, r, error, t)?,
            )
        };
        let bounds = Bounds {
            value: self.threshold + excess,
            lower: self.threshold + low,
            upper: self.threshold + high,
        };
        (bounds.lower.is_finite() && !bounds.upper.is_nan()).then_some(bounds)
    }

    /// The excess at which the signed root of the likelihood ratio is `t`; on the log of the excess, where
    /// it is nearly a straight line.
    fn likelihood_end(&self, excess: f64, r: f64, error: f64, t: f64) -> Option<f64> {
        let towards = t.signum();
        let gap = |d: f64| {
            self.signed_root(excess * d.exp(), r, error)
                .map_or(f64::NAN, |root| root - t)
        };
        if t == 0.0 || error == 0.0 {
            return Some(excess);
        }
        let mut reach = 1.5 * t.abs() * error;
        for _ in 0..20 {
            let end = gap(towards * reach);
            if towards * end >= 0.0 {
                let (from, to) = if towards > 0.0 {
                    (0.0, reach)
                } else {
                    (-reach, 0.0)
                };
                return increasing_root_within(gap, from, to, 1e-6).map(|d| excess * d.exp());
            }
            if end.is_nan() {
                break;
            }
            reach *= 1.6;
        }
        // The likelihood gives no end on this side: the usual one, which does.
        Some(excess * (t * error).exp())
    }

    /// Signed root of twice the log-likelihood lost when the reading at depth `r` is `y` above the
    /// threshold, best shape allowed; in units of a standard normal, days and the share's own variance
    /// paid for by the ratio of the variances. Above zero where `y` is larger than estimated.
    fn signed_root(&self, y: f64, r: f64, error: f64) -> Option<f64> {
        let g = self.gradient(r);
        let c = &self.covariance;
        let of_law = g[0] * g[0] * c[0][0] + 2.0 * g[0] * g[1] * c[0][1] + g[1] * g[1] * c[1][1];
        let paid = (error * error / of_law).sqrt();
        let value = |shape: f64| {
            objective(&self.excesses, [(y / growth(shape, r)).ln(), shape])
                .map_or(f64::NEG_INFINITY, |term| term.value)
        };
        let reach = 8.0 * c[1][1].sqrt().max(0.02);
        let best = largest(
            value,
            (self.shape - reach).max(-0.99),
            (self.shape + reach).min(2.0),
        );
        let lost = (self.highest - best).max(0.0);
        if !lost.is_finite() {
            // No shape reaches the largest reading with so small an excess.
            return (y < self.scale * growth(self.shape, r)).then_some(f64::MIN / 4.0);
        }
        let sign = if y >= self.scale * growth(self.shape, r) {
            1.0
        } else {
            -1.0
        };
        Some(sign * (2.0 * lost).sqrt() / paid)
    }
}

/// Quantile of Student's t, or of the normal where there are no degrees of freedom.
fn multiple(confidence: f64, degrees_of_freedom: Option<f64>) -> f64 {
    degrees_of_freedom.map_or_else(
        || normal_quantile(confidence),
        |df| student_t_quantile(confidence, df),
    )
}

/// Largest value of a function with one summit, by golden sections to 1e-4 of the range.
fn largest(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let (mut low, mut high) = (low, high);
    let (mut a, mut b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut fa, mut fb) = (f(a), f(b));
    for _ in 0..20 {
        // Both impossible: the end of the law lies too near, so the shape must rise.
        if fa > fb {
            high = b;
            (b, fb) = (a, fa);
            a = high - GOLDEN * (high - low);
            fa = f(a);
        } else {
            low = a;
            (a, fa) = (b, fb);
            b = low + GOLDEN * (high - low);
            fb = f(b);
        }
    }
    fa.max(fb)
}
