//! How does each station read against the others, and what did its check load read? One panel for each, on one
//! scale and one line of time.

use std::collections::BTreeSet;

use super::axis::{day_text, number};
use super::drift::{event_rule, step_rule, step_zone};
use super::marks::{EventOn, OnDay, StepOn};
use super::style::printable;
use super::{
    Axis, Chart, ChartError, Dash, Heading, Layer, Panel, Role, Scale, Shape, Whisker, at,
};
use crate::analysis::body::forecast::DayEstimate;
use crate::analysis::units::checks::StationChecks;
use crate::day::day_number;
use crate::movement::check_record::LoadRecord;
use crate::movement::stations::TesterStep;
use crate::review::Review;
use crate::stats::numeric::median;
use crate::verdict::tester::StationVerdict;
use crate::words::{percent, three_digits};

/// Most panels of one picture.
const PANELS: usize = 8;

/// One panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Whose values these are, for the axis.
    pub name: String,
    /// In words at the right edge; may be empty.
    pub beside: String,
    /// Values with intervals, joined by a line.
    pub estimates: Vec<DayEstimate>,
    /// Single readings.
    pub readings: Vec<OnDay>,
    /// Readings that do not belong.
    pub odd: Vec<OnDay>,
    /// What it should be.
    pub should: Option<f64>,
    /// What that is, for the legend.
    pub should_is: String,
    /// How it is drawn.
    pub should_dash: Dash,
    /// Days on which there should be a reading and is none.
    pub missing: Vec<i32>,
    /// Steps in time.
    pub steps: Vec<StepOn>,
    /// Recorded events.
    pub events: Vec<EventOn>,
}

/// What the chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct OverTime {
    /// The answer.
    pub title: String,
    /// What it is about.
    pub subtitle: String,
    /// Unit of all values.
    pub unit: String,
    /// What the estimates are, for the legend; their level is added.
    pub estimates_are: String,
    /// What the readings are, for the legend.
    pub readings_are: String,
    /// What missing days are, for the legend.
    pub missing_are: String,
    /// Panels, top to bottom.
    pub rows: Vec<Row>,
}

/// Stations side by side: the offset of each, month by month.
pub fn of_stations(report: &Review) -> OverTime {
    let row = |s: &StationVerdict| Row {
        name: printable(&s.station, "station"),
        beside: s
            .offset_pct
            .as_ref()
            .map_or_else(String::new, |e| format!("now {}", signed(e.value))),
        estimates: s
            .months
            .iter()
            .filter_map(|m| {
                let middle = chrono::NaiveDate::from_ymd_opt(m.month.0, m.month.1, 15)?;
                Some(DayEstimate { day: day_number(middle), estimate: m.offset_pct.clone() })
            })
            .collect(),
        readings: Vec::new(),
        odd: Vec::new(),
        should: Some(0.0),
        should_is: "reference".to_owned(),
        should_dash: Dash::Dashed,
        missing: Vec::new(),
        steps: s.moved.iter().map(|m| step_on(&m.step, 2)).collect(),
        events: calibrations_at(report, &s.station),
    };
    let moved: Vec<String> = report
        .stations
        .iter()
        .flat_map(|s| s.moved.iter().map(move |m| (s, &m.step)))
        .map(|(s, m)| {
            let on = day_text(m.day);
            format!("{} moved by {:+.2} % on {on}", s.station, m.size_pct.value)
        })
        .collect();
    let flagged = report.stations.iter().filter(|s| s.flagged);
    let differ: Vec<&str> = flagged.map(|s| s.station.as_str()).collect();
    let title = match (moved.as_slice(), differ.as_slice()) {
        ([], []) => "No station differs from the others".to_owned(),
        ([], differ) => format!("{} reads differently from the others", differ.join(", ")),
        (moved, []) => moved.join("; "),
        (moved, differ) => format!("{}; {} reads differently", moved.join("; "), differ.join(", ")),
    };
    let reference = report.stations.iter().find(|s| s.is_reference);
    OverTime {
        title: printable(&title, "Stations side by side"),
        subtitle: format!(
            "One per cent over all models; against {}, the plant's middle station",
            printable(reference.map_or("", |s| &s.station), "the reference")
        ),
        unit: "%".to_owned(),
        estimates_are: "offset of the month".to_owned(),
        readings_are: String::new(),
        missing_are: String::new(),
        rows: report.stations.iter().map(row).collect(),
    }
}

/// A check load's record in per cent from what it should read; from what it usually reads where that is not known.
fn load_row(report: &Review, checks: &StationChecks, r: &LoadRecord) -> Option<Row> {
    let usual = || median(&r.points.iter().map(|p| p.1).collect::<Vec<_>>());
    let should = r.should_read_ma().or_else(usual).filter(|ma| *ma > 0.0)?;
    let should_is = match (r.with_leads_ma, r.expected_ma) {
        (Some(_), _) => "what the load with its leads should read",
        (None, Some(_)) => "what the load draws by its resistance; its leads are not known",
        (None, None) => "what the load usually reads; its resistance is not known",
    };
    let pct = |ma: f64| 100.0 * (ma / should - 1.0);
    let on = |day: i32, ma: f64| OnDay { day, value: pct(ma) };
    let now = |ma: f64| format!("now {} of {} mA", signed(pct(ma)), three_digits(should));
    Some(Row {
        name: printable(&checks.station, "station"),
        beside: r.latest_ma.map_or_else(String::new, now),
        estimates: Vec::new(),
        readings: r.points.iter().map(|p| on(p.0, p.1)).collect(),
        odd: r.odd.iter().map(|o| on(o.day, o.reading_ma)).collect(),
        should: Some(0.0),
        should_is: should_is.to_owned(),
        should_dash: if r.with_leads_ma.is_some() { Dash::Dashed } else { Dash::Dotted },
        missing: checks.days_without.clone(),
        steps: r.steps.iter().map(|s| step_on(s, 1)).collect(),
        events: calibrations_at(report, &checks.station),
    })
}

/// What every check load read.
pub fn of_check_loads(report: &Review) -> OverTime {
    let records: Vec<(&StationChecks, &LoadRecord)> =
        report.checks.iter().flatten().flat_map(|c| c.loads.iter().map(move |l| (c, l))).collect();
    let moved: Vec<String> = records
        .iter()
        .flat_map(|(checks, r)| r.steps.iter().map(move |s| (&checks.station, r, s)))
        .map(|(station, r, s)| {
            let (size, on) = (step_on(s, 1).size, day_text(s.day));
            format!("{} at {station} moved by {size} on {on}", r.load)
        })
        .collect();
    let odd: usize = records.iter().map(|(_, r)| r.odd.len()).sum();
    let title = match moved.len() {
        0 if odd == 0 => "No check load moved".to_owned(),
        0 => format!("No check load moved; {odd} passed at an odd reading"),
        _ => moved.join("; "),
    };
    let loads: BTreeSet<&str> = records.iter().map(|(_, r)| r.load.as_str()).collect();
    let loads: Vec<&str> = loads.into_iter().collect();
    OverTime {
        title: printable(&title, "Check loads"),
        subtitle: printable(
            &format!("{}: a load moves with the tester and with nothing else", loads.join(", ")),
            "A load moves with the tester and with nothing else",
        ),
        unit: "%".to_owned(),
        estimates_are: String::new(),
        readings_are: "median of the day's checks".to_owned(),
        missing_are: "production days without a check".to_owned(),
        rows: records.iter().filter_map(|(checks, r)| load_row(report, checks, r)).collect(),
    }
}

/// Per cent, signed: `+0.4 %`.
fn signed(pct: f64) -> String {
    let text = number(pct, 1);
    format!("{}{text} %", if pct > 0.0 && text != "0.0" { "+" } else { "" })
}

fn step_on(step: &TesterStep, decimals: usize) -> StepOn {
    StepOn {
        day: step.day,
        low: step.day_low,
        high: step.day_high,
        size: format!("{:+.decimals$} %", step.size_pct.value),
    }
}

/// Calibrations of one station within the record.
fn calibrations_at(report: &Review, station: &str) -> Vec<EventOn> {
    let (first, last) = (day_number(report.from), day_number(report.to));
    let all = report.calibration.iter().flatten().map(|c| &c.covered);
    all.filter(|c| c.station == station && (first..=last).contains(&c.done_on))
        .map(|c| EventOn {
            day: c.done_on,
            what: printable(&format!("{} calibrated", c.instrument), "calibrated"),
        })
        .collect()
}

/// What the estimates are, with the level of their intervals.
fn with_level(what: &str, estimates: &[DayEstimate]) -> String {
    let level = estimates.first().map_or(0.0, |e| e.estimate.level);
    format!("{what} with its {} interval", percent(level))
}

/// The chart: rows beyond the eighth are named in a note.
///
/// # Errors
/// `NothingToShow` without values; else those of [`Chart::check`].
pub fn chart(input: &OverTime) -> Result<Chart, ChartError> {
    let rows: Vec<&Row> =
        input.rows.iter().filter(|r| !r.estimates.is_empty() || !r.readings.is_empty()).collect();
    let left_out: Vec<&str> = rows.iter().skip(PANELS).map(|r| r.name.as_str()).collect();
    let rows = &rows[..rows.len().min(PANELS)];
    let days = |r: &Row| -> Vec<i32> {
        let read = r.readings.iter().map(|p| p.day);
        r.estimates.iter().map(|e| e.day).chain(read).chain(r.missing.iter().copied()).collect()
    };
    let all: Vec<i32> = rows.iter().flat_map(|r| days(r)).collect();
    let (Some(first), Some(last)) = (all.iter().min(), all.iter().max()) else {
        return Err(ChartError::NothingToShow { what: "values over time" });
    };
    let ends = [f64::from(*first), f64::from(*last)];
    let x = Axis::covering("day", "", Scale::Date, ends, 0.02);
    let values = rows.iter().flat_map(|r| {
        r.estimates
            .iter()
            .flat_map(|e| [e.estimate.low, e.estimate.high])
            .chain(r.readings.iter().map(|p| p.value))
            .chain(r.should)
    });
    let range = Axis::covering("", &input.unit, Scale::Linear, values, 0.10);
    let few = few_ticks(&range);
    let mut odd = Vec::new();
    let panels = rows
        .iter()
        .map(|row| {
            let y = Axis { title: format!("{} ({})", row.name, input.unit), ..range.clone() }
                .with_ticks(few.clone());
            for o in row.odd.iter().filter(|o| !y.holds(o.value)) {
                odd.push(format!(
                    "{} {} {} on {}",
                    row.name,
                    number(o.value, 1),
                    input.unit,
                    day_text(o.day)
                ));
            }
            panel(input, row, y)
        })
        .collect();
    let mut notes = Vec::new();
    if !odd.is_empty() {
        let more = odd.len().saturating_sub(4);
        odd.truncate(4);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        notes.push(format!("Beyond the edge of this chart: {}{more}.", odd.join("; ")));
    }
    if !left_out.is_empty() {
        notes.push(format!("Not drawn: {}.", left_out.join(", ")));
    }
    let heading = Heading::new(input.title.clone(), input.subtitle.clone());
    let mut chart = Chart::new(heading, x, panels, notes)?;
    chart.height = 330 + 215 * u32::try_from(rows.len()).unwrap_or(1).max(3);
    Ok(chart)
}

/// At most three ticks, as low panels have room for: nothing at all, and the ends that lie far enough from it.
fn few_ticks(range: &Axis) -> Vec<super::Tick> {
    let all = range.ticks(8);
    let (Some(first), Some(last)) = (all.first(), all.last()) else { return all };
    let far = |t: &&super::Tick| t.at.abs() > 0.25 * (range.high - range.low);
    let zero = all.iter().filter(|t| t.at == 0.0);
    let mut few: Vec<_> = [first, last].into_iter().filter(far).chain(zero).cloned().collect();
    few.sort_by(|a, b| a.at.total_cmp(&b.at));
    few.dedup();
    few
}

fn panel(input: &OverTime, row: &Row, y: Axis) -> Panel {
    let mut layers: Vec<Layer> = row.steps.iter().map(step_zone).collect();
    if let Some(should) = row.should {
        layers.push(Layer::Line {
            role: Role::Typical,
            name: Some(row.should_is.clone()),
            dash: row.should_dash,
            points: [f64::from(i32::MIN / 4), f64::from(i32::MAX / 4)]
                .map(|day| at(day, should))
                .to_vec(),
        });
    }
    if !row.readings.is_empty() {
        layers.push(Layer::Points {
            role: Role::Reading,
            name: Some(input.readings_are.clone()),
            shape: Shape::Disc,
            points: row.readings.iter().map(|p| at(f64::from(p.day), p.value)).collect(),
        });
    }
    if !row.missing.is_empty() {
        // At the floor: they have no reading.
        let floor = y.low + 0.1 * (y.high - y.low);
        layers.push(Layer::Points {
            role: Role::Breakdown,
            name: Some(input.missing_are.clone()),
            shape: Shape::Up,
            points: row.missing.iter().map(|day| at(f64::from(*day), floor)).collect(),
        });
    }
    if !row.estimates.is_empty() {
        layers.push(Layer::Whiskers {
            role: Role::Fit,
            name: None,
            whiskers: row
                .estimates
                .iter()
                .map(|e| Whisker {
                    x: f64::from(e.day),
                    low: e.estimate.low,
                    high: e.estimate.high,
                })
                .collect(),
        });
        let points = || -> Vec<_> {
            row.estimates.iter().map(|e| at(f64::from(e.day), e.estimate.value)).collect()
        };
        layers.push(Layer::Line {
            role: Role::Fit,
            name: None,
            dash: Dash::Solid,
            points: points(),
        });
        layers.push(Layer::Points {
            role: Role::Fit,
            name: Some(with_level(&input.estimates_are, &row.estimates)),
            shape: Shape::Square,
            points: points(),
        });
    }
    let odd: Vec<_> = row
        .odd
        .iter()
        .filter(|o| y.holds(o.value))
        .map(|o| at(f64::from(o.day), o.value))
        .collect();
    if !odd.is_empty() {
        layers.push(Layer::Points {
            role: Role::Stray,
            name: Some("readings that do not belong".to_owned()),
            shape: Shape::Cross,
            points: odd,
        });
    }
    layers.extend(row.steps.iter().map(step_rule));
    // What is recorded on the day of a step stands with it already.
    let beside_step =
        |e: &&EventOn| !row.steps.iter().any(|s| (s.low - 3..=s.high + 3).contains(&e.day));
    layers.extend(row.events.iter().filter(beside_step).map(event_rule));
    let beside = if row.beside.is_empty() {
        Vec::new()
    } else {
        vec![super::Tick { at: f64::midpoint(y.low, y.high), label: row.beside.clone() }]
    };
    Panel { x: None, y, layers, beside, share: 1.0 }
}
