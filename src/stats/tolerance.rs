//! Exact bounds: the non-central t distribution and the one-sided bounds of a capability index that come from it,
//! and the sample whose largest reading is a bound whatever the distribution.

use crate::numeric::{GAUSS_8, increasing_root_near};
use crate::special::{normal_cdf, normal_sf};

/// Both tails of the non-central t distribution, each good to its own relative accuracy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tails {
    /// `P(T <= t)`.
    pub below: f64,
    /// `P(T > t)`.
    pub above: f64,
}

/// Tails at `t` of the non-central t distribution with `df` degrees of freedom and non-centrality `ncp`.
///
/// - Formula: `P(T <= t) = ∫ Phi(t s - ncp) f(s) ds`, `f` the density of `s = chi(df)/sqrt(df)`, by
///   Gauss-Legendre panels narrower than either factor. About 12 digits for `df` of 1 and from 2 up.
/// - Source: Johnson N.L., Kotz S., Balakrishnan N. (1995) Continuous Univariate Distributions vol. 2,
///   ch. 31; values in tests/known_answers/tolerance.rs.
/// - `None` where `df` is under 1 or a number is not finite.
pub fn noncentral_t(t: f64, df: f64, ncp: f64) -> Option<Tails> {
    if !(t.is_finite() && ncp.is_finite() && df.is_finite() && df >= 1.0) {
        return None;
    }
    // The density's shape relative to its mode, so that no large terms cancel at large df.
    let mode = ((df - 1.0) / df).sqrt();
    let ln_shape = |s: f64| {
        if df < 3.0 {
            (df - 1.0) * s.ln() - df * s * s / 2.0
        } else {
            let u = s / mode - 1.0;
            (df - 1.0) * (u.ln_1p() - u - u * u / 2.0)
        }
    };
    let spread = (0.5 / df).sqrt();
    let from = (mode - 9.0 * spread).max(0.0);
    let to = mode + 9.0 * spread;
    // Phi turns within 1/|t| around ncp/t; where that is far narrower than the density, panels
    // follow it only near the turn.
    let turn = ncp / t;
    let turn_width = 1.0 / t.abs();
    let mut edges = vec![from, to];
    let coarse = spread / 2.0;
    let mut s = from + coarse;
    while s < to {
        edges.push(s);
        s += coarse;
    }
    if turn_width.is_finite() && turn_width < spread {
        for k in -24..=24 {
            let s = turn + f64::from(k) * turn_width / 2.0;
            if s > from && s < to {
                edges.push(s);
            }
        }
    }
    edges.sort_by(f64::total_cmp);

    let (mut total, mut below, mut above) = (0.0, 0.0, 0.0);
    for pair in edges.windows(2) {
        let (centre, half) = ((pair[0] + pair[1]) / 2.0, (pair[1] - pair[0]) / 2.0);
        for node in GAUSS_8 {
            let s = centre + half * node.at;
            let mass = half * node.weight * ln_shape(s).exp();
            total += mass;
            below += mass * normal_cdf(t * s - ncp);
            above += mass * normal_sf(t * s - ncp);
        }
    }
    (total > 0.0)
        .then(|| Tails { below: (below / total).min(1.0), above: (above / total).min(1.0) })
}

/// Exact lower bound of a one-sided capability index of a normal characteristic.
///
/// - Formula: the `C` with `P(T(n - 1, 3 sqrt(n) C) <= 3 sqrt(n) c) = confidence`, `c` the index from
///   the mean and the standard deviation with divisor `n - 1`.
/// - Source: Chou Y.-M., Owen D.B., Borrego S.A. (1990) Lower confidence limits on process capability
///   indices, J. Quality Technology 22:223-229 (from memory).
/// - `None` where `n` is under 2 or a number is not usable.
pub fn capability_lower(index: f64, n: f64, confidence: f64) -> Option<f64> {
    let usable = confidence > 0.0 && confidence < 1.0 && index.is_finite() && n.is_finite();
    if !usable {
        return None;
    }
    let root = 3.0 * n.sqrt();
    noncentral_t(root * index, n - 1.0, root * index)?;
    // P(T <= t) falls as C rises; the sign is turned to search a rising function.
    let gap = |c: f64| {
        noncentral_t(root * index, n - 1.0, root * c).map_or(f64::NAN, |tails| {
            if confidence <= 0.5 {
                confidence - tails.below
            } else {
                tails.above - (1.0 - confidence)
            }
        })
    };
    increasing_root_near(gap, index, (1.0 + index.abs()) / n.sqrt())
}

/// Exact upper bound of a one-sided capability index; see [`capability_lower`].
pub fn capability_upper(index: f64, n: f64, confidence: f64) -> Option<f64> {
    capability_lower(index, n, 1.0 - confidence)
}

/// The smallest sample whose largest reading is, with probability `confidence`, a bound that a share
/// `coverage` stays under, whatever the distribution.
///
/// - Formula: smallest `n` with `1 - coverage^n >= confidence`.
/// - Source: Wilks S.S. (1941) Annals of Mathematical Statistics 12:91-96; ISO 16269-6:2014.
/// - `None` where a share lies outside (0, 1) or the number passes 2^53.
pub fn distribution_free_sample(coverage: f64, confidence: f64) -> Option<f64> {
    let inside = |x: f64| x > 0.0 && x < 1.0;
    if !(inside(coverage) && inside(confidence)) {
        return None;
    }
    let n = ((-confidence).ln_1p() / coverage.ln()).ceil();
    // The quotient may land a rounding error above a whole number.
    let reached = |n: f64| -(n * coverage.ln()).exp_m1() >= confidence - 1e-14;
    let n = if n > 1.0 && reached(n - 1.0) { n - 1.0 } else { n };
    (n < 9e15).then_some(n)
}
