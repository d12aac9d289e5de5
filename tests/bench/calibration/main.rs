//! Whether the intervals hold what they promise: series of known truth, described as a review does.
//!
//! For every law and cell it simulates series, asks for the 95 % intervals of X50, X99, X99.865, of the share
//! beyond a limit and of `P_pkU`, and for the one-sided bounds `L` and `U` of the reading that 0.1 % of the
//! healthy units exceed, and counts how often they hold the truth. The rules were chosen on
//! `--set trial`; the tables in tests/bench/RESULTS.md are of `--set proof`: other parameters, other seeds.
//!
//! ```text
//! cargo bench --bench calibration
//! cargo bench --bench calibration -- --what verdicts --replicates 4000
//! cargo bench --bench calibration -- --what drift --cell "step of 2"
//! cargo bench --bench calibration -- --what rising --replicates 500
//! cargo bench --bench calibration -- --what scale --replicates 100
//! cargo bench --bench calibration -- --what instruments --replicates 40
//! cargo bench --bench calibration -- --what month --replicates 1000
//! cargo bench --bench calibration -- --what jumps --replicates 60
//! cargo bench --bench calibration -- --what mix --replicates 200
//! cargo bench --bench calibration -- --what jumps --replicates 60 --cell pair --set trial --list
//! cargo bench --bench calibration -- --replicates 200 --law normal --cell "daily levels" --set trial
//! ```
//!
//! Without `cargo bench` (as in `cargo test --all-targets`) only a few series are simulated.

mod coverage;
mod drift;
mod instruments;
mod jumps;
mod mix;
mod month;
mod plan;
mod plant;
mod rising;
mod scale;
mod truth;
mod verdicts;

use std::io::Write;
use std::time::Instant;

use coverage::{COLUMNS, Row, row};
use truth::Set;

/// Seeds of the two sets; that of the proof is a new one whenever rules were chosen after its tables had been seen.
const SEEDS: [(Set, u64); 2] = [(Set::Trial, 20_260_301), (Set::Proof, 20_261_130)];

struct Wanted {
    replicates: usize,
    law: Option<String>,
    cell: Option<String>,
    set: Set,
    sides: bool,
    list: bool,
    what: What,
}

/// What is simulated.
#[derive(Clone, Copy, PartialEq)]
enum What {
    /// How often intervals hold the truth.
    Coverage,
    /// How often verdicts are right.
    Verdicts,
    /// How often movement is found, and only where it is.
    Drift,
    /// Jumps in failures: found, dated and explained.
    Jumps,
    /// Lines whose mix changed: found and said.
    Mix,
    /// Limits of products that rise.
    Rising,
    /// Intervals where a tester moved inside the period judged.
    Scale,
    /// Intervals where instruments are coarse and show models in different steps.
    Instruments,
    /// Intervals about the month under review, stations and repeated readings.
    Month,
}

fn main() -> Result<(), String> {
    let wanted = wanted()?;
    let seed = SEEDS.iter().find(|(set, _)| *set == wanted.set).map_or(0, |(_, seed)| *seed);
    let started = Instant::now();
    let (n, set) = (wanted.replicates, wanted.set);
    match wanted.what {
        What::Coverage => coverage(&wanted, seed),
        What::Verdicts => {
            println!("Verdicts, set {set:?}, seed {seed}.\n");
            verdicts::run(&truth::laws(set), n, seed);
        }
        What::Drift => {
            println!("Drift, {n} series a row, set {set:?}, seed {seed}.");
            drift::run(&drift::Plan { replicates: n, seed, only: wanted.cell });
        }
        What::Rising => {
            println!("Rising products, set {set:?}, seed {seed}.\n");
            rising::run(n, seed)?;
        }
        What::Scale => {
            println!("Testers that moved, set {set:?}, seed {seed}.\n");
            scale::run(n, seed)?;
        }
        What::Instruments => {
            println!("Instruments, set {set:?}, seed {seed}.\n");
            instruments::run(n, set, seed)?;
        }
        What::Month => {
            println!("The month, stations, repeats, set {set:?}, seed {seed}. Held in %.\n");
            month::run(n, seed)?;
        }
        What::Mix => mix::run(n, set, wanted.list)?,
        What::Jumps => {
            let (only, list) = (wanted.cell, wanted.list);
            jumps::run(&jumps::Plan { replicates: n, set, only, list })?;
        }
    }
    println!("\n{:.0} s", started.elapsed().as_secs_f64());
    Ok(())
}

/// How often intervals hold, law by law and cell by cell.
fn coverage(wanted: &Wanted, seed: u64) {
    println!(
        "{} series a row, set {:?}, seed {seed}. Coverage in %.\n",
        wanted.replicates, wanted.set
    );
    println!(
        "| law | {} | false too tight | U surplus | together | apart | none | long tail | groups |",
        COLUMNS.join(" | ")
    );
    println!("|---{}|", "|---".repeat(COLUMNS.len() + 7));
    for cell in plan::cells() {
        let words = cell.words();
        if wanted.cell.as_ref().is_some_and(|c| !words.contains(c)) {
            continue;
        }
        println!("| **{words}** |{}", " |".repeat(COLUMNS.len() + 7));
        for law in truth::laws(wanted.set) {
            if wanted.law.as_ref().is_some_and(|l| !law.name.contains(l)) {
                continue;
            }
            print(&row(&law, &cell, wanted.replicates, seed), wanted.sides);
        }
    }
}

fn print(row: &Row, sides: bool) {
    let n = row.replicates as f64;
    let percent = |count: usize| format!("{:.1}", 100.0 * count as f64 / n);
    let columns: Vec<String> = (0..COLUMNS.len())
        .map(|c| {
            let (_, below, above) = row.counts[c];
            if sides {
                format!("{:.1} ({below}/{above})", 100.0 * row.coverage(c))
            } else {
                format!("{:.1}", 100.0 * row.coverage(c))
            }
        })
        .collect();
    println!(
        "| {}{} | {} | {} | {:.3} | {} | {} | {} | {} | {} |",
        row.law,
        if row.of_a_family { "" } else { "*" },
        columns.join(" | "),
        percent(row.too_tight),
        row.surplus,
        percent(row.answers[0]),
        percent(row.answers[1]),
        percent(row.answers[2]),
        percent(row.odd[0]),
        percent(row.odd[1]),
    );
    std::io::stdout().flush().ok();
}

fn wanted() -> Result<Wanted, String> {
    let mut wanted = Wanted {
        replicates: 2,
        law: None,
        cell: None,
        set: Set::Proof,
        sides: false,
        list: false,
        what: What::Coverage,
    };
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let mut value = || arguments.next().ok_or_else(|| format!("{argument} needs a value"));
        match argument.as_str() {
            // What `cargo bench` adds.
            "--bench" => wanted.replicates = wanted.replicates.max(1_000),
            "--replicates" => {
                wanted.replicates =
                    value()?.parse().map_err(|_| "--replicates needs a whole number".to_owned())?;
            }
            "--law" => wanted.law = Some(value()?),
            "--cell" => wanted.cell = Some(value()?),
            "--set" => {
                wanted.set = match value()?.as_str() {
                    "trial" => Set::Trial,
                    "proof" => Set::Proof,
                    other => return Err(format!("--set is trial or proof, not {other}")),
                };
            }
            "--sides" => wanted.sides = true,
            "--list" => wanted.list = true,
            "--what" => {
                wanted.what = match value()?.as_str() {
                    "coverage" => What::Coverage,
                    "verdicts" => What::Verdicts,
                    "drift" => What::Drift,
                    "jumps" => What::Jumps,
                    "mix" => What::Mix,
                    "rising" => What::Rising,
                    "scale" => What::Scale,
                    "instruments" => What::Instruments,
                    "month" => What::Month,
                    other => {
                        return Err(format!(
                            "--what is coverage, verdicts, drift, rising, scale, instruments, month, jumps or mix, not {other}"
                        ));
                    }
                };
            }
            other => return Err(format!("unknown argument {other}")),
        }
    }
    Ok(wanted)
}
