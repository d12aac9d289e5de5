//! Samples in another unit, and their quantiles without any law.

use leakdrift::stats::distribution::Family;
use leakdrift::stats::empirical::Empirical;
use leakdrift::stats::sample::Sample;

use super::laws::textbook;

/// The sample in a unit `factor` times smaller.
pub fn in_unit(sample: &Sample, factor: f64) -> Sample {
    let lines = sample.lines().iter();
    Sample::new(lines.map(|line| (line.observation.map(|x| x * factor), line.count))).unwrap()
}

/// The value with probability `p` at or below it, a straight line inside a cell: along a law that lies nowhere near.
pub fn straight(empirical: &Empirical, p: f64) -> Option<f64> {
    empirical.quantile_along(p, &textbook(Family::Normal, -1e300, 1e200))
}
