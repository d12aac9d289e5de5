//! Normal: `f(x) = exp(-z^2 / 2) / (sd sqrt(2 pi))`, `z = (x - mean) / sd`.

use crate::special::{normal_ln_cdf, normal_ln_pdf, normal_ln_sf, normal_quantile};

/// Mean and standard deviation from internal parameters.
pub(super) fn params([m, s]: [f64; 2]) -> [(&'static str, f64); 2] {
    [("mean", m), ("sd", s.exp())]
}

/// The standard normal.
pub(crate) struct Standard;

impl super::Standard for Standard {
    fn density(z: f64) -> [f64; 3] {
        [normal_ln_pdf(z), -z, -1.0]
    }

    fn ln_cdf(z: f64) -> f64 {
        normal_ln_cdf(z)
    }

    fn ln_sf(z: f64) -> f64 {
        normal_ln_sf(z)
    }

    fn quantile(p: f64) -> f64 {
        normal_quantile(p)
    }

    fn upper_quantile(q: f64) -> f64 {
        -normal_quantile(q)
    }
}
