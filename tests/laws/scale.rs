//! What holds of the one scale of a series, on plants of known truth with fixed seeds: what a tester adds is no
//! product's, what the product does stays, and no reading is lost on the way.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use leakdrift::analysis::body::offsets::ScaleError;
use leakdrift::analysis::{self, Finding, Known};
use leakdrift::config::Config;
use leakdrift::movement::edges::Edges;
use leakdrift::movement::readings::{Reading, edges, readings};
use leakdrift::movement::{self, Movement};
use leakdrift::series::{Pass, Register};
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::VerdictKind;
use leakdrift::verdict::plant::{SeriesVerdict, judge_all};
use leakdrift::{day, progress};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64;

use crate::support::numbers::assert_rel;

/// Production days of the plants here.
const DAYS: usize = 80;
/// Production day of a step.
const AT: usize = 45;

/// A plant of three models on two stations, 12 units a day and model.
#[derive(Clone)]
struct Plant {
    seed: u64,
    /// Gain of the stations on a production day.
    gain: fn(usize, usize) -> f64,
    /// What the product of a model does on a production day, by station.
    product: fn(usize, usize, usize) -> f64,
    /// Model 2 is tested on station 1 alone.
    alone: bool,
    /// Limit of a model over its typical reading, by station.
    limit: fn(usize, usize) -> f64,
}

/// Typical reading of a model, mA.
const TYPICAL: [f64; 3] = [1.0, 2.2, 4.1];

impl Plant {
    fn still(seed: u64) -> Self {
        Self { seed, gain: |_, _| 1.0, product: |_, _, _| 1.0, alone: false, limit: |_, _| 1.25 }
    }

    fn text(&self) -> String {
        let mut chance = Pcg64::seed_from_u64(self.seed);
        let mut text =
            "tested_at,model,serial,station,set V,frequency Hz,leakage mA,high limit mA,outcome\n"
                .to_owned();
        let first = day::day_number(chrono::NaiveDate::from_ymd_opt(2026, 1, 5).unwrap());
        for (m, typical) in TYPICAL.iter().enumerate() {
            for n in 0..DAYS {
                let date = day::date_of(first + (n / 5 * 7 + n % 5) as i32);
                for unit in 0..12 {
                    let station = if self.alone && m == 2 { 1 } else { 1 + unit % 2 };
                    let z: f64 = chance.sample(StandardNormal);
                    let true_ma = typical * (0.03 * z).exp() * (self.product)(m, station, n);
                    let ma = (true_ma * (self.gain)(station, n) * 1e4).round() / 1e4;
                    let limit = typical * (self.limit)(m, station);
                    let outcome = if ma > limit { "over limit" } else { "pass" };
                    writeln!(
                        text,
                        "{date} {:02}:{:02}:00,M{m},M{m}-{n:03}-{unit:02},S{station},1500,50,{ma:.4},{limit:.4},{outcome}",
                        7 + unit / 2,
                        unit * 5,
                    )
                    .unwrap();
                }
            }
        }
        text
    }

    fn judged(&self) -> Judged {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tests.csv");
        std::fs::write(&path, self.text()).unwrap();
        let config = Config::default();
        let pass = leakdrift::pass(&[path], &config, &|_, _| ()).unwrap().1.unwrap();
        let register = Register::default();
        let moved = movement::find(&pass, &register, &config, &progress::nobody);
        let known = Known { movement: &moved, register: &register, month: None, jumps: None };
        let findings = analysis::findings(&pass, &known, &config, &progress::nobody);
        let verdicts = judge_all(&pass, &moved, &findings, &BTreeSet::new(), &config);
        Judged { pass, moved, findings: findings.series, verdicts }
    }
}

struct Judged {
    pass: Pass,
    moved: Movement,
    findings: Vec<Finding>,
    verdicts: Vec<SeriesVerdict>,
}

impl Judged {
    fn kinds(&self) -> Vec<Option<VerdictKind>> {
        self.verdicts.iter().map(|v| v.limits.high.kind).collect()
    }

    fn x50(&self, n: usize) -> f64 {
        self.findings[n].healthy.as_ref().unwrap().quantiles[1].as_ref().unwrap().value
    }
}

fn step_of_s1(station: usize, n: usize) -> f64 {
    if station == 1 && n < AT { 0.96 } else { 1.0 }
}

/// A tester that is adjusted by 4 % in mid-history: every unit is judged, and what healthy units read is what they
/// read in the same plant without the step, within the interval of the step.
#[test]
fn a_testers_step_neither_cuts_the_history_nor_widens_the_body() {
    let with = Plant { gain: step_of_s1, ..Plant::still(11) }.judged();
    let without = Plant::still(11).judged();
    for n in 0..TYPICAL.len() {
        let (a, b) = (&with.findings[n], &without.findings[n]);
        assert_eq!(a.period.boundaries, Vec::<i32>::new(), "{}", a.period.sentence);
        assert_eq!(a.units_judged, b.units_judged);
        let (a, b) = (a.healthy.as_ref().unwrap(), b.healthy.as_ref().unwrap());
        for (p, within) in [(1, 0.004), (3, 0.01), (4, 0.015)] {
            let [a, b] = [a, b].map(|h| h.quantiles[p].as_ref().unwrap());
            assert_rel(a.value, b.value, within);
        }
    }
    assert_eq!(with.kinds(), without.kinds());
    let steps = &with.findings[0].stations.iter().find(|s| s.station == "S1").unwrap().steps;
    assert!(matches!(steps[..], [step] if (step.size_pct - 100.0 * 0.04 / 0.96).abs() < 0.5));
}

/// Readings and limit of one station times 1.03: no verdict changes, and what is expected beyond the limits stays.
#[test]
fn a_station_with_another_gain_and_its_limit_changes_no_verdict() {
    let plain = Plant { limit: |m, _| [1.25, 1.06, 1.6][m], ..Plant::still(12) }.judged();
    let scaled = Plant {
        gain: |station, _| if station == 2 { 1.03 } else { 1.0 },
        limit: |m, station| [1.25, 1.06, 1.6][m] * if station == 2 { 1.03 } else { 1.0 },
        ..Plant::still(12)
    }
    .judged();
    assert_eq!(plain.kinds(), scaled.kinds());
    for n in 0..TYPICAL.len() {
        let share = |j: &Judged| {
            j.findings[n].healthy.as_ref().unwrap().reject_share.as_ref().unwrap().clone()
        };
        let (a, b) = (share(&plain), share(&scaled));
        assert!(a.low <= b.high && b.low <= a.high, "{n}: {a:?} {b:?}");
    }
}

/// The band holds at the station that reads most and at the one that reads least.
#[test]
fn the_band_holds_at_each_station() {
    let j = Plant {
        gain: |station, _| if station == 2 { 1.05 } else { 1.0 },
        limit: |_, _| 1.6,
        ..Plant::still(13)
    }
    .judged();
    for (n, typical) in TYPICAL.iter().enumerate() {
        let high = &j.verdicts[n].limits.high;
        let (low, up) = (high.band_low_ma.unwrap(), high.band_high_ma.unwrap());
        // 99.9 % of healthy units stay under exp(0.03 × 3.0902) times the typical reading, at S2 1.05 times that.
        let healthy = typical * (0.03_f64 * 3.090_232).exp();
        assert!(low >= 1.05 * healthy * 0.99, "{n}: {low} against {}", 1.05 * healthy);
        // Twice the typical reading of S1, by the rule of thumb.
        assert!(up <= 2.0 * typical * 1.01, "{n}: {up}");
        let said = high.reasons.iter().map(|r| r.sentence(high.say)).collect::<Vec<_>>().join(" ");
        assert!(said.contains("must hold at each station"), "{said}");
    }
}

/// What every station shows is the product's: it is found, moves the verdict, and no raise is suggested, whatever a
/// tester does meanwhile.
#[test]
fn a_rise_of_the_product_stays_beside_a_testers_step() {
    for seed in [21, 22, 23] {
        for up in [true, false] {
            let gain: fn(usize, usize) -> f64 = match up {
                true => step_of_s1,
                false => |station, n| if station == 1 && n < AT { 1.04 } else { 1.0 },
            };
            let j = Plant {
                gain,
                // Model 0 rises by 15 % from day 30 on.
                product: |m, _, n| {
                    let rise = 0.15 * (n as f64 - 30.0).max(0.0) / 50.0;
                    if m == 0 { 1.0 + rise } else { 1.0 }
                },
                limit: |m, _| if m == 0 { 1.22 } else { 1.25 },
                ..Plant::still(seed)
            }
            .judged();
            let high = &j.verdicts[0].limits.high;
            assert_eq!(high.kind, Some(VerdictKind::Moving), "{seed} {up}");
            let limit = high.limit_ma.unwrap();
            assert!(high.suggested_ma().is_none_or(|s| s < limit), "{seed} {up}");
            let now = j.moved.series[0].typical_now_ma();
            // By 11 % in the middle of the last 25 days.
            assert!((1.09..1.13).contains(&now), "{seed} {up}: {now}");
        }
    }
}

/// A rise on one line alone, seen on one model only, may be the product of that line: it is not taken off.
#[test]
fn a_step_that_one_series_alone_shows_stays_in_its_readings() {
    let j = Plant {
        product: |m, station, n| if m == 1 && station == 1 && n >= AT { 1.06 } else { 1.0 },
        ..Plant::still(14)
    }
    .judged();
    for n in 0..TYPICAL.len() {
        let scale = &j.moved.series[n].scale;
        for station in 0..2 {
            let ratio = scale.carry(station, 20_500).times / scale.carry(station, 20_600).times;
            assert!((ratio - 1.0).abs() < 0.02, "{n} {station}: {ratio}");
        }
    }
    let late =
        j.moved.series[1].points.iter().rev().take(10).map(|p| p.value_ma).sum::<f64>() / 10.0;
    assert!(late > 1.01 * TYPICAL[1], "{late}");
}

/// A series of one station is told as that station shows it now.
#[test]
fn a_series_of_one_station_keeps_its_scale() {
    let j = Plant {
        alone: true,
        gain: |station, _| if station == 1 { 1.04 } else { 1.0 },
        ..Plant::still(15)
    }
    .judged();
    let moved = &j.moved.series[2];
    assert!(readings(&j.pass, 2).iter().all(|r| moved.scale.carried(r) == *r));
    assert_rel(j.x50(2), 1.04 * TYPICAL[2], 0.005);
}

/// However readings are carried, every unit stays, none lies across an edge, and none moves further than a step.
#[test]
fn carried_readings_lie_between_edges_and_none_is_lost() {
    let j =
        Plant { gain: |s, n| step_of_s1(s, n) * [1.0, 1.0, 1.013][s], ..Plant::still(16) }.judged();
    for (n, moved) in j.moved.series.iter().enumerate() {
        let coarse = Edges::uniform(0.01);
        let shown = readings(&j.pass, n);
        for edges in [edges(&j.pass, n, &moved.used_at), coarse] {
            let on_edges = moved.scale.on_edges(&shown, &edges);
            let units = |all: &[Reading]| all.iter().map(|r| r.count).sum::<f64>();
            assert_eq!(units(&on_edges), units(&shown));
            let carried: Vec<Reading> = shown.iter().map(|r| moved.scale.carried(r)).collect();
            let mean =
                |all: &[Reading]| all.iter().map(|r| r.ma * r.count).sum::<f64>() / units(all);
            assert_rel(mean(&on_edges), mean(&carried), 2e-4);
            let scaled = on_edges.iter().filter(|r| {
                moved.scale.carry(r.station, r.day) != leakdrift::movement::scale::Carry::AS_SHOWN
            });
            for r in scaled {
                let (low, high) = (r.ma - r.step_ma / 2.0, r.ma + r.step_ma / 2.0);
                let edge = edges.at_or_above(low + 1e-7);
                assert!(edge > high - 1e-7, "{low} to {high} lies across {edge}");
            }
        }
    }
}

/// The error of the scale widens every interval about its value, and none where nothing was taken off.
#[test]
fn the_error_of_the_scale_widens_intervals() {
    let e = Estimate::new(2.0, 1.9, 2.2, 0.95, "by hand").unwrap();
    assert_eq!(ScaleError(0.0).of_current(e.clone()), e);
    // By hand: ln(2.2 / 2) = 0.0953, 1.96 × 0.02 = 0.0392, root sum of squares 0.1031: 2 exp(0.1031) = 2.2171.
    let wide = ScaleError(0.02).of_current(e.clone());
    assert_rel(wide.high, 2.2171, 1e-4);
    assert!(wide.low < e.low && wide.value == e.value);
    let share = Estimate::new(0.01, 0.008, 0.013, 0.95, "by hand").unwrap();
    let above = |x: f64| Some(0.01 * (2.0 / x).powi(20));
    let wide = ScaleError(0.02).of_share(share.clone(), 2.0, above);
    assert!(wide.low < share.low && wide.high > share.high && wide.value == share.value);
}

/// It is in the index and the share against the low limit too, and in the date of a forecast.
#[test]
fn the_error_of_the_scale_is_in_the_low_side_and_in_the_forecast() {
    // By hand: X50 2, X0.135 1.8, limit 1.5: index 2.5. All readings 1 % larger: (2.02 − 1.5) / 0.202 = 2.574,
    // which is 1.5 / 0.2 × 1 % more, to the first order. An interval of ± 0.1 becomes one of the root sum of squares.
    let index = Estimate::new(2.5, 2.4, 2.6, 0.95, "by hand").unwrap();
    let wide = ScaleError(0.01).of_low_index(index.clone(), 1.5, 2.0);
    let half = 0.1_f64.hypot(1.959_964 * 0.01 * 7.5);
    assert_rel(wide.high, 2.5 + half, 1e-6);
    assert_rel(wide.low, 2.5 - half, 1e-6);
    assert_eq!(ScaleError(0.0).of_low_index(index.clone(), 1.5, 2.0).high, index.high);
    // A share below 1.5 that grows as the twentieth power of the limit, by 2 %.
    let share = Estimate::new(0.01, 0.01, 0.01, 0.95, "by hand").unwrap();
    let below = |x: f64| Some(0.01 * (x / 1.5_f64).powi(20));
    let wide = ScaleError(0.02).of_share_below(share, 1.5, below);
    let reach = 1.959_964_f64 * 0.02;
    assert_rel(wide.high, 0.01 * (20.0 * reach).exp(), 1e-5);
    assert_rel(wide.low, 0.01 * (-20.0 * reach).exp(), 1e-5);
    // Healthy units read 0.8 of a limit of 1 and rise by 0.001 a day: 200 days. Readings 1 % larger leave
    // (1 − 0.808) / 0.00101 = 190.1 days: 5 % less for each per cent.
    assert_rel(ScaleError(0.01).of_log_days(0.0, 1.0, 0.8), 0.05, 1e-9);
    assert_rel(ScaleError(0.01).of_log_days(0.12, 1.0, 0.8), 0.13, 1e-9);
}

/// A month is held against the time before a tester's step at the same station: what the step is known to is in the
/// interval. Where both sides lie after it, it is not.
#[test]
fn the_error_of_a_step_is_in_the_change_of_level_across_it() {
    let j = Plant { gain: step_of_s1, ..Plant::still(17) }.judged();
    let moved = &j.moved.series[0];
    let step = moved.scale.steps().iter().map(|s| s.day).max().expect("a step");
    let all = readings(&j.pass, 0);
    let of = |from: i32, to: i32| all.iter().filter(move |r| (from..to).contains(&r.day));
    let across = moved.scale.error_between(of(step, i32::MAX), of(i32::MIN, step));
    let after = moved.scale.error_between(of(step + 14, i32::MAX), of(step, step + 14));
    assert!(across > 1e-4, "{across}");
    assert!(after < 0.1 * across, "{after} beside {across}");
    // Half of the units are of the station that stepped: half of the step's error, which all units before have
    // together in a body judged with none after.
    let before: Vec<Reading> = of(i32::MIN, step).copied().collect();
    assert!(moved.scale.error(&before) >= across * 0.99, "{}", moved.scale.error(&before));
}
