//! Findings → charts of the whole plant: stations, check loads, and the movement of all series.

use super::build::Parts;
use super::chart::drift::{EventOn, OnDay, StepOn};
use super::chart::over_time::{self, Between, OverTime, Row};
use super::chart::room_used::{self, RoomUsed, Series};
use super::chart::{Chart, ChartError, style};
use super::format::words;
use super::model::Report;
use crate::day::{Day, day_number};
use crate::movement::readings::ma;
use crate::stats::trend::median;

/// Days before and after of which a point of the overview is the median.
const SMOOTH: Day = 5;
/// Points of the end that make the level now.
const LATEST: usize = 20;

/// Stations side by side: the offset of each, month by month.
pub(super) fn of_stations(parts: &Parts<'_>, report: &Report) -> Result<Chart, ChartError> {
    let middle = |month: &str| -> Option<i32> {
        let first = chrono::NaiveDate::parse_from_str(&format!("{month}-15"), "%Y-%m-%d").ok()?;
        Some(day_number(first))
    };
    let rows: Vec<Row> = report
        .stations
        .iter()
        .map(|s| Row {
            name: style::printable(&s.station, "station"),
            beside: s
                .offset_pct
                .as_ref()
                .map_or_else(String::new, |e| format!("now {:+.1} %", e.value)),
            estimates: s
                .months
                .iter()
                .filter_map(|m| {
                    Some(Between {
                        day: middle(&m.month)?,
                        value: m.offset_pct.value,
                        low: m.offset_pct.low,
                        high: m.offset_pct.high,
                    })
                })
                .collect(),
            readings: Vec::new(),
            odd: Vec::new(),
            should: Some(0.0),
            steps: s
                .moved
                .iter()
                .map(|m| StepOn {
                    day: day_number(m.date),
                    low: day_number(m.date_low),
                    high: day_number(m.date_high),
                    size: format!("{:+.2} %", m.size_pct.value),
                })
                .collect(),
            events: events_at(parts, &s.station),
        })
        .collect();
    let moved: Vec<String> = report
        .stations
        .iter()
        .flat_map(|s| {
            s.moved.iter().map(move |m| {
                format!("{} moved by {:+.2} % on {}", s.station, m.size_pct.value, m.date)
            })
        })
        .collect();
    let differ: Vec<&str> =
        report.stations.iter().filter(|s| s.flagged).map(|s| s.station.as_str()).collect();
    let title = match (moved.as_slice(), differ.as_slice()) {
        ([], []) => "No station differs from the others".to_owned(),
        ([], differ) => format!("{} reads differently from the others", differ.join(", ")),
        (moved, []) => moved.join("; "),
        (moved, differ) => format!("{}; {} reads differently", moved.join("; "), differ.join(", ")),
    };
    let reference = match &parts.movement.stations {
        Ok(found) => parts.pass.plant.stations[found.reference].as_str(),
        Err(_) => "",
    };
    over_time::chart(&OverTime {
        title: style::printable(&title, "Stations side by side"),
        subtitle: format!(
            "One per cent over all models; against {}, the plant's middle station",
            style::printable(reference, "the reference")
        ),
        unit: "%".to_owned(),
        estimates_are: "offset of the month with its 95 % interval".to_owned(),
        readings_are: String::new(),
        should_is: "reference".to_owned(),
        rows,
    })
}

/// Calibrations and events of one station.
fn events_at(parts: &Parts<'_>, station: &str) -> Vec<EventOn> {
    let calibrated = parts
        .findings
        .calibrations
        .iter()
        .flatten()
        .filter(|c| c.calibration.station == station)
        .map(|c| EventOn {
            day: c.calibration.done_on,
            what: style::printable(
                &format!("{} calibrated", c.calibration.instrument),
                "calibrated",
            ),
        });
    let (first, last) = parts.pass.plant.days.unwrap_or((0, 0));
    calibrated.filter(|e| (first..=last).contains(&e.day)).collect()
}

/// What every check load read over time.
pub(super) fn of_check_loads(parts: &Parts<'_>, report: &Report) -> Result<Chart, ChartError> {
    let mut moved = Vec::new();
    let rows: Vec<Row> = parts
        .findings
        .check_records
        .iter()
        .map(|r| {
            let station = &parts.pass.plant.stations[usize::from(r.station)];
            let on = |day: Day, value: f64| OnDay { day, value };
            let steps: Vec<StepOn> = r
                .drift
                .steps
                .iter()
                .filter_map(|s| {
                    Some(StepOn {
                        day: s.day,
                        low: s.day_low,
                        high: s.day_high,
                        size: format!("{:+.1} %", s.size_pct.as_ref()?.value),
                    })
                })
                .collect();
            moved.extend(steps.iter().map(|s| {
                format!(
                    "{} at {station} moved by {} on {}",
                    r.load,
                    s.size,
                    super::chart::axis::day_text(s.day)
                )
            }));
            Row {
                name: style::printable(station, "station"),
                beside: r.latest_ma.map_or_else(String::new, |m| format!("now {m:.3} mA")),
                estimates: Vec::new(),
                readings: r.points.iter().map(|p| on(p.0, p.1)).collect(),
                odd: r.odd.iter().map(|o| on(o.check.day, o.reading_ma)).collect(),
                should: r.expected_ma,
                steps,
                events: events_at(parts, station),
            }
        })
        .collect();
    let odd: u64 =
        report.checks.iter().flatten().flat_map(|c| &c.loads).map(|l| l.odd.len() as u64).sum();
    let title = match moved.len() {
        0 if odd == 0 => "No check load moved".to_owned(),
        0 => format!("No check load moved; {odd} passed at an odd reading"),
        _ => moved.join("; "),
    };
    let loads: std::collections::BTreeSet<&str> =
        parts.findings.check_records.iter().map(|r| r.load.as_str()).collect();
    over_time::chart(&OverTime {
        title: style::printable(&title, "Check loads"),
        subtitle: style::printable(
            &format!(
                "{}: a load moves with the tester and with nothing else",
                loads.into_iter().collect::<Vec<_>>().join(", ")
            ),
            "A load moves with the tester and with nothing else",
        ),
        unit: "mA".to_owned(),
        estimates_are: String::new(),
        readings_are: "median of the day's checks".to_owned(),
        should_is: "what the load draws by its resistance".to_owned(),
        rows,
    })
}

/// The movement of all series, in shares of the room that the baseline had.
pub(super) fn of_movement(parts: &Parts<'_>, report: &Report) -> Result<Chart, ChartError> {
    let series = report
        .series
        .iter()
        .enumerate()
        .filter_map(|(n, s)| {
            let moved = &parts.movement.series[n];
            let value = |i: usize| {
                // Where the room's air explains the movement, what is left of it.
                if moved.drift.room_allowed_for && moved.drift.flat_ma.len() == moved.points.len() {
                    moved.drift.flat_ma[i]
                } else {
                    moved.points[i].value_ma
                }
            };
            let values: Vec<f64> = (0..moved.points.len()).map(value).collect();
            let baseline =
                median(&values[..values.len().min(parts.config.baseline_days as usize)])?;
            let room =
                moved.limits.now.high_pa.map(|pa| ma(pa) - baseline).filter(|room| *room > 0.0);
            let whole = room.unwrap_or(baseline);
            if whole <= 0.0 {
                return None;
            }
            let used: Vec<OnDay> = moved
                .points
                .iter()
                .map(|p| {
                    let near: Vec<f64> = moved
                        .points
                        .iter()
                        .zip(&values)
                        .filter(|(q, _)| (q.day - p.day).abs() <= SMOOTH)
                        .map(|(_, v)| *v)
                        .collect();
                    OnDay {
                        day: p.day,
                        value: (median(&near).unwrap_or(baseline) - baseline) / whole,
                    }
                })
                .collect();
            let now = (median(&values[values.len().saturating_sub(LATEST)..])? - baseline) / whole;
            let shape = s.drift.shape.as_deref().map_or_else(String::new, words);
            Some(Series {
                name: style::printable(&s.title, &format!("series {}", n + 1)),
                used,
                now,
                flagged: s.drift.flagged,
                words: if room.is_some() { shape } else { format!("{shape}, of its reading") },
            })
        })
        .collect();
    room_used::chart(&RoomUsed {
        baseline: format!("its first {} points", parts.config.baseline_days),
        series,
    })
}
