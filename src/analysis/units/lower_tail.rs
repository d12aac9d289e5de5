//! The lower end of a stretch's readings as it falls off by itself, so that no low pass is named only because a
//! family ends sooner.
//!
//! Families are not fitted to the lowest 2 % (`body::below`): what they expect there is drawn on from the middle, and a
//! family chosen for a long upper end ends short below. A normal pass of 1 100 units, not 3 standard deviations down,
//! was named as far out. Half of the lowest tenth lie within one depth of where it begins, and each depth further
//! halves what is left: that falls off more slowly than the tail of any law here and names only what lies clear of the
//! rest, while strays that are not the half of that tenth hardly move it.

use crate::movement::readings::Reading;
use crate::stats::numeric::reaching;

/// Share of the units that the lower end is made of…
const SHARE: f64 = 0.10;
/// …and the fewest of them, up to a share.
const FEWEST: f64 = 20.0;
const SHARE_MOST: f64 = 0.45;

/// The lower end of a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LowerTail {
    share: f64,
    /// Where it begins, and how far below half of it are left, mA.
    from_ma: f64,
    depth_ma: f64,
}

impl LowerTail {
    /// Of readings on one scale; `None` without any.
    pub fn of<'a>(readings: impl Iterator<Item = &'a Reading>) -> Option<Self> {
        let mut lowest: Vec<&Reading> = readings.collect();
        lowest.sort_unstable_by(|a, b| a.ma.total_cmp(&b.ma));
        let units: f64 = lowest.iter().map(|r| r.count).sum();
        let share = SHARE.max((FEWEST / units).min(SHARE_MOST));
        let up_to = |share: f64| {
            reaching(lowest.iter().map(|r| r.count), share).map(|reached| lowest[reached.index])
        };
        let (from, middle) = (up_to(share)?, up_to(share / 2.0)?);
        // On a coarse step half of them may lie in one reading.
        let depth_ma = (from.ma - middle.ma).max(from.step_ma);
        Some(Self { share, from_ma: from.ma, depth_ma })
    }

    /// The share of units that read at most `ma`, by this end alone; 1 above it.
    pub fn at_most(&self, ma: f64) -> f64 {
        let depths = (self.from_ma - ma) / self.depth_ma;
        if depths < 0.0 { 1.0 } else { self.share * 0.5_f64.powf(depths) }
    }
}
