//! Weibull, two parameters: `P(X > x) = exp(-(x / scale)^shape)`.
//!
//! The logarithm is a smallest extreme value: `P(Z > z) = exp(-e^z)`, `z = shape ln(x / scale)`.

use std::f64::consts::PI;

use crate::special::ln_one_minus_exp;

/// Euler's constant, minus the mean of the standard smallest extreme value. Source: OEIS A001620, from memory.
pub(super) const EULER: f64 = 0.577_215_664_901_532_9;

/// Shape and scale from internal parameters.
pub(super) fn params([m, s]: [f64; 2]) -> [(&'static str, f64); 2] {
    [("shape", (-s).exp()), ("scale", m.exp())]
}

/// By moments: `sd = e^s pi / sqrt 6`, `mean = m - EULER e^s`.
pub(super) fn start(mean: f64, sd: f64) -> [f64; 2] {
    let spread = sd * 6.0_f64.sqrt() / PI;
    [mean + EULER * spread, spread.ln()]
}

/// The standard smallest extreme value.
pub(crate) struct Standard;

impl super::Standard for Standard {
    fn density(z: f64) -> [f64; 3] {
        let e = z.exp();
        [z - e, 1.0 - e, -e]
    }

    fn ln_cdf(z: f64) -> f64 {
        // Far down the probability is e^z itself, long after e^z has underflowed.
        if z < -40.0 { z } else { ln_one_minus_exp(-z.exp()) }
    }

    fn ln_sf(z: f64) -> f64 {
        -z.exp()
    }

    fn quantile(p: f64) -> f64 {
        (-(-p).ln_1p()).ln()
    }

    fn upper_quantile(q: f64) -> f64 {
        if q > 0.5 { Self::quantile(1.0 - q) } else { (-q.ln()).ln() }
    }
}
