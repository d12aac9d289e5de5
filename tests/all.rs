//! The one test binary: polars makes linking slow, so there is one link for all of them.
//!
//! Every expected value comes from outside the program: a published number, a closed form worked by hand,
//! another program's output with its version, or the demonstration factory's own truth.

/// What every room uses: tolerances, published cases, and running the program.
mod support {
    pub mod checks;
    pub mod count;
    pub mod daily;
    pub mod days;
    pub mod draws;
    pub mod evidence;
    pub mod laws;
    pub mod numbers;
    pub mod picture;
    pub mod run;
    pub mod samples;
    pub mod source;
    pub mod xlsb;
}

/// How the source is built: sizes, circles, callers.
mod built;
/// Arguments, messages, exit statuses, and what a failed run leaves behind.
mod command_line;
/// Faults of the machine: what is on the disk then is whole.
mod faults;
/// One file per method; each number stands beside its source.
mod known_answers;
/// What holds for every family, summary, split, chart and page.
mod laws;
/// Files in, report out: the demonstration factory against its truth, and small tables of every flavour.
mod pipeline;
/// One test per defect that was once real, named after it.
mod regression;
/// Which room of the source may use which.
mod rooms;
