//! Lines whose failures rise since a poor model, or a poor station, has more of the units: is that found and said?
//!
//! Each line is an export of six models at three stations: 120 days, about 150 units a day, daily rates that vary
//! and hang together (lag-1 correlation 0.5), two lots at a time for each model, an operator to each station and
//! shift. Planted: a model that fails more often is made four times as often, all at once; or a station that
//! fails more often tests four times as many units; failures of the line rise 3 to 3.5 times. Nothing else
//! changes. The steady lines have the same models and stations, and a mix that wanders from week to week.

use std::fmt::Write as _;
use std::path::Path;

use leakdrift::analysis::jump::{Asked, Jump, Scope, jumps};
use leakdrift::config::Config;
use leakdrift::verdict::jump::{Answer, judge};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_pcg::Pcg64;

use crate::plant::{each, share};
use crate::truth::Set;

/// Seeds of the lines that rules were chosen on, and of those that they are measured on.
const SEEDS: [(Set, u64); 2] = [(Set::Trial, 20_261_130), (Set::Proof, 20_270_915)];
/// Production days.
const DAYS: i32 = 120;
const MODELS: usize = 6;
const STATIONS: usize = 3;

/// What changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Planted {
    Model,
    Station,
    Steady,
}

impl Planted {
    const ALL: [Self; 3] = [Self::Model, Self::Station, Self::Steady];

    fn words(self) -> &'static str {
        match self {
            Self::Model => "a poor model made four times as often",
            Self::Station => "a poor station testing four times as many",
            Self::Steady => "a steady line, mix wandering by the week",
        }
    }
}

struct Line {
    text: String,
    from: i32,
    /// Factor and level that made it.
    poor: (&'static str, String),
}

/// Shares of parts, `times` as much for the first.
fn shares(first: f64, n: usize) -> Vec<f64> {
    let rest = (1.0 - first) / (n - 1) as f64;
    std::iter::once(first).chain(std::iter::repeat_n(rest, n - 1)).collect()
}

fn pick(shares: &[f64], rng: &mut Pcg64) -> usize {
    let all: f64 = shares.iter().sum();
    let mut left = rng.random_range(0.0..all);
    for (n, share) in shares.iter().enumerate() {
        if left < *share {
            return n;
        }
        left -= share;
    }
    shares.len() - 1
}

fn line(planted: Planted, seed: u64) -> Line {
    let mut rng = Pcg64::seed_from_u64(seed);
    let from = rng.random_range(50..90);
    let base: f64 = rng.random_range(0.002..0.006);
    let vary: f64 = rng.random_range(0.2..0.5);
    let first: f64 = rng.random_range(0.08..0.15);
    // How many times as often the poor one fails, for the line to fail so many times as often since.
    let rise: f64 = rng.random_range(3.0..3.5);
    let now = 4.0 * first;
    let times = ((rise * (1.0 - first) - (1.0 - now)) / (now - rise * first).max(0.02)).min(60.0);
    let (of_models, of_stations) = match planted {
        Planted::Model => ([first, now], [1.0 / 3.0; 2]),
        Planted::Station => ([1.0 / 6.0; 2], [first, now]),
        Planted::Steady => ([first; 2], [1.0 / 3.0; 2]),
    };
    let mut text = String::from(
        "tested_at,model,serial,reading_ma,high_limit_ma,outcome,station,lot,operator,shift\n",
    );
    let many = Poisson::new(150.0).expect("a mean");
    let mut x: f64 = StandardNormal.sample(&mut rng);
    let start = chrono::NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");
    let mut wander = [1.0_f64; MODELS];
    for day in 0..DAYS {
        let e: f64 = StandardNormal.sample(&mut rng);
        x = 0.5 * x + 0.75_f64.sqrt() * e;
        let level = base * (vary * x - vary * vary / 2.0).exp();
        if day % 7 == 0 && planted == Planted::Steady {
            for w in &mut wander {
                let e: f64 = StandardNormal.sample(&mut rng);
                *w = (0.3 * e).exp();
            }
        }
        let since = usize::from(day >= from);
        let models: Vec<f64> =
            shares(of_models[since], MODELS).iter().zip(wander).map(|(s, w)| s * w).collect();
        let stations = shares(of_stations[since], STATIONS);
        let n = many.sample(&mut rng) as u32;
        for k in 0..n {
            let (model, station) = (pick(&models, &mut rng), pick(&stations, &mut rng));
            let shift = ["early", "late"][rng.random_range(0..2)];
            let lot = day / 6 + i32::from(rng.random_bool(0.5));
            // Models differ somewhat in any case; on average the others fail as often as the first would.
            let mut p = level * if model == 0 { 1.0 } else { 0.7 + 0.1 * model as f64 };
            let poor = match planted {
                Planted::Model | Planted::Steady => model == 0,
                Planted::Station => station == 0,
            };
            if poor {
                p *= times;
            }
            let failed = rng.random_bool(p.min(0.9));
            let e: f64 = StandardNormal.sample(&mut rng);
            let reading = if failed { 1.8 } else { 1.0 + 0.03 * e };
            let outcome = match failed {
                true if rng.random_bool(0.3) => "breakdown",
                true => "over limit",
                false => "pass",
            };
            let date = start + chrono::Days::new(day.unsigned_abs().into());
            let minute = 6 * 60 + k * 900 / n.max(1);
            let _ = writeln!(
                text,
                "{date} {:02}:{:02}:00,M{model},U{day:03}{k:04},{reading:.3},1.5,{outcome},S{station},M{model}-L{lot:03},op-{station}-{shift},{shift}",
                minute / 60,
                minute % 60
            );
        }
    }
    let poor = match planted {
        Planted::Station => ("station", "S0".to_owned()),
        Planted::Model | Planted::Steady => ("model", "M0".to_owned()),
    };
    Line { text, from, poor }
}

/// Counts over lines of one kind.
#[derive(Default)]
struct Counts {
    lines: u32,
    found: u32,
    flagged: u32,
    dated: u32,
    mix: u32,
    level: u32,
    named: u32,
    others: u32,
    /// What went wrong, one line each.
    wrong: Vec<String>,
}

fn answer(jump: &Jump, first_day: i32) -> String {
    let mix = jump.part(|p| p.mix.value).unwrap_or(0.0);
    let causes: Vec<String> = jump.explained.causes.iter().map(|c| c.what.to_string()).collect();
    format!(
        "{:?} {:?} beyond {} day {} ({} to {}), {:.2} % to {:.2} %, p {:.4}, mix {mix:.2} of {:?}, causes {causes:?}",
        jump.scope,
        jump.counted,
        jump.beyond,
        jump.date.day - first_day,
        jump.date.low - first_day,
        jump.date.high - first_day,
        100.0 * jump.before.share.value,
        100.0 * jump.after.share.value,
        jump.p_value,
        jump.parts.as_ref().and_then(|p| p.mix_of.as_deref()),
    )
}

fn ask(planted: Planted, seed: u64, dir: &Path, counts: &mut Counts) -> Result<(), String> {
    let line = line(planted, seed);
    let path = dir.join("line.csv");
    std::fs::write(&path, &line.text).map_err(|e| e.to_string())?;
    let config = Config::default();
    let (_, pass) = leakdrift::pass(&[path], &config, &|_, _| ()).map_err(|e| e.to_string())?;
    let pass = pass.map_err(|e| e.to_string())?;
    let found = jumps(&pass, &Asked::all(&config));
    let (first_day, last_day) = pass.plant.days.unwrap_or((0, 0));
    let rises: Vec<&Jump> = found.iter().filter(|j| j.rises()).collect();
    counts.lines += 1;
    counts.flagged += u32::from(rises.iter().any(|j| judge(j, None, last_day, &config).flagged));
    let told = |why: &str| {
        let all: Vec<String> = found.iter().map(|j| answer(j, first_day)).collect();
        format!("{seed} day {} {why}: {}", line.from, all.join("; "))
    };
    if planted == Planted::Steady {
        counts.named += u32::from(rises.iter().any(|j| !j.explained.causes.is_empty()));
        counts.found += u32::from(!rises.is_empty());
        counts.others +=
            u32::from(rises.iter().any(|j| !j.beyond && !matches!(j.scope, Scope::Series(_))));
        if !rises.is_empty() {
            counts.wrong.push(told("steady"));
        }
        return Ok(());
    }
    // Named for the mix: by a rise of its time. A rise of another time is another one, and counted as that.
    let day = first_day + line.from;
    let is_then = |j: &&&Jump| (j.date.low..=j.date.high).contains(&day);
    counts.named += u32::from(rises.iter().filter(is_then).any(|j| !j.explained.causes.is_empty()));
    // The whole line; where the poor station tests more, a series of it may tell the same.
    let whole = rises.iter().filter(|j| j.scope == Scope::Overall);
    let Some(jump) = whole.max_by(|a, b| a.excess().total_cmp(&b.excess())) else {
        counts.wrong.push(told("not found"));
        return Ok(());
    };
    counts.found += 1;
    counts.dated += u32::from((jump.date.low..=jump.date.high).contains(&day));
    let mix = judge(jump, None, last_day, &config).answer == Answer::Mix;
    counts.mix += u32::from(mix);
    let parts = jump.parts.as_ref();
    let level = parts.is_some_and(|p| {
        p.mix_of.as_deref() == Some(line.poor.0)
            && p.mixed.first().is_some_and(|m| m.level == line.poor.1)
    });
    counts.level += u32::from(mix && level);
    counts.others += u32::from(rises.len() > 1);
    if !mix || !level || rises.len() > 1 || !jump.explained.causes.is_empty() {
        counts.wrong.push(told("wrong"));
    }
    Ok(())
}

/// Simulates lines of each kind and prints the table.
///
/// # Errors
/// Where a line cannot be written or read.
pub fn run(replicates: usize, set: Set, list: bool) -> Result<(), String> {
    let seed = SEEDS.iter().find(|(s, _)| *s == set).map_or(0, |(_, seed)| *seed);
    println!("Mix, {replicates} lines of each kind, set {set:?}, seed {seed}. In %.\n");
    println!(
        "| planted | rise of the line found | flagged | date in interval | answer mix | poor one named first | a cause named for it | another rise told |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    let mut wrong = Vec::new();
    for (k, planted) in (0u64..).zip(Planted::ALL) {
        let all: Vec<Counts> =
            each(replicates, |i, dir, counts| ask(planted, seed + 10_000 * k + i, dir, counts))?;
        let sum = |of: fn(&Counts) -> u32| f64::from(all.iter().map(of).sum::<u32>());
        let (lines, found) = (sum(|c| c.lines), sum(|c| c.found));
        let of_found = |of: fn(&Counts) -> u32| match planted {
            Planted::Steady => "–".to_owned(),
            _ => share(sum(of), found),
        };
        println!(
            "| {} | {} | {} | {} | {} | {} | {} | {} |",
            planted.words(),
            share(found, lines),
            share(sum(|c| c.flagged), lines),
            of_found(|c| c.dated),
            of_found(|c| c.mix),
            of_found(|c| c.level),
            share(sum(|c| c.named), lines),
            share(sum(|c| c.others), lines),
        );
        wrong.extend(all.into_iter().flat_map(|c| c.wrong));
    }
    if list {
        println!("\n{}", wrong.join("\n"));
    }
    Ok(())
}
