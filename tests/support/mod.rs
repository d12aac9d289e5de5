//! What every test room uses: tolerances and the published cases in tests/data/checks.

pub mod checks;
pub mod numbers;
