//! Files read and counted without running the program.

use std::path::PathBuf;

use leakdrift::config::Config;
use leakdrift::error::Result;
use leakdrift::input::Read;
use leakdrift::series::Pass;

/// What comes of these files.
pub fn tried(paths: &[PathBuf], config: &Config) -> Result<(Read, Pass)> {
    let (read, pass) = leakdrift::pass(paths, config, &|_, _| {})?;
    Ok((read, pass?.of_use()?))
}

/// The same, where every file must be read to its end.
#[track_caller]
pub fn counted(paths: &[PathBuf], config: &Config) -> (Read, Pass) {
    let (read, pass) = tried(paths, config).unwrap_or_else(|e| panic!("{e}"));
    assert!(read.failures.is_empty(), "{:?}", read.failures);
    (read, pass)
}

/// What is said of a file of which nothing can be counted.
#[track_caller]
pub fn refused(path: PathBuf) -> String {
    tried(&[path], &Config::default()).expect_err("no row can be counted").to_string()
}
