//! Several families, one answer: estimates averaged by AICc weights.
//!
//! Source: Burnham & Anderson (2002), Model Selection and Multimodel Inference, 2nd ed., section 4.3, eq. 4.9: weights
//! `exp(-AICc / 2)`, and the unconditional standard error `sum w_i sqrt(var_i + (theta_i - mean)^2)`. That form is used,
//! not the sum of variances of eq. 6.12, since on a log scale one family of weight 0.001 that is far off would own the
//! latter.
//!
//! Weights under 1e-4 are zero.

use super::blocks::block_variance;
use super::distribution::{Distribution, Family, Law};
use super::estimate::Estimate;
use super::likelihood::{Fit, FitError, fit, scores};
use super::numeric::product;
use super::sample::Grouped;
use super::special::{normal_quantile, student_t_quantile};

/// Weights below this are zero: the family is 18 AICc units behind the best and says nothing.
const SMALLEST_WEIGHT: f64 = 1e-4;

/// A fit and the weight of its family.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighted {
    /// The fit.
    pub fit: Fit,
    /// Weight, 0 to 1; the weights of an average add up to 1.
    pub weight: f64,
}

/// The families that could be fitted to a sample, with their weights.
///
/// Invariant: at least one fit; fits in the order of the families given.
#[derive(Debug, Clone, PartialEq)]
pub struct Average {
    /// The fits.
    pub fits: Vec<Weighted>,
    /// Families that could not be fitted, and why.
    pub failed: Vec<(Family, FitError)>,
    /// The cut below which the sample lies, as given.
    pub truncated_above: Option<f64>,
}

/// Where an interval is symmetric.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// On the quantity itself.
    Linear,
    /// On its logarithm: for quantities above zero.
    Log,
    /// On `-ln(-ln p)`: for shares of a tail. Both ends stay inside 0 to 1; where `p` is far too small to be
    /// seen it moves like the logarithm of the reading, so that an interval there does not reach from 0 to 1,
    /// as it does on `ln(p / (1 - p))`. 0 counts as 1e-300.
    TailShare,
}

/// An averaged quantity with its standard error, both on the scale of the interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Averaged {
    /// The value, on the scale.
    pub on_scale: f64,
    /// Standard error on the scale, with days and disagreement between families.
    pub standard_error: f64,
    /// Degrees of freedom of Student's t; `None`: normal.
    pub degrees_of_freedom: Option<f64>,
    /// Block variance over the usual one ([`block_variance`]), averaged over families: what counts are
    /// divided by to be those of independent readings, where above 1.
    pub dispersion: f64,
}

impl Averaged {
    /// `level` quantile of the error, in units of the scale.
    fn margin(&self, level: f64) -> f64 {
        let multiple = match self.degrees_of_freedom {
            Some(df) => student_t_quantile(level, df),
            None => normal_quantile(level),
        };
        multiple * self.standard_error
    }
}

/// A value with a lower and an upper bound, each of them one-sided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneSided {
    /// The value.
    pub value: f64,
    /// Lower confidence bound.
    pub lower: f64,
    /// Upper confidence bound.
    pub upper: f64,
}

impl Scale {
    /// On the scale; `None` where the quantity is outside its domain.
    pub fn to(self, x: f64) -> Option<f64> {
        let y = match self {
            Self::Linear => x,
            Self::Log if x > 0.0 => x.ln(),
            Self::TailShare if (0.0..=1.0).contains(&x) => {
                let p = x.clamp(1e-300, 1.0 - f64::EPSILON / 2.0);
                -(-p.ln()).ln()
            }
            _ => return None,
        };
        y.is_finite().then_some(y)
    }

    /// Back from the scale.
    pub fn from(self, y: f64) -> f64 {
        match self {
            Self::Linear => y,
            Self::Log => y.exp(),
            Self::TailShare => (-(-y).exp()).exp(),
        }
    }
}

impl Average {
    /// Fits every family and weighs them.
    ///
    /// - Formula: weight proportional to `exp(-(AICc - smallest) / 2)`; weights under 1e-4 are set to 0.
    /// - `truncated_above`: see [`fit`].
    ///
    /// # Errors
    /// That of the first family where none could be fitted; `TooFewDistinct` where none is given.
    pub fn fit(
        families: &[Family],
        data: &Grouped,
        truncated_above: Option<f64>,
    ) -> Result<Self, FitError> {
        let mut fits = Vec::new();
        let mut failed = Vec::new();
        for &family in families {
            match fit(family, data.sample(), truncated_above) {
                Ok(fit) => fits.push(Weighted { fit, weight: 0.0 }),
                Err(reason) => failed.push((family, reason)),
            }
        }
        if fits.is_empty() {
            return Err(failed.first().map_or(FitError::TooFewDistinct, |(_, reason)| *reason));
        }
        let best = fits.iter().map(|w| w.fit.aicc).fold(f64::INFINITY, f64::min);
        let raw = |w: &Weighted| (-(w.fit.aicc - best) / 2.0).exp();
        let all: f64 = fits.iter().map(raw).sum();
        let kept: f64 = fits.iter().map(raw).filter(|r| *r >= SMALLEST_WEIGHT * all).sum();
        for weighted in &mut fits {
            let r = raw(weighted);
            weighted.weight = if r >= SMALLEST_WEIGHT * all { r / kept } else { 0.0 };
        }
        Ok(Self { fits, failed, truncated_above })
    }

    /// Fits whose weight is above zero.
    fn weighing(&self) -> impl Iterator<Item = &Weighted> {
        self.fits.iter().filter(|w| w.weight > 0.0)
    }

    fn mean(&self, what: impl Fn(&Law) -> f64) -> f64 {
        self.weighing().map(|w| w.weight * what(&w.fit.law)).sum()
    }

    /// The fit of the heaviest family.
    pub fn best(&self) -> &Weighted {
        self.fits
            .iter()
            .reduce(|best, next| if next.weight > best.weight { next } else { best })
            .expect("an average has at least one fit")
    }

    /// Averaged `p` quantile. Units: those of the readings.
    pub fn quantile(&self, p: f64) -> f64 {
        self.mean(|law| law.quantile(p))
    }

    /// Averaged reading that a share `q` exceeds, for `q` however small.
    pub fn upper_quantile(&self, q: f64) -> f64 {
        self.mean(|law| law.upper_quantile(q))
    }

    /// `ln` of the averaged `P(X > x)`; never above 0, NaN for NaN.
    pub fn ln_sf(&self, x: f64) -> f64 {
        self.ln_mean(|law| law.ln_sf(x))
    }

    /// Averaged `P(X > x)`.
    pub fn sf(&self, x: f64) -> f64 {
        self.ln_sf(x).exp()
    }

    /// Averaged `P(X <= x)`.
    pub fn cdf(&self, x: f64) -> f64 {
        self.ln_mean(|law| law.ln_cdf(x)).exp()
    }

    fn ln_mean(&self, what: impl Fn(&Law) -> f64) -> f64 {
        let parts: Vec<f64> = self.weighing().map(|w| w.weight.ln() + what(&w.fit.law)).collect();
        if parts.iter().any(|part| part.is_nan()) {
            return f64::NAN;
        }
        let top = parts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if top == f64::NEG_INFINITY {
            return top;
        }
        (top + parts.iter().map(|part| (part - top).exp()).sum::<f64>().ln()).min(0.0)
    }

    /// A quantity of the laws, averaged on `scale`, with its standard error.
    ///
    /// `data` are those that were fitted. `None` where the quantity of a family with weight is outside
    /// the scale's domain.
    pub fn averaged(
        &self,
        data: &Grouped,
        scale: Scale,
        what: &dyn Fn(&Law) -> f64,
    ) -> Option<Averaged> {
        let mut on_scale = 0.0;
        let mut parts = Vec::new();
        for weighted in self.weighing() {
            let value = scale.to(what(&weighted.fit.law))?;
            on_scale += weighted.weight * value;
            let influence = Influence::new(&weighted.fit, &|law| scale.to(what(law)))?;
            let days = influence.day_sums(&weighted.fit.law, data, self.truncated_above)?;
            parts.push((weighted.weight, value, block_variance(&days, influence.usual)));
        }
        let standard_error = parts
            .iter()
            .map(|(w, value, block)| w * (block.variance + (value - on_scale).powi(2)).sqrt())
            .sum();
        let (blocked, degrees_of_freedom) = parts
            .iter()
            .filter_map(|(w, _, block)| block.degrees_of_freedom.map(|df| (w, df)))
            .fold((0.0, None), |(sum, _), (w, df)| (sum + w, Some(df)));
        Some(Averaged {
            on_scale,
            standard_error,
            // Student where the families for which the days decide outweigh the others.
            degrees_of_freedom: degrees_of_freedom.filter(|_| blocked >= 0.5),
            dispersion: parts.iter().map(|(w, _, block)| w * block.ratio).sum(),
        })
    }

    /// A quantity of the laws, averaged on the scale, without its error. `None` where a law has no value.
    pub fn averaged_value(&self, scale: Scale, what: &dyn Fn(&Law) -> f64) -> Option<f64> {
        let mut sum = 0.0;
        for w in self.weighing() {
            sum += w.weight * scale.to(what(&w.fit.law))?;
        }
        Some(scale.from(sum))
    }

    /// A quantity of the laws, averaged, with its two-sided interval at `level`; see
    /// [`Average::averaged`]. The average is taken on the scale.
    pub fn estimate(
        &self,
        data: &Grouped,
        scale: Scale,
        level: f64,
        what: &dyn Fn(&Law) -> f64,
    ) -> Option<Estimate> {
        let averaged = self.averaged(data, scale, what)?;
        let margin = averaged.margin(0.5 + level / 2.0);
        let method = if averaged.degrees_of_freedom.is_some() {
            "average of families, variance between blocks of days"
        } else {
            "average of families"
        };
        Estimate::new(
            scale.from(averaged.on_scale),
            scale.from(averaged.on_scale - margin),
            scale.from(averaged.on_scale + margin),
            level,
            method,
        )
    }

    /// A quantity of the laws with a lower and an upper bound, each holding with confidence `level`.
    pub fn one_sided(
        &self,
        data: &Grouped,
        scale: Scale,
        level: f64,
        what: &dyn Fn(&Law) -> f64,
    ) -> Option<OneSided> {
        let averaged = self.averaged(data, scale, what)?;
        let margin = averaged.margin(level);
        (!margin.is_nan()).then(|| OneSided {
            value: scale.from(averaged.on_scale),
            lower: scale.from(averaged.on_scale - margin),
            upper: scale.from(averaged.on_scale + margin),
        })
    }
}

/// How much one reading moves a quantity of a fitted law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Influence {
    /// Gradient of the quantity times inverse information; times a score it is the influence.
    pub direction: [f64; 2],
    /// The usual variance of the quantity, `gradient' covariance gradient`.
    pub usual: f64,
}

impl Influence {
    /// For the quantity `what`; `None` where it has no value at or near the fit.
    ///
    /// - Gradient: central differences of one thousandth of a spread.
    pub fn new(fit: &Fit, what: &dyn Fn(&Law) -> Option<f64>) -> Option<Self> {
        const STEP: f64 = 1e-3;
        let theta = fit.law.internal();
        let mut gradient = [0.0; 2];
        for (i, size) in [STEP * theta[1].exp(), STEP].into_iter().enumerate() {
            let at = |sign: f64| {
                let mut moved = theta;
                moved[i] += sign * size;
                Law::from_internal(fit.law.family(), moved).and_then(|law| what(&law))
            };
            gradient[i] = (at(1.0)? - at(-1.0)?) / (2.0 * size);
        }
        let direction = product(&fit.covariance, gradient);
        let usual = direction[0] * gradient[0] + direction[1] * gradient[1];
        (usual.is_finite() && usual >= 0.0).then_some(Self { direction, usual })
    }

    /// Influences summed per day, in the order of [`Grouped::days`], for [`block_variance`]. `None`
    /// where the data are not those of the fit.
    pub fn day_sums(
        &self,
        law: &Law,
        data: &Grouped,
        truncated_above: Option<f64>,
    ) -> Option<Vec<f64>> {
        let scores = scores(law, data.sample(), truncated_above).ok()?;
        let influence: Vec<f64> = scores
            .iter()
            .map(|score| self.direction[0] * score[0] + self.direction[1] * score[1])
            .collect();
        let days = data.days().iter();
        Some(
            days.map(|day| {
                day.counts.iter().map(|&(line, count)| count * influence[line as usize]).sum()
            })
            .collect(),
        )
    }
}
