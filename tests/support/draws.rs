//! How cases are drawn: always the same ones, so that a test that failed fails again.

use proptest::prelude::ProptestConfig;
use proptest::test_runner::RngSeed;

/// `cases` draws from a fixed seed.
pub fn draws(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        rng_seed: RngSeed::Fixed(20_261_129),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}
