//! Findings → charts: which charts a report has, and what each shows.

use rayon::prelude::*;

use super::body_pictures::{self, family_words};
use super::build::Parts;
use super::chart::axis::{counted, day_text, decimals_of, number, percent};
use super::chart::distribution::{self, Distribution, TallyLine, Trips};
use super::chart::drift::{self, Average, Crossing, EventOn, Forecast, OnDay, StepOn};
use super::chart::failures::{self, Failures, Marked};
use super::chart::ladder::{self, Ladder, Rung};
use super::chart::months::{self, LimitFrom, Months};
use super::chart::over_time;
use super::chart::probability::{self, Probability, ProbabilityScale};
use super::chart::room_used;
use super::chart::unit::Unit;
use super::chart::{Chart, ChartError, draw, style};
use super::format::whole;
use super::model::Report;
use crate::analysis::body::describe::{Body, Which};
use crate::analysis::body::healthy::Healthy;
use crate::analysis::jump::{Jump, Scope as Where};
use crate::analysis::units::causes::without;
use crate::day::{Day, date_of, day_number};
use crate::movement::drift::Shape;
use crate::movement::readings::{Reading, ma};
use crate::series::Says;
use crate::stats::distribution::Family;
use crate::stats::mixture::Component;
use crate::verdict::jump::JudgedJump;
use crate::verdict::plant::SeriesVerdict;

/// A chart of the report: its file, what it answers, and its ink.
#[derive(Debug)]
pub struct Picture {
    /// The series it belongs to; `None` for the whole plant.
    pub series: Option<usize>,
    /// Path relative to the report.
    pub path: String,
    /// What it answers, for its alternative text.
    pub question: String,
    /// The PNG, or why there is none.
    pub png: Result<Vec<u8>, ChartError>,
}

/// Makes one chart of a series.
type Maker = fn(&Parts<'_>, usize, &str, &Unit) -> Result<Chart, ChartError>;

/// Makes one chart of the whole plant.
type PlantMaker = fn(&Parts<'_>, &Report) -> Result<Chart, ChartError>;

/// The charts of the whole plant: name, question and maker.
const OF_PLANT: [(&str, &str, PlantMaker); 4] = [
    ("limits", "Where does each limit lie?", |parts, _| of_limits(parts)),
    ("movement", "How did each series move?", |parts, report| {
        room_used::chart(&room_used::from(parts.movement, report))
    }),
    ("stations", "How does each station read against the others?", |_, report| {
        over_time::chart(&over_time::of_stations(report))
    }),
    ("check-loads", "What did the check loads read?", |_, report| {
        over_time::chart(&over_time::of_check_loads(report))
    }),
];

/// One chart to be made.
enum Job {
    Series(usize, Maker),
    Plant(PlantMaker),
}

/// The charts of every series: name, question and maker.
const OF_SERIES: [(&str, &str, Maker); 5] = [
    (
        "distribution",
        "What do healthy units read, and where is the limit?",
        |parts, n, title, _| of_distribution(parts, n, title),
    ),
    ("probability", "How well does the fitted body describe the readings?", of_probability),
    ("months", "What changed from month to month?", of_months),
    ("drift", "Is it moving, and when will it matter?", of_drift),
    ("failures", "How often does it fail, and since when?", of_failures),
];

/// Draws every chart, in parallel.
#[must_use]
pub fn pictures(parts: &Parts<'_>, report: &Report) -> Vec<Picture> {
    let mut jobs: Vec<(String, String, Job)> = OF_PLANT
        .into_iter()
        .filter(|(name, ..)| asked_for(name, report))
        .map(|(name, question, maker)| {
            (format!("charts/{name}.png"), question.to_owned(), Job::Plant(maker))
        })
        .collect();
    for (n, series) in report.series.iter().enumerate() {
        for (name, question, maker) in OF_SERIES {
            jobs.push((
                format!("charts/{}-{name}.png", series.named.id),
                question.to_owned(),
                Job::Series(n, maker),
            ));
        }
    }
    jobs.into_par_iter()
        .map(|(path, question, job)| {
            let (series, chart) = match job {
                Job::Series(n, make) => {
                    let title = style::printable(
                        &report.series[n].named.title,
                        &format!("series {}", n + 1),
                    );
                    (Some(n), make(parts, n, &title, &Unit::of(typical(parts, n))))
                }
                Job::Plant(make) => (None, make(parts, report)),
            };
            Picture { series, path, question, png: chart.and_then(|c| draw::png(&c)) }
        })
        .collect()
}

/// Whether the plant has what a chart of it shows: one station has no others, and no load no record.
fn asked_for(name: &str, report: &Report) -> bool {
    match name {
        "stations" => report.stations.iter().any(|s| !s.months.is_empty()),
        "check-loads" => report.checks.iter().flatten().any(|c| !c.loads.is_empty()),
        _ => true,
    }
}

fn typical(parts: &Parts<'_>, n: usize) -> f64 {
    let finding = &parts.findings.series[n];
    finding
        .healthy
        .as_ref()
        .ok()
        .and_then(|h| h.quantiles[1].as_ref())
        .map(|q| q.value)
        .or_else(|| parts.movement.series[n].points.last().map(|p| p.value_ma))
        .unwrap_or(1.0)
}

fn period_words(from: Day, to: Day) -> String {
    format!("{} to {}", day_text(from), day_text(to))
}

/// The distribution of one series.
pub(super) fn of_distribution(
    parts: &Parts<'_>,
    n: usize,
    title: &str,
) -> Result<Chart, ChartError> {
    let scale = &Unit::of(typical(parts, n));
    let finding = &parts.findings.series[n];
    let moved = &parts.movement.series[n];
    let verdict = &parts.verdicts[n];
    let judge = &finding.period;
    let inside = |r: &&Reading| (judge.from..=judge.to).contains(&r.day);
    let kept = without(parts.pass, n, &moved.readings, &finding.causes);
    let units = |readings: &[Reading]| readings.iter().filter(inside).map(|r| r.count).sum::<f64>();
    let left_out = units(&moved.readings) - units(&kept);
    let healthy = finding.healthy.as_ref().ok();
    // Strays of a carried body are those of another day's level: the list over all history is right there.
    let listed: Vec<(u16, i64, Day)> = finding
        .strays
        .units
        .iter()
        .map(|u| (u.test.station, u.test.reading_pa.unwrap_or(0), u.test.day))
        .collect();
    let stray = |r: &Reading| match healthy.filter(|h| h.lines.is_none()) {
        Some(h) => body_pictures::stray(&h.body, r.observation()),
        None => {
            crate::series::ma_to_pa(r.ma).is_some_and(|pa| listed.contains(&(r.station, pa, r.day)))
        }
    };
    let tally: Vec<TallyLine> = kept
        .iter()
        .filter(inside)
        .filter(|r| r.says == Says::Value)
        .map(|r| TallyLine {
            reading: scale.of_ma(r.ma),
            step: scale.of_ma(r.step_ma),
            count: whole(r.count),
            stray: stray(r),
        })
        .collect();
    let beyond = |says: Says| {
        let mut found: Vec<Trips> = Vec::new();
        for r in kept.iter().filter(inside).filter(|r| r.says == says) {
            let count = whole(r.count);
            let limit = scale.of_ma(r.ma);
            match found.iter_mut().find(|t| t.limit == limit) {
                Some(t) => t.count += count,
                None => found.push(Trips { limit, count }),
            }
        }
        found
    };
    // A body carried to the last day is not the density of the whole period.
    let fitted = healthy.filter(|h| h.lines.is_none()).map(|h| &h.body);
    let names = fitted.map(|body| group_names_of(parts, n, body, scale));
    let body_units = fitted.map_or(0.0, body_pictures::body_units);
    let in_use = healthy.and_then(|h| verdict_bounds(h, scale));
    let mut notes = Vec::new();
    if left_out >= 0.5 {
        let levels: Vec<String> = finding
            .causes
            .iter()
            .map(|c| style::printable(&format!("{} {}", c.factor, c.level), &c.factor))
            .collect();
        notes.push(format!(
            "Left out: {} of {}, whose failures stand out.",
            counted(whole(left_out), "unit"),
            levels.join(", ")
        ));
    }
    distribution::chart(&Distribution {
        series: title.to_owned(),
        verdict: verdict.limits.high.kind,
        period: period_words(judge.from, judge.to),
        unit: scale.name.to_owned(),
        step: scale.of_ma(finding.step_ma),
        tally,
        trips: beyond(Says::Above),
        under: beyond(Says::Below),
        density: fitted.map_or_else(Vec::new, |body| body_pictures::density(body, scale.factor)),
        body_units,
        fit: fitted.map_or_else(String::new, |body| match &body.groups {
            Some(_) => "healthy body: two groups together".to_owned(),
            None if body.families_fail() => {
                format!("body ({} has most weight): not used", family_words(body))
            }
            None => format!("healthy body ({} has most weight)", family_words(body)),
        }),
        groups: fitted
            .zip(names.as_ref())
            .map_or_else(Vec::new, |(body, names)| body_pictures::parts(body, names, scale.factor)),
        tail: fitted.map_or_else(Vec::new, |body| {
            body_pictures::tail_density(body, body_units, scale.factor)
        }),
        typical: healthy.and_then(|h| h.quantiles[1].as_ref()).map(|q| scale.of_ma(q.value)),
        high_limit: moved.limits.now.high_pa.map(|pa| scale.of_ma(ma(pa))),
        low_limit: moved.limits.now.low_pa.map(|pa| scale.of_ma(ma(pa))),
        tail_bounds: in_use,
        band: verdict
            .limits
            .high
            .band_low_ma
            .zip(verdict.limits.high.band_high_ma)
            .map(|(a, b)| (scale.of_ma(a), scale.of_ma(b)))
            .filter(|(a, b)| a.is_finite() && b.is_finite()),
        open_lead: finding.open_lead_ma.map(|x| scale.of_ma(x)),
        notes,
    })
}

/// The bounds that the verdict uses of the reading that all but the accepted share stay under.
fn verdict_bounds(h: &Healthy, scale: &Unit) -> Option<(f64, f64)> {
    let t = match h.in_use.as_ref().ok()? {
        Which::Apart => h.apart.as_ref(),
        Which::Together => h.together.as_ref(),
    }?;
    let pair = (scale.of_ma(t.lower_ma), scale.of_ma(t.upper_ma));
    (pair.0.is_finite() && pair.1.is_finite()).then_some(pair)
}

fn group_names_of(parts: &Parts<'_>, n: usize, body: &Body, scale: &Unit) -> [String; 2] {
    let Some(two) = &body.groups else {
        return [String::new(), String::new()];
    };
    let decimals = decimals_of(scale.of_ma(parts.findings.series[n].step_ma));
    let show = |ma: f64| format!("{} {}", number(scale.of_ma(ma), decimals), scale.name);
    body_pictures::group_names(two, parts.movement.series[n].split.as_ref(), &show)
}

fn of_probability(
    parts: &Parts<'_>,
    n: usize,
    title: &str,
    scale: &Unit,
) -> Result<Chart, ChartError> {
    let finding = &parts.findings.series[n];
    let Ok(h) = &finding.healthy else {
        return Err(ChartError::NothingToShow { what: "no body was fitted" });
    };
    let body = &h.body;
    let plot_scale = match body.average.best().fit.law.family() {
        Family::Normal | Family::Gamma => ProbabilityScale::Normal,
        Family::Lognormal => ProbabilityScale::Lognormal,
        Family::Weibull => ProbabilityScale::Weibull,
        Family::LogLogistic => ProbabilityScale::LogLogistic,
        Family::Gumbel => ProbabilityScale::Gumbel,
    };
    let plot_scale = match body.groups.as_ref().map(|two| two.component) {
        Some(Component::Normal) => ProbabilityScale::Normal,
        Some(Component::Lognormal) => ProbabilityScale::Lognormal,
        None => plot_scale,
    };
    let names = group_names_of(parts, n, body, scale);
    let mut notes = Vec::new();
    let strays = body.strays.above.count + body.strays.below.count;
    if matches!(h.in_use, Ok(Which::Apart)) && strays > 0.0 {
        notes.push(
            "Strays stand at their share of all units, the rest at their share of those that are no strays."
                .to_owned(),
        );
    }
    let carried = if h.lines.is_some() {
        notes.push(
            "The band leaves out how uncertain the slope is; the bounds have it in.".to_owned(),
        );
        ", carried to the last day"
    } else {
        ""
    };
    let accepted = parts.config.accepted_reject_share;
    probability::chart(&Probability {
        series: title.to_owned(),
        answer: probability_answer(parts, n, h, scale),
        period: format!("{}{carried}", period_words(finding.period.from, finding.period.to)),
        unit: scale.name.to_owned(),
        step: scale.of_ma(finding.step_ma),
        scale: plot_scale,
        observed: body_pictures::observed(body, finding.step_ma, scale.factor),
        units: body_pictures::units(body, finding.step_ma),
        curves: body_pictures::curves(body, &names, accepted, scale.factor),
        level: body.level,
        high_limit: parts.movement.series[n].limits.now.high_pa.map(|pa| scale.of_ma(ma(pa))),
        accepted: Some(accepted),
        bounds: verdict_bounds(h, scale),
        notes,
    })
}

/// What the probability plot answers, in a few words.
fn probability_answer(parts: &Parts<'_>, n: usize, h: &Healthy, scale: &Unit) -> String {
    let finding = &parts.findings.series[n];
    let body = &h.body;
    let decimals = decimals_of(scale.of_ma(finding.step_ma));
    let show = |ma: f64| format!("{} {}", number(scale.of_ma(ma), decimals), scale.name);
    if let Some(two) = &body.groups {
        let by = parts.movement.series[n]
            .split
            .as_ref()
            .map(|s| style::printable(&format!(" by {}", s.split.factor), ""))
            .filter(|by| !by.is_empty())
            .map_or_else(String::new, |by| format!(" {by}"));
        let [a, b] = two.groups.map(|g| show(g.median));
        return format!("two groups{by}, around {a} and {b}");
    }
    if h.in_use.is_err() {
        return "neither a body nor a tail describes the readings".to_owned();
    }
    if let (true, Ok(tail)) = (body.families_fail(), &body.tail) {
        return format!(
            "the fitted body is too long; beyond {} the tail of the readings counts",
            show(tail.threshold)
        );
    }
    let strays = body.strays.above.count + body.strays.below.count;
    let apart = if matches!(h.in_use, Ok(Which::Apart)) && strays > 0.0 {
        format!(", {} kept apart", counted(whole(strays), "stray"))
    } else {
        String::new()
    };
    match finding.distribution.as_ref().and_then(|d| d.goodness.largest_gap) {
        Some(gap) => format!(
            "the fitted body differs from the readings by up to {} of the units{apart}",
            percent(gap)
        ),
        None => format!("readings against the fitted body{apart}"),
    }
}

fn limits_from(parts: &Parts<'_>, n: usize, scale: &Unit) -> Vec<LimitFrom> {
    parts.movement.series[n]
        .limits
        .changes
        .iter()
        .filter(|c| c.station.is_none())
        .map(|c| LimitFrom {
            day: c.day,
            high: c.limits.high_pa.map(|pa| scale.of_ma(ma(pa))),
            low: c.limits.low_pa.map(|pa| scale.of_ma(ma(pa))),
        })
        .collect()
}

fn of_months(parts: &Parts<'_>, n: usize, title: &str, scale: &Unit) -> Result<Chart, ChartError> {
    let finding = &parts.findings.series[n];
    months::chart(&Months {
        series: title.to_owned(),
        unit: scale.name.to_owned(),
        step: scale.of_ma(finding.step_ma),
        months: months::shown(&finding.months, scale.factor),
        limits: limits_from(parts, n, scale),
    })
}

fn events_of(parts: &Parts<'_>, n: usize) -> Vec<EventOn> {
    let model = &parts.pass.series[n].key.model;
    parts
        .register
        .events_about(None, Some(model))
        .map(|e| EventOn {
            day: e.day,
            what: style::printable(
                &if e.station.is_empty() {
                    e.what.clone()
                } else {
                    format!("{} ({})", e.what, e.station)
                },
                "event",
            ),
        })
        .collect()
}

fn of_drift(parts: &Parts<'_>, n: usize, title: &str, scale: &Unit) -> Result<Chart, ChartError> {
    let moved = &parts.movement.series[n];
    let finding = &parts.findings.series[n];
    let verdict = &parts.verdicts[n];
    let d = &moved.drift;
    let points: Vec<OnDay> =
        moved.points.iter().map(|p| OnDay { day: p.day, value: scale.of_ma(p.value_ma) }).collect();
    // The line of a season is what is left once the air is allowed for: not a line through these points.
    let season = d.shape == Some(crate::movement::drift::Shape::Season);
    let fitted = d.line.as_ref().filter(|_| !season).map_or_else(Vec::new, |line| {
        vec![vec![
            OnDay { day: line.from, value: scale.of_ma(line.at(line.from)) },
            OnDay { day: line.to, value: scale.of_ma(line.at(line.to)) },
        ]]
    });
    let averages = d.ewma.as_ref().map_or_else(Vec::new, |chart| {
        chart
            .values
            .iter()
            .map(|(day, value)| Average {
                day: *day,
                value: scale.of_ma(*value),
                low: scale.of_ma(chart.low_ma),
                high: scale.of_ma(chart.high_ma),
            })
            .collect()
    });
    let h = finding.healthy.as_ref().ok();
    let tail = h.and_then(|h| h.apart.as_ref().or(h.together.as_ref()));
    let forecast = h
        .and_then(|h| h.lines.zip(tail))
        .map(|(lines, tail)| forecast_points(&lines, tail, finding.period.to, verdict, scale))
        .unwrap_or_default();
    drift::chart(&drift::Drift {
        series: title.to_owned(),
        shape: d.shape.map_or("", Shape::words).to_owned(),
        movement: match (d.since, d.per_month_ma.as_ref(), d.shape) {
            (
                Some(since),
                Some(slope),
                Some(
                    crate::movement::drift::Shape::Slope
                    | crate::movement::drift::Shape::SlopeAndStep,
                ),
            ) => {
                format!(
                    "since {}, {}{} a month",
                    day_text(since),
                    if slope.value >= 0.0 { "+" } else { "−" },
                    verdict.wording.estimate(slope.value.abs())
                )
            }
            _ => String::new(),
        },
        points_are: format!(
            "{} medians, {}",
            if weekly(&moved.points) { "weekly" } else { "daily" },
            counted(moved.points.len() as u64, "point")
        ),
        unit: scale.name.to_owned(),
        step: scale.of_ma(finding.step_ma),
        points,
        fitted,
        averages,
        steps: d
            .steps
            .iter()
            .map(|s| StepOn {
                day: s.day,
                low: s.day_low,
                high: s.day_high,
                size: format!(
                    "{}{}",
                    if s.size_ma.value >= 0.0 { "+" } else { "−" },
                    verdict.wording.estimate(s.size_ma.value.abs())
                ),
            })
            .collect(),
        events: events_of(parts, n),
        limits: limits_from(parts, n, scale),
        forecast_of: format!(
            "{} % of healthy units stay under",
            100.0 * (1.0 - parts.config.accepted_reject_share)
        ),
        forecast,
        crossing: verdict.forecast.map(|f| Crossing {
            day: day_number(f.date),
            low: Some(day_number(f.low)),
            high: f.high.map(day_number),
        }),
    })
}

fn weekly(points: &[crate::movement::drift::DayPoint]) -> bool {
    let gaps = points.windows(2).filter(|w| w[1].day - w[0].day >= 5).count();
    gaps * 2 > points.len()
}

/// The tail carried on from the last day, once a month, as far as the crossing or the horizon.
fn forecast_points(
    lines: &crate::analysis::body::carry::CarryLines,
    tail: &crate::analysis::body::healthy::TailNumbers,
    from: Day,
    verdict: &SeriesVerdict,
    scale: &Unit,
) -> Vec<Forecast> {
    let last = verdict.forecast.map_or(180, |f| {
        let days = (f.date - date_of(from)).num_days();
        i32::try_from(days).unwrap_or(180).clamp(30, 400)
    });
    (0..=6)
        .map(|k| {
            let days = last * k / 6;
            let on = |x: f64| scale.of_ma(lines.ahead(x, f64::from(days)));
            Forecast {
                day: from + days,
                value: on(tail.quantile_ma),
                low: on(tail.low_ma),
                high: on(tail.high_ma),
            }
        })
        .collect()
}

fn of_failures(
    parts: &Parts<'_>,
    n: usize,
    title: &str,
    _scale: &Unit,
) -> Result<Chart, ChartError> {
    let series = u32::try_from(n).unwrap_or(u32::MAX);
    // The largest change that is still felt.
    let size = |j: &Jump| (j.after.share.value - j.before.share.value).abs();
    let jump = parts
        .findings
        .jumps
        .iter()
        .filter(|j| j.scope == Where::Series(series))
        .max_by(|a, b| size(a).total_cmp(&size(b)));
    failures_with(parts, n, title, jump)
}

/// Failures over time of a series with a jump marked, for the charts of jumps.
pub(super) fn failures_of(
    parts: &Parts<'_>,
) -> impl Fn(usize, &JudgedJump) -> Result<Chart, ChartError> {
    |n, jump| failures_with(parts, n, &jump.found.place.title, Some(&jump.found))
}

fn failures_with(
    parts: &Parts<'_>,
    n: usize,
    title: &str,
    jump: Option<&Jump>,
) -> Result<Chart, ChartError> {
    let mut events = events_of(parts, n);
    for change in parts.movement.series[n].limits.changes.iter().skip(1) {
        let station = change.station.as_ref().map_or_else(String::new, |s| format!(" ({s})"));
        events.push(EventOn { day: change.day, what: format!("limits changed{station}") });
    }
    events.sort_by(|a, b| (a.day, &a.what).cmp(&(b.day, &b.what)));
    failures::chart(&Failures {
        scope: title.to_owned(),
        weeks: parts.findings.series[n].weeks.clone(),
        jump: jump.map(Marked::of),
        events,
    })
}

/// The limit ladder of all series.
fn of_limits(parts: &Parts<'_>) -> Result<Chart, ChartError> {
    let rungs = (0..parts.verdicts.len()).filter_map(|n| rung(parts, n, &parts.verdicts[n]));
    ladder::chart(&Ladder::new(rungs.collect(), parts.pass.plant.days))
}

/// The rung of one series; named by its model where that has no other series.
pub(super) fn rung(parts: &Parts<'_>, n: usize, decided: &SeriesVerdict) -> Option<Rung> {
    let key = &parts.pass.series[n].key;
    let name = if parts.pass.series.iter().filter(|s| s.key.model == key.model).count() == 1 {
        key.model.clone()
    } else {
        format!("{}, {}", key.model, key.test.words())
    };
    let name = style::printable(&name, &format!("series {}", n + 1));
    Rung::new(name, &decided.evidence, &decided.limits.high)
}
