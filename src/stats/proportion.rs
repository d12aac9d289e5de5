//! How sure a share is: intervals for a binomial proportion, also for counts that are not independent.

use crate::estimate::Estimate;
use crate::special::{beta_quantile, normal_quantile, student_t_quantile};

/// Events among trials, as counts that carry the same information as independent ones; they need
/// not be whole numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EffectiveCounts {
    /// Number of events.
    pub events: f64,
    /// Number of trials, at least the number of events.
    pub trials: f64,
}

impl EffectiveCounts {
    /// The counts divided by how much more the events vary than independent ones would.
    ///
    /// - Units: counts; `variance_ratio` is the block variance of the number of events over the binomial
    ///   variance and is taken as at least 1.
    /// - `None` where a count is negative or not finite, or there are more events than trials, or no trial.
    /// - Source: Korn E.L., Graubard B.I. (1998) Confidence intervals for proportions with small expected
    ///   number of positive counts estimated from survey data, Survey Methodology 24:193-201.
    pub fn new(events: f64, trials: f64, variance_ratio: f64) -> Option<Self> {
        let valid = events.is_finite()
            && trials.is_finite()
            && events >= 0.0
            && trials > 0.0
            && events <= trials
            && !variance_ratio.is_nan();
        let divisor = variance_ratio.max(1.0);
        (valid && divisor.is_finite())
            .then(|| Self { events: events / divisor, trials: trials / divisor })
    }

    /// The same where the variance ratio is known from few blocks, for an interval at `level`.
    ///
    /// - Formula: the counts of [`EffectiveCounts::new`] times `(t(n - 1)/t(df))²`, `t` the quantile of Student's t for
    ///   the interval, `n` the trials, `df` the degrees of freedom of the ratio; never more than without them.
    /// - Source: as there; checked against the text of the R package survey (`R/newsvyquantile.R`).
    pub fn of_blocks(
        events: f64,
        trials: f64,
        variance_ratio: f64,
        degrees_of_freedom: f64,
        level: f64,
    ) -> Option<Self> {
        let t = |df: f64| student_t_quantile(0.5 + level / 2.0, df);
        let known = (t((trials - 1.0).max(1.0)) / t(degrees_of_freedom)).powi(2).min(1.0);
        Self::new(events, trials, variance_ratio.max(1.0) / known)
    }

    /// Events over trials.
    pub fn share(&self) -> f64 {
        self.events / self.trials
    }
}

/// The exact (tail) interval of a proportion.
///
/// - Shape: two-sided at `level`; an end is 0 or 1 where no event or nothing but events was seen.
/// - Formula: `low = B(alpha/2; x, n - x + 1)`, `high = B(1 - alpha/2; x + 1, n - x)`, `B` the beta quantile;
///   holds for fractional counts as it stands.
/// - Source: Clopper C.J., Pearson E.S. (1934) Biometrika 26:404-413 (from memory); published cases in
///   tests/known_answers/proportion.rs.
/// - `None` where `level` lies outside (0, 1).
pub fn clopper_pearson(counts: EffectiveCounts, level: f64) -> Option<Estimate> {
    if !open_unit(level) {
        return None;
    }
    let tail = (1.0 - level) / 2.0;
    Estimate::new(
        counts.share(),
        clopper_pearson_lower(counts, 1.0 - tail)?,
        clopper_pearson_upper(counts, 1.0 - tail)?,
        level,
        "exact binomial interval (Clopper-Pearson)",
    )
}

/// The exact one-sided lower bound of a proportion at `confidence`; see [`clopper_pearson`].
pub fn clopper_pearson_lower(counts: EffectiveCounts, confidence: f64) -> Option<f64> {
    let EffectiveCounts { events, trials } = counts;
    if !open_unit(confidence) {
        return None;
    }
    if events <= 0.0 {
        return Some(0.0);
    }
    Some(beta_quantile(events, trials - events + 1.0, 1.0 - confidence))
}

/// The exact one-sided upper bound of a proportion at `confidence`; see [`clopper_pearson`].
pub fn clopper_pearson_upper(counts: EffectiveCounts, confidence: f64) -> Option<f64> {
    let EffectiveCounts { events, trials } = counts;
    if !open_unit(confidence) {
        return None;
    }
    if events >= trials {
        return Some(1.0);
    }
    Some(beta_quantile(events + 1.0, trials - events, confidence))
}

/// The score interval of a proportion: shorter than the exact one and right on average over shares.
///
/// - Formula: `(x + z²/2 ± z sqrt(x (n - x)/n + z²/4)) / (n + z²)`.
/// - Source: Wilson E.B. (1927) JASA 22:209-212; Newcombe R.G. (1998) Statistics in Medicine 17:857-872,
///   method 3 (both from memory); published cases in tests/known_answers/proportion.rs.
/// - `None` where `level` lies outside (0, 1).
pub fn wilson(counts: EffectiveCounts, level: f64) -> Option<Estimate> {
    if !open_unit(level) {
        return None;
    }
    let EffectiveCounts { events, trials } = counts;
    let z = normal_quantile(0.5 + level / 2.0);
    let centre = events + z * z / 2.0;
    let half = z * (events * (trials - events) / trials + z * z / 4.0).sqrt();
    let whole = trials + z * z;
    Estimate::new(
        counts.share(),
        ((centre - half) / whole).max(0.0),
        ((centre + half) / whole).min(1.0),
        level,
        "score interval (Wilson)",
    )
}

/// Change of a proportion from `before` to `now` with the hybrid score interval.
///
/// - Formula: `d ± sqrt((p2 - l2)² + (u1 - p1)²)` and its mirror, `l` and `u` the Wilson ends.
/// - Source: Newcombe R.G. (1998) Statistics in Medicine 17:873-890, method 10 (from memory); published cases in
///   tests/known_answers/proportion.rs.
/// - `None` where `level` lies outside (0, 1).
pub fn difference(before: EffectiveCounts, now: EffectiveCounts, level: f64) -> Option<Estimate> {
    let (a, b) = (wilson(before, level)?, wilson(now, level)?);
    let d = b.value - a.value;
    let down = ((b.value - b.low).powi(2) + (a.high - a.value).powi(2)).sqrt();
    let up = ((b.high - b.value).powi(2) + (a.value - a.low).powi(2)).sqrt();
    Estimate::new(
        d,
        d - down,
        d + up,
        level,
        "difference of two shares, hybrid score interval (Newcombe)",
    )
}

/// Whether a level or a share lies inside 0 to 1, ends excluded.
pub(crate) fn open_unit(x: f64) -> bool {
    x > 0.0 && x < 1.0
}
