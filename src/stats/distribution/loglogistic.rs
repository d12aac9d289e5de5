//! Log-logistic: `P(X > x) = 1 / (1 + (x / scale)^shape)`; the logarithm is logistic.

use std::f64::consts::PI;

/// Shape and scale from internal parameters.
pub(super) fn params([m, s]: [f64; 2]) -> [(&'static str, f64); 2] {
    [("shape", (-s).exp()), ("scale", m.exp())]
}

/// By moments: `sd = e^s pi / sqrt 3`.
pub(super) fn start(mean: f64, sd: f64) -> [f64; 2] {
    [mean, (sd * 3.0_f64.sqrt() / PI).ln()]
}

/// The standard logistic.
pub(crate) struct Standard;

impl super::Standard for Standard {
    fn density(z: f64) -> [f64; 3] {
        let value = Self::ln_cdf(z) + Self::ln_sf(z);
        [value, -(z / 2.0).tanh(), -2.0 * value.exp()]
    }

    fn ln_cdf(z: f64) -> f64 {
        Self::ln_sf(-z)
    }

    fn ln_sf(z: f64) -> f64 {
        if z > 0.0 { -z - (-z).exp().ln_1p() } else { -z.exp().ln_1p() }
    }

    fn quantile(p: f64) -> f64 {
        p.ln() - (-p).ln_1p()
    }

    fn upper_quantile(q: f64) -> f64 {
        -Self::quantile(q)
    }
}
