//! The program: parse, run, exit status.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    match leakdrift::command(leakdrift::cli::Cli::parse()) {
        Ok(status) => ExitCode::from(status),
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::from(2)
        }
    }
}
