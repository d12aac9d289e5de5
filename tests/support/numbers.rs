//! Comparisons with a stated tolerance.

use leakdrift::stats::estimate::Estimate;

/// Panics unless `got` is within `rel` of `want`, relative to `want`.
#[track_caller]
pub fn assert_rel(got: f64, want: f64, rel: f64) {
    assert!(
        (got - want).abs() <= rel * want.abs(),
        "got {got:e}, want {want:e}, off by {:e} relative, allowed {rel:e}",
        ((got - want) / want).abs()
    );
}

/// Panics unless `got` is within `abs` of `want`.
#[track_caller]
pub fn assert_abs(got: f64, want: f64, abs: f64) {
    assert!(
        (got - want).abs() <= abs,
        "got {got:e}, want {want:e}, off by {:e}, allowed {abs:e}",
        (got - want).abs()
    );
}

/// Compares value, low and high end, the value within `rel[0]` and the ends within `rel[1]`, each relative.
#[track_caller]
pub fn assert_estimate(got: &Estimate, want: [f64; 3], rel: [f64; 2]) {
    for (got, want, rel) in
        [(got.value, want[0], rel[0]), (got.low, want[1], rel[1]), (got.high, want[2], rel[1])]
    {
        assert_rel(got, want, rel);
    }
}
