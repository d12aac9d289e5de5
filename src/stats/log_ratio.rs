//! How far one estimate lies from another that was made of other units, as a ratio.

use super::estimate::Estimate;

/// The ratio of the first to the second of two independent estimates above zero, with its interval.
///
/// - Formula, on the scale of logs: `d = x1 − x2`; lower end `d − sqrt((x1 − l1)² + (u2 − x2)²)`, upper end
///   `d + sqrt((u1 − x1)² + (x2 − l2)²)`: the variances that either interval implies at the end that matters.
/// - Shape: two-sided at the lower of the two levels; the interval needs neither law nor counts.
/// - `None` where a value or an end is not above zero, or not finite.
/// - Source: Zou G. Y., Donner A. (2008) Statistics in Medicine 27:1693-1702, "method of variance estimates recovery"
///   (from memory).
#[must_use]
pub fn log_ratio(first: &Estimate, second: &Estimate) -> Option<Estimate> {
    let logs = |e: &Estimate| {
        let sound = [e.low, e.value, e.high].into_iter().all(|x| x > 0.0 && x.is_finite());
        sound.then(|| [e.low, e.value, e.high].map(f64::ln))
    };
    let ([l1, x1, u1], [l2, x2, u2]) = (logs(first)?, logs(second)?);
    let d = x1 - x2;
    Estimate::new(
        d.exp(),
        (d - (x1 - l1).hypot(u2 - x2)).exp(),
        (d + (u1 - x1).hypot(x2 - l2)).exp(),
        first.level.min(second.level),
        "ratio of two independent estimates",
    )
}
