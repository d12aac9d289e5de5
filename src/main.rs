//! The program: parse, run, exit status.

use std::process::ExitCode;

use clap::Parser;

/// What is said after a panic, which has said where it was.
const BROKE_OFF: &str = "error: this run broke off, by a fault of this program or because memory or threads ran \
                         out; what was there before is as it was. Run it again with fewer files or more memory; \
                         where that does not help, send the line above (README, \"How to send a report\")";

fn main() -> ExitCode {
    // A damaged workbook is told as an error of its file, not as a defect of this program.
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if std::thread::current().name() != Some(leakdrift::input::WORKBOOK_THREAD) {
            usual(panic);
        }
    }));
    let cli = leakdrift::cli::Cli::parse();
    let said = match std::panic::catch_unwind(|| leakdrift::command(cli)) {
        Ok(Ok(status)) => return ExitCode::from(status),
        Ok(Err(error)) => format!("error: {error}"),
        Err(_) => BROKE_OFF.to_owned(),
    };
    leakdrift::warn(&said);
    ExitCode::from(2)
}
