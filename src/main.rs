//! The program: parse, run, exit status.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    // A damaged workbook is told as an error of its file, not as a defect of this program.
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if std::thread::current().name() != Some(leakdrift::input::WORKBOOK_THREAD) {
            usual(panic);
        }
    }));
    match leakdrift::command(leakdrift::cli::Cli::parse()) {
        Ok(status) => ExitCode::from(status),
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::from(2)
        }
    }
}
