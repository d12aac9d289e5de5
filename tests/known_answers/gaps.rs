//! Gaps in a station's record, by hand.

use std::collections::BTreeSet;

use leakdrift::analysis::units::gaps;

/// A plant of 100 days; a station that misses days 50 to 52. Habit: 60 of 60 days beside, so 61/62; a run of
/// three by chance: (1/62)^3 = 4.2e-6, of one 0.016. A station that works every other day: habit (30 + 1) / 62,
/// three days away by chance 0.125, ten of its own in a row (20 days) about 1e-6.
#[test]
fn runs_rarer_than_asked_are_gaps() {
    let plant: Vec<i32> = (0..100).collect();
    let without = |away: std::ops::Range<i32>, every: i32| -> BTreeSet<i32> {
        (0..100).filter(|d| !away.contains(d) && d % every == 0).collect()
    };
    let of_station = |plant: &[i32], own: &BTreeSet<i32>, rarest: f64| -> Vec<(i32, i32, u64)> {
        let found = gaps::of_station("A1", plant, own, rarest);
        found.into_iter().map(|g| (g.from, g.to, g.days)).collect()
    };
    let daily = without(50..53, 1);
    assert_eq!(of_station(&plant, &daily, 4.3e-6), [(50, 52, 3)]);
    assert_eq!(of_station(&plant, &daily, 4.1e-6), []);
    assert_eq!(of_station(&plant, &without(50..51, 1), 0.01), []);
    assert_eq!(of_station(&plant, &without(50..51, 1), 0.02), [(50, 50, 1)]);
    let often = without(40..60, 2);
    assert_eq!(of_station(&plant, &often, 1e-4), [(39, 59, 21)]);
    assert_eq!(of_station(&plant, &without(40..42, 2), 1e-4), []);
    // Before its first day and after its last a station is not missed, nor is one without days.
    assert_eq!(of_station(&plant, &(30..40).collect(), 1e-3), []);
    assert_eq!(of_station(&plant, &BTreeSet::new(), 0.5), []);
}
