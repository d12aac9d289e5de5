//! What the benches of whole plants share: a plant is written as its exported file and read back as a review does, and
//! plants of one kind are made and asked side by side.

use std::path::Path;

use chrono::NaiveDate;
use leakdrift::analysis::{self, Findings, Known};
use leakdrift::config::Config;
use leakdrift::day::{self, Day};
use leakdrift::movement::{self, Movement};
use leakdrift::series::{Pass, Register};
use rand_distr::{Distribution, Open01};
use rand_pcg::Pcg64;

/// Header of an exported file.
pub const HEADER: &str =
    "tested_at,model,serial,station,set V,frequency Hz,leakage mA,high limit mA,outcome\n";

/// Production day `n`, from a Monday on, five in a week.
pub fn production_day(n: usize) -> NaiveDate {
    let first: Day = day::day_number(NaiveDate::from_ymd_opt(2026, 1, 5).expect("a date"));
    day::date_of(first + (n / 5 * 7 + n % 5) as i32)
}

/// A number between two.
pub fn uniform(chance: &mut Pcg64, low: f64, high: f64) -> f64 {
    let u: f64 = Open01.sample(chance);
    low + (high - low) * u
}

/// What a review reads and finds in an exported file.
pub struct Found {
    pub pass: Pass,
    pub moved: Movement,
    pub findings: Findings,
}

/// Reads a file of this text and asks everything of it that is asked before a verdict, but jumps and the month.
pub fn found(text: &str, config: &Config) -> Result<Found, String> {
    found_in(text, config, None)
}

/// The same with a month under review.
pub fn found_in(text: &str, config: &Config, month: Option<(i32, u32)>) -> Result<Found, String> {
    let folder = tempfile::tempdir().map_err(|e| e.to_string())?;
    let path = folder.path().join("tests.csv");
    std::fs::write(&path, text).map_err(|e| e.to_string())?;
    let (_, pass) = leakdrift::pass(&[path], config, &|_, _| ()).map_err(|e| e.to_string())?;
    let pass = pass.map_err(|e| e.to_string())?;
    let register = Register::default();
    let moved = movement::find(&pass, &register, config, &leakdrift::progress::nobody);
    let known = Known { movement: &moved, register: &register, month, jumps: None };
    let findings = analysis::findings(&pass, &known, config, &leakdrift::progress::nobody);
    Ok(Found { pass, moved, findings })
}

/// Asks `many` plants of one kind side by side, each in a folder of its own: `ask` takes its number, the folder and
/// what it counts in.
pub fn each<C: Default + Send>(
    many: usize,
    ask: impl Fn(u64, &Path, &mut C) -> Result<(), String> + Sync,
) -> Result<Vec<C>, String> {
    use rayon::prelude::*;
    (0..many as u64)
        .into_par_iter()
        .map(|n| {
            let dir = tempfile::tempdir().map_err(|e| e.to_string())?;
            let mut counts = C::default();
            ask(n, dir.path(), &mut counts)?;
            Ok(counts)
        })
        .collect()
}

/// `a` of `b` in per cent; a dash where there is none.
pub fn share(a: f64, b: f64) -> String {
    if b > 0.0 { format!("{:.1}", 100.0 * a / b) } else { "–".to_owned() }
}
