//! Gumbel for maxima: `P(X <= x) = exp(-exp(-z))`, `z = (x - location) / scale`.

use std::f64::consts::PI;

use super::weibull::{self, EULER};

/// Location and scale from internal parameters.
pub(super) fn params([m, s]: [f64; 2]) -> [(&'static str, f64); 2] {
    [("location", m), ("scale", s.exp())]
}

/// By moments: `sd = e^s pi / sqrt 6`, `mean = m + EULER e^s`.
pub(super) fn start(mean: f64, sd: f64) -> [f64; 2] {
    let spread = sd * 6.0_f64.sqrt() / PI;
    [mean - EULER * spread, spread.ln()]
}

/// The standard Gumbel: the mirror image of the smallest extreme value.
pub(crate) struct Standard;

impl super::Standard for Standard {
    fn density(z: f64) -> [f64; 3] {
        let e = (-z).exp();
        [-z - e, e - 1.0, -e]
    }

    fn ln_cdf(z: f64) -> f64 {
        weibull::Standard::ln_sf(-z)
    }

    fn ln_sf(z: f64) -> f64 {
        weibull::Standard::ln_cdf(-z)
    }

    fn quantile(p: f64) -> f64 {
        -weibull::Standard::upper_quantile(p)
    }

    fn upper_quantile(q: f64) -> f64 {
        -weibull::Standard::quantile(q)
    }
}
