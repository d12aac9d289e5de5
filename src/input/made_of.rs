//! What a tally is made of, for whoever reads it beside its files.

use super::parquet;
use super::stream::Read;

/// The checksums of what was read, and of what tallies among it were made of.
#[must_use]
pub fn made_of(read: &Read) -> Vec<String> {
    let mut sums: Vec<String> = read
        .files
        .iter()
        .flat_map(|file| parquet::made_of(&file.path).into_iter().chain([file.sha256.clone()]))
        .collect();
    sums.sort();
    sums.dedup();
    sums
}
