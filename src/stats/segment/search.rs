//! Where to cut.

use super::cost::Cost;

/// The best single cut of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Split {
    /// First point after the change.
    pub index: usize,
    /// Cost of the two segments together.
    pub cost: f64,
    /// Cost of the series in one piece.
    pub cost_uncut: f64,
    /// Cost for every admissible index, from `first` on.
    pub profile: Vec<f64>,
    /// Index of the first entry of `profile`.
    pub first: usize,
}

impl Split {
    /// All indices whose cost is within `margin` of the best, as lowest and highest.
    #[must_use]
    pub fn within(&self, margin: f64) -> (usize, usize) {
        let near = |c: &f64| *c <= self.cost + margin;
        let low = self.profile.iter().position(near).unwrap_or(self.index - self.first);
        let high = self.profile.iter().rposition(near).unwrap_or(self.index - self.first);
        (self.first + low, self.first + high)
    }
}

/// Tries every cut that leaves `smallest` points on either side (at least 1); the first of equals wins.
///
/// `None` where the series is too short for any cut.
#[must_use]
pub fn best_split(cost: &impl Cost, smallest: usize) -> Option<Split> {
    let (n, smallest) = (cost.len(), smallest.max(1));
    if n < 2 * smallest {
        return None;
    }
    let profile: Vec<f64> =
        (smallest..=n - smallest).map(|k| cost.cost(0, k) + cost.cost(k, n)).collect();
    let best = profile.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1))?;
    Some(Split {
        index: smallest + best.0,
        cost: *best.1,
        cost_uncut: cost.cost(0, n),
        first: smallest,
        profile,
    })
}

/// Gaussian BIC of `n` points with residual sum of squares `rss` and `parameters` (means, cuts and the
/// variance): `n ln(rss/n) + n ln(2 pi) + n + parameters ln n`.
#[must_use]
pub fn gaussian_bic(rss: f64, n: usize, parameters: usize) -> f64 {
    let m = n as f64;
    m * (rss / m).ln() + m * (std::f64::consts::TAU.ln() + 1.0) + parameters as f64 * m.ln()
}

/// Pettitt's rank test for a change of level.
#[derive(Debug, Clone, PartialEq)]
pub struct Pettitt {
    /// `max |U_t|`.
    pub k: f64,
    /// First point after the change.
    pub index: usize,
    /// Approximate p-value `2 exp(-6 K^2/(n^3 + n^2))`, at most 1; for independent points.
    pub p_value: f64,
}

/// Pettitt's test; `None` below 4 points or where a value is not a number.
///
/// - Formula: `U_t = sum_(i<=t) sum_(j>t) sign(x_i - x_j)`.
/// - Source: Pettitt (1979), Applied Statistics 28, 126-135 (from memory).
#[must_use]
pub fn pettitt(x: &[f64]) -> Option<Pettitt> {
    let n = x.len();
    if n < 4 || x.iter().any(|v| v.is_nan()) {
        return None;
    }
    let mut u = 0.0_f64;
    let (mut k, mut index) = (0.0, 1);
    for (t, v) in x.iter().enumerate().take(n - 1) {
        // U grows by the comparisons of the newly included point with all points.
        u += x.iter().map(|w| f64::from(v > w) - f64::from(v < w)).sum::<f64>();
        if u.abs() > k {
            k = u.abs();
            index = t + 1;
        }
    }
    let m = n as f64;
    let p_value = (2.0 * (-6.0 * k * k / (m.powi(3) + m * m)).exp()).min(1.0);
    Some(Pettitt { k, index, p_value })
}
