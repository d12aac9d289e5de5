//! Whether movement is found where it is and only there: daily medians of known truth through
//! `drift::assess` and the flag, as a review does for a plant of one series.

#[path = "../../support/daily.rs"]
pub mod daily;
pub mod forecast;
mod steady;

use std::io::Write;

use leakdrift::movement::drift::{Drift, DriftOptions, DriftStep, Shape, assess};
use leakdrift::stats::estimate::Estimate;
use rayon::prelude::*;

use daily::{Daily, Moves, calendar, generator};

/// A series' correlation and length in words.
fn words(series: &Daily) -> String {
    let mut parts = vec![format!("{} days, correlation {}", series.days, series.rho)];
    if let Some(lots) = series.lots {
        let known = if lots.known { "known" } else { "unknown" };
        parts.push(format!("{known} lots of sd {}", lots.sd));
    }
    if series.humid {
        parts.push("follows recorded humidity".to_owned());
    }
    match series.moves {
        Moves::Nothing => {}
        Moves::Step { at, size } => parts.push(format!("step of {size} on day {at}")),
        Moves::Slope { from: 0, size } => parts.push(format!("slope of {size}")),
        Moves::Slope { from, size } => parts.push(format!("slope of {size} from day {from}")),
        Moves::Both { at, step, slope } => {
            parts.push(format!("slope of {slope} and step of {step} on day {at}"));
        }
    }
    parts.join(", ")
}

/// What is simulated and how often.
pub struct Plan {
    /// Series a row.
    pub replicates: usize,
    /// Seed of them all.
    pub seed: u64,
    /// Only rows whose words contain it.
    pub only: Option<String>,
}

impl Plan {
    /// Whether a row is wanted. Its words end with a semicolon, so that one row can be named alone.
    pub fn wants(&self, words: &str) -> bool {
        self.only.as_ref().is_none_or(|o| format!("{words};").contains(o.as_str()))
    }

    /// Movement found in each series of a row.
    fn found(&self, series: &Daily) -> Vec<Drift> {
        let words = words(series);
        (0..self.replicates as u64)
            .into_par_iter()
            .map(|n| {
                let points = series.points(&mut generator(self.seed, &words, n));
                assess(&points, &options(n))
            })
            .collect()
    }
}

/// Options of one series: the steady series that it is held against are drawn anew each time, or all rows of one
/// length would share the luck of one draw.
pub fn options(n: u64) -> DriftOptions {
    let mut options = DriftOptions::default();
    options.shape.seed ^= n.wrapping_mul(0x9E37_79B9);
    options
}

/// Prints all tables.
pub fn run(plan: &Plan) {
    steady::run(plan);
    steps(plan);
    slopes(plan);
    both(plan);
    forecast::run(plan);
}

/// A share in per cent; a dash for a share of nothing.
pub fn percent(part: usize, of: usize) -> String {
    if of == 0 { "–".to_owned() } else { format!("{:.1}", 100.0 * part as f64 / of as f64) }
}

/// The median of some numbers, with so many decimals; a dash for none.
pub fn middle(mut of: Vec<f64>, decimals: usize) -> String {
    of.sort_by(f64::total_cmp);
    of.get(of.len() / 2).map_or_else(|| "–".to_owned(), |m| format!("{m:.decimals$}"))
}

/// A heading that is printed before its first row only.
pub struct Table {
    heading: Option<&'static [&'static str]>,
}

impl Table {
    /// A table with these columns.
    pub fn new(columns: &'static [&'static str]) -> Self {
        Self { heading: Some(columns) }
    }

    /// One row.
    pub fn row(&mut self, cells: &[String]) {
        if let Some(columns) = self.heading.take() {
            println!("\n| {} |\n|{}", columns.join(" | "), "---|".repeat(columns.len()));
        }
        println!("| {} |", cells.join(" | "));
        std::io::stdout().flush().ok();
    }
}

fn holds(e: &Estimate, truth: f64) -> bool {
    e.low <= truth && truth <= e.high
}

/// Steps of two standard deviations of the daily medians within 120 days.
fn steps(plan: &Plan) {
    let mut table = Table::new(&[
        "a step of 2 standard deviations",
        "found, %",
        "step",
        "slope and step",
        "slope",
        "one step only, %",
        "date held, %",
        "days of the date's interval",
        "size held, %",
    ]);
    for at in [30, 60, 90] {
        for rho in [0.0, 0.3, 0.6] {
            let series = Daily { moves: Moves::Step { at, size: 2.0 }, ..Daily::steady(120, rho) };
            if !plan.wants(&format!("step: {}", words(&series))) {
                continue;
            }
            let all = plan.found(&series);
            let n = all.len();
            let shaped = |shape: Shape| all.iter().filter(|d| d.shape == Some(shape)).count();
            // A step may be one of several: the one nearest to the true day answers for it.
            let nearest: Vec<&DriftStep> = all
                .iter()
                .filter_map(|d| d.steps.iter().min_by_key(|s| (s.day - calendar(at)).abs()))
                .collect();
            let found = shaped(Shape::Step) + shaped(Shape::SlopeAndStep);
            let held = nearest
                .iter()
                .filter(|s| s.day_low <= calendar(at) && calendar(at) <= s.day_high)
                .count();
            let size = series.moved_ma(at);
            table.row(&[
                words(&series),
                percent(found, n),
                percent(shaped(Shape::Step), n),
                percent(shaped(Shape::SlopeAndStep), n),
                percent(shaped(Shape::Slope), n),
                percent(all.iter().filter(|d| d.steps.len() == 1).count(), nearest.len()),
                percent(held, nearest.len()),
                middle(nearest.iter().map(|s| f64::from(s.day_high - s.day_low)).collect(), 0),
                percent(nearest.iter().filter(|s| holds(&s.size_ma, size)).count(), nearest.len()),
            ]);
        }
    }
}

/// Steps beside a slope: is the size of the step held where both are called?
fn both(plan: &Plan) {
    let mut table = Table::new(&[
        "a step beside a slope",
        "slope and step, %",
        "step size held, of these, %",
        "of all with a step, %",
        "rate held, of these, %",
        "half width of the size, of the step",
    ]);
    for (days, at) in [(120, 60), (120, 90), (250, 125)] {
        for (step, slope) in [(4.0, 4.0), (-4.0, 6.0), (6.0, 10.0)] {
            for rho in [0.0, 0.3] {
                let series =
                    Daily { moves: Moves::Both { at, step, slope }, ..Daily::steady(days, rho) };
                if !plan.wants(&format!("both: {}", words(&series))) {
                    continue;
                }
                let all = plan.found(&series);
                let size = step * daily::DAILY_SD_MA;
                let nearest = |d: &Drift| {
                    let distance = |s: &&DriftStep| (s.day - calendar(at)).abs();
                    d.steps.iter().min_by_key(distance).map(|s| s.size_ma.clone())
                };
                let called: Vec<&Drift> =
                    all.iter().filter(|d| d.shape == Some(Shape::SlopeAndStep)).collect();
                let sizes: Vec<Estimate> = called.iter().filter_map(|d| nearest(d)).collect();
                let any: Vec<Estimate> = all.iter().filter_map(nearest).collect();
                let held = |of: &[Estimate]| {
                    percent(of.iter().filter(|e| holds(e, size)).count(), of.len())
                };
                let rates: Vec<&Estimate> =
                    called.iter().filter_map(|d| d.per_month_ma.as_ref()).collect();
                let rate = series.per_month_ma();
                table.row(&[
                    words(&series),
                    percent(called.len(), all.len()),
                    held(&sizes),
                    held(&any),
                    percent(rates.iter().filter(|e| holds(e, rate)).count(), rates.len()),
                    middle(sizes.iter().map(|e| (e.high - e.low) / 2.0 / size.abs()).collect(), 2),
                ]);
            }
        }
    }
}

/// Slopes through the whole history and slopes that begin in it.
fn slopes(plan: &Plan) {
    let mut table = Table::new(&[
        "a slope (change by the last day, in standard deviations)",
        "slope, %",
        "step",
        "slope and step",
        "steady",
        "rate held, %",
        "of slopes, %",
        "half width, of the rate",
        "begin held, %",
        "days of its interval",
    ]);
    for (days, from) in [(120, 0), (280, 0), (120, 60), (280, 65)] {
        for size in [4.0, 10.0] {
            for rho in [0.0, 0.3, 0.6] {
                let series =
                    Daily { moves: Moves::Slope { from, size }, ..Daily::steady(days, rho) };
                if plan.wants(&format!("slope: {}", words(&series))) {
                    slope(plan, &series, from, &mut table);
                }
            }
        }
    }
}

fn slope(plan: &Plan, series: &Daily, from: usize, table: &mut Table) {
    let all = plan.found(series);
    let n = all.len();
    let shaped = |shape: Shape| all.iter().filter(|d| d.shape == Some(shape)).count();
    let rates: Vec<&Estimate> = all.iter().filter_map(|d| d.per_month_ma.as_ref()).collect();
    let sloped: Vec<&Drift> = all.iter().filter(|d| d.shape == Some(Shape::Slope)).collect();
    let rate = series.per_month_ma();
    let of_slopes =
        sloped.iter().filter_map(|d| d.per_month_ma.as_ref()).filter(|e| holds(e, rate)).count();
    let began = |d: &&&Drift| {
        d.since_low.is_some_and(|low| low <= calendar(from))
            && d.since_high.is_some_and(|high| calendar(from) <= high)
    };
    table.row(&[
        words(series),
        percent(shaped(Shape::Slope), n),
        percent(shaped(Shape::Step), n),
        percent(shaped(Shape::SlopeAndStep), n),
        percent(shaped(Shape::Steady), n),
        percent(rates.iter().filter(|e| holds(e, rate)).count(), rates.len()),
        percent(of_slopes, sloped.len()),
        middle(rates.iter().map(|e| (e.high - e.low) / 2.0 / rate).collect(), 2),
        percent(sloped.iter().filter(began).count(), sloped.len()),
        middle(
            sloped.iter().filter_map(|d| Some(f64::from(d.since_high? - d.since_low?))).collect(),
            0,
        ),
    ]);
}
