//! How many times more often: the ratio of two Poisson rates, exactly.

use super::estimate::Estimate;
use super::proportion::{EffectiveCounts, clopper_pearson_lower, clopper_pearson_upper};
use super::special::ln_gamma;

/// Events over an exposure (units, expected events, time).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Events.
    pub events: f64,
    /// Exposure, above 0.
    pub exposure: f64,
}

/// The ratio of the first rate to the second with its exact interval.
///
/// - Formula: given all events, those of the first are binomial with share `pi = R e1/(R e1 + e2)`; the
///   Clopper-Pearson ends of that share are turned into ends of `R = pi e2 / ((1 − pi) e1)`.
/// - Shape: two-sided at `level`; the upper end, and the value, is infinite where the second has no event.
/// - `None` where an exposure is not above 0, or there is no event at all.
/// - Source: Przyborowski J., Wilenski H. (1940) Biometrika 31:313-323 (from memory); published case in
///   tests/known_answers/exact_tests.rs.
#[must_use]
pub fn rate_ratio(first: Rate, second: Rate, level: f64) -> Option<Estimate> {
    let all = first.events + second.events;
    let exposed = |r: Rate| r.exposure > 0.0 && r.exposure.is_finite() && r.events >= 0.0;
    if !exposed(first) || !exposed(second) || all <= 0.0 {
        return None;
    }
    let counts = EffectiveCounts::new(first.events, all, 1.0)?;
    let tail = (1.0 - level) / 2.0;
    let ratio = |share: f64| {
        if share >= 1.0 {
            f64::INFINITY
        } else {
            share * second.exposure / ((1.0 - share) * first.exposure)
        }
    };
    Estimate::new(
        ratio(first.events / all),
        ratio(clopper_pearson_lower(counts, 1.0 - tail)?),
        ratio(clopper_pearson_upper(counts, 1.0 - tail)?),
        level,
        "exact ratio of two Poisson rates",
    )
}

/// p-value of equal rates: all splits of the events that are no more likely than the one seen.
///
/// `None` as [`rate_ratio`]; counts are rounded to whole events.
#[must_use]
pub fn rate_ratio_p(first: Rate, second: Rate) -> Option<f64> {
    rate_ratio(first, second, 0.95)?;
    let (a, n) = (first.events.round(), (first.events + second.events).round());
    let share = first.exposure / (first.exposure + second.exposure);
    let ln_p = |x: f64| {
        ln_gamma(n + 1.0) - ln_gamma(x + 1.0) - ln_gamma(n - x + 1.0)
            + x * share.ln()
            + (n - x) * (1.0 - share).ln()
    };
    let seen = ln_p(a) + 1e-7;
    let (mut p, mut x) = (0.0, 0.0);
    while x <= n {
        let at = ln_p(x);
        if at <= seen {
            p += at.exp();
        }
        x += 1.0;
    }
    Some(p.min(1.0))
}
