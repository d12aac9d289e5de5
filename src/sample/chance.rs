//! Random draws, every one from a named stream of the seed.
//!
//! Each question draws from a stream of its own, so that a change in one part of the factory leaves
//! the others as they were.

use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_pcg::Pcg64;

/// A stream of draws.
pub(super) struct Chance(Pcg64);

impl Chance {
    /// The stream `name` of `seed`.
    pub(super) fn new(seed: u64, name: &str) -> Self {
        // FNV-1a (constants from memory): spreads names over streams, nothing more is asked of it.
        let mut hash = 0xcbf2_9ce4_8422_2325_u64;
        for byte in seed.to_le_bytes().iter().chain(name.as_bytes()) {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        Self(Pcg64::seed_from_u64(hash))
    }

    /// Normal with mean 0 and standard deviation `sd`.
    pub(super) fn normal(&mut self, sd: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.0);
        z * sd
    }

    /// Uniform on `[low, high)`.
    pub(super) fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// True with probability `p`.
    pub(super) fn happens(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }

    /// A whole number from `low` to `high`, both included.
    pub(super) fn whole(&mut self, low: i64, high: i64) -> i64 {
        self.0.random_range(low..=high)
    }

    /// A Poisson count; `mean` is one of the factory's positive constants.
    pub(super) fn poisson(&mut self, mean: f64) -> usize {
        let law = Poisson::new(mean).expect("the factory's means are positive");
        let count: f64 = law.sample(&mut self.0);
        count as usize
    }

    /// The place of one of `shares` (adding up to 1), drawn in proportion.
    pub(super) fn place(&mut self, shares: &[f64]) -> usize {
        let mut left = self.0.random::<f64>();
        for (i, share) in shares.iter().enumerate() {
            if left < *share {
                return i;
            }
            left -= share;
        }
        shares.iter().rposition(|s| *s > 0.0).unwrap_or(0)
    }

    /// `count` different members of `from` (all of them where there are fewer), in their own order.
    pub(super) fn pick(&mut self, from: &[usize], count: usize) -> Vec<usize> {
        let mut pool = from.to_vec();
        let count = count.min(pool.len());
        for i in 0..count {
            let j = self.0.random_range(i..pool.len());
            pool.swap(i, j);
        }
        pool.truncate(count);
        pool.sort_unstable();
        pool
    }
}
