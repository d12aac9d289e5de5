//! Arguments exactly as typed: no file is opened here and nothing is looked up.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// Judges leakage-current limits from exported high-voltage test results.
#[derive(Debug, Parser)]
#[command(
    name = "leakdrift",
    version,
    about = "Judges the leakage-current limits of a high-voltage test line from its exported result files",
    after_help = "Example:\n  leakdrift sample demo && leakdrift review demo\n\n\
                  Exit status: 0 report written; 1 report written, but a file or sheet could not be read;\n\
                  2 no report; 3 (with --gate) something needs action.\n\n\
                  High-voltage testing can kill. A report is evidence for a decision, not a certificate."
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write the whole report: limits, drift, failures.
    #[command(
        after_help = "Example:\n  leakdrift review exports/ --month 2026-10\n  leakdrift review 'exports/*/2026-*.csv' --out october --gate"
    )]
    Review(ReviewArgs),
    /// Show how each file was understood, and which rows will not be used.
    #[command(after_help = "Example:\n  leakdrift peek exports/line3.csv")]
    Peek(PeekArgs),
    /// Read the files once and save the tally as Parquet, for merging with others.
    #[command(
        after_help = "Example:\n  leakdrift tally exports/ --out plant-north.parquet\n  leakdrift review plant-north.parquet plant-south.parquet"
    )]
    Tally(TallyArgs),
    /// Write the demonstration factory's exports.
    #[command(after_help = "Example:\n  leakdrift sample demo --seed 7")]
    Sample(SampleArgs),
}

/// What every reading command takes.
#[derive(Debug, Args)]
pub struct InputArgs {
    /// Files, folders or glob patterns with exported results.
    #[arg(required = true)]
    pub paths: Vec<PathBuf>,
    /// Settings file; without it, `leakdrift.toml` beside the inputs is used where there is one.
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Say nothing but errors.
    #[arg(short, long, conflicts_with = "verbose")]
    pub quiet: bool,
    /// Say what is being done.
    #[arg(short, long)]
    pub verbose: bool,
}

/// Arguments of `review`.
#[derive(Debug, Args)]
pub struct ReviewArgs {
    /// Inputs and settings.
    #[command(flatten)]
    pub input: InputArgs,
    /// Month under review; without it, the last one in the files.
    #[arg(long, value_name = "YYYY-MM")]
    pub month: Option<String>,
    /// Folder for the report; without it, `reports/NAME/`.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Exit with 3 where a verdict or a drift needs action.
    #[arg(long)]
    pub gate: bool,
}

/// Arguments of `peek`.
#[derive(Debug, Args)]
pub struct PeekArgs {
    /// Inputs and settings.
    #[command(flatten)]
    pub input: InputArgs,
}

/// Arguments of `tally`.
#[derive(Debug, Args)]
pub struct TallyArgs {
    /// Inputs and settings.
    #[command(flatten)]
    pub input: InputArgs,
    /// The Parquet file to write.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
}

/// Arguments of `sample`.
#[derive(Debug, Args)]
pub struct SampleArgs {
    /// Folder to write to; made if missing.
    pub dir: PathBuf,
    /// Seed of every random draw; the same seed gives the same bytes.
    #[arg(long, default_value_t = crate::sample::DEFAULT_SEED)]
    pub seed: u64,
}
