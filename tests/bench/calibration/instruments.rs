//! Whether intervals hold where instruments are coarse and show models in different steps, read from exported files as
//! a review does.
//!
//! Plants of one steady model a law; each model has a step of its own, from a twenty-fifth to two thirds of its spread,
//! on one station that all share, or in a file without stations. Half of the models have strays that are clear: further
//! out than a healthy unit of so many is expected at 1 in 100, up to three times as far. Counted: quantiles, `U`, `L`,
//! upper bounds of the expected share at a limit inside the tail and at one beyond the data, groups where there are
//! none, clear strays listed, healthy units listed.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use leakdrift::analysis::body::describe::Which;
use leakdrift::config::Config;
use rand_distr::{Bernoulli, Distribution};
use rand_pcg::Pcg64;
use rayon::prelude::*;

use crate::plant::{Found, HEADER, found, production_day, share, uniform};
use crate::truth::{Set, Truth, laws};

/// Steps, in spreads.
const RATIOS: [f64; 5] = [0.04, 0.1, 0.25, 0.5, 2.0 / 3.0];
/// Steps that instruments have, mA.
const STEPS: [f64; 10] = [0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5];
/// Units of a model and days that they are spread over.
const SIZES: [(usize, usize); 4] = [(150, 30), (500, 40), (2_000, 60), (5_000, 100)];
/// Share of strays where a model has any.
const STRAYS: f64 = 0.005;
/// The accepted share of healthy units rejected.
const ACCEPTED: f64 = 0.001;
/// A share beyond a limit inside the tail.
const INSIDE: f64 = 0.002;

/// A model of a law.
struct Model<'a> {
    law: &'a Truth,
    /// Times the law's readings.
    times: f64,
    step: f64,
    units: usize,
    days: usize,
    strays: bool,
}

impl Model<'_> {
    /// The reading that a share of the healthy units exceed, mA.
    fn beyond(&self, share: f64) -> f64 {
        self.times * self.law.upper_quantile(share)
    }

    fn groups(&self, stations: bool) -> Vec<String> {
        let coarse = self.step / (self.times * self.law.spread());
        vec![
            "all".to_owned(),
            if stations { "one station" } else { "no station column" }.to_owned(),
            if coarse > 0.17 { "coarse steps (a quarter to two thirds)" } else { "fine steps" }
                .to_owned(),
            if self.law.of_a_family { "laws of the families" } else { "laws outside" }.to_owned(),
            if self.strays { "clear strays" } else { "no strays" }.to_owned(),
            format!("{} units", self.units),
            format!("law {}", self.law.name),
        ]
    }
}

/// What was said of one model.
struct Said {
    groups: Vec<String>,
    /// X50, X99, X99.865, U, L, share inside the tail, share beyond the data, whether each holds; `None` without an
    /// answer.
    holds: [Option<bool>; 7],
    false_groups: bool,
    clear: f64,
    listed: f64,
    healthy_listed: f64,
}

fn plant(laws: &[Truth], seed: u64, k: u64, stations: bool) -> Result<Vec<Said>, String> {
    let chance = &mut Pcg64::new(u128::from(seed), u128::from(k));
    let one =
        |chance: &mut Pcg64, of: usize| (uniform(chance, 0.0, of as f64) as usize).min(of - 1);
    let models: Vec<Model> = laws
        .iter()
        .map(|law| {
            let times = 0.3 * (16.0_f64).powf(uniform(chance, 0.0, 1.0));
            let wanted: f64 = RATIOS[one(chance, RATIOS.len())] * times * law.spread();
            let near = |s: f64| (s / wanted).ln().abs();
            let step =
                STEPS.into_iter().min_by(|a, b| near(*a).total_cmp(&near(*b))).unwrap_or(0.001);
            let (units, days) = SIZES[one(chance, SIZES.len())];
            Model { law, times, step, units, days, strays: uniform(chance, 0.0, 1.0) < 0.5 }
        })
        .collect();
    let mut text = HEADER.to_owned();
    if !stations {
        text = text.replace("station,", "");
    }
    let mut planted: BTreeSet<String> = BTreeSet::new();
    for (m, model) in models.iter().enumerate() {
        let is_stray = Bernoulli::new(STRAYS).map_err(|e| e.to_string())?;
        let clear = model.beyond(0.01 / model.units as f64);
        let x50 = model.beyond(0.5);
        let limit = x50 + 8.0 * (model.beyond(ACCEPTED) - x50).max(clear - x50);
        for unit in 0..model.units {
            let n = unit * model.days / model.units;
            let mut ma = model.times * model.law.draw(chance);
            let serial = format!("M{m}-{unit:06}");
            if model.strays && is_stray.sample(chance) {
                ma = x50 + (clear - x50) * uniform(chance, 1.0, 3.0);
                planted.insert(serial.clone());
            }
            let shown = (ma / model.step).round().max(0.0) * model.step;
            let minute = unit % (model.units / model.days + 1);
            let (hour, minute) = (7 + minute / 60, minute % 60);
            let station = if stations { "S1," } else { "" };
            writeln!(
                text,
                "{} {hour:02}:{minute:02}:00,M{m},{serial},{station}1500,50,{shown:.4},{limit:.3},pass",
                production_day(n)
            )
            .map_err(|e| e.to_string())?;
        }
    }
    let config = Config { accepted_reject_share: ACCEPTED, ..Config::default() };
    let Found { pass, findings, .. } = found(&text, &config)?;
    let said = findings.series.iter().enumerate().filter_map(|(n, finding)| {
        let m: usize = pass.series[n].key.model.strip_prefix('M')?.parse().ok()?;
        let model = &models[m];
        let mark = format!("M{m}-");
        let listed = finding.strays.units.iter().filter(|u| u.lies.is_above());
        let (found, wrong): (Vec<_>, Vec<_>) =
            listed.map(|u| &u.test.serial).partition(|s| planted.contains(*s));
        let mut said = Said {
            groups: model.groups(stations),
            holds: [None; 7],
            false_groups: finding.distribution.as_ref().is_some_and(|d| d.groups > 1),
            clear: planted.iter().filter(|s| s.starts_with(&mark)).count() as f64,
            listed: found.len() as f64,
            healthy_listed: wrong.len() as f64,
        };
        let Ok(healthy) = &finding.healthy else { return Some(said) };
        for (place, quantile, share) in [(0, 1, 0.5), (1, 3, 0.01), (2, 4, 0.001_35)] {
            let e = healthy.quantiles[quantile].as_ref();
            said.holds[place] = e.map(|e| e.contains(model.beyond(share)));
        }
        let tail = match healthy.in_use {
            Ok(Which::Apart) => healthy.apart.as_ref(),
            _ => healthy.together.as_ref(),
        };
        said.holds[3] = tail.map(|t| t.upper_ma >= model.beyond(ACCEPTED));
        said.holds[4] = tail.map(|t| t.lower_ma <= model.beyond(ACCEPTED));
        for (place, share) in [(5, INSIDE), (6, 0.2 / model.units as f64)] {
            said.holds[place] = healthy.share_above(model.beyond(share)).map(|e| e.high >= share);
        }
        Some(said)
    });
    Ok(said.collect())
}

/// Simulates so many plants of each kind and prints how often intervals hold.
pub fn run(replicates: usize, set: Set, seed: u64) -> Result<(), String> {
    let all: Vec<Said> = (0..2 * replicates as u64)
        .into_par_iter()
        .map(|k| plant(&laws(set), seed, k, k % 2 == 0))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .flatten()
        .collect();
    println!(
        "| series | number | no answer | X50 | X99 | X99.865 | U | L | share 0.2 % ≤ its bound | share beyond the data | false groups | clear strays listed | healthy listed per 1000 series |\n|{}",
        "---|".repeat(13)
    );
    let mut names: Vec<&String> = all.iter().flat_map(|s| &s.groups).collect();
    names.sort();
    names.dedup();
    for name in names {
        let of: Vec<&Said> = all.iter().filter(|s| s.groups.contains(name)).collect();
        let holds = |place: usize| {
            let said: Vec<bool> = of.iter().filter_map(|s| s.holds[place]).collect();
            share(said.iter().filter(|h| **h).count() as f64, said.len() as f64)
        };
        let n = of.len() as f64;
        let columns: Vec<String> = (0..7).map(holds).collect();
        println!(
            "| {name} | {n} | {} | {} | {} | {} | {:.0} |",
            share(of.iter().filter(|s| s.holds[0].is_none()).count() as f64, n),
            columns.join(" | "),
            share(of.iter().filter(|s| s.false_groups).count() as f64, n),
            share(of.iter().map(|s| s.listed).sum(), of.iter().map(|s| s.clear).sum()),
            1000.0 * of.iter().map(|s| s.healthy_listed).sum::<f64>() / n,
        );
    }
    Ok(())
}
