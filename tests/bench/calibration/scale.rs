//! Whether intervals hold where a tester moved inside the period judged, read from exported files as a review does.
//!
//! Plants of four models on three stations; one station's tester steps somewhere in the middle half of the history by
//! 0, 1, 2, 4 or 8 % up or down, and reads right since. So the truth on the series' one scale is the law that units
//! were drawn from, whichever station is in the middle. Counted as in the other tables, and how much of the history
//! was judged.

use std::fmt::Write as _;

use leakdrift::config::Config;
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_pcg::Pcg64;
use rayon::prelude::*;

use crate::plant::{Found, HEADER, found, production_day, uniform};

/// Sizes of the step, per cent.
const STEPS: [f64; 5] = [0.0, 1.0, 2.0, 4.0, 8.0];
const MODELS: usize = 4;
const DAYS: usize = 120;
/// Share of healthy units that `L` and `U` are about.
const ACCEPTED: f64 = 0.001;
/// Standard normal readings that half, 1 %, 0.135 % and 0.1 % of all exceed (to the digits that matter here).
const BEYOND: [f64; 4] = [0.0, 2.326_348, 2.999_977, 3.090_232];

/// One model: lognormal readings.
struct Model {
    x50: f64,
    spread: f64,
    units: f64,
}

impl Model {
    /// The reading that a share of the units exceed, by its standard normal.
    fn truth(&self, z: f64) -> f64 {
        self.x50 * (self.spread * z).exp()
    }
}

/// What was said of one model.
#[derive(Default)]
struct Said {
    /// X50, X99, X99.865, U, L: whether each holds the truth; `None` without an answer.
    holds: [Option<bool>; 5],
    /// Width of the interval of the reading that 0.1 % exceed, over the truth.
    width: Option<f64>,
    judged: f64,
    cut: bool,
}

fn plant(seed: u64, k: u64, step_pct: f64) -> Result<Vec<Said>, String> {
    // The same units whatever the step.
    let chance = &mut Pcg64::new(u128::from(seed), u128::from(k));
    let models: Vec<Model> = (0..MODELS)
        .map(|_| Model {
            x50: uniform(chance, 0.5, 5.0),
            spread: uniform(chance, 0.02, 0.06),
            units: uniform(chance, 10.0, 25.0),
        })
        .collect();
    let at = uniform(chance, 0.25, 0.75) * DAYS as f64;
    let up = uniform(chance, 0.0, 1.0) < 0.5;
    let ratio = 1.0 + step_pct / 100.0;
    let before = if up { 1.0 / ratio } else { ratio };
    let mut text = HEADER.to_owned();
    for (m, model) in models.iter().enumerate() {
        let units = Poisson::new(model.units).map_err(|e| e.to_string())?;
        let mut serial = 0;
        for n in 0..DAYS {
            let date = production_day(n);
            let count: f64 = units.sample(chance);
            for unit in 0..count as usize {
                serial += 1;
                let z: f64 = StandardNormal.sample(chance);
                let station = 1 + unit % 3;
                let gain = if station == 1 && (n as f64) < at { before } else { 1.0 };
                let ma = (model.truth(z) * gain * 1000.0).round() / 1000.0;
                let (hour, minute) = (7 + unit / 60, unit % 60);
                writeln!(
                    text,
                    "{date} {hour:02}:{minute:02}:00,M{m},M{m}-{serial:06},S{station},1500,50,{ma:.3},{:.2},pass",
                    4.0 * model.x50
                )
                .map_err(|e| e.to_string())?;
            }
        }
    }
    let config = Config { accepted_reject_share: ACCEPTED, ..Config::default() };
    let Found { pass, findings, .. } = found(&text, &config)?;
    let said = findings.series.iter().enumerate().filter_map(|(n, finding)| {
        let m: usize = pass.series[n].key.model.strip_prefix('M')?.parse().ok()?;
        let model = &models[m];
        let all: f64 = pass.series[n].tally.iter().map(|line| f64::from(line.count)).sum();
        let mut said = Said {
            judged: finding.units_judged / all,
            cut: !finding.period.boundaries.is_empty(),
            ..Said::default()
        };
        let Ok(healthy) = &finding.healthy else { return Some(said) };
        for (place, quantile, z) in [(0, 1, 0), (1, 3, 1), (2, 4, 2)] {
            let e = healthy.quantiles[quantile].as_ref();
            said.holds[place] = e.map(|e| e.contains(model.truth(BEYOND[z])));
        }
        use leakdrift::analysis::body::describe::Which;
        let tail = match healthy.in_use {
            Ok(Which::Apart) => healthy.apart.as_ref(),
            _ => healthy.together.as_ref(),
        };
        let truth = model.truth(BEYOND[3]);
        said.holds[3] = tail.map(|t| t.upper_ma >= truth);
        said.holds[4] = tail.map(|t| t.lower_ma <= truth);
        said.width = tail.map(|t| (t.upper_ma - t.lower_ma) / truth);
        Some(said)
    });
    Ok(said.collect())
}

/// Simulates `replicates` plants for each size of step and prints how often intervals hold.
pub fn run(replicates: usize, seed: u64) -> Result<(), String> {
    println!(
        "| step, % | series | X50 | X99 | X99.865 | U | L | U less L, % | units judged, % | cut, % |\n|{}",
        "---|".repeat(10)
    );
    for step in STEPS {
        let all: Vec<Said> = (0..replicates as u64)
            .into_par_iter()
            .map(|k| plant(seed, k, step))
            .collect::<Result<Vec<_>, _>>()?
            .into_iter()
            .flatten()
            .collect();
        let n = all.len() as f64;
        let holds = |place: usize| {
            let said: Vec<bool> = all.iter().filter_map(|s| s.holds[place]).collect();
            100.0 * said.iter().filter(|h| **h).count() as f64 / said.len() as f64
        };
        let mut widths: Vec<f64> = all.iter().filter_map(|s| s.width).collect();
        widths.sort_by(f64::total_cmp);
        println!(
            "| {step} | {} | {} | {:.2} | {:.1} | {:.1} |",
            all.len(),
            (0..5).map(|p| format!("{:.1}", holds(p))).collect::<Vec<_>>().join(" | "),
            100.0 * widths.get(widths.len() / 2).copied().unwrap_or(f64::NAN),
            100.0 * all.iter().map(|s| s.judged).sum::<f64>() / n,
            100.0 * all.iter().filter(|s| s.cut).count() as f64 / n,
        );
    }
    Ok(())
}
