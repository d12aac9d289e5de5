//! Plants with a planted jump in failures: is it found, dated, and explained by what made it?
//!
//! Each plant is an export of one model: 120 days, about 100 units a day, twelve factor columns, ten of them
//! decoys, some tied to others (a supplier to lots, an operator to station and shift) and some to weeks. Daily
//! rates are lognormal and hang together (lag-1 correlation 0.5). The export is read and asked like any other.

use std::fmt::Write as _;
use std::path::Path;

use leakdrift::analysis::jump::{Asked, Jump, Named, Scope, jumps};
use leakdrift::config::Config;
use leakdrift::verdict::jump::judge;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal, Poisson, StandardNormal};
use rand_pcg::Pcg64;

use crate::plant::{each, share};
use crate::truth::Set;

/// Seeds of the plants that rules were chosen on, and of those that they are measured on.
const SEEDS: [(Set, u64); 2] = [(Set::Trial, 20_261_125), (Set::Proof, 20_270_701)];
/// Production days.
const DAYS: i32 = 120;
/// Factor columns beside station, lot, operator and shift, with the number of their levels; the last two change
/// with the week.
const COLUMNS: [(&str, u32); 8] = [
    ("supplier", 4),
    ("mould", 3),
    ("line", 2),
    ("nest", 6),
    ("cable", 5),
    ("batch", 40),
    ("week tool", 12),
    ("week reel", 24),
];

/// What is planted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Planted {
    None,
    Single,
    Pair,
    Limit,
    Mix,
    Slow,
}

impl Planted {
    const ALL: [Self; 6] =
        [Self::Single, Self::Pair, Self::Limit, Self::Mix, Self::Slow, Self::None];

    fn words(self) -> &'static str {
        match self {
            Self::None => "nothing",
            Self::Single => "one level",
            Self::Pair => "a pair of levels",
            Self::Limit => "a lower limit",
            Self::Mix => "another mix",
            Self::Slow => "a slow rise",
        }
    }
}

/// One unit's levels, by name of its columns.
struct Unit {
    levels: Vec<(&'static str, String)>,
}

impl Unit {
    fn is(&self, what: &[(&'static str, String)]) -> bool {
        what.iter().all(|w| self.levels.contains(w))
    }
}

struct Plant {
    text: String,
    /// First day on which the change meets a unit.
    from: i32,
    /// What causes it.
    cause: Vec<(&'static str, String)>,
    /// How many times as many failures it lets expect, all units together, from its first unit to its last.
    times: f64,
}

impl Plant {
    fn words(&self, seed: u64) -> String {
        let cause: Vec<String> =
            self.cause.iter().map(|(factor, level)| format!("{factor} {level}")).collect();
        format!("{seed} day {} times {:.1} {}", self.from, self.times, cause.join(" + "))
    }
}

fn unit(day: i32, rng: &mut Pcg64, mixed: bool, from: i32) -> Unit {
    let pick = |rng: &mut Pcg64, n: u32| rng.random_range(0..n);
    let station = ["S1", "S2", "S3"][pick(rng, 3) as usize];
    let shift = ["early", "late"][pick(rng, 2) as usize];
    // Two lots at a time, each for twelve days.
    let lot = day / 6 + i32::from(rng.random_bool(0.5));
    let mut levels = vec![
        ("station", station.to_owned()),
        ("lot", format!("L{lot:03}")),
        ("operator", format!("op-{station}-{shift}")),
        ("shift", shift.to_owned()),
    ];
    for (name, n) in COLUMNS {
        let level = match name {
            "supplier" => {
                // With another mix the last supplier grows from one unit in twenty to half of all.
                let often = if day >= from { 0.5 } else { 0.05 };
                if mixed {
                    if rng.random_bool(often) { n - 1 } else { pick(rng, n - 1) }
                } else {
                    lot.unsigned_abs() % n
                }
            }
            "week tool" => (day / 10).unsigned_abs() % n,
            "week reel" => ((day / 5).unsigned_abs() + pick(rng, 2)) % n,
            _ => pick(rng, n),
        };
        levels.push((name, format!("{}{level}", &name[..1])));
    }
    Unit { levels }
}

fn plant(planted: Planted, seed: u64) -> Plant {
    let mut rng = Pcg64::seed_from_u64(seed);
    let from = rng.random_range(50..95);
    let base: f64 = rng.random_range(0.004..0.012);
    let vary: f64 = rng.random_range(0.2..0.6);
    let times: f64 = match planted {
        Planted::Pair => rng.random_range(12.0..30.0),
        _ => rng.random_range(6.0..20.0),
    };
    // A level that is in use from the change on.
    let model = unit(from + 3, &mut rng, false, from);
    let single = [0, 1, 2, 5, 6, 7, 8];
    let cause: Vec<(&'static str, String)> = match planted {
        Planted::Single => vec![model.levels[single[rng.random_range(0..single.len())]].clone()],
        Planted::Pair => {
            let pairs = [(0, 1), (0, 5), (3, 7), (6, 3), (1, 3), (5, 6)];
            let (a, b) = pairs[rng.random_range(0..pairs.len())];
            vec![model.levels[a].clone(), model.levels[b].clone()]
        }
        _ => Vec::new(),
    };
    let mut text = String::from(
        "tested_at,model,serial,reading_ma,high_limit_ma,outcome,station,lot,operator,shift",
    );
    for (name, _) in COLUMNS {
        let _ = write!(text, ",{name}");
    }
    text.push('\n');
    let readings = Normal::new(1.0, 0.03).expect("a spread");
    let many = Poisson::new(100.0).expect("a mean");
    let mut x: f64 = StandardNormal.sample(&mut rng);
    let start = chrono::NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");
    // A lot that comes into use later changes nothing before.
    let mut felt = None;
    // Failures expected since, without it and with it; as they stood with its last unit.
    let (mut without, mut with) = (0.0, 0.0);
    let mut stood = (1.0, 1.0);
    for day in 0..DAYS {
        let e: f64 = StandardNormal.sample(&mut rng);
        x = 0.5 * x + 0.75_f64.sqrt() * e;
        let level = base * (vary * x - vary * vary / 2.0).exp();
        let since = day >= from;
        let limit = if planted == Planted::Limit && since { 1.05 } else { 1.5 };
        let n = many.sample(&mut rng) as u32;
        for k in 0..n {
            let u = unit(day, &mut rng, planted == Planted::Mix, from);
            let mut p = level;
            let hit = since && u.is(&cause);
            if hit {
                felt = felt.or(Some(day));
            }
            if hit && !cause.is_empty() {
                p *= times;
            }
            if felt.is_some() {
                (without, with) = (without + level, with + p);
            }
            if hit {
                stood = (without, with);
            }
            if planted == Planted::Mix && u.is(&[("supplier", "s3".to_owned())]) {
                p *= 8.0;
            }
            if planted == Planted::Slow {
                p *= 6.0_f64.powf(f64::from(day) / f64::from(DAYS));
            }
            let failed = rng.random_bool(p.min(0.9));
            let reading: f64 = if failed { 1.8 } else { readings.sample(&mut rng) };
            let outcome = match (failed, reading > limit) {
                (true, _) if rng.random_bool(0.2) => "breakdown",
                (true, _) | (_, true) => "over limit",
                _ => "pass",
            };
            let date = start + chrono::Days::new(day.unsigned_abs().into());
            let minute = 6 * 60 + k * 900 / n.max(1);
            let _ = write!(
                text,
                "{date} {:02}:{:02}:00,M1,U{day:03}{k:04},{reading:.3},{limit},{outcome}",
                minute / 60,
                minute % 60
            );
            for (_, level) in &u.levels {
                let _ = write!(text, ",{level}");
            }
            text.push('\n');
        }
    }
    Plant { text, from: felt.unwrap_or(from), cause, times: stood.1 / stood.0 }
}

/// Counts over plants of one kind.
#[derive(Default)]
struct Counts {
    plants: u32,
    found: u32,
    flagged: u32,
    dated: u32,
    named: u32,
    right: u32,
    /// Plants with at least twice, and four times, as many failures for it, and how many were right.
    doubled: [u32; 2],
    fourfold: [u32; 2],
    others: u32,
    part: u32,
    gradual: u32,
    /// What went wrong, one line a plant.
    wrong: Vec<String>,
}

/// What is simulated.
pub struct Plan {
    /// Plants of each kind.
    pub replicates: usize,
    /// Which seeds.
    pub set: Set,
    /// Only kinds with these words in their name.
    pub only: Option<String>,
    /// Whether every wrong answer is printed.
    pub list: bool,
}

/// A cause as it is to be named: an operator, who works on one station and shift only, by these.
fn as_named(cause: &[(&'static str, String)]) -> Vec<(&'static str, String)> {
    let post = |level: &str| {
        let mut parts = level.split('-').skip(1).map(str::to_owned);
        ["station", "shift"].map(|factor| (factor, parts.next().expect("op-station-shift")))
    };
    let named = cause.iter().flat_map(|(factor, level)| match *factor {
        "operator" => post(level).to_vec(),
        _ => vec![(*factor, level.clone())],
    });
    named.collect()
}

/// Whether the first cause is the one planted; levels said to be indistinguishable count as named.
fn is_right(jump: &Jump, cause: &[(&'static str, String)]) -> bool {
    let cause = &as_named(cause);
    let scoped = matches!(jump.scope, Scope::Station(_));
    jump.explained.causes.first().is_some_and(|first| {
        let wanted = |w: &(&'static str, String)| {
            first.what.0.iter().chain(&first.same_units).any(|n| n.factor == w.0 && n.level == w.1)
        };
        cause.iter().all(|w| wanted(w) || (scoped && w.0 == "station"))
            && first.what.0.len() <= cause.len()
    })
}

/// What was answered, for the list of wrong answers.
fn answer(jump: &Jump, first_day: i32) -> String {
    let day = |d: i32| d - first_day;
    let mut text = format!(
        "day {} ({} to {}), {:.0} failures of {:.1} expected, phi {:.2}",
        day(jump.date.day),
        day(jump.date.low),
        day(jump.date.high),
        jump.explained.failures,
        jump.explained.expected,
        jump.phi,
    );
    for c in &jump.explained.causes {
        let names =
            |list: &[Named]| list.iter().map(Named::to_string).collect::<Vec<_>>().join(" + ");
        let _ = write!(
            text,
            "; {} = {} ({:.0} of {:.1}, statistic {:.1}, p {:.1e})",
            names(&c.what.0),
            names(&c.same_units),
            c.failures,
            c.expected,
            c.statistic,
            c.p_value,
        );
    }
    text
}

fn ask(planted: Planted, seed: u64, dir: &Path, counts: &mut Counts) -> Result<(), String> {
    let plant = plant(planted, seed);
    let path = dir.join("plant.csv");
    std::fs::write(&path, &plant.text).map_err(|e| e.to_string())?;
    let config =
        Config { factors: COLUMNS.iter().map(|c| c.0.to_owned()).collect(), ..Config::default() };
    let (_, pass) = leakdrift::pass(&[path], &config, &|_, _| ()).map_err(|e| e.to_string())?;
    let pass = pass.map_err(|e| e.to_string())?;
    let found = jumps(&pass, &Asked::all(&config));
    let (first_day, last_day) = pass.plant.days.unwrap_or((0, 0));
    let rises: Vec<&Jump> = found.iter().filter(|j| j.rises()).collect();
    counts.plants += 1;
    counts.doubled[0] += u32::from(plant.times >= 2.0);
    counts.fourfold[0] += u32::from(plant.times >= 4.0);
    let excess = |j: &Jump| j.explained.failures - j.explained.expected;
    let Some(jump) = rises.iter().max_by(|a, b| excess(a).total_cmp(&excess(b))) else {
        if planted != Planted::None {
            counts.wrong.push(format!("{}: not found", plant.words(seed)));
        }
        return Ok(());
    };
    counts.found += 1;
    let flags = |j: &Jump| judge(j, None, last_day, &config).flagged;
    counts.flagged += u32::from(rises.iter().any(|j| flags(j)));
    let truth = first_day + plant.from;
    let dated = (jump.date.low..=jump.date.high).contains(&truth);
    counts.dated += u32::from(dated);
    counts.gradual += u32::from(jump.gradual);
    let causes = &jump.explained.causes;
    let named = rises.iter().any(|j| !j.explained.causes.is_empty());
    counts.named += u32::from(named);
    let right = is_right(jump, &plant.cause);
    counts.right += u32::from(right);
    counts.doubled[1] += u32::from(right && plant.times >= 2.0);
    counts.fourfold[1] += u32::from(right && plant.times >= 4.0);
    let as_planted = match planted {
        Planted::Single | Planted::Pair => right && dated,
        Planted::Limit | Planted::Mix => !named && dated,
        Planted::Slow | Planted::None => !named,
    };
    if !as_planted {
        counts.wrong.push(format!("{}: {}", plant.words(seed), answer(jump, first_day)));
    }
    counts.others += u32::from(causes.len() > 1);
    let part = jump.parts.as_ref().map(|p| match planted {
        Planted::Limit => p.limit.value / p.rise.value,
        Planted::Mix => p.mix.value / p.rise.value,
        _ => 0.0,
    });
    counts.part += u32::from(part.is_some_and(|s| s >= 0.5));
    Ok(())
}

/// Simulates plants of each kind and prints the table.
///
/// # Errors
/// Where a plant cannot be written or read.
pub fn run(plan: &Plan) -> Result<(), String> {
    let n = plan.replicates;
    let seed = SEEDS.iter().find(|(set, _)| *set == plan.set).map_or(0, |(_, seed)| *seed);
    println!("Jumps, {n} plants of each kind, set {:?}, seed {seed}.\n", plan.set);
    println!(
        "| planted | rise found | flagged | date in interval | first cause right | where failures double | where they quadruple | right of those named | any cause named | a second one | right part | gradual |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|");
    let mut wrong = Vec::new();
    for (k, planted) in (0u64..).zip(Planted::ALL) {
        if plan.only.as_ref().is_some_and(|o| !planted.words().contains(o)) {
            continue;
        }
        let all: Vec<Counts> =
            each(n, |i, dir, counts| ask(planted, seed + 10_000 * k + i, dir, counts))?;
        let sum = |of: fn(&Counts) -> u32| f64::from(all.iter().map(of).sum::<u32>());
        let (plants, found) = (sum(|c| c.plants), sum(|c| c.found));
        let with_cause = matches!(planted, Planted::Single | Planted::Pair);
        let dated = with_cause || matches!(planted, Planted::Limit | Planted::Mix);
        let blank = || "–".to_owned();
        println!(
            "| {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |",
            planted.words(),
            share(found, plants),
            share(sum(|c| c.flagged), plants),
            if dated { share(sum(|c| c.dated), found) } else { blank() },
            if with_cause { share(sum(|c| c.right), plants) } else { blank() },
            if with_cause { share(sum(|c| c.doubled[1]), sum(|c| c.doubled[0])) } else { blank() },
            if with_cause {
                share(sum(|c| c.fourfold[1]), sum(|c| c.fourfold[0]))
            } else {
                blank()
            },
            if with_cause { share(sum(|c| c.right), sum(|c| c.named)) } else { blank() },
            share(sum(|c| c.named), plants),
            share(sum(|c| c.others), plants),
            if matches!(planted, Planted::Limit | Planted::Mix) {
                share(sum(|c| c.part), found)
            } else {
                blank()
            },
            share(sum(|c| c.gradual), plants),
        );
        wrong.extend(all.into_iter().flat_map(|c| c.wrong));
    }
    if plan.list {
        println!("\n{}", wrong.join("\n"));
    }
    Ok(())
}
