//! What each check load read over time: a moving tester shows here without any product.
//!
//! Judged as a series is. A pass at a reading more than 5 % and 8 standard deviations (of differences
//! between neighbours) from its neighbours does not belong to the load and is reported as such: on the day
//! of a broken lead the load that must pass passed too.

use std::collections::BTreeMap;

use rayon::prelude::*;
use serde::{Serialize, Serializer};

use crate::config::Config;
use crate::day::Day;
use crate::movement::drift::{self, DayPoint, DriftOptions, Shape};
use crate::movement::stations::{SeriesFacts, TesterStep};
use crate::series::Outcome;
use crate::series::{CheckReading, Pass};
use crate::stats::multiple::benjamini_hochberg;
use crate::stats::numeric::median;
use crate::words::time::as_time;

/// Days at the end of the record that make its reading now.
const LATEST: usize = 25;
/// Readings to either side from which a check's usual reading is taken.
const BESIDE: usize = 10;
/// A reading further from the usual one than so many standard deviations…
const ODD_SD: f64 = 8.0;
/// …and than this share of it does not belong to the load.
const ODD_SHARE: f64 = 0.05;

/// A right answer whose reading is far from what the load usually reads.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OddReading {
    /// Seconds since 1970-01-01.
    #[serde(rename = "tested_at", serialize_with = "as_time")]
    pub time: i64,
    /// Production day.
    #[serde(skip)]
    pub day: Day,
    /// Reading, mA.
    pub reading_ma: f64,
    /// What it usually reads, mA.
    pub usual_ma: f64,
}

/// What one load read at one station over time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoadRecord {
    /// Index into the stations.
    #[serde(skip)]
    pub station: u16,
    /// The load, as named in the config.
    pub load: String,
    /// What it should draw by its resistance and the set voltage, mA.
    pub expected_ma: Option<f64>,
    /// What the station should read of it: with the current of its leads, at right angles; `None` where that is not
    /// known.
    pub with_leads_ma: Option<f64>,
    /// What drives the current of the leads.
    #[serde(skip)]
    pub drive: Option<SeriesFacts>,
    /// Median reading of each day, mA; in JSON how many there are.
    #[serde(rename = "days", serialize_with = "how_many")]
    pub points: Vec<(Day, f64)>,
    /// Median of the last 25 days, mA.
    #[serde(rename = "x50_ma")]
    pub latest_ma: Option<f64>,
    /// How the reading moved; `None` where no shape is claimed.
    pub shape: Option<Shape>,
    /// p-value of the shape, adjusted over all loads (Benjamini–Hochberg).
    pub p_value: Option<f64>,
    /// Steps whose size in per cent is known.
    pub steps: Vec<TesterStep>,
    /// Smallest step that would have been found, mA.
    pub smallest_step_ma: Option<f64>,
    /// Readings that do not belong to the load.
    pub odd: Vec<OddReading>,
}

impl LoadRecord {
    /// What it should read: with its leads where they are known, else by its resistance alone.
    #[must_use]
    pub fn should_read_ma(&self) -> Option<f64> {
        self.with_leads_ma.or(self.expected_ma)
    }
}

fn how_many<S: Serializer>(points: &[(Day, f64)], to: S) -> Result<S::Ok, S::Error> {
    points.len().serialize(to)
}

/// The record of every load that must pass, by station; loads that trip show no reading.
pub fn check_records(pass: &Pass, config: &Config) -> Vec<LoadRecord> {
    let mut groups: BTreeMap<(u16, &str), Vec<(&CheckReading, f64)>> = BTreeMap::new();
    // A clock that stood on another year says nothing about when.
    let (first, last) = pass.plant.days.unwrap_or((0, 0));
    let dated = |c: &&CheckReading| (first..=last).contains(&c.day);
    for check in pass.plant.checks.iter().filter(dated) {
        let Some(load) = config.check_loads.get(&check.load) else {
            continue;
        };
        let reading = check.reading_ma.filter(|ma| *ma > 0.0);
        if let Some(ma) = reading.filter(|_| load.expect == "pass" && right(check.outcome, "pass"))
        {
            groups.entry((check.station, &check.load)).or_default().push((check, ma));
        }
    }
    let (mut records, p): (Vec<LoadRecord>, Vec<f64>) = groups
        .into_par_iter()
        .map(|((station, load), readings)| of_load(station, load, &readings, config))
        .unzip();
    for (record, adjusted) in records.iter_mut().zip(benjamini_hochberg(&p)) {
        record.p_value = record.shape.map(|_| adjusted);
        record.steps.iter_mut().for_each(|s| s.p_value = adjusted);
    }
    records
}

/// The record and the p-value of its shape, not adjusted yet.
fn of_load(
    station: u16,
    load: &str,
    readings: &[(&CheckReading, f64)],
    config: &Config,
) -> (LoadRecord, f64) {
    let values: Vec<f64> = readings.iter().map(|r| r.1).collect();
    let mut kept: BTreeMap<Day, Vec<f64>> = BTreeMap::new();
    let mut odd = Vec::new();
    for ((check, ma), usual) in readings.iter().zip(usual(&values)) {
        match usual {
            Some(usual_ma) => {
                odd.push(OddReading { time: check.time, day: check.day, reading_ma: *ma, usual_ma })
            }
            None => kept.entry(check.day).or_default().push(*ma),
        }
    }
    let points: Vec<(Day, f64)> =
        kept.iter().filter_map(|(day, all)| Some((*day, median(all)?))).collect();
    let day_points: Vec<DayPoint> = points
        .iter()
        .map(|(day, value_ma)| DayPoint {
            day: *day,
            value_ma: *value_ma,
            units: 1.0,
            humidity: None,
            temperature: None,
            lot: None,
        })
        .collect();
    // One test a day counts as one unit here.
    let baseline_units = f64::from(config.baseline_days);
    let options = DriftOptions { baseline_units, ..DriftOptions::new(config) };
    let volts: Vec<f64> = readings.iter().filter_map(|r| r.0.applied_v).collect();
    let hertz: Vec<f64> = readings.iter().filter_map(|r| r.0.leads_hertz).collect();
    let mohm = config.check_loads.get(load).and_then(|l| l.resistance_mohm).filter(|r| *r > 0.0);
    let drift = drift::assess(&day_points, &options);
    let latest: Vec<f64> = points.iter().rev().take(LATEST).map(|p| p.1).collect();
    let p_value = drift.p_value;
    let steps = drift.steps.into_iter().filter_map(|s| {
        let (day, day_low, day_high) = (s.day, s.day_low, s.day_high);
        Some(TesterStep { day, day_low, day_high, size_pct: s.size_pct?, p_value })
    });
    let record = LoadRecord {
        station,
        load: load.to_owned(),
        // V over MΩ is µA.
        expected_ma: median(&volts).zip(mohm).map(|(v, r)| v / r / 1000.0),
        with_leads_ma: None,
        drive: median(&volts)
            .zip(median(&hertz))
            .map(|(volts, hertz)| SeriesFacts { volts, hertz }),
        latest_ma: median(&latest),
        points,
        shape: drift.shape,
        p_value: drift.shape.map(|_| p_value),
        steps: steps.collect(),
        smallest_step_ma: drift.smallest_step_ma,
        odd,
    };
    (record, p_value)
}

/// For each reading that does not belong to its neighbours, what those read; `None` for one that does.
///
/// The scale is that of differences between readings next to each other, which a step in time leaves alone.
fn usual(values: &[f64]) -> Vec<Option<f64>> {
    let jumps: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    // 1.4826 makes a median size a standard deviation; a difference of two has twice the variance.
    let sd = 1.4826 * median(&jumps).unwrap_or(0.0) / std::f64::consts::SQRT_2;
    values
        .iter()
        .enumerate()
        .map(|(i, v)| {
            let from = i.saturating_sub(BESIDE);
            let to = (i + BESIDE + 1).min(values.len());
            let usual = median(&values[from..to])?;
            let far = (v - usual).abs() > (ODD_SD * sd).max(ODD_SHARE * usual);
            far.then_some(usual)
        })
        .collect()
}

/// Whether a check load ended as `expected` says: an outcome, `pass`, or `fail` for any failure. A failure of no
/// known class may be any of them.
pub fn right(outcome: Outcome, expected: &str) -> bool {
    match expected {
        "pass" => outcome == Outcome::Pass,
        "fail" => !matches!(outcome, Outcome::Pass | Outcome::NotCompleted),
        other if outcome == Outcome::Failed => other != Outcome::NotCompleted.words(),
        other => outcome.words() == other,
    }
}
