//! leakdrift judges leakage-current limits from exported high-voltage test results.
#![forbid(unsafe_code)]
pub mod cli;
pub mod config;
pub mod error;
pub mod input;
pub mod note;
pub mod records;
pub mod report;
pub mod sample;
pub mod series;

use cli::{Cli, Command};
use config::Config;
use error::{Error, Result};
use series::{Collector, Pass};

/// Runs one command; the exit status of design section 13.
///
/// # Errors
/// What stops the command.
pub fn command(cli: Cli) -> Result<u8> {
    match cli.command {
        Command::Sample(args) => {
            let factory = sample::plan(args.seed);
            sample::write(&factory, &args.dir)
                .map_err(|e| Error::usage(e.to_string(), "choose a folder that can be written to"))?;
            Ok(0)
        }
        Command::Peek(args) => {
            let config = settings(&args.input)?;
            let (read, pass) = gather(&args.input, &config)?;
            print!("{}", report::peek::peek(&read, pass.as_ref().ok(), &config));
            Ok(u8::from(!read.failures.is_empty()))
        }
        _ => Ok(0),
    }
}

fn settings(args: &cli::InputArgs) -> Result<Config> {
    match args.config.clone().or_else(|| Config::beside(&args.paths)) {
        Some(path) => Config::read(&path),
        None => Ok(Config::default()),
    }
}

fn gather(args: &cli::InputArgs, config: &Config) -> Result<(input::Read, Result<Pass>)> {
    let book = records::Book::new();
    let mut collector = Collector::default();
    let read = input::read(&args.paths, config, &book, &|_, _| {}, |_, batch| collector.absorb(batch))?;
    let pass = collector.finish(&read.tables, &book, config);
    Ok((read, pass))
}
pub mod analysis;
pub mod stats;
pub mod verdict;
