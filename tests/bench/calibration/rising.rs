//! Whether a limit ever follows a drift: plants of models that rise and models that stand still, read from their
//! exported file as a review does.
//!
//! A rise is a straight line, a step, or a leak that grows at right angles to a capacitive current; from 0.3 to 3 times
//! the room between the typical reading and the limit, from the first day or a later one. Counted: raises suggested to
//! products that rise (none is allowed), and products that stand still called moving (at most 5 %).

use std::collections::BTreeMap;
use std::fmt::Write as _;

use leakdrift::config::Config;
use leakdrift::verdict::recommend::recommend;
use leakdrift::verdict::{VerdictKind, plant};
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_pcg::Pcg64;

use crate::plant::{Found, HEADER, found, production_day, uniform};

/// Models of one plant: as many that stand still as rise.
const MODELS: usize = 8;

/// How a model moves.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Moves {
    Not,
    Line,
    Step,
    Leak,
}

/// One model: its readings and the limit that stands beside them.
struct Model {
    moves: Moves,
    /// Typical reading before it moves, mA.
    x50: f64,
    /// Spread of units, and of days, as shares of the reading.
    spread: (f64, f64),
    limit: f64,
    /// Rise by the last day, in rooms.
    rise: f64,
    /// Production day on which it begins.
    from: usize,
    days: usize,
    units: f64,
}

impl Model {
    fn new(moves: Moves, chance: &mut Pcg64) -> Self {
        let x50 = uniform(chance, 0.2, 5.0);
        let unit = uniform(chance, 0.02, 0.06);
        let days = uniform(chance, 80.0, 240.0) as usize;
        // From tight, where units trip from the first day on, to loose.
        let room = uniform(chance, 2.0, 8.0) * unit;
        let late = uniform(chance, 0.0, 0.7) * days as f64;
        let rise = uniform(chance, 0.3, 3.0);
        let early = uniform(chance, 0.0, 1.0) < 0.3;
        // A step before the first day is none; one of the first days has no time before it.
        let step = 0.1 * days as f64 + late * 6.0 / 7.0;
        Self {
            moves,
            x50,
            spread: (unit, uniform(chance, 0.0, 0.3) * unit),
            limit: (x50 * (1.0 + room) * 100.0).round() / 100.0,
            rise,
            from: match moves {
                Moves::Step => step as usize,
                _ if early => 0,
                _ => late as usize,
            },
            days,
            units: uniform(chance, 6.0, 30.0),
        }
    }

    /// Reading of a unit of production day `n`, mA.
    fn reading(&self, n: usize, level: f64, chance: &mut Pcg64) -> f64 {
        let unit: f64 = StandardNormal.sample(chance);
        let healthy = self.x50 * (1.0 + self.spread.0 * unit + self.spread.1 * level);
        let room = self.limit - self.x50;
        let done = (n as f64 - self.from as f64) / (self.days - self.from) as f64;
        let rise = self.rise * room;
        match self.moves {
            Moves::Not => healthy,
            _ if done < 0.0 => healthy,
            Moves::Line => healthy + rise * done,
            Moves::Step => healthy + rise,
            Moves::Leak => {
                // By the last day the typical reading has risen as far.
                let last = ((self.x50 + rise).powi(2) - self.x50.powi(2)).sqrt();
                let leak: f64 = StandardNormal.sample(chance);
                healthy.hypot(last * done * (0.22 * leak).exp())
            }
        }
    }
}

/// What was said of one model.
struct Said {
    moves: Moves,
    kind: Option<VerdictKind>,
    raised: bool,
}

fn plant_of(seed: u64, k: u64) -> Result<Vec<Said>, String> {
    let chance = &mut Pcg64::new(u128::from(seed), u128::from(k));
    let rising = [Moves::Line, Moves::Step, Moves::Leak, Moves::Line];
    let models: Vec<Model> = (0..MODELS)
        .map(|n| Model::new(if n % 2 == 0 { Moves::Not } else { rising[n / 2] }, chance))
        .collect();
    let mut text = HEADER.to_owned();
    for (m, model) in models.iter().enumerate() {
        let units = Poisson::new(model.units).map_err(|e| e.to_string())?;
        let (mut serial, mut level) = (0, 0.0_f64);
        for n in 0..model.days {
            // Levels of days hang together a little.
            let news: f64 = StandardNormal.sample(chance);
            level = 0.3 * level + (1.0 - 0.09_f64).sqrt() * news;
            let date = production_day(n);
            let count: f64 = units.sample(chance);
            for unit in 0..count as usize {
                serial += 1;
                let ma = (model.reading(n, level, chance) * 1000.0).round() / 1000.0;
                let outcome = if ma > model.limit { "over limit" } else { "pass" };
                let (hour, minute, station) = (7 + unit / 60, unit % 60, 1 + unit % 2);
                writeln!(
                    text,
                    "{date} {hour:02}:{minute:02}:00,M{m},M{m}-{serial:06},S{station},1500,50,{ma:.3},{:.2},{outcome}",
                    model.limit
                )
                .map_err(|e| e.to_string())?;
            }
        }
    }
    let config = Config::default();
    let Found { pass, moved, findings } = found(&text, &config)?;
    let verdicts =
        plant::judge_all(&pass, &moved, &findings, &std::collections::BTreeSet::new(), &config);
    Ok(verdicts
        .iter()
        .enumerate()
        .filter_map(|(n, v)| {
            let m: usize = pass.series[n].key.model.strip_prefix('M')?.parse().ok()?;
            let high = &v.limits.high;
            let to = recommend(high, &v.evidence.setting, None, &config).to_ma;
            let above = |x: f64| high.limit_ma.is_some_and(|limit| x > limit);
            let raised = [to, high.suggested_ma()].into_iter().flatten().any(above);
            if raised && models[m].moves != Moves::Not {
                let Model { moves, from, days, rise, .. } = &models[m];
                let shape = moved.series[n].drift.shape;
                println!("raised: plant {k}, M{m}: {moves:?} from day {from} of {days} by {rise:.2} rooms; seen as {shape:?}");
            }
            Some(Said { moves: models[m].moves, kind: high.kind, raised })
        })
        .collect())
}

/// Simulates `series` models that rise and as many that do not, and prints what was said of them.
pub fn run(series: usize, seed: u64) -> Result<(), String> {
    let plants = (series * 2).div_ceil(MODELS) as u64;
    let mut rows: BTreeMap<Moves, (usize, usize, BTreeMap<&str, usize>)> = BTreeMap::new();
    for k in 0..plants {
        for said in plant_of(seed, k)? {
            let row = rows.entry(said.moves).or_default();
            row.0 += 1;
            row.1 += usize::from(said.raised);
            *row.2.entry(said.kind.map_or("none", VerdictKind::key)).or_default() += 1;
        }
    }
    println!("| moves | series | raises suggested | verdicts |\n|---|---|---|---|");
    for (moves, (series, raised, kinds)) in rows {
        let kinds: Vec<String> = kinds.iter().map(|(k, n)| format!("{k} {n}")).collect();
        println!("| {moves:?} | {series} | {raised} | {} |", kinds.join(", "));
    }
    Ok(())
}
