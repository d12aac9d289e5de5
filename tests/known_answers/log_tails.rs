//! Log tails, log-differences and their derivatives of every family, down to shares of 1e-300, against
//! tests/reference/log_tails.py (mpmath 1.4.1, 30 digits and more).

use leakdrift::stats::distribution::{Family, Law};
use leakdrift::stats::likelihood::scores;
use leakdrift::stats::sample::{Observation, Sample};

/// One line of the reference.
struct Known {
    law: Law,
    observation: Observation,
    ln_p: f64,
    by: [f64; 2],
}

fn known() -> Vec<Known> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/tails/log_tails.csv");
    let text = std::fs::read_to_string(path).unwrap();
    let lines: Vec<Known> = text
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let number = |at: usize| cells[at].parse::<f64>().unwrap();
            let family = Family::ALL.into_iter().find(|family| family.name() == cells[0]).unwrap();
            let (low, high) = (number(4), number(5));
            Known {
                law: Law::from_internal(family, [number(1), number(2)]).unwrap(),
                observation: match cells[3] {
                    "below" => Observation::Below(high),
                    "above" => Observation::Above(low),
                    _ => Observation::Between { low, high },
                },
                ln_p: number(6),
                by: [number(7), number(8)],
            }
        })
        .collect();
    assert!(lines.len() > 500);
    lines
}

/// How much one rounding of a reading (and of its logarithm) moves the answer: no function of a double can
/// know it better. `steepness` is the change of the answer for a change of place by one spread.
fn conditioning(law: &Law, observation: Observation, steepness: f64) -> f64 {
    let [m, s] = law.internal();
    let on_line = |x: f64| {
        if law.family().is_positive() { x.ln().abs().max(1.0) } else { x.abs() }
    };
    let ends = [observation.low(), observation.high()];
    let largest = ends.into_iter().filter(|x| x.is_finite()).map(on_line).fold(m.abs(), f64::max);
    2.0 * f64::EPSILON * largest / s.exp() * steepness
}

#[test]
fn log_tails_keep_thirteen_digits() {
    let mut worst = Vec::new();
    for line in known() {
        let got = line.law.ln_likelihood(line.observation);
        let steep = (line.by[0] * line.law.internal()[1].exp()).abs();
        let allowed = 1e-13 * line.ln_p.abs() + conditioning(&line.law, line.observation, steep);
        let off = (got - line.ln_p).abs() / allowed;
        if off.is_nan() || off > 1.0 {
            worst.push(format!(
                "{:?} {:?}: {got:e} for {:e}, {off:.1} times the allowed",
                line.law, line.observation, line.ln_p
            ));
        }
    }
    assert!(worst.is_empty(), "{}: {}", worst.len(), worst.join("\n"));
}

/// Scores: the derivatives in place (per spread) and log spread.
#[test]
fn scores_keep_their_digits_in_the_tails() {
    let mut worst = Vec::new();
    for line in known() {
        let sample = Sample::new([(line.observation, 1.0)]).unwrap();
        let got = scores(&line.law, &sample, None).unwrap()[0];
        let spread = line.law.internal()[1].exp();
        let (got, want) = ([got[0] * spread, got[1]], [line.by[0] * spread, line.by[1]]);
        // A share of the larger one: each is a sum of parts of that size. The log spread of a gamma law goes
        // through differences with a step of 5e-3.
        let size = want[0].abs().max(want[1].abs()).max(1e-300);
        for (i, digits) in
            [(0, 1e-11), (1, if line.law.family() == Family::Gamma { 1e-8 } else { 1e-11 })]
        {
            let steep = size * (1.0 + size);
            let allowed = digits * size + conditioning(&line.law, line.observation, steep);
            let off = (got[i] - want[i]).abs() / allowed;
            if off.is_nan() || off > 1.0 {
                worst.push(format!(
                    "{:?} {:?} [{i}]: {:e} for {:e}, {off:.1} times the allowed",
                    line.law, line.observation, got[i], want[i]
                ));
            }
        }
    }
    assert!(worst.is_empty(), "{}: {}", worst.len(), worst.join("\n"));
}
