//! Quantiles of a few readings as they are: of a day, a week, a month, a station.

use crate::movement::readings::Reading;
use crate::series::Says;

/// Readings in order of size, for quantiles.
pub struct BySize<'a> {
    total: f64,
    readings: Vec<(f64, &'a Reading)>,
}

impl<'a> BySize<'a> {
    /// Sorts a group of readings; trips lie above all others.
    #[must_use]
    pub fn new(group: &'a [Reading]) -> Self {
        let place = |r: &Reading| match r.says {
            Says::Above => f64::INFINITY,
            Says::Below => r.ma - r.step_ma,
            Says::Value => r.ma,
        };
        let mut readings: Vec<_> = group.iter().map(|r| (place(r), r)).collect();
        readings.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { total: group.iter().map(|r| r.count).sum(), readings }
    }

    /// Quantile in mA, interpolated inside the reading step; `None` where it lies among trips.
    #[must_use]
    pub fn quantile(&self, p: f64) -> Option<f64> {
        let want = p * self.total;
        let mut before = 0.0;
        for same in self.readings.chunk_by(|(_, a), (_, b)| a.ma == b.ma && a.says == b.says) {
            let count: f64 = same.iter().map(|(_, r)| r.count).sum();
            if before + count >= want {
                let first = same[0].1;
                return (first.says == Says::Value)
                    .then(|| first.ma + first.step_ma * ((want - before) / count - 0.5));
            }
            before += count;
        }
        None
    }
}
