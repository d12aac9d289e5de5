//! How many times more often: the ratio of two Poisson rates, exactly.

use super::estimate::Estimate;
use super::proportion::{EffectiveCounts, clopper_pearson_lower, clopper_pearson_upper, open_unit};
use super::special::{beta_reg, ln_gamma};

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
/// - `None` where an exposure is not above 0, there is no event at all, or `level` lies outside (0, 1).
/// - Source: Przyborowski J., Wilenski H. (1940) Biometrika 31:313-323 (from memory); published case in
///   tests/known_answers/exact_tests.rs.
pub fn rate_ratio(first: Rate, second: Rate, level: f64) -> Option<Estimate> {
    let all = first.events + second.events;
    let exposed = |r: Rate| r.exposure > 0.0 && r.exposure.is_finite() && r.events >= 0.0;
    if !exposed(first) || !exposed(second) || all <= 0.0 || !open_unit(level) {
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

/// The lower end of that ratio by itself, one-sided at `level`: what is told where the second has no event, and the
/// ratio no value.
///
/// - Formula: the Clopper-Pearson lower end of the share of the first at `level`, turned as in [`rate_ratio`]; with
///   no event in the second the share is at least `(1 − level)^(1/events)`.
/// - `None` as [`rate_ratio`].
pub fn rate_ratio_at_least(first: Rate, second: Rate, level: f64) -> Option<f64> {
    rate_ratio(first, second, level)?;
    let counts = EffectiveCounts::new(first.events, first.events + second.events, 1.0)?;
    let share = clopper_pearson_lower(counts, level)?;
    Some(share * second.exposure / ((1.0 - share) * first.exposure))
}

/// p-value of equal rates: all splits of the events that are no more likely than the one seen.
///
/// - Formula: given all `n` events, those of the first are binomial; no more likely than the one seen are all splits up
///   to one place below the most likely and all from one above it, found by halving, and their probabilities are
///   tails of the beta distribution: a billion events cost as little as ten.
/// - `None` as [`rate_ratio`]; counts are rounded to whole events.
pub fn rate_ratio_p(first: Rate, second: Rate) -> Option<f64> {
    rate_ratio(first, second, 0.95)?;
    let (seen, n) = (first.events.round(), (first.events + second.events).round());
    let share = first.exposure / (first.exposure + second.exposure);
    let ln_p = |x: f64| {
        ln_gamma(n + 1.0) - ln_gamma(x + 1.0) - ln_gamma(n - x + 1.0)
            + x * share.ln()
            + (n - x) * (1.0 - share).ln()
    };
    // Within 1e-7, so that equally likely splits count.
    let seen = ln_p(seen) + 1e-7;
    let rare = |x: f64| ln_p(x) <= seen;
    let likeliest = ((n + 1.0) * share).floor().clamp(0.0, n);
    if rare(likeliest) {
        return Some(1.0);
    }
    let up_to =
        outermost(rare, likeliest, 0.0).map_or(0.0, |x| beta_reg(n - x, x + 1.0, 1.0 - share));
    let from = outermost(rare, likeliest, n).map_or(0.0, |x| beta_reg(x, n - x + 1.0, share));
    Some((up_to + from).min(1.0))
}

/// Of the whole numbers between `not` and `end`, which are `rare` from one on as far as `end`, the one next to `not`;
/// `None` where not even `end` is.
fn outermost(rare: impl Fn(f64) -> bool, not: f64, end: f64) -> Option<f64> {
    if !rare(end) {
        return None;
    }
    let (mut not, mut rare_here) = (not, end);
    while (rare_here - not).abs() > 1.0 {
        let middle = f64::midpoint(not, rare_here).floor();
        // Beyond 2^53 the next whole number is no double.
        if middle == not || middle == rare_here {
            break;
        }
        if rare(middle) { rare_here = middle } else { not = middle }
    }
    Some(rare_here)
}
