//! What did each month look like?

use super::axis::{day_text, decimals_of, number, percent};
use super::marks::LimitFrom;
use super::one_series::OneSeries;
use super::{
    Axis, Chart, ChartError, Dash, Heading, Layer, Panel, Point, Role, Scale, Shape, Whisker, at,
    steps,
};
use crate::analysis::month::table::Month;
use crate::day::days_of;
use crate::stats::estimate::Estimate;
use crate::words;

/// One month of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct MonthShown {
    /// First day of the month, days since 1970-01-01.
    pub first_day: i32,
    /// First day of the next month.
    pub end_day: i32,
    /// Units judged.
    pub units: u64,
    /// Median reading.
    pub median: f64,
    /// Lower end of the spread shown (5 % of the units read less).
    pub low: f64,
    /// Upper end of the spread shown (5 % read more).
    pub high: f64,
    /// Whether that end lies there at least: trips hide the rest.
    pub at_least: bool,
    /// Share of units rejected, with its interval.
    pub rejected: Estimate,
}

/// What the months chart needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Months {
    /// Name of the series, for people.
    pub series: String,
    /// Unit of all readings.
    pub unit: String,
    /// Reading step, for the decimals.
    pub step: f64,
    /// Months in order.
    pub months: Vec<MonthShown>,
    /// Limits in order.
    pub limits: Vec<LimitFrom>,
}

/// The months of one series.
pub fn from(series: &OneSeries<'_>) -> Months {
    Months {
        series: series.title.clone(),
        unit: series.unit.name.to_owned(),
        step: series.step(),
        months: shown(&series.finding.months, series.unit.factor),
        limits: series.limits(),
    }
}

/// Months of a series as the chart shows them, readings multiplied by `factor`; those with too few units are left
/// out.
pub fn shown(months: &[Month], factor: f64) -> Vec<MonthShown> {
    months
        .iter()
        .filter_map(|m| {
            let days = days_of(m.month);
            Some(MonthShown {
                first_day: days.start,
                end_day: days.end,
                units: m.units,
                median: factor * m.x50_ma?,
                low: factor * m.x05_ma?,
                high: factor * m.x95_ma?,
                at_least: m.x95_at_least,
                rejected: m.reject_share.clone()?,
            })
        })
        .collect()
}

/// The months chart: medians with their spread and the limits in force above, the share rejected below.
///
/// # Errors
/// `NothingToShow` without months; else those of [`Chart::check`].
pub fn chart(input: &Months) -> Result<Chart, ChartError> {
    let (Some(first), Some(last)) = (input.months.first(), input.months.last()) else {
        return Err(ChartError::NothingToShow { what: "months" });
    };
    super::finite(
        "a month's reading",
        input.months.iter().flat_map(|m| [m.median, m.low, m.high]),
    )?;
    super::finite("a limit", input.limits.iter().flat_map(|l| [l.high, l.low]).flatten())?;
    let decimals = decimals_of(input.step);
    let show = |v: f64| format!("{} {}", number(v, decimals), input.unit);
    let (start, end) = (f64::from(first.first_day), f64::from(last.end_day));
    let x = Axis::new("month", "", Scale::Date, start - 4.0, end + 4.0);

    let spread = || input.months.iter().flat_map(|m| [m.low, m.high]);
    let (high, high_beyond) = within_reach(spread(), input.limits.iter().filter_map(|l| l.high));
    let (low, low_beyond) = within_reach(spread(), input.limits.iter().filter_map(|l| l.low));
    let y = Axis::covering(
        "reading",
        &input.unit,
        Scale::Linear,
        spread().chain(high.into_iter().chain(low)),
        0.08,
    );

    let mut layers = vec![
        Layer::Whiskers {
            role: Role::Fit,
            name: Some("the middle 90 % of units".to_owned()),
            whiskers: input
                .months
                .iter()
                .map(|m| Whisker { x: middle(m), low: m.low, high: m.high })
                .collect(),
        },
        Layer::Line {
            role: Role::Fit,
            name: None,
            dash: Dash::Solid,
            points: input.months.iter().map(|m| at(middle(m), m.median)).collect(),
        },
        Layer::Points {
            role: Role::Fit,
            name: Some("median of the month".to_owned()),
            shape: Shape::Square,
            points: input.months.iter().map(|m| at(middle(m), m.median)).collect(),
        },
    ];
    let hidden: Vec<Point> =
        input.months.iter().filter(|m| m.at_least).map(|m| at(middle(m), m.high)).collect();
    if !hidden.is_empty() {
        layers.push(Layer::Points {
            role: Role::Typical,
            name: Some("its upper end at least, more units tripped".to_owned()),
            shape: Shape::Up,
            points: hidden,
        });
    }
    layers.extend(limit_steps(&input.limits, start, end, |l| l.high, Dash::Solid, "high limit"));
    layers.extend(limit_steps(&input.limits, start, end, |l| l.low, Dash::Dashed, "low limit"));
    layers.retain(|layer| seen(layer, &y));

    let change = last.median - first.median;
    let sign = if change > 0.0 { "+" } else { "" };
    let answer = format!(
        "median {} in {}, {sign}{} since {}",
        show(last.median),
        month_text(last),
        show(change),
        month_text(first)
    );
    let units: u64 = input.months.iter().map(|m| m.units).sum();
    let subtitle = format!(
        "{} units in {} months; {} over the limit in {}",
        number(units as f64, 0),
        input.months.len(),
        percent(last.rejected.value),
        month_text(last)
    );
    let mut notes = beyond_notes("High limit", &high_beyond, &show);
    notes.extend(beyond_notes("Low limit", &low_beyond, &show));
    let fewest = input.months.iter().map(|m| m.units).min().unwrap_or(0);
    notes.push(format!("Units per month: {} or more.", number(fewest as f64, 0)));
    let panels = vec![
        Panel { x: None, y, layers, beside: Vec::new(), share: 1.0 },
        rejects(input, first.rejected.level),
    ];
    Chart::new(Heading::about(&input.series, &answer, &subtitle), x, panels, notes)
}

/// The middle of a month.
fn middle(m: &MonthShown) -> f64 {
    f64::midpoint(f64::from(m.first_day), f64::from(m.end_day))
}

/// The share rejected month by month, with intervals of this level.
fn rejects(input: &Months, level: f64) -> Panel {
    let y = Axis::covering(
        "units over the limit",
        "%",
        Scale::Linear,
        input
            .months
            .iter()
            .flat_map(|m| [m.rejected.value * 100.0, m.rejected.high * 100.0])
            .chain([0.0, 0.1]),
        0.08,
    )
    .from(0.0);
    let layers = vec![
        Layer::Whiskers {
            role: Role::Limit,
            name: None,
            whiskers: input
                .months
                .iter()
                .map(|m| Whisker {
                    x: middle(m),
                    low: m.rejected.low * 100.0,
                    high: m.rejected.high * 100.0,
                })
                .collect(),
        },
        Layer::Points {
            role: Role::Limit,
            name: Some(format!(
                "share over the limit, with its {} interval",
                words::percent(level)
            )),
            shape: Shape::Diamond,
            points: input.months.iter().map(|m| at(middle(m), m.rejected.value * 100.0)).collect(),
        },
    ];
    Panel { x: None, y, layers, beside: Vec::new(), share: 0.5 }
}

fn month_text(month: &MonthShown) -> String {
    day_text(month.first_day).chars().take(7).collect()
}

/// Splits limits into those near enough to be drawn without squashing the data, and those beyond:
/// further from the data than one and a half times their range.
pub(super) fn within_reach(
    data: impl Iterator<Item = f64>,
    limits: impl Iterator<Item = f64>,
) -> (Vec<f64>, Vec<f64>) {
    let (low, high) =
        data.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    let range = (high - low).max(high.abs() * 0.02);
    limits.partition(|l| *l < high + 1.5 * range && *l > low - 1.5 * range)
}

/// Says where limits lie that are not on the chart; `what` they are, in the singular.
pub(super) fn beyond_notes(
    what: &str,
    beyond: &[f64],
    show: &dyn Fn(f64) -> String,
) -> Vec<String> {
    let mut values = beyond.to_vec();
    values.sort_by(f64::total_cmp);
    values.dedup();
    if values.is_empty() {
        return Vec::new();
    }
    let words: Vec<String> = values.iter().map(|v| show(*v)).collect();
    let many = if values.len() == 1 { "" } else { "s" };
    vec![format!(
        "{what}{many} beyond the edge of this chart, so that the readings can be seen: {}.",
        words.join(", ")
    )]
}

/// True where a layer has a point on the axis, and so something to show and to name in the legend.
pub(super) fn seen(layer: &Layer, y: &Axis) -> bool {
    match layer {
        Layer::Line { points, .. } => points.iter().any(|p| y.holds(p.y)),
        _ => true,
    }
}

/// One staircase for each stretch of days on which there was such a limit.
pub(super) fn limit_steps(
    limits: &[LimitFrom],
    start: f64,
    end: f64,
    of: impl Fn(&LimitFrom) -> Option<f64>,
    dash: Dash,
    name: &str,
) -> Vec<Layer> {
    let mut layers = Vec::new();
    let mut run: Vec<Point> = Vec::new();
    for limit in limits {
        let day = f64::from(limit.day).max(start);
        match of(limit) {
            Some(value) => {
                // Of several limits before the first day shown, only the last was still in force.
                run.retain(|p| p.x < day);
                run.push(at(day, value));
            }
            None if !run.is_empty() => {
                layers.push(steps(Role::Limit, Some(name.to_owned()), dash, &run, day));
                run.clear();
            }
            None => {}
        }
    }
    if !run.is_empty() {
        layers.push(steps(Role::Limit, Some(name.to_owned()), dash, &run, end));
    }
    layers
}
