//! Comparisons with a stated tolerance.

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
