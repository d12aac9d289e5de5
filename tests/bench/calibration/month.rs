//! Whether the intervals about the month under review hold (change of level, ratio of spreads, change of the share of
//! failures), those of what stations add, over all and month by month, and that of repeated readings, read from exported
//! files as a review does.
//!
//! Plants of four models on three stations that read apart by fixed per cents, from January on; November is under review.
//! In it all levels, all spreads or all shares of failures are others; levels of days hang together, or are one. A unit in
//! twenty is tested again at once, with a tester's noise of its own each time.

use std::fmt::Write as _;

use chrono::Datelike as _;
use leakdrift::config::Config;
use leakdrift::stats::estimate::Estimate;
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_pcg::Pcg64;

use crate::plant::{Found, HEADER, each, found_in, production_day, share, uniform};

const MODELS: usize = 4;
/// To the end of November.
const DAYS: usize = 236;
const MONTH: (i32, u32) = (2026, 11);
/// What the stations read more than what flows, per cent.
const STATIONS: [f64; 3] = [0.0, 1.5, -1.0];
/// Correlation of neighbouring days' levels.
const RHO: f64 = 0.5;
/// The testers' noise, as a share of the reading.
const NOISE: f64 = 0.005;
/// One unit in so many is tested again.
const AGAIN: usize = 20;
/// Digit of the readings, mA.
const DIGIT_MA: f64 = 0.001;

/// What is different in the month under review, and how days differ.
#[derive(Clone, Copy)]
struct Case {
    words: &'static str,
    level: f64,
    spread: f64,
    /// Share of units that break down, before and in the month.
    failed: [f64; 2],
    /// Standard deviation of the days' levels, of the spread within a day.
    days: f64,
}

impl Case {
    const STILL: Self =
        Self { words: "nothing changes", level: 1.0, spread: 1.0, failed: [0.01; 2], days: 0.0 };
    const ALL: [Self; 8] = [
        Self::STILL,
        Self { words: "level 2 % higher", level: 1.02, ..Self::STILL },
        Self { words: "spread 1.3 times", spread: 1.3, ..Self::STILL },
        Self { words: "3 % fail, before 1 %", failed: [0.01, 0.03], ..Self::STILL },
        Self { words: "nothing changes, daily levels", days: 0.5, ..Self::STILL },
        Self { words: "level 2 % higher, daily levels", level: 1.02, days: 0.5, ..Self::STILL },
        Self { words: "spread 1.3 times, daily levels", spread: 1.3, days: 0.5, ..Self::STILL },
        Self {
            words: "3 % fail, before 1 %, daily levels",
            failed: [0.01, 0.03],
            days: 0.5,
            ..Self::STILL
        },
    ];

    /// Spread of readings within a day, with the noise, in the month or before.
    fn within(&self, spread: f64, in_month: bool) -> f64 {
        (spread * if in_month { self.spread } else { 1.0 }).hypot(NOISE)
    }
}

/// How often an interval was given, and how often it held.
#[derive(Default, Clone, Copy)]
struct Held {
    given: f64,
    held: f64,
}

impl Held {
    fn add(&mut self, e: Option<&Estimate>, truth: f64) {
        if let Some(e) = e {
            self.given += 1.0;
            self.held += f64::from(e.contains(truth));
        }
    }
}

/// Level, spread, failures; stations over all, and by month; repeated readings.
#[derive(Default)]
struct Counts([Held; 6]);

/// A model: lognormal readings.
struct Model {
    x50: f64,
    spread: f64,
}

fn plant(seed: u64, k: u64, case: &Case, counts: &mut Counts) -> Result<(), String> {
    let chance = &mut Pcg64::new(u128::from(seed), u128::from(k));
    let models: Vec<Model> = (0..MODELS)
        .map(|_| Model { x50: uniform(chance, 0.5, 5.0), spread: uniform(chance, 0.02, 0.06) })
        .collect();
    let mut text = HEADER.to_owned();
    for (m, model) in models.iter().enumerate() {
        let units = Poisson::new(15.0).map_err(|e| e.to_string())?;
        let normal = |chance: &mut Pcg64| -> f64 { StandardNormal.sample(chance) };
        let mut of_day = normal(chance);
        let mut serial = 0_usize;
        for n in 0..DAYS {
            let date = production_day(n);
            let in_month = (date.year(), date.month()) == MONTH;
            of_day = RHO * of_day + (1.0 - RHO * RHO).sqrt() * normal(chance);
            let level = model.x50
                * (case.days * model.spread * of_day).exp()
                * if in_month { case.level } else { 1.0 };
            let spread = model.spread * if in_month { case.spread } else { 1.0 };
            let count: f64 = units.sample(chance);
            for unit in 0..count as usize {
                serial += 1;
                let unit_ma = level * (spread * normal(chance)).exp();
                let station = unit % STATIONS.len();
                let fails = uniform(chance, 0.0, 1.0) < case.failed[usize::from(in_month)];
                let tests = if serial.is_multiple_of(AGAIN) && !fails { 2 } else { 1 };
                for test in 0..tests {
                    let gain = 1.0 + STATIONS[station] / 100.0;
                    let ma = unit_ma * gain * (NOISE * normal(chance)).exp();
                    let shown = format!("{:.3}", (ma / DIGIT_MA).round() * DIGIT_MA);
                    let (shown, outcome) =
                        if fails { ("", "breakdown") } else { (shown.as_str(), "pass") };
                    let (hour, minute) = (7 + unit / 60, unit % 60);
                    writeln!(
                        text,
                        "{date} {hour:02}:{minute:02}:{:02},M{m},M{m}-{serial:06},S{station},1500,50,{shown},{:.2},{outcome}",
                        20 * test,
                        4.0 * model.x50
                    )
                    .map_err(|e| e.to_string())?;
                }
            }
        }
    }
    let Found { pass, moved, findings } = found_in(&text, &Config::default(), Some(MONTH))?;
    let Counts([level, spread, failed, stations, by_month, repeats]) = counts;
    for (n, finding) in findings.series.iter().enumerate() {
        let name = pass.series[n].key.model.strip_prefix('M').ok_or("a model")?;
        let model = &models[name.parse::<usize>().map_err(|e| e.to_string())?];
        let change = finding.month.as_ref().ok_or("no month")?;
        level.add(change.level_pct.as_ref(), 100.0 * (case.level - 1.0));
        let ratio = case.level * case.within(model.spread, true) / case.within(model.spread, false);
        spread.add(change.spread_ratio.as_ref(), ratio);
        failed.add(change.failure_change.as_ref(), case.failed[1] - case.failed[0]);
        // The readings' squares vary with the units; a shown digit adds its own.
        let varies = 2.0 * model.spread.powi(2) * (1.0 + case.days.powi(2));
        let noise = NOISE * model.x50 * varies.exp().sqrt();
        let truth = noise.hypot(DIGIT_MA / 12.0_f64.sqrt());
        repeats.add(finding.practice.repeatability_ma.as_ref(), truth);
    }
    let known = moved.stations.map_err(|e| format!("{e:?}"))?;
    let gain = |n: usize| 1.0 + STATIONS[station_number(&pass.plant.stations[n])] / 100.0;
    let reference = known.references[0];
    for (n, station) in known.stations.iter().enumerate().filter(|(n, _)| *n != reference) {
        let truth = 100.0 * (gain(n) / gain(reference) - 1.0);
        stations.add(station.offset_pct.as_ref(), truth);
        for month in &station.months {
            by_month.add(Some(&month.offset_pct), truth);
        }
    }
    Ok(())
}

/// The number in a station's name.
fn station_number(name: &str) -> usize {
    name.trim_start_matches('S').parse().unwrap_or(0)
}

/// Simulates a quarter as many plants as `replicates`, four series each, and prints how often intervals hold.
pub fn run(replicates: usize, seed: u64) -> Result<(), String> {
    let columns =
        ["level, %", "spread", "failures", "stations", "stations by month", "repeated readings"];
    println!("| in the month | {} |\n|---{}|", columns.join(" | "), "|---".repeat(columns.len()));
    for case in &Case::ALL {
        let all: Vec<Counts> =
            each(replicates.div_ceil(MODELS), |k, _, counts| plant(seed, k, case, counts))?;
        let held = (0..columns.len()).map(|c| {
            let sum = |of: fn(&Held) -> f64| all.iter().map(|counts| of(&counts.0[c])).sum();
            let given: f64 = sum(|h| h.given);
            format!("{} of {given}", share(sum(|h| h.held), given))
        });
        println!("| {} | {} |", case.words, held.collect::<Vec<_>>().join(" | "));
    }
    Ok(())
}
