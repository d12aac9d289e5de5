//! Passes far below the others: what lacks a part is named, the lowest of healthy units is not.

use std::fmt::Write as _;

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;

use crate::support::run::{csv_rows, folder, put, run_in};

const MODELS: usize = 8;
const UNITS: usize = 700;

/// Currents at right angles: a capacitive one of 0.25 mA and a resistive one that varies. Their lower end is short, and
/// of each model one unit reads half of the others.
#[test]
fn units_that_read_half_are_named_and_the_lowest_healthy_ones_are_not() {
    let mut random = Pcg64::seed_from_u64(20_261_130);
    let mut text = "Tested at,Serial,Model,Station,Test type,Voltage [V],Frequency [Hz],Leakage [mA],High limit [mA],Outcome\n"
        .to_owned();
    for n in 0..UNITS {
        let (month, day, hour) = (n / 280 + 1, n % 280 / 10 + 1, n % 10 + 8);
        for model in 0..MODELS {
            let [moisture, noise]: [f64; 2] =
                std::array::from_fn(|_| random.sample(StandardNormal));
            let healthy = 0.25_f64.hypot(0.16 * (0.25 * moisture).exp()) * (1.0 + 0.003 * noise);
            let ma = if n == UNITS / 2 { 0.15 } else { healthy };
            writeln!(
                text,
                "2026-{month:02}-{day:02} {hour:02}:{model:02}:00,M{model}-{n},M{model},A1,AC,1250,50,{ma:.3},0.8,pass"
            )
            .unwrap();
        }
    }
    let dir = folder();
    put(dir.path(), "t.csv", text);
    run_in(dir.path(), ["review", "t.csv", "--out", "report", "--quiet"]).expect(0);
    let units = std::fs::read_to_string(dir.path().join("report/units-to-check.csv")).unwrap();
    let mut low: Vec<String> = csv_rows(&units)
        .into_iter()
        .filter(|r| r["reading_ma"].parse::<f64>().is_ok_and(|ma| ma < 0.3))
        .map(|r| r["serial"].clone())
        .collect();
    let mut planted: Vec<String> = (0..MODELS).map(|m| format!("M{m}-{}", UNITS / 2)).collect();
    planted.sort();
    low.sort();
    assert_eq!(low, planted);
}
