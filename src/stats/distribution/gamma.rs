//! Gamma: `f(x) = x^(shape-1) exp(-x / scale) / (Gamma(shape) scale^shape)`.
//!
//! Searched by the logarithms of mean and coefficient of variation, whose estimates hardly depend on
//! each other. With `k = shape`, `d = ln(x / mean)`, the log density of `ln x` is
//! `-k (e^d - 1 - d) + c(k)`, `c(k) = k ln k - k - ln Gamma(k)`: nothing cancels for large shapes.

use super::curve::{Curve, Derivatives, ln_between, ratio, times};
use crate::special::{digamma, gamma_ln_tails, gamma_quantile, gamma_upper_quantile, ln_gamma};

/// Shape and scale from internal parameters.
pub(super) fn params([m, s]: [f64; 2]) -> [(&'static str, f64); 2] {
    [("shape", (-2.0 * s).exp()), ("scale", (m + 2.0 * s).exp())]
}

/// From moments of `ln x`, whose variance is about `1 / k`.
pub(super) fn start(mean: f64, sd: f64) -> [f64; 2] {
    let cv = sd.min(1.0);
    [mean + cv * cv / 2.0, cv.ln()]
}

/// The density of `ln x`.
pub(crate) struct GammaCurve {
    m: f64,
    s: f64,
    k: f64,
    /// `c(k)` and its first two derivatives.
    c: [f64; 3],
}

/// Step of the five-point differences in `s` that stand in for derivatives of the incomplete gamma
/// function: truncation `h^4 / 30` and rounding `1e-14 / h^2` are both near 1e-11.
const STEP: f64 = 5e-3;

impl GammaCurve {
    fn density(&self, d: f64) -> f64 {
        -self.k * exp_less_line(d) + self.c[0]
    }

    /// Derivative of the log density in `d`.
    fn slope(&self, d: f64) -> f64 {
        -self.k * d.exp_m1()
    }

    fn tails(&self, d: f64) -> (f64, f64) {
        gamma_ln_tails(self.k, self.k * d.exp())
    }

    /// The same place with log spread `s + steps * STEP`.
    fn neighbour(&self, steps: f64) -> Self {
        Self::at([self.m, self.s + steps * STEP])
    }

    /// Derivatives of a log probability: `probability` gives its value from a curve, `ends` the ends
    /// of its interval with their signs.
    fn by_differences(
        &self,
        probability: impl Fn(&Self) -> f64,
        ends: &[(f64, f64)],
    ) -> Derivatives {
        let value = probability(self);
        // By place: minus the density at the ends over the probability.
        let by_place = |curve: &Self, value: f64| -> f64 {
            -ends
                .iter()
                .map(|&(y, sign)| sign * ratio(curve.density(y - curve.m), value))
                .sum::<f64>()
        };
        let first = by_place(self, value);
        let second = ends
            .iter()
            .map(|&(y, sign)| {
                let d = y - self.m;
                sign * times(ratio(self.density(d), value), self.slope(d))
            })
            .sum::<f64>()
            - first * first;
        let around = [-2.0, -1.0, 1.0, 2.0].map(|steps| {
            let curve = self.neighbour(steps);
            let value = probability(&curve);
            (value, by_place(&curve, value))
        });
        let slope = |a: [f64; 4]| (a[0] - 8.0 * a[1] + 8.0 * a[2] - a[3]) / (12.0 * STEP);
        let values = around.map(|(value, _)| value);
        let curvature = (-values[0] + 16.0 * values[1] - 30.0 * value + 16.0 * values[2]
            - values[3])
            / (12.0 * STEP * STEP);
        Derivatives {
            value,
            gradient: [first, slope(values)],
            hessian: [second, slope(around.map(|(_, place)| place)), curvature],
        }
    }
}

impl Curve for GammaCurve {
    fn at([m, s]: [f64; 2]) -> Self {
        let k = (-2.0 * s).exp();
        Self { m, s, k, c: normaliser(k) }
    }

    fn ln_density(&self, y: f64) -> f64 {
        self.density(y - self.m)
    }

    fn point(&self, y: f64) -> Derivatives {
        let d = y - self.m;
        let (k, [c, c1, c2]) = (self.k, self.c);
        let (grown, rest) = (d.exp_m1(), exp_less_line(d));
        Derivatives {
            value: -k * rest + c,
            gradient: [k * grown, -2.0 * k * (c1 - rest)],
            hessian: [-k * d.exp(), -2.0 * k * grown, 4.0 * k * (c1 - rest) + 4.0 * k * k * c2],
        }
    }

    fn ln_tails(&self, y: f64) -> (f64, f64) {
        self.tails(y - self.m)
    }

    fn left(&self, y: f64) -> Derivatives {
        self.by_differences(|curve| curve.ln_tails(y).0, &[(y, 1.0)])
    }

    fn right(&self, y: f64) -> Derivatives {
        self.by_differences(|curve| curve.ln_tails(y).1, &[(y, -1.0)])
    }

    fn wide(&self, low: f64, high: f64) -> Derivatives {
        self.by_differences(
            |curve| ln_between(curve.ln_tails(low), curve.ln_tails(high)),
            &[(high, 1.0), (low, -1.0)],
        )
    }

    fn roughness(&self, low: f64, high: f64) -> f64 {
        let steepest = self.slope(low - self.m).abs().max(self.slope(high - self.m).abs());
        (high - low) * steepest.max(self.k.sqrt()).max(1.0)
    }

    fn quantile(&self, p: f64) -> f64 {
        self.m + (gamma_quantile(self.k, p) / self.k).ln()
    }

    fn upper_quantile(&self, q: f64) -> f64 {
        self.m + (gamma_upper_quantile(self.k, q) / self.k).ln()
    }
}

/// `e^d - 1 - d`, by its series near zero.
fn exp_less_line(d: f64) -> f64 {
    if d.abs() > 0.3 {
        return d.exp_m1() - d;
    }
    let (mut term, mut sum) = (d * d / 2.0, d * d / 2.0);
    for n in 3..16 {
        term *= d / f64::from(n);
        sum += term;
    }
    sum
}

/// `c(k) = k ln k - k - ln Gamma(k)` and its first two derivatives, by Stirling's series for large `k`
/// (Abramowitz & Stegun 6.1.41, 6.3.18, 6.4.12, from memory).
fn normaliser(k: f64) -> [f64; 3] {
    if k < 20.0 {
        return [k * k.ln() - k - ln_gamma(k), k.ln() - digamma(k), 1.0 / k - trigamma(k)];
    }
    let r = 1.0 / k;
    let q = r * r;
    [
        0.5 * (k / (2.0 * std::f64::consts::PI)).ln()
            - r * (1.0 / 12.0 - q * (1.0 / 360.0 - q * (1.0 / 1260.0 - q / 1680.0))),
        r * (0.5 + r * (1.0 / 12.0 - q * (1.0 / 120.0 - q * (1.0 / 252.0 - q / 240.0)))),
        -q * (0.5 + r * (1.0 / 6.0 - q * (1.0 / 30.0 - q * (1.0 / 42.0 - q / 30.0)))),
    ]
}

/// Second derivative of `ln Gamma`, by recurrence to where the series holds.
fn trigamma(k: f64) -> f64 {
    let (mut x, mut sum) = (k, 0.0);
    while x < 20.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    sum + 1.0 / x - normaliser(x)[2]
}
