//! Likelihood of one observation with its derivatives, written once for all families.
//!
//! A narrow interval is not a difference of two distribution functions, which would lose its digits
//! (and twice as many in each derivative): its density is integrated by Gauss–Legendre, and the
//! derivatives follow as averages over the nodes. Wide intervals use the difference of the smaller
//! tails.

use std::marker::PhantomData;

use super::Standard;
use crate::numeric::GAUSS_5;
use crate::sample::Observation;
use crate::special::ln_diff_exp;

/// A value with first and second derivatives in place and log spread.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Derivatives {
    /// The value.
    pub value: f64,
    /// By place, by log spread.
    pub gradient: [f64; 2],
    /// By place twice, by each, by log spread twice.
    pub hessian: [f64; 3],
}

impl Derivatives {
    /// Adds `weight` times `other`.
    pub fn add(&mut self, weight: f64, other: &Self) {
        self.value += weight * other.value;
        for (sum, term) in self.gradient.iter_mut().zip(other.gradient) {
            *sum += weight * term;
        }
        for (sum, term) in self.hessian.iter_mut().zip(other.hessian) {
            *sum += weight * term;
        }
    }
}

/// A family at given parameters, on its line `y`.
pub(crate) trait Curve {
    /// The curve at place and log spread.
    fn at(theta: [f64; 2]) -> Self;
    /// Log density in `y`.
    fn ln_density(&self, y: f64) -> f64;
    /// Log density with its derivatives.
    fn point(&self, y: f64) -> Derivatives;
    /// `ln P(Y <= y)` and `ln P(Y > y)`.
    fn ln_tails(&self, y: f64) -> (f64, f64);
    /// `ln P(Y <= y)` with its derivatives.
    fn left(&self, y: f64) -> Derivatives;
    /// `ln P(Y > y)` with its derivatives.
    fn right(&self, y: f64) -> Derivatives;
    /// `ln P(low < Y <= high)` with its derivatives, for an interval that is not narrow.
    fn wide(&self, low: f64, high: f64) -> Derivatives;
    /// Width of an interval in units over which the density changes by a factor of about e.
    fn roughness(&self, low: f64, high: f64) -> f64;
    /// The `y` with `P(Y <= y) = p`.
    fn quantile(&self, p: f64) -> f64;
    /// The `y` with `P(Y > y) = q`.
    fn upper_quantile(&self, q: f64) -> f64;
}

/// `ln P(low < Y <= high)` from both log tails at both ends.
pub(crate) fn ln_between(low: (f64, f64), high: (f64, f64)) -> f64 {
    if low.1 < high.0 { ln_diff_exp(low.1, high.1) } else { ln_diff_exp(high.0, low.0) }
}

/// An observation on a family's line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Term {
    /// At `y`; the density in the reading is that in `y` less `ln_jacobian`.
    Point { y: f64, ln_jacobian: f64 },
    /// At or below `y`.
    Left(f64),
    /// Above `y`.
    Right(f64),
    /// Above `low` and at or below `high`; the width is kept apart, since the difference of two logarithms
    /// has lost its digits.
    Interval { low: f64, high: f64, width: f64 },
    /// Certain, whatever the parameters.
    Certain,
}

impl Term {
    /// The observation on the line of the logarithm (`log`) or of the reading; `None` where a positive
    /// family cannot have made it.
    pub fn new(observation: Observation, log: bool) -> Option<Self> {
        if !log {
            return Some(match observation {
                Observation::Exact(x) => Self::Point { y: x, ln_jacobian: 0.0 },
                Observation::Below(x) => Self::Left(x),
                Observation::Above(x) => Self::Right(x),
                Observation::Between { low, high } => {
                    Self::Interval { low, high, width: high - low }
                }
            });
        }
        Some(match observation {
            Observation::Exact(x) if x > 0.0 => Self::Point { y: x.ln(), ln_jacobian: x.ln() },
            Observation::Below(x) if x > 0.0 => Self::Left(x.ln()),
            Observation::Above(x) if x > 0.0 => Self::Right(x.ln()),
            Observation::Above(_) => Self::Certain,
            Observation::Between { low, high } if low > 0.0 && low.ln() < high.ln() => {
                Self::Interval {
                    low: low.ln(),
                    high: high.ln(),
                    width: ((high - low) / low).ln_1p(),
                }
            }
            // Edges one rounding apart have one logarithm: the middle of the interval, times its width.
            Observation::Between { low, high } if low > 0.0 => {
                Self::Point { y: low.ln(), ln_jacobian: low.ln() - (high - low).ln() }
            }
            Observation::Between { high, .. } if high > 0.0 => Self::Left(high.ln()),
            _ => return None,
        })
    }

    /// The term on a line with origin `centre` and unit `unit`.
    pub fn standardised(self, centre: f64, unit: f64) -> Self {
        let to = |y: f64| (y - centre) / unit;
        match self {
            Self::Point { y, ln_jacobian } => {
                Self::Point { y: to(y), ln_jacobian: ln_jacobian + unit.ln() }
            }
            Self::Left(y) => Self::Left(to(y)),
            Self::Right(y) => Self::Right(to(y)),
            Self::Interval { low, high, width } => {
                Self::Interval { low: to(low), high: to(high), width: width / unit }
            }
            Self::Certain => Self::Certain,
        }
    }

    /// Log probability under `curve`, with its derivatives.
    pub fn derivatives<C: Curve>(self, curve: &C) -> Derivatives {
        match self {
            Self::Point { y, ln_jacobian } => {
                let mut at = curve.point(y);
                at.value -= ln_jacobian;
                at
            }
            Self::Left(y) => curve.left(y),
            Self::Right(y) => curve.right(y),
            Self::Interval { low, high, width } if curve.roughness(low, high) <= NARROW => {
                narrow(curve, low, width)
            }
            Self::Interval { low, high, .. } => curve.wide(low, high),
            Self::Certain => Derivatives::default(),
        }
    }
}

/// Up to this roughness the five nodes below integrate to 1e-15: the error is about
/// `4e-13 r^10` for a density that changes by `e^r` (Abramowitz & Stegun 25.4.30, from memory).
const NARROW: f64 = 0.5;

fn narrow<C: Curve>(curve: &C, low: f64, width: f64) -> Derivatives {
    let half = width / 2.0;
    let middle = low + half;
    let points = GAUSS_5.map(|node| curve.point(middle + node.at * half));
    let top = points.iter().fold(f64::NEG_INFINITY, |a, p| a.max(p.value));
    let mut total = 0.0;
    let mut out = Derivatives::default();
    for (point, node) in points.iter().zip(GAUSS_5) {
        let share = node.weight * (point.value - top).exp();
        let [g, k] = point.gradient;
        total += share;
        out.gradient[0] += share * g;
        out.gradient[1] += share * k;
        out.hessian[0] += share * (point.hessian[0] + g * g);
        out.hessian[1] += share * (point.hessian[1] + g * k);
        out.hessian[2] += share * (point.hessian[2] + k * k);
    }
    out.gradient = out.gradient.map(|g| g / total);
    let [g, k] = out.gradient;
    out.hessian = [
        out.hessian[0] / total - g * g,
        out.hessian[1] / total - g * k,
        out.hessian[2] / total - k * k,
    ];
    out.value = top + total.ln() + width.ln();
    out
}

/// A standard curve moved to `m` and stretched by `e^s`: `Y = m + e^s Z`.
pub(crate) struct Moved<S> {
    m: f64,
    s: f64,
    per_unit: f64,
    standard: PhantomData<S>,
}

impl<S: Standard> Moved<S> {
    fn z(&self, y: f64) -> f64 {
        (y - self.m) * self.per_unit
    }

    /// Derivatives in the parameters of a function of `z` with derivatives `first`, `second`.
    fn chain(&self, z: f64, value: f64, first: f64, second: f64) -> Derivatives {
        let per = self.per_unit;
        Derivatives {
            value,
            gradient: [-first * per, -first * z],
            hessian: [second * per * per, (second * z + first) * per, second * z * z + first * z],
        }
    }
}

impl<S: Standard> Curve for Moved<S> {
    fn at([m, s]: [f64; 2]) -> Self {
        Self { m, s, per_unit: (-s).exp(), standard: PhantomData }
    }

    fn ln_density(&self, y: f64) -> f64 {
        S::density(self.z(y))[0] - self.s
    }

    fn point(&self, y: f64) -> Derivatives {
        let z = self.z(y);
        let [value, first, second] = S::density(z);
        let mut at = self.chain(z, value - self.s, first, second);
        at.gradient[1] -= 1.0;
        at
    }

    fn ln_tails(&self, y: f64) -> (f64, f64) {
        let z = self.z(y);
        (S::ln_cdf(z), S::ln_sf(z))
    }

    fn left(&self, y: f64) -> Derivatives {
        let z = self.z(y);
        let [ln_density, slope, _] = S::density(z);
        let value = S::ln_cdf(z);
        let rate = ratio(ln_density, value);
        self.chain(z, value, rate, times(rate, slope - rate))
    }

    fn right(&self, y: f64) -> Derivatives {
        let z = self.z(y);
        let [ln_density, slope, _] = S::density(z);
        let value = S::ln_sf(z);
        let rate = ratio(ln_density, value);
        self.chain(z, value, -rate, times(-rate, slope + rate))
    }

    fn wide(&self, low: f64, high: f64) -> Derivatives {
        let (tails_low, tails_high) = (self.ln_tails(low), self.ln_tails(high));
        let value = ln_between(tails_low, tails_high);
        let end = |y: f64| {
            let z = self.z(y);
            let [ln_density, slope, _] = S::density(z);
            let rate = ratio(ln_density, value);
            self.chain(z, 0.0, rate, times(rate, slope))
        };
        let mut out = end(high);
        out.add(-1.0, &end(low));
        let [g, k] = out.gradient;
        out.hessian[0] -= g * g;
        out.hessian[1] -= g * k;
        out.hessian[2] -= k * k;
        out.value = value;
        out
    }

    fn roughness(&self, low: f64, high: f64) -> f64 {
        let steepest = S::density(self.z(low))[1].abs().max(S::density(self.z(high))[1].abs());
        (high - low) * self.per_unit * steepest.max(1.0)
    }

    fn quantile(&self, p: f64) -> f64 {
        self.m + self.s.exp() * S::quantile(p)
    }

    fn upper_quantile(&self, q: f64) -> f64 {
        self.m + self.s.exp() * S::upper_quantile(q)
    }
}

/// Density over probability, zero where the density is.
pub(crate) fn ratio(ln_density: f64, ln_probability: f64) -> f64 {
    if ln_density == f64::NEG_INFINITY { 0.0 } else { (ln_density - ln_probability).exp() }
}

/// A product in which zero wins over infinity.
pub(crate) fn times(a: f64, b: f64) -> f64 {
    if a == 0.0 { 0.0 } else { a * b }
}
