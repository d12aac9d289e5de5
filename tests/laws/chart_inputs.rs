//! Chart inputs that resemble real use, and the check that a chart can be drawn.

use leakdrift::analysis::body::curves::{Fitted, Kind};
use leakdrift::analysis::body::forecast::DayEstimate;
use leakdrift::analysis::body::observed::{Known, Observed, Units};
use leakdrift::analysis::jump::cells::Failures as Kinds;
use leakdrift::analysis::jump::over_time::Stretch;
use leakdrift::day::date_of;
use leakdrift::report::chart::distribution::{Distribution, TallyLine, Trips};
use leakdrift::report::chart::drift::{Averages, Drift};
use leakdrift::report::chart::failures::{Failures, Marked};
use leakdrift::report::chart::ladder::Rung;
use leakdrift::report::chart::marks::{EventOn, LimitFrom, OnDay, StepOn};
use leakdrift::report::chart::months::{MonthShown, Months};
use leakdrift::report::chart::probability::{Curve, Probability, ProbabilityScale};
use leakdrift::report::chart::{Chart, at, draw};
use leakdrift::stats::estimate::Estimate;
use leakdrift::verdict::VerdictKind;
use leakdrift::verdict::evidence::Forecast;

use crate::support::picture::Picture;

/// A body like that of a real series: a bell of counts around `centre`, one bar per `step`.
pub fn bell(centre: f64, spread: f64, step: f64, limit: f64) -> Distribution {
    let first = ((centre - 4.0 * spread) / step).round() as i64;
    let last = ((centre + 4.0 * spread) / step).round() as i64;
    let z = |v: f64| (v - centre) / spread;
    let tally = (first..=last)
        .map(|k| k as f64 * step)
        .filter(|v| *v <= limit)
        .map(|reading| TallyLine {
            reading,
            step,
            count: (230.0 * (-z(reading).powi(2) / 2.0).exp()).round() as u64,
            stray: false,
        })
        .collect();
    Distribution {
        series: "VC310, AC 1500 V".into(),
        answer: "limit of 5.00 mA is too tight".into(),
        period: "2026-05-11 to 2026-10-30".into(),
        unit: "mA".into(),
        step,
        tally,
        trips: vec![Trips { limit, count: 332 }],
        under: vec![],
        density: (0..100)
            .map(|i| centre + spread * (f64::from(i) / 12.5 - 4.0))
            .map(|x| {
                at(x, (-z(x).powi(2) / 2.0).exp() / (spread * (2.0 * std::f64::consts::PI).sqrt()))
            })
            .collect(),
        body_units: 7000.0,
        fit: "fitted healthy body".into(),
        groups: vec![],
        tail: vec![],
        typical: Some(centre),
        high_limit: Some(limit),
        low_limit: Some(centre * 0.52),
        tail_bounds: Some((centre + 2.9 * spread, centre + 3.3 * spread)),
        band: Some((centre + 3.4 * spread, centre * 2.0)),
        proven: true,
        before_rise: false,
        open_lead: Some(centre * 0.006),
        notes: vec![],
    }
}

/// An estimate with its interval.
pub fn estimate(value: f64, low: f64, high: f64, level: f64) -> Estimate {
    Estimate::new(value, low, high, level, "by hand").unwrap()
}

/// Draws, and checks that a picture of the right size with something on it came out.
#[track_caller]
pub fn assert_drawn(chart: &Chart) -> Vec<u8> {
    let bytes = draw::png(chart).expect("a checked chart can be drawn");
    let Picture { width, height, pixels } = Picture::decode(&bytes);
    assert_eq!((width, height), (chart.width as usize, chart.height as usize));
    let white = [255; 3];
    let inked = pixels.iter().filter(|p| **p != white).count();
    assert!(inked > 5000, "only {inked} pixels are inked");
    // Nothing cut off: the outermost pixels stay white.
    for (y, row) in pixels.chunks(width).enumerate() {
        for x in (0..4).chain(width - 4..width) {
            assert_eq!(row[x], white, "ink at the edge, {x}, {y}");
        }
    }
    bytes
}

pub fn month(first_day: i32, median: f64) -> MonthShown {
    MonthShown {
        first_day,
        end_day: first_day + 30,
        units: 600,
        median,
        low: median - 0.03,
        high: median + 0.05,
        at_least: false,
        rejected: share(0.004, 0.001, 0.01),
    }
}

pub fn months_input() -> Months {
    Months {
        series: "KB120".into(),
        unit: "mA".into(),
        step: 0.001,
        months: (0..14).map(|i| month(20_332 + i * 30, 0.29 + 0.01 * f64::from(i))).collect(),
        limits: vec![
            LimitFrom { day: 20_000, high: Some(0.50), low: Some(0.2) },
            LimitFrom { day: 20_500, high: Some(0.55), low: None },
        ],
    }
}

pub fn drift_input() -> Drift {
    let value = |d: i32| {
        0.29 + 0.0005 * f64::from((d - 65).max(0)) + 0.004 * f64::from(d * 7 % 11 - 5) / 5.0
    };
    let points: Vec<OnDay> = (0..280).map(|d| OnDay { day: 20_332 + d, value: value(d) }).collect();
    Drift {
        series: "KB120, AC 1250 V".into(),
        answer: "rises by 0.020 mA a month since 2025-12-01".into(),
        points_are: "daily medians, 280 days".into(),
        unit: "mA".into(),
        step: 0.001,
        fitted: vec![points[0], points[65], points[279]],
        averages: Some(Averages {
            values: points.clone(),
            low: 0.28,
            high: 0.30,
            first_signal: Some(20_440),
        }),
        points,
        steps: vec![StepOn { day: 20_500, low: 20_490, high: 20_506, size: "+0.01 mA".into() }],
        events: (0..9)
            .map(|i| EventOn { day: 20_500 + i * 4, what: format!("calibration {i}") })
            .collect(),
        room: Some(0.4),
        limits: vec![LimitFrom { day: 20_000, high: Some(0.8), low: None }],
        forecast_of: "99.9 % of healthy units stay under".into(),
        forecast: (0..20)
            .map(|i| DayEstimate {
                day: 20_612 + i * 5,
                estimate: estimate(
                    0.6 + 0.01 * f64::from(i),
                    0.58 + 0.009 * f64::from(i),
                    0.62 + 0.012 * f64::from(i),
                    0.9,
                ),
            })
            .collect(),
        crossing: Some(Forecast { date: date_of(20_712), low: date_of(20_690), high: None }),
    }
}

pub fn rung(series: &str, typical: f64) -> Rung {
    Rung {
        series: series.into(),
        verdict: Some(VerdictKind::Fits),
        typical,
        healthy: (typical * 0.9, typical * 1.1),
        of_stations: false,
        band: Some((typical * 1.12, typical * 2.0)),
        proven: false,
        limit: Some(typical * 1.3),
        suggested: None,
        ceiling: Some(10.0),
        tester_range: Some(20.0),
    }
}

/// A share of units at a level that is not the usual one.
pub fn share(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, level: 0.9, method: "by hand".to_owned() }
}

pub fn failures_input() -> Failures {
    let stretch = |w: i32| {
        let (over, breakdown) = (if w > 20 { 9.0 } else { 0.0 }, f64::from(w % 5 == 0));
        let failed = (over + breakdown) / 100.0;
        Stretch {
            from: 20_500 + w * 30,
            until: 20_530 + w * 30,
            units: 100,
            failures: Kinds { over, breakdown, not_completed: 2.0, ..Kinds::default() },
            failed: Some(share(failed, 0.0, failed + 0.03)),
        }
    };
    Failures {
        scope: "EM520".into(),
        stretches: (0..30).map(stretch).collect(),
        jump: Some(Marked {
            day: 21_130,
            low: 21_120,
            high: 21_140,
            ended: None,
            words: "failures rose from 0.15 % to 10 % on 2027-11-08".into(),
            not_completed: false,
        }),
        events: vec![EventOn { day: 20_600, what: "limit 1.40 to 1.45 mA".into() }],
    }
}

pub fn probability_input(scale: ProbabilityScale) -> Probability {
    let seen = |i: u32, half: f64, known| Observed {
        low: 4.5 + 0.01 * f64::from(i) - half,
        high: 4.5 + 0.01 * f64::from(i) + half,
        p: (f64::from(i) + 0.5) / 51.0,
        known,
        stray: false,
    };
    let of = |known, count| Units { known, stray: false, count };
    Probability {
        series: "VC310".into(),
        answer: "readings against the fitted body".into(),
        period: "2026".into(),
        unit: "mA".into(),
        step: 0.01,
        scale,
        observed: (0..50)
            .map(|i| seen(i, 0.005, Known::Within))
            .chain([seen(50, 0.0, Known::Above)])
            .collect(),
        units: vec![of(Known::Within, 500), of(Known::Above, 10)],
        curves: vec![Curve {
            kind: Kind::Body,
            name: "fitted body".into(),
            points: (1..60)
                .map(|i| f64::from(i) / 60.0)
                .map(|p| Fitted {
                    p,
                    reading: 4.5 + 0.5 * p,
                    estimate: Some(estimate(4.5 + 0.5 * p, 4.48 + 0.5 * p, 4.52 + 0.5 * p, 0.95)),
                })
                .collect(),
        }],
        high_limit: Some(5.0),
        accepted: Some(0.001),
        bounds: Some((5.01, 5.03)),
        notes: vec![],
    }
}
