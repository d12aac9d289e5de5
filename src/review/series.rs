//! One series as it is told: its names, what was found out, and what was decided.

use serde::Serialize;

use crate::analysis::Finding;
use crate::analysis::body::capability::Capability;
use crate::analysis::body::distribution::Distribution;
use crate::analysis::body::low_side::AgainstLowLimit;
use crate::analysis::body::seen::Seen;
use crate::analysis::body::stations::StationOfSeries;
use crate::analysis::month::table::Month;
use crate::analysis::units::practice::Practice;
use crate::analysis::units::strays::Lies;
use crate::day::{Day, as_date, as_date_if_any};
use crate::movement::SeriesMovement;
use crate::movement::drift::{DriftStep, Explained, Shape};
use crate::movement::limits::LimitHistory;
use crate::series::NamedSeries;
use crate::stats::estimate::Estimate;
use crate::stats::expected_share::ExpectedShare;
use crate::verdict::evidence::Forecast;
use crate::verdict::limits::JudgedLimits;
use crate::verdict::month::MonthJudged;
use crate::verdict::plant::SeriesVerdict;

/// One series.
#[derive(Debug, Clone, Serialize)]
pub struct ReviewedSeries {
    /// Its names and its units.
    #[serde(flatten)]
    pub named: NamedSeries,
    /// Limits in force.
    pub limit: LimitsInForce,
    /// The healthy body; `None` with a note where it could not be described.
    pub distribution: Option<Distribution>,
    /// The index against the high limit.
    pub capability: Option<Capability>,
    /// Healthy units expected beyond the limit, per million.
    pub expected_reject_ppm: Option<ExpectedShare>,
    /// Units seen beyond the limit in the period judged, per million; those counted apart among them.
    pub observed_reject_ppm: Option<Estimate>,
    /// How many units those are of, and the same without those counted apart.
    pub seen: Seen,
    /// The low limit in force against healthy units and results; `None` where there is none.
    pub low_side: Option<AgainstLowLimit>,
    /// The verdicts on both limits.
    pub verdict: JudgedLimits,
    /// Readings that do not belong with the healthy body.
    pub strays: Strays,
    /// Retests.
    pub retests: Practice,
    /// How the series moved.
    pub drift: JudgedDrift,
    /// Each station of the period judged, at its own scale.
    pub stations: Vec<StationOfSeries>,
    /// Month by month.
    pub months: Vec<Month>,
    /// Smallest step of the instruments used, in mA: decides how numbers are printed.
    #[serde(skip)]
    pub reading_step_ma: f64,
    /// The month under review against the time before it; `None` where it has no unit.
    pub month: Option<MonthJudged>,
    /// File names of its charts with what each answers, relative to the report.
    #[serde(skip)]
    pub charts: Vec<(String, String)>,
}

/// The limits in force.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct LimitsInForce {
    /// On the last day, since when, and every change.
    #[serde(flatten)]
    pub history: LimitHistory,
    /// What a station shows with no unit connected.
    pub open_lead_ma: Option<f64>,
}

/// Strays.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Strays {
    /// Above the healthy body, trips included.
    pub above: u64,
    /// Below it.
    pub below: u64,
    /// Those that passed, listed; at most `strays_listed`.
    pub units: Vec<StrayLine>,
}

/// One stray that passed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StrayLine {
    /// Serial as first written.
    pub serial: String,
    /// When.
    pub tested_at: String,
    /// Where.
    pub station: String,
    /// Reading.
    pub reading_ma: f64,
    /// `above` or `below`.
    pub side: &'static str,
    /// What it points to.
    pub points_to: Lies,
}

/// How a series moved, and whether that matters.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JudgedDrift {
    /// The shape; `None` with a note.
    pub shape: Option<Shape>,
    /// Since when it moves.
    #[serde(serialize_with = "as_date_if_any")]
    pub since: Option<Day>,
    /// Certain and material.
    pub flagged: bool,
    /// Slope per 30.44 days.
    pub per_month_ma: Option<Estimate>,
    /// Of the shape, adjusted over all series.
    pub p_value: Option<f64>,
    /// Lag-1 correlation of the points.
    pub rho: Option<f64>,
    /// Smallest step that would have been found.
    pub smallest_step_ma: Option<f64>,
    /// Steps.
    pub steps: Vec<NamedStep>,
    /// What air explains.
    pub explained: Vec<Explained>,
    /// When expected rejects pass the accepted share.
    pub limit_reached_on: Option<Forecast>,
    /// The moving average of the medians against its limits; `None` where days and lots do not justify limits.
    pub moving_average: Option<MovingAverage>,
    /// One sentence.
    #[serde(skip)]
    pub sentence: String,
}

/// The moving average against its limits, in short.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MovingAverage {
    /// First day of the baseline.
    #[serde(serialize_with = "as_date")]
    pub baseline_from: Day,
    /// Its last day.
    #[serde(serialize_with = "as_date")]
    pub baseline_to: Day,
    /// Lower limit.
    pub low_ma: f64,
    /// Upper limit.
    pub high_ma: f64,
    /// First day after the baseline on which it lies outside.
    #[serde(serialize_with = "as_date_if_any")]
    pub first_signal: Option<Day>,
}

/// A step, and what was recorded in its time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NamedStep {
    /// The step.
    #[serde(flatten)]
    pub step: DriftStep,
    /// Event in the interval.
    pub event: Option<String>,
}

impl ReviewedSeries {
    /// Puts together what is known of a series.
    #[must_use]
    pub fn new(
        named: NamedSeries,
        moved: &SeriesMovement,
        finding: &Finding,
        decided: &SeriesVerdict,
        strays: Strays,
    ) -> Self {
        let healthy = finding.healthy.as_ref().ok();
        let per_million =
            |share: &Estimate| ExpectedShare::new(share, decided.evidence.judged.units, 1e6);
        Self {
            named,
            limit: LimitsInForce {
                history: moved.limits.clone(),
                open_lead_ma: finding.open_lead_ma,
            },
            distribution: finding.distribution.clone(),
            capability: finding.capability.clone(),
            expected_reject_ppm: healthy.and_then(|h| h.reject_share.as_ref()).map(per_million),
            observed_reject_ppm: finding.seen.all.reject_ppm.clone(),
            seen: finding.seen.clone(),
            low_side: finding.against_low.clone(),
            verdict: decided.limits.clone(),
            strays,
            retests: finding.practice.clone(),
            drift: JudgedDrift::new(moved, finding, decided),
            stations: finding.stations.clone(),
            months: finding.months.clone(),
            reading_step_ma: finding.step_ma,
            month: decided.month.clone(),
            charts: Vec::new(),
        }
    }
}

impl JudgedDrift {
    fn new(moved: &SeriesMovement, finding: &Finding, decided: &SeriesVerdict) -> Self {
        let drift = &moved.drift;
        let named = finding.step_events.iter().cloned().chain(std::iter::repeat(None));
        Self {
            shape: drift.shape,
            since: drift.since,
            flagged: decided.flag.flagged,
            per_month_ma: drift.per_month_ma.clone(),
            p_value: drift.shape.map(|_| moved.adjusted_p),
            rho: drift.rho,
            smallest_step_ma: drift.smallest_step_ma,
            steps: drift
                .steps
                .iter()
                .zip(named)
                .map(|(step, event)| NamedStep { step: step.clone(), event })
                .collect(),
            explained: drift.explained.clone(),
            limit_reached_on: decided.forecast,
            moving_average: drift.ewma.as_ref().map(|chart| MovingAverage {
                baseline_from: chart.baseline.0,
                baseline_to: chart.baseline.1,
                low_ma: chart.low_ma,
                high_ma: chart.high_ma,
                first_signal: chart.signals.first().copied(),
            }),
            sentence: decided.flag.sentence.clone(),
        }
    }
}
