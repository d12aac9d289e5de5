//! The six families that a healthy body is fitted with, and a law: one family with its parameters.
//!
//! Every family lives on a line `y` (the reading itself, or its logarithm) and has a place `m` and the
//! logarithm `s` of a spread on that line; both are free to take any value, so that a search needs no
//! bounds. Five families are one fixed curve moved and stretched; the gamma family is
//! not and has its own file.

mod curve;
mod gamma;
mod gumbel;
mod loglogistic;
mod lognormal;
mod normal;
mod weibull;

pub(crate) use curve::{Curve, Derivatives, Moved, Term};
pub(crate) use gamma::GammaCurve;

use super::sample::Observation;

/// What can be asked of a continuous distribution. Units: those of the readings.
///
/// ```
/// use leakdrift_stats::distribution::{Distribution, Family, Law};
///
/// // Normal with mean 2 and standard deviation 1; 1e-20 of it lies 9.26 deviations above the mean.
/// let law = Law::from_internal(Family::Normal, [2.0, 1.0_f64.ln()]).unwrap();
/// assert!((law.quantile(0.5) - 2.0).abs() < 1e-15);
/// assert!((law.upper_quantile(1e-20) - 11.262_340_089_798_408).abs() < 1e-12);
/// ```
pub trait Distribution {
    /// Log density; negative infinity outside the support.
    fn ln_pdf(&self, x: f64) -> f64;
    /// `ln P(X <= x)`.
    fn ln_cdf(&self, x: f64) -> f64;
    /// `ln P(X > x)`, without cancellation.
    fn ln_sf(&self, x: f64) -> f64;
    /// The `x` with `P(X <= x) = p`; NaN for `p` outside 0 to 1.
    fn quantile(&self, p: f64) -> f64;
    /// The `x` with `P(X > x) = q`, for `q` however small; NaN for `q` outside 0 to 1.
    fn upper_quantile(&self, q: f64) -> f64;
}

/// A family of distributions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Normal: mean, standard deviation.
    Normal,
    /// Lognormal: mean and standard deviation of the natural logarithm.
    Lognormal,
    /// Gamma: shape, scale.
    Gamma,
    /// Weibull, two parameters: shape, scale.
    Weibull,
    /// Log-logistic: shape, scale (its median).
    LogLogistic,
    /// Gumbel for maxima: location (its mode), scale.
    Gumbel,
}

impl Family {
    /// Every family, in the order in which they are reported.
    pub const ALL: [Self; 6] = [
        Self::Normal,
        Self::Lognormal,
        Self::Gamma,
        Self::Weibull,
        Self::LogLogistic,
        Self::Gumbel,
    ];

    /// The family's name in lower case, as reports and results print it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Lognormal => "lognormal",
            Self::Gamma => "gamma",
            Self::Weibull => "weibull",
            Self::LogLogistic => "log_logistic",
            Self::Gumbel => "gumbel",
        }
    }

    /// Whether the family allows only readings above zero; its line is then that of the logarithm.
    pub fn is_positive(self) -> bool {
        !matches!(self, Self::Normal | Self::Gumbel)
    }

    /// Place and log spread to start a search from, given mean and standard deviation of `y`.
    pub(crate) fn start(self, mean: f64, sd: f64) -> [f64; 2] {
        match self {
            Self::Normal | Self::Lognormal => [mean, sd.ln()],
            Self::Gamma => gamma::start(mean, sd),
            Self::Weibull => weibull::start(mean, sd),
            Self::LogLogistic => loglogistic::start(mean, sd),
            Self::Gumbel => gumbel::start(mean, sd),
        }
    }
}

/// A curve without parameters: each family but the gamma is one of these, moved and stretched.
pub(crate) trait Standard {
    /// Log density at `z` and its first two derivatives.
    fn density(z: f64) -> [f64; 3];
    /// `ln P(Z <= z)`.
    fn ln_cdf(z: f64) -> f64;
    /// `ln P(Z > z)`.
    fn ln_sf(z: f64) -> f64;
    /// The `z` with `P(Z <= z) = p`.
    fn quantile(p: f64) -> f64;
    /// The `z` with `P(Z > z) = q`.
    fn upper_quantile(q: f64) -> f64;
}

/// Runs `$body` with `$curve` bound to the law's curve, whatever its type.
macro_rules! with_curve {
    ($family:expr, $theta:expr, $curve:ident => $body:expr) => {
        match $family {
            $crate::distribution::Family::Normal | $crate::distribution::Family::Lognormal => {
                let $curve = $crate::distribution::NormalCurve::at($theta);
                $body
            }
            $crate::distribution::Family::Gamma => {
                let $curve = $crate::distribution::GammaCurve::at($theta);
                $body
            }
            $crate::distribution::Family::Weibull => {
                let $curve = $crate::distribution::WeibullCurve::at($theta);
                $body
            }
            $crate::distribution::Family::LogLogistic => {
                let $curve = $crate::distribution::LogisticCurve::at($theta);
                $body
            }
            $crate::distribution::Family::Gumbel => {
                let $curve = $crate::distribution::GumbelCurve::at($theta);
                $body
            }
        }
    };
}
pub(crate) use with_curve;

pub(crate) type NormalCurve = Moved<normal::Standard>;
pub(crate) type WeibullCurve = Moved<weibull::Standard>;
pub(crate) type LogisticCurve = Moved<loglogistic::Standard>;
pub(crate) type GumbelCurve = Moved<gumbel::Standard>;

/// A family with its parameters.
///
/// Invariant: both internal parameters are finite. Internal parameters are place and log spread on the
/// family's line: `[mean, ln sd]`, `[meanlog, ln sdlog]`, gamma `[ln mean, ln cv]` with the coefficient
/// of variation `cv = shape^(-1/2)`, Weibull and log-logistic `[ln scale, -ln shape]`, Gumbel
/// `[location, ln scale]`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Law {
    family: Family,
    theta: [f64; 2],
}

impl Law {
    /// A law from internal parameters; `None` where one is not finite.
    pub fn from_internal(family: Family, theta: [f64; 2]) -> Option<Self> {
        theta.iter().all(|value| value.is_finite()).then_some(Self { family, theta })
    }

    /// The family.
    pub fn family(&self) -> Family {
        self.family
    }

    /// The internal parameters, as covariances refer to them.
    pub fn internal(&self) -> [f64; 2] {
        self.theta
    }

    /// The textbook parameters with their names. Units: scales and locations in those of the readings,
    /// shapes and parameters of logarithms without.
    pub fn params(&self) -> Vec<(&'static str, f64)> {
        let params = match self.family {
            Family::Normal => normal::params(self.theta),
            Family::Lognormal => lognormal::params(self.theta),
            Family::Gamma => gamma::params(self.theta),
            Family::Weibull => weibull::params(self.theta),
            Family::LogLogistic => loglogistic::params(self.theta),
            Family::Gumbel => gumbel::params(self.theta),
        };
        params.to_vec()
    }

    /// Log probability of an observation (log density where it is exact): one term of the likelihood.
    pub fn ln_likelihood(&self, observation: Observation) -> f64 {
        match Term::new(observation, self.family.is_positive()) {
            Some(term) => {
                with_curve!(self.family, self.theta, curve => term.derivatives(&curve).value)
            }
            None => f64::NEG_INFINITY,
        }
    }

    /// The reading on the family's line; negative infinity below the support.
    fn line(&self, x: f64) -> f64 {
        if !self.family.is_positive() {
            x
        } else if x > 0.0 {
            x.ln()
        } else if x.is_nan() {
            f64::NAN
        } else {
            f64::NEG_INFINITY
        }
    }

    fn reading(&self, y: f64) -> f64 {
        if self.family.is_positive() { y.exp() } else { y }
    }
}

impl Distribution for Law {
    fn ln_pdf(&self, x: f64) -> f64 {
        let y = self.line(x);
        if y.is_infinite() {
            return f64::NEG_INFINITY;
        }
        let jacobian = if self.family.is_positive() { y } else { 0.0 };
        with_curve!(self.family, self.theta, curve => curve.ln_density(y) - jacobian)
    }

    fn ln_cdf(&self, x: f64) -> f64 {
        let y = self.line(x);
        with_curve!(self.family, self.theta, curve => curve.ln_tails(y).0)
    }

    fn ln_sf(&self, x: f64) -> f64 {
        let y = self.line(x);
        with_curve!(self.family, self.theta, curve => curve.ln_tails(y).1)
    }

    fn quantile(&self, p: f64) -> f64 {
        if !(0.0..=1.0).contains(&p) {
            return f64::NAN;
        }
        self.reading(with_curve!(self.family, self.theta, curve => curve.quantile(p)))
    }

    fn upper_quantile(&self, q: f64) -> f64 {
        if !(0.0..=1.0).contains(&q) {
            return f64::NAN;
        }
        self.reading(with_curve!(self.family, self.theta, curve => curve.upper_quantile(q)))
    }
}
