//! Quantile intervals turned round: which share of units may lie above a limit, so that both ways of asking
//! agree.

use crate::stats::estimate::Estimate;

/// Rungs of the ladder; four to a power of ten.
const RUNGS: i32 = 32;

/// The shares whose readings are asked: from one half down to about one in a hundred million.
#[must_use]
pub fn rungs() -> Vec<f64> {
    (0..RUNGS).map(|k| 0.5 * 10_f64.powf(-f64::from(k) / 4.0)).collect()
}

/// For falling shares, the interval of the reading that each lies above.
#[derive(Debug, Clone, PartialEq)]
pub struct ShareLadder {
    /// Share, lower and upper end of its reading in mA; readings do not fall along it.
    rungs: Vec<(f64, f64, f64)>,
    /// Confidence of the intervals, two-sided.
    level: f64,
}

impl ShareLadder {
    /// From the interval (lower, upper end, mA) of each of [`rungs`]; rungs without one are left out.
    ///
    /// `None` below two rungs.
    #[must_use]
    pub fn new(intervals: &[Option<(f64, f64)>], level: f64) -> Option<Self> {
        let mut found: Vec<(f64, f64, f64)> = Vec::new();
        for (q, interval) in rungs().into_iter().zip(intervals) {
            let Some((low, high)) = *interval else {
                continue;
            };
            if !(low > 0.0 && high >= low && high.is_finite()) {
                continue;
            }
            // A rarer share never lies lower: what an error makes so is not believed.
            let (low, high) = found.last().map_or((low, high), |l| (low.max(l.1), high.max(l.2)));
            found.push((q, low, high));
        }
        (found.len() >= 2).then_some(Self { rungs: found, level })
    }

    /// A share above `limit_ma` of best value `value`, with the shares whose readings end there.
    ///
    /// `None` where the value is not a number.
    #[must_use]
    pub fn share(&self, value: f64, limit_ma: f64, method: &str) -> Option<Estimate> {
        let high = self.at(limit_ma, |r| r.2).unwrap_or(1.0);
        let low = self.at(limit_ma, |r| r.1).unwrap_or(self.rungs[0].0);
        let rarest = self.rungs[self.rungs.len() - 1].0;
        // Beyond the rarest rung nothing is known but that it is rarer.
        let low = if low <= rarest { 0.0 } else { low };
        Estimate::new(value, low.min(value), high.max(value), self.level, method)
    }

    /// The share at which an end of the interval is the limit: a straight line between rungs, on logs. `None`
    /// where even the commonest share lies above it; the rarest share where none does.
    fn at(&self, limit_ma: f64, end: impl Fn(&(f64, f64, f64)) -> f64) -> Option<f64> {
        let n = self.rungs.partition_point(|r| end(r) < limit_ma);
        if n == 0 {
            return None;
        }
        let Some(above) = self.rungs.get(n) else {
            return self.rungs.last().map(|r| r.0);
        };
        let below = &self.rungs[n - 1];
        let (x0, x1) = (end(below).ln(), end(above).ln());
        let part = if x1 > x0 { (limit_ma.ln() - x0) / (x1 - x0) } else { 1.0 };
        Some((below.0.ln() + part * (above.0 / below.0).ln()).exp())
    }
}
