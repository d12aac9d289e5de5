//! What holds however coarse instruments are: each model's readings are known to the step that it is shown in, whatever
//! else its station or its file shows.

use std::fmt::Write as _;

use leakdrift::analysis::{self, Finding, Known};
use leakdrift::config::Config;
use leakdrift::movement;
use leakdrift::series::Register;
use leakdrift::{day, progress};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;

/// Typical readings and steps of four models, mA; a spread of 0.03 of the typical reading makes steps of 1/30, four
/// ninths, a third and a half of it.
const MODELS: [(f64, f64); 4] = [(1.0, 0.001), (1.5, 0.02), (2.0, 0.02), (3.4, 0.05)];
const SPREAD: f64 = 0.03;
const DAYS: usize = 30;
const A_DAY: usize = 8;

/// Findings about four steady models in one file, in their order.
fn found(seed: u64, stations: bool) -> Vec<Finding> {
    let mut chance = Pcg64::seed_from_u64(seed);
    let header = if stations { "station," } else { "" };
    let mut text = format!(
        "tested_at,model,serial,{header}set V,frequency Hz,leakage mA,high limit mA,outcome\n"
    );
    let first = day::day_number(chrono::NaiveDate::from_ymd_opt(2026, 1, 5).unwrap());
    for (m, (typical, step)) in MODELS.into_iter().enumerate() {
        // No model's typical reading lies where its steps do.
        let typical = typical * (1.0 + 0.02 * chance.random::<f64>());
        for n in 0..DAYS * A_DAY {
            let date = day::date_of(first + i32::try_from(n / A_DAY).unwrap());
            let z: f64 = chance.sample(StandardNormal);
            let ma = (typical * (1.0 + SPREAD * z) / step).round() * step;
            let (hour, station) = (7 + n % A_DAY, if stations { "S1," } else { "" });
            writeln!(
                text,
                "{date} {hour:02}:00:00,M{m},M{m}-{n:04},{station}1500,50,{ma:.3},{:.2},pass",
                2.0 * typical
            )
            .unwrap();
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tests.csv");
    std::fs::write(&path, text).unwrap();
    let config = Config::default();
    let pass = leakdrift::pass(&[path], &config, &|_, _| ()).unwrap().1.unwrap();
    let register = Register::default();
    let moved = movement::find(&pass, &register, &config, &progress::nobody);
    let known = Known { movement: &moved, register: &register, month: None, jumps: None };
    analysis::findings(&pass, &known, &config, &progress::nobody).series
}

/// A tester whose range follows the limit shows models in different steps, and a file without stations puts all testers
/// into one: the finest step was taken for all, and every coarse reading for an exact one.
#[test]
fn models_of_one_station_have_each_the_step_that_they_are_shown_in() {
    for stations in [true, false] {
        for (finding, (_, step)) in found(1, stations).iter().zip(MODELS) {
            assert!((finding.step_ma - step).abs() < 1e-12, "{} {step}", finding.step_ma);
        }
    }
}
