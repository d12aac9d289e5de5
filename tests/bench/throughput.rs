//! How long a review of a very large export takes, beside a bare scan of the same file.
//!
//! One run writes a year of results (10 million rows, 24 models, 8 stations), times the fastest
//! sensible reading of it (a lazy scan that counts rows per model, station and outcome: `bare-scan`, a crate of
//! its own, which takes minutes to build the first time) and then the whole `leakdrift review` as a process of
//! its own. Both find the file in the page cache, so the ratio compares work, not discs. It prints what it
//! measured and asserts nothing.
//!
//! ```text
//! cargo bench --bench throughput
//! cargo bench --bench throughput -- --rows 1000000 --file /data/large.csv --keep
//! cargo bench --bench throughput -- --rows 4000000 --models 800
//! ```
//!
//! With many models it also tells what a reader meets: lines of the summary, size of the page to mail, links of the
//! pages that lead nowhere.
//!
//! A `--file` that exists is measured as it is and never removed. Without `cargo bench` (as in
//! `cargo test --all-targets`) only a few rows are written, unless `--rows` says otherwise.

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::{Duration, Instant};

use chrono::{Datelike, Days, NaiveDate, Weekday};
use leakdrift::report::markdown::links::place_of;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// Rows of a whole measurement.
const ROWS: u64 = 10_000_000;
/// Rows where the bench is only tried.
const FEW_ROWS: u64 = 20_000;
/// Production days, Monday to Friday: 50 weeks.
const DAYS: u64 = 250;
/// Models made in that year, unless others are asked for.
const MODELS: u64 = 24;
/// Stations, each testing half of the models.
const STATIONS: usize = 8;
/// Production days of one lot.
const LOT_DAYS: u64 = 10;
/// Work begins at 06:00 and ends at 22:00; the shift changes at 14:00. Seconds of the day.
const OPENS: u64 = 6 * 3600;
const SHIFT_CHANGES: u64 = 14 * 3600;
const CLOSES: u64 = 22 * 3600;
/// Standard normal quantile of 99 %: limits there trip one unit in a hundred.
const Z_99: f64 = 2.326;
/// Log standard deviation between two tests of one unit.
const REPEATABILITY: f64 = 0.01;
/// Seed of every draw.
const SEED: u64 = 20_250_106;
/// How often the memory of the review is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);

const HEADER: &str = "tested_at,model,serial,station,test,applied_v,frequency_hz,reading_ma,high_limit_ma,\
                      low_limit_ma,outcome,lot,operator,shift\n";

fn main() {
    if let Err(error) = Wanted::from_arguments().and_then(|wanted| measure(&wanted)) {
        eprintln!("throughput: {error}");
    }
}

/// What the command line asks for.
struct Wanted {
    rows: u64,
    models: u64,
    file: Option<PathBuf>,
    keep: bool,
}

impl Wanted {
    fn from_arguments() -> Result<Self, Box<dyn Error>> {
        let (mut rows, mut file, mut keep, mut whole) = (None, None, false, false);
        let mut models = MODELS;
        let number = |name: &str, text: Option<std::ffi::OsString>| {
            let text = text.ok_or(format!("{name}: expected a number"))?;
            let text = text.to_string_lossy().replace('_', "");
            text.parse::<u64>().map_err(|_| format!("{name}: expected a number, found {text:?}"))
        };
        let mut arguments = std::env::args_os().skip(1);
        while let Some(argument) = arguments.next() {
            match argument.to_str() {
                // `cargo bench` adds this one.
                Some("--bench") => whole = true,
                Some("--keep") => keep = true,
                Some("--rows") => rows = Some(number("--rows", arguments.next())?),
                // Stations share models by eighths.
                Some("--models") => {
                    models = number("--models", arguments.next())?.next_multiple_of(8).max(8);
                }
                Some("--file") => {
                    file = Some(arguments.next().ok_or("--file: expected a path")?.into())
                }
                // The test harness has flags of its own, which mean nothing here.
                _ => eprintln!("throughput: {argument:?} is passed over"),
            }
        }
        Ok(Self { rows: rows.unwrap_or(if whole { ROWS } else { FEW_ROWS }), models, file, keep })
    }
}

/// Writes the file, times both readings and prints the result.
fn measure(wanted: &Wanted) -> Result<(), Box<dyn Error>> {
    let folder = tempfile::Builder::new().prefix("leakdrift-throughput-").tempdir()?;
    let file = match &wanted.file {
        Some(file) => file.clone(),
        None => folder.path().join("year.csv"),
    };
    let found = file.exists();
    if !found {
        let start = Instant::now();
        // A file cut short by an interruption must not be taken for a whole one by the next run.
        let part = file.with_extension("part");
        write_year(&part, wanted.rows, wanted.models)?;
        std::fs::rename(&part, &file)?;
        println!("written in        {:>10.1} s", start.elapsed().as_secs_f64());
    }
    let measured = compare(&file, &folder.path().join("report"));
    if wanted.keep || found {
        println!("file kept         {}", file.display());
        if file.starts_with(folder.path()) {
            // From here on the folder is the user's.
            let _ = folder.keep();
        }
    } else {
        std::fs::remove_file(&file)?;
    }
    measured
}

/// Times the scan and the review of `file`, and prints both.
fn compare(file: &Path, report: &Path) -> Result<(), Box<dyn Error>> {
    let bytes = std::fs::metadata(file)?.len();
    let scanned = scan(file)?;
    let [first, second] = scanned.seconds;
    let (bare, rows) = (first.min(second), scanned.rows);
    let review = review(file, report)?;
    let whole = review.took.as_secs_f64();
    let memory = review
        .peak_kib
        .map_or("not measured".to_owned(), |kib| format!("{:.0} MB", kib as f64 * 1024.0 / 1e6));
    let series = series_in(report).map_or("not found".to_owned(), |count| count.to_string());
    println!("rows              {rows:>10}");
    println!("file              {:>10.3} GB", bytes as f64 / 1e9);
    println!("cores             {:>10}", thread::available_parallelism()?);
    println!("bare scan         {bare:>10.2} s  (better of {first:.2} and {second:.2})");
    println!("review            {whole:>10.2} s  ({})", review.status);
    println!("ratio             {:>10.2}", whole / bare);
    println!("peak memory       {memory:>10}");
    if let Some(kib) = review.peak_kib {
        println!("memory a row      {:>10.0} bytes", kib as f64 * 1024.0 / rows as f64);
    }
    println!("series            {series:>10}");
    println!("rows per second   {:>10.0}", rows as f64 / whole);
    tell_pages(report)
}

/// Prints what a reader of the report meets.
fn tell_pages(report: &Path) -> Result<(), Box<dyn Error>> {
    let mut pages: BTreeMap<PathBuf, String> = BTreeMap::new();
    let report = &report.canonicalize()?;
    for folder in [report.clone(), report.join("models")] {
        for entry in std::fs::read_dir(folder)? {
            let path = entry?.path();
            if path.extension().is_some_and(|e| e == "md") {
                pages.insert(path.clone(), std::fs::read_to_string(path)?);
            }
        }
    }
    let summary = pages.get(&report.join("summary.md")).map_or(0, |page| page.lines().count());
    let mailed = std::fs::metadata(report.join("report.html"))?.len();
    let targets = pages.iter().flat_map(|(page, text)| {
        let ends = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
        ends.map(move |to| (page.parent().unwrap_or(report), to))
    });
    let (mut links, mut nowhere) = (0, BTreeSet::new());
    for (from, to) in targets {
        links += 1;
        let (file, place) = to.split_once('#').unwrap_or((to, ""));
        let path = from.join(file);
        let is_there = file.is_empty()
            || path.canonicalize().is_ok_and(|path| {
                let anchor = format!("<a id=\"{place}\"></a>");
                let has = |text: &String| {
                    let titles = text.lines().filter(|l| l.starts_with('#'));
                    let mut places = titles.map(|l| place_of(l.trim_start_matches('#')));
                    text.contains(&anchor) || places.any(|p| p == place)
                };
                place.is_empty() || pages.get(&path).is_some_and(has)
            });
        if !is_there {
            nowhere.insert(to.to_owned());
        }
    }
    println!("pages             {:>10}", pages.len());
    println!("summary           {summary:>10} lines");
    println!("report.html       {:>10.2} MB", mailed as f64 / 1e6);
    println!("links             {links:>10}, to nowhere {}", nowhere.len());
    nowhere.iter().take(5).for_each(|to| println!("                  {to}"));
    Ok(())
}

/// What the yardstick says.
#[derive(serde::Deserialize)]
struct Scanned {
    /// Seconds of two scans.
    seconds: [f64; 2],
    rows: u64,
}

/// Runs the yardstick, a process of its own: a streaming scan that counts rows per model, station and outcome.
fn scan(file: &Path) -> Result<Scanned, Box<dyn Error>> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut command = Command::new(cargo);
    // What `cargo bench` says of this package is another's there, and its libraries would be built anew each time.
    for (name, _) in std::env::vars_os() {
        let text = name.to_string_lossy();
        if ["CARGO_MANIFEST_", "CARGO_PKG_"].iter().any(|start| text.starts_with(start)) {
            command.env_remove(&name);
        }
    }
    let done = command
        .args(["run", "--release", "--quiet", "--locked", "--manifest-path"])
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bench/bare-scan/Cargo.toml"))
        .args(["--target-dir", concat!(env!("CARGO_MANIFEST_DIR"), "/target/bare-scan"), "--"])
        .arg(file)
        .stderr(Stdio::inherit())
        .output()?;
    if !done.status.success() {
        return Err(format!("the bare scan ended with {}", done.status).into());
    }
    Ok(serde_json::from_slice(&done.stdout)?)
}

/// What one run of the program took.
struct Review {
    took: Duration,
    status: ExitStatus,
    peak_kib: Option<u64>,
}

/// Runs `leakdrift review` on `file`, with the report in the folder `report`.
fn review(file: &Path, report: &Path) -> Result<Review, Box<dyn Error>> {
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_leakdrift"))
        .args(["review", "--quiet", "--out"])
        .args([report, file])
        .stdout(Stdio::null())
        .spawn()?;
    let (over, until) = mpsc::channel::<()>();
    let watch = thread::spawn({
        let status = status_file(&child);
        move || {
            let mut peak = None;
            loop {
                peak = peak.max(peak_kib(&status));
                if until.recv_timeout(LOOK_EVERY) != Err(RecvTimeoutError::Timeout) {
                    return peak;
                }
            }
        }
    });
    let status = child.wait();
    let took = start.elapsed();
    drop(over);
    // A run shorter than the looks are apart was hardly seen.
    let peak_kib = watch.join().unwrap_or(None).filter(|_| took > 2 * LOOK_EVERY);
    Ok(Review { took, status: status?, peak_kib })
}

/// Where Linux tells about a process; on other systems there is no such file.
fn status_file(child: &Child) -> PathBuf {
    PathBuf::from(format!("/proc/{}/status", child.id()))
}

/// The most memory the process has held so far, in KiB; `None` where the system does not tell.
fn peak_kib(status: &Path) -> Option<u64> {
    let text = std::fs::read_to_string(status).ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.trim().strip_suffix("kB")?.trim().parse().ok()
}

/// How many series the report in this folder has, from its machine-readable file.
fn series_in(report: &Path) -> Option<usize> {
    let text = std::fs::read_to_string(report.join("results.json")).ok()?;
    let whole: serde_json::Value = serde_json::from_str(&text).ok()?;
    Some(whole.get("series")?.as_array()?.len())
}

/// One model: what its units read, and the limits typed in for it.
struct Model {
    name: String,
    log_median: f64,
    log_sd: f64,
    high_limit_ua: u64,
    /// Test, voltage and frequency, as printed.
    settings: String,
    /// High and low limit, as printed.
    limits: String,
}

impl Model {
    /// Model `number`: an AC withstand test for every second one, a leakage test for the others.
    fn new(number: u64, of: u64) -> Self {
        let place = number as f64 / of as f64;
        let settings =
            if number.is_multiple_of(2) { "ac withstand,1500,50" } else { "leakage,230,50" };
        let (median, log_sd) = (0.3 + 1.2 * place, 0.05 + 0.002 * (number % 12) as f64);
        // Limits are typed in hundredths of a milliampere.
        let high = (median * (Z_99 * log_sd).exp() * 100.0).round() as u64;
        let low = (median * 0.3 * 100.0).round() as u64;
        Self {
            name: format!("M{:02}", number + 1),
            log_median: median.ln(),
            log_sd,
            high_limit_ua: high * 10,
            settings: settings.to_owned(),
            limits: format!("{}.{:02},{}.{:02}", high / 100, high % 100, low / 100, low % 100),
        }
    }
}

/// A unit on its way through the station.
#[derive(Clone, Copy)]
struct Unit {
    serial: u64,
    model: usize,
    log_reading: f64,
}

/// Writes `rows` tests, in order of time, spread evenly over the production days.
///
/// The natural log of a reading is normal, rounded to a step of 0.001 mA. A unit over its limit is tested
/// once more as the next one of its station.
fn write_year(file: &Path, rows: u64, of: u64) -> std::io::Result<()> {
    let mut draws = Pcg64::seed_from_u64(SEED);
    let models: Vec<Model> = (0..of).map(|n| Model::new(n, of)).collect();
    let mut out = BufWriter::with_capacity(1 << 20, File::create(file)?);
    out.write_all(HEADER.as_bytes())?;
    let mut again: [Option<Unit>; STATIONS] = [None; STATIONS];
    let mut serial = 1_000_000;
    let mut row = Vec::with_capacity(128);
    for (day, date) in production_days().enumerate() {
        let day = day as u64;
        let date = date.format("%Y-%m-%dT").to_string();
        let (from, to) = (rows * day / DAYS, rows * (day + 1) / DAYS);
        for n in from..to {
            let station = (n % STATIONS as u64) as usize;
            let retest = again[station].take();
            let unit = retest.unwrap_or_else(|| {
                serial += 1;
                let model = on_station(station, draws.random_range(0..of / 2), of);
                let z: f64 = StandardNormal.sample(&mut draws);
                Unit {
                    serial,
                    model,
                    log_reading: models[model].log_median + models[model].log_sd * z,
                }
            });
            let model = &models[unit.model];
            let noise: f64 = StandardNormal.sample(&mut draws);
            let noise = if retest.is_some() { REPEATABILITY * noise } else { 0.0 };
            let reading_ua = ((unit.log_reading + noise).exp() * 1000.0).round() as u64;
            let over = reading_ua > model.high_limit_ua;
            if over && retest.is_none() {
                again[station] = Some(unit);
            }
            let second = OPENS + (n - from) * (CLOSES - OPENS) / (to - from);
            let early = second < SHIFT_CHANGES;

            row.clear();
            row.extend_from_slice(date.as_bytes());
            push_clock(&mut row, second);
            push_all(&mut row, &[",", &model.name, ","]);
            push_number(&mut row, unit.serial, 1);
            row.extend_from_slice(b",S");
            push_number(&mut row, station as u64 + 1, 1);
            push_all(&mut row, &[",", &model.settings, ","]);
            push_number(&mut row, reading_ua / 1000, 1);
            row.push(b'.');
            push_number(&mut row, reading_ua % 1000, 3);
            push_all(
                &mut row,
                &[",", &model.limits, if over { ",over limit,L" } else { ",pass,L" }],
            );
            // Lots of different models begin on different days.
            push_number(&mut row, (day + unit.model as u64) / LOT_DAYS + 1, 2);
            row.extend_from_slice(b",P");
            push_number(&mut row, station as u64 * 2 + u64::from(early) + 1, 2);
            row.extend_from_slice(if early { b",A\n" } else { b",B\n" });
            out.write_all(&row)?;
        }
    }
    out.into_inner()?.sync_all()
}

/// Mondays to Fridays, as many as there are production days.
fn production_days() -> impl Iterator<Item = NaiveDate> {
    let monday = NaiveDate::from_ymd_opt(2025, 1, 6).expect("a day of the calendar");
    (0..)
        .map(move |n| monday + Days::new(n))
        .filter(|date| !matches!(date.weekday(), Weekday::Sat | Weekday::Sun))
        .take(DAYS as usize)
}

/// The model behind one of the slots of a station, half as many as models: each is tested on four stations, and
/// neighbouring stations have three quarters in common.
fn on_station(station: usize, slot: u64, of: u64) -> usize {
    let (slot, of) = (slot as usize, of as usize);
    (station * of / STATIONS + slot) % of
}

fn push_all(row: &mut Vec<u8>, texts: &[&str]) {
    for text in texts {
        row.extend_from_slice(text.as_bytes());
    }
}

/// Appends a number with at least `digits` digits.
fn push_number(row: &mut Vec<u8>, number: u64, digits: usize) {
    let mut text = [b'0'; 20];
    let (mut left, mut from) = (number, text.len());
    while left > 0 || text.len() - from < digits {
        from -= 1;
        text[from] = b'0' + (left % 10) as u8;
        left /= 10;
    }
    row.extend_from_slice(&text[from..]);
}

/// Appends a second of the day as `06:00:00`.
fn push_clock(row: &mut Vec<u8>, second: u64) {
    push_number(row, second / 3600, 2);
    row.push(b':');
    push_number(row, second / 60 % 60, 2);
    row.push(b':');
    push_number(row, second % 60, 2);
}
