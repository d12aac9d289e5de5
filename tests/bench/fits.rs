//! How long the six families take on one series of a very large plant: 10 million readings that the
//! instrument shows as about 500 distinct values.
//!
//! The bar: all six families in under 50 ms a series, on one core. One line is printed for each law the
//! readings were drawn from: the median time of each family's fit and of all six, and how often the
//! likelihood was computed (value, gradient and hessian over the whole tally each time). `whole` is
//! the tally as it is, its last values tripped at a limit; `cut` is the tally as a body is described: the
//! highest 2 % left out by truncation, the lowest 2 % only counted as below their cut. The counts do not
//! depend on the machine; the times do. It asserts nothing and runs on one thread.
//!
//! ```text
//! cargo bench --bench fits
//! cargo bench --bench fits -- --rounds 51
//! ```
//!
//! Without `cargo bench` (as in `cargo test --all-targets`) each fit is made once.

use std::time::Instant;

#[path = "../support/laws.rs"]
mod textbook;

use leakdrift::stats::distribution::{Distribution, Family, Law};
use leakdrift::stats::likelihood::fit;
use leakdrift::stats::sample::{Observation, Sample};
use rand::SeedableRng;
use rand_distr::{Distribution as _, Poisson};
use rand_pcg::Pcg64;
use textbook::textbook;

/// Readings of a series.
const READINGS: f64 = 1e7;
/// Reading steps between the lowest reading (or cut) and the highest.
const STEPS: f64 = 500.0;
/// Share that tripped, of the whole tally.
const TRIPPED: f64 = 0.001;
/// Share beyond each cut, of the cut tally.
const CUT: f64 = 0.02;

fn main() {
    let words: Vec<String> = std::env::args().collect();
    let rounds = words
        .iter()
        .position(|word| word == "--rounds")
        .and_then(|at| words.get(at + 1)?.parse().ok())
        .unwrap_or(if words.iter().any(|word| word == "--bench") { 21 } else { 1 });
    println!("Median of {rounds} fits, milliseconds; likelihood evaluations in brackets.");
    print!("{:<23}{:<6}{:>7}", "law", "tally", "values");
    for family in Family::ALL {
        print!("{:>17}", family.name());
    }
    println!("{:>17}", "all six");
    for law in laws() {
        for truncated in [false, true] {
            measure(&law, truncated, rounds);
        }
    }
}

/// Laws of leakage readings: narrow, a spread of a fifth, and two whose readings crowd towards zero.
fn laws() -> Vec<Law> {
    [
        (Family::Normal, 2.5, 0.01),
        (Family::Normal, 2.5, 0.4),
        (Family::Lognormal, 0.0, 0.2),
        (Family::Gamma, 25.0, 0.04),
        (Family::Weibull, 5.0, 1.1),
        (Family::LogLogistic, 20.0, 1.0),
        (Family::Gumbel, 0.9, 0.05),
        (Family::Gamma, 1.5, 1.0),
        (Family::Weibull, 0.8, 1.0),
    ]
    .map(|(family, a, b)| textbook(family, a, b))
    .to_vec()
}

/// The tally of a law, its counts drawn; `low` and `high` are where it is cut or tripped.
fn tally(law: &Law, truncated: bool) -> (Sample, Option<f64>) {
    let lowest = law.quantile(if truncated { CUT } else { 1.0 / READINGS });
    let highest = law.upper_quantile(if truncated { CUT } else { TRIPPED });
    let step = (highest - lowest) / STEPS;
    let edge = |x: f64| ((x / step).round() + 0.5) * step;
    let (low, high) = (edge(lowest), edge(highest));
    let mut draw = Pcg64::seed_from_u64(1);
    let mut drawn =
        |share: f64| Poisson::new(share * READINGS).map_or(0.0, |p| p.sample(&mut draw));
    let mut lines = vec![(Observation::Below(low), drawn(law.ln_cdf(low).exp()))];
    let mut from = low;
    while from < high - step / 2.0 {
        let between = Observation::Between { low: from, high: from + step };
        lines.push((between, drawn(law.ln_likelihood(between).exp())));
        from += step;
    }
    if !truncated {
        lines.push((Observation::Above(from), drawn(law.ln_sf(from).exp())));
    }
    let sample = Sample::new(lines).expect("counts above zero");
    (sample, truncated.then_some(from))
}

fn measure(law: &Law, truncated: bool, rounds: usize) {
    let (sample, cut) = tally(law, truncated);
    let [a, b] = [law.params()[0].1, law.params()[1].1];
    let name = format!("{} {a:.3} {b:.3}", law.family().name());
    let kind = if truncated { "cut" } else { "whole" };
    print!("{name:<23}{kind:<6}{:>7}", sample.lines().len());
    let mut six = vec![0.0; rounds];
    let mut evaluations = 0;
    for family in Family::ALL {
        let mut times = Vec::with_capacity(rounds);
        let mut outcome = String::new();
        for all in &mut six {
            let start = Instant::now();
            let found = fit(family, &sample, cut);
            let time = start.elapsed().as_secs_f64() * 1e3;
            times.push(time);
            *all += time;
            outcome = match found {
                Ok(fit) => {
                    let count = fit.evaluations;
                    if times.len() == 1 {
                        evaluations += count;
                    }
                    format!("({count})")
                }
                Err(_) => String::from("(none)"),
            };
        }
        print!("{:>17}", format!("{:.2} {outcome:>6}", median(times)));
    }
    println!("{:>17}", format!("{:.2} {:>6}", median(six), format!("({evaluations})")));
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}
