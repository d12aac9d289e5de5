//! Lognormal: the natural logarithm is normal with mean `meanlog` and standard deviation `sdlog`.

/// Mean and standard deviation of the logarithm from internal parameters.
pub(super) fn params([m, s]: [f64; 2]) -> [(&'static str, f64); 2] {
    [("meanlog", m), ("sdlog", s.exp())]
}
