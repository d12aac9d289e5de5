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
    /// Study the limit of one model: what every other limit would cost, hide and have done.
    #[command(
        after_help = "Example:\n  leakdrift limits exports/ --model VC310 --try 5.5,6.5\n  leakdrift limits --model NEW1 --expect-nf 3.3 --applied-v 1500 --frequency-hz 50\n\n\
                      Limits are in mA. The study holds a page, charts, results.json, the units concerned, and\n\
                      where a change is recommended a change note to be checked and signed."
    )]
    Limits(LimitsArgs),
    /// Investigate a jump in failures: since when, how big, what it is made of and what explains it.
    #[command(
        after_help = "Example:\n  leakdrift jump exports/\n  leakdrift jump exports/ --since 2026-09-14 --model EM520\n\n\
                      Without --since the date is found. The page names causes, what is not the cause, and the units\n\
                      that passed and must be looked at."
    )]
    Jump(JumpArgs),
    /// Show how each file was understood, and which rows will not be used.
    #[command(
        after_help = "Example:\n  leakdrift peek exports/line3.csv\n  leakdrift peek exports/ --write-config\n  leakdrift peek exports/ --json"
    )]
    Peek(PeekArgs),
    /// Read the files once and save the tally as Parquet, for merging with others; or the rows, or the query that makes
    /// the tally in a warehouse.
    #[command(
        after_help = "Example:\n  leakdrift tally exports/ --out plant-north.parquet\n  leakdrift review plant-north.parquet plant-south.parquet\n  leakdrift tally exports/ --rows rows.parquet --without-serials\n  leakdrift tally --sql duckdb --table \"'rows.parquet'\""
    )]
    Tally(TallyArgs),
    /// Print every key of the settings file with its default and meaning, or what columns may be called.
    #[command(after_help = "Example:\n  leakdrift config\n  leakdrift config --columns")]
    Config(ConfigArgs),
    /// Print the JSON Schema of `results.json`.
    #[command(after_help = "Example:\n  leakdrift schema > results.schema.json")]
    Schema,
    /// Print what a shell needs to complete commands and options.
    #[command(
        after_help = "Example:\n  leakdrift completions bash > ~/.local/share/bash-completion/completions/leakdrift"
    )]
    Completions(CompletionsArgs),
    /// Print a page for `man`: of the program, or of one command.
    #[command(
        after_help = "Example:\n  leakdrift man > leakdrift.1\n  leakdrift man review > leakdrift-review.1"
    )]
    Man(ManArgs),
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
    /// Settings and how much is said.
    #[command(flatten)]
    pub common: CommonArgs,
}

/// What every command that has settings takes.
#[derive(Debug, Args)]
pub struct CommonArgs {
    /// Settings file; without it, `leakdrift.toml` beside the inputs, or up to two folders above them, is used
    /// where there is one.
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
    /// An earlier review, by its folder or its `results.json`: what is new, still open and closed since. Without it, an
    /// earlier report in the folder that is replaced is used.
    #[arg(long, value_name = "DIR")]
    pub since_report: Option<PathBuf>,
    /// Leave the time of making out, so that the same files give the same bytes.
    #[arg(long)]
    pub reproducible: bool,
    /// Draw the charts of every series; without it, of those that need attention.
    #[arg(long)]
    pub all_charts: bool,
    /// Exit with 3 where a verdict, a drift or a tester needs action.
    #[arg(long)]
    pub gate: bool,
}

/// Arguments of `limits`.
#[derive(Debug, Args)]
pub struct LimitsArgs {
    /// Files, folders or glob patterns with exported results; none for a model without history.
    #[arg(required_unless_present = "expect_nf")]
    pub paths: Vec<PathBuf>,
    /// Settings and how much is said.
    #[command(flatten)]
    pub common: CommonArgs,
    /// Model to study.
    #[arg(long, value_name = "MODEL")]
    pub model: String,
    /// Only this kind of test: `ac withstand`, `dc withstand` or `leakage`.
    #[arg(long, value_name = "TEST")]
    pub test: Option<String>,
    /// Limits to look at, in mA or with a unit (6.5, 6.5mA, 6500µA); more by commas or by giving it again.
    #[arg(allow_negative_numbers = true, long = "try", value_name = "MA", value_delimiter = ',', value_parser = milliamperes)]
    pub tries: Vec<f64>,
    /// Write the change note for this limit, in mA, instead of the recommended one.
    #[arg(allow_negative_numbers = true, long, value_name = "MA", value_parser = milliamperes)]
    pub note_for: Option<f64>,
    /// Capacitance between the tested parts, in nF: the reading to expect, and the first band of a new model.
    #[arg(allow_negative_numbers = true, long, value_name = "NF")]
    pub expect_nf: Option<f64>,
    /// Tolerance of that capacitance, in per cent; without it, 10.
    #[arg(allow_negative_numbers = true, long, value_name = "PCT", requires = "expect_nf")]
    pub tolerance_pct: Option<f64>,
    /// Test voltage of a model without history, in V (rms).
    #[arg(allow_negative_numbers = true, long, value_name = "V")]
    pub applied_v: Option<f64>,
    /// Frequency of a model without history, in Hz.
    #[arg(allow_negative_numbers = true, long, value_name = "HZ")]
    pub frequency_hz: Option<f64>,
    /// Folder for the study; without it, `reports/NAME-limits-MODEL/`.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// Arguments of `jump`.
#[derive(Debug, Args)]
pub struct JumpArgs {
    /// Inputs and settings.
    #[command(flatten)]
    pub input: InputArgs,
    /// First day of the jump, where it is known; without it, found.
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub since: Option<String>,
    /// Only this model; without it, all.
    #[arg(long, value_name = "MODEL")]
    pub model: Option<String>,
    /// Folder for the page; without it, `reports/NAME-jump/`.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Exit with 3 where a jump is flagged.
    #[arg(long)]
    pub gate: bool,
}

/// Arguments of `peek`.
#[derive(Debug, Args)]
pub struct PeekArgs {
    /// Inputs and settings.
    #[command(flatten)]
    pub input: InputArgs,
    /// Start a settings file from what was understood; without a name, the one in use, else `leakdrift.toml`
    /// beside the inputs. A file that exists keeps all it says.
    #[arg(long, value_name = "FILE", num_args = 0..=1, require_equals = true)]
    pub write_config: Option<Option<PathBuf>>,
    /// Print JSON for machines instead of text.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `config`.
#[derive(Debug, Args)]
pub struct ConfigArgs {
    /// Print the canonical columns instead: what a header may be called, or be mapped to under `[columns]`.
    #[arg(long)]
    pub columns: bool,
}

/// Arguments of `tally`.
#[derive(Debug, Args)]
pub struct TallyArgs {
    /// Files, folders or glob patterns with exported results; with --sql they only say where settings lie.
    #[arg(required_unless_present = "sql")]
    pub paths: Vec<PathBuf>,
    /// Settings and how much is said.
    #[command(flatten)]
    pub common: CommonArgs,
    /// The Parquet file to write the tally to.
    #[arg(long, value_name = "FILE", required_unless_present_any = ["rows", "sql"])]
    pub out: Option<PathBuf>,
    /// The Parquet file to write the rows to as they were understood, one a test, in canonical columns.
    #[arg(long, value_name = "FILE")]
    pub rows: Option<PathBuf>,
    /// In the rows, write a number for each serial and each file, in the order in which they appear.
    #[arg(long, requires = "rows")]
    pub without_serials: bool,
    /// Print the query that makes the same tally of a table of such rows, with these settings.
    #[arg(long, value_name = "ENGINE", value_parser = ["duckdb", "spark", "postgres"], conflicts_with_all = ["out", "rows"])]
    pub sql: Option<String>,
    /// The table that the query reads, as the engine writes it.
    #[arg(long, value_name = "TABLE", default_value = "leakdrift_rows", conflicts_with_all = ["out", "rows"])]
    pub table: String,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell.
    pub shell: clap_complete::Shell,
}

/// Arguments of `man`.
#[derive(Debug, Args)]
pub struct ManArgs {
    /// A command; without it, the program.
    pub command: Option<String>,
}

/// Arguments of `sample`.
#[derive(Debug, Args)]
pub struct SampleArgs {
    /// Folder to write to; made if missing.
    pub dir: PathBuf,
    /// Seed of every random draw; the same seed gives the same bytes.
    #[arg(long, default_value_t = crate::sample::DEFAULT_SEED)]
    pub seed: u64,
    /// Plants: one with all its stories, or two that share models, to set side by side.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    pub plants: u8,
}

/// A current as typed, in mA: a number, with or without its unit.
///
/// # Errors
/// What is no number, or has another unit.
fn milliamperes(typed: &str) -> Result<f64, String> {
    let text = typed.trim();
    let digits = text.trim_end_matches(|c: char| c.is_alphabetic() || c == ' ');
    let ma: f64 = match text[digits.len()..].trim() {
        "" | "mA" | "ma" | "MA" => 1.0,
        "µA" | "\u{3bc}A" | "uA" | "ua" | "µa" => 1e-3,
        "A" | "a" => 1e3,
        other => {
            return Err(format!("expected a current in mA, µA or A, found the unit {other:?}"));
        }
    };
    let number = digits.parse::<f64>().map_err(|_| {
        format!("expected a number with a decimal point and perhaps a unit, like 6.5 or 6.5mA, found {typed:?}")
    })?;
    // A factor of ten has no exact inverse: 6500 µA is 6.5 mA to the digit.
    Ok(if ma < 1.0 { number / 1e3 } else { number * ma })
}
