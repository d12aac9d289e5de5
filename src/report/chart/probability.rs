//! Does the fitted body describe the readings, up to the limit?

use super::axis::{counted, decimals_of, number, percent};
use super::{
    Along, Axis, Chart, ChartError, Dash, Layer, Panel, Point, Role, Scale, Shape, Tick, at,
};
use statrs::function::erf::erfc_inv;

/// How shares are spread along the axis, so that one family is a straight line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProbabilityScale {
    /// Normal quantiles over the reading.
    Normal,
    /// Normal quantiles over the logarithm of the reading.
    Lognormal,
    /// Weibull: `ln(-ln(1 - p))` over the logarithm.
    Weibull,
    /// Gumbel (maximum): `-ln(-ln p)` over the reading.
    Gumbel,
    /// Log-logistic: `ln(p / (1 - p))` over the logarithm.
    LogLogistic,
}

impl ProbabilityScale {
    /// Place of a share on the axis. Infinite at 0 and 1.
    #[must_use]
    pub fn place(self, p: f64) -> f64 {
        match self {
            Self::Normal | Self::Lognormal => -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p),
            Self::Weibull => (-(-p).ln_1p()).ln(),
            Self::Gumbel => -(-p.ln()).ln(),
            Self::LogLogistic => (p / (1.0 - p)).ln(),
        }
    }

    fn readings(self) -> Scale {
        match self {
            Self::Normal | Self::Gumbel => Scale::Linear,
            Self::Lognormal | Self::Weibull | Self::LogLogistic => Scale::Log,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Lognormal => "lognormal",
            Self::Weibull => "Weibull",
            Self::Gumbel => "Gumbel",
            Self::LogLogistic => "log-logistic",
        }
    }
}

/// What is known of the readings behind a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// The reading itself.
    Exactly,
    /// Only that it lies above: a trip.
    Above,
    /// Only that it lies below: the instrument showed less than it can resolve.
    Below,
    /// A stray: not part of what was fitted.
    Stray,
}

/// One point of the estimate without a family.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    /// The reading, or the limit that it lies above or below.
    pub reading: f64,
    /// Share of units at or below it.
    pub p: f64,
    /// Units behind the point.
    pub count: u64,
    /// What is known of them.
    pub known: Known,
}

/// One point of the fitted line: the reading that a share of units stays under.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    /// The share.
    pub p: f64,
    /// The reading.
    pub reading: f64,
    /// Lower confidence limit of the reading.
    pub low: f64,
    /// Upper confidence limit of the reading.
    pub high: f64,
}

/// What the probability plot needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Probability {
    /// Name of the series, for people.
    pub series: String,
    /// Which units and days, in words.
    pub period: String,
    /// Unit of all readings.
    pub unit: String,
    /// Reading step, for the decimals.
    pub step: f64,
    /// Family whose scale is used.
    pub scale: ProbabilityScale,
    /// Observed points; shares of 0 and 1 have no place and are left out.
    pub observed: Vec<Observed>,
    /// Fitted line, ascending; may be empty.
    pub fitted: Vec<Fitted>,
    /// Name of the fit for the legend.
    pub fit: String,
    /// Confidence level of the band, a fraction of 1.
    pub level: f64,
    /// High limit in force.
    pub high_limit: Option<f64>,
    /// Share of healthy units accepted to be rejected.
    pub accepted: Option<f64>,
    /// Largest gap between fitted and observed shares.
    pub largest_gap: Option<f64>,
}

/// The probability plot: observed shares as points, the fitted body as a line with its confidence
/// band, the limit as a rule.
///
/// # Errors
/// `NothingToShow` where no point has a place; else those of [`Chart::check`].
pub fn chart(input: &Probability) -> Result<Chart, ChartError> {
    super::finite(
        "an observed point",
        input.observed.iter().flat_map(|o| [o.reading, o.p]),
    )?;
    super::finite(
        "a fitted point",
        input
            .fitted
            .iter()
            .flat_map(|f| [f.p, f.reading, f.low, f.high]),
    )?;
    let log = input.scale.readings() == Scale::Log;
    let has_place = |p: f64, reading: f64| p > 0.0 && p < 1.0 && (!log || reading > 0.0);
    let observed: Vec<&Observed> = input
        .observed
        .iter()
        .filter(|o| has_place(o.p, o.reading))
        .collect();
    if observed.is_empty() {
        return Err(ChartError::NothingToShow {
            what: "points with a share between 0 and 1",
        });
    }
    let fitted: Vec<&Fitted> = input
        .fitted
        .iter()
        .filter(|f| has_place(f.p, f.low.min(f.reading)))
        .collect();
    let place = |p: f64| input.scale.place(p);
    let decimals = decimals_of(input.step);

    let x = Axis::covering(
        "reading",
        &input.unit,
        input.scale.readings(),
        observed
            .iter()
            .map(|o| o.reading)
            .chain(fitted.iter().map(|f| f.reading))
            .chain(input.high_limit),
        0.05,
    );
    let shares: Vec<f64> = observed
        .iter()
        .map(|o| o.p)
        .chain(fitted.iter().map(|f| f.p))
        .chain(input.accepted.map(|a| 1.0 - a))
        .collect();
    let y = Axis::covering(
        "units at or below the reading",
        "",
        Scale::Linear,
        shares.iter().map(|p| place(*p)),
        0.05,
    );
    let y = y.clone().with_ticks(share_ticks(input.scale, &y));

    let mut layers = Vec::new();
    if fitted.len() > 1 {
        layers.push(Layer::Band {
            role: Role::Fit,
            name: Some(format!("{} confidence band", percent(input.level))),
            low: fitted.iter().map(|f| at(f.low, place(f.p))).collect(),
            high: fitted.iter().map(|f| at(f.high, place(f.p))).collect(),
        });
        layers.push(Layer::Line {
            role: Role::Fit,
            name: Some(input.fit.clone()),
            dash: Dash::Solid,
            points: fitted.iter().map(|f| at(f.reading, place(f.p))).collect(),
        });
    }
    for (known, role, shape, words) in [
        (Known::Exactly, Role::Reading, Shape::Disc, "observed"),
        (
            Known::Stray,
            Role::Stray,
            Shape::Down,
            "stray, not in the fit",
        ),
        (
            Known::Below,
            Role::Other,
            Shape::Left,
            "known only to lie below",
        ),
        (
            Known::Above,
            Role::Limit,
            Shape::Right,
            "tripped: known only to lie above",
        ),
    ] {
        let of_kind = || observed.iter().filter(|o| o.known == known);
        let points: Vec<Point> = of_kind().map(|o| at(o.reading, place(o.p))).collect();
        if !points.is_empty() {
            let name = format!(
                "{words} ({})",
                counted(of_kind().map(|o| o.count).sum(), "unit")
            );
            layers.push(Layer::Points {
                role,
                name: Some(name),
                shape,
                points,
            });
        }
    }
    if let Some(limit) = input.high_limit {
        layers.push(Layer::Rule {
            role: Role::Limit,
            dash: Dash::Solid,
            along: Along::Upright,
            at: limit,
            label: format!("high limit {} {}", number(limit, decimals), input.unit),
        });
    }
    if let Some(a) = input.accepted {
        layers.push(Layer::Rule {
            role: Role::Quiet,
            dash: Dash::Dashed,
            along: Along::Level,
            at: place(1.0 - a),
            label: format!("accepted: {} % above", share_text(a)),
        });
    }
    let title = match input.largest_gap {
        Some(gap) => format!(
            "{}: the fitted body is nowhere more than {} off the readings",
            input.series,
            percent(gap)
        ),
        None => format!("{}: readings against the fitted body", input.series),
    };
    let notes = vec![format!(
        "A {} body would lie on a straight line.",
        input.scale.name()
    )];
    let panel = Panel {
        x: None,
        y,
        layers,
        beside: Vec::new(),
        share: 1.0,
    };
    Chart::new(title, input.period.clone(), x, vec![panel], notes)
}

fn share_ticks(scale: ProbabilityScale, axis: &Axis) -> Vec<Tick> {
    let candidates = [
        1e-6, 1e-5, 1e-4, 1e-3, 0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99, 0.999, 0.9999, 0.99999,
        0.999_999,
    ];
    let apart = (axis.high - axis.low) / 14.0;
    let mut ticks: Vec<Tick> = Vec::new();
    for p in candidates {
        let place = scale.place(p);
        if place.is_finite()
            && axis.holds(place)
            && ticks.last().is_none_or(|t| place - t.at > apart)
        {
            ticks.push(Tick {
                at: place,
                label: format!("{} %", share_text(p)),
            });
        }
    }
    ticks
}

/// A share given by hand as per cent, not rounded: 99.99 must not read 100.
fn share_text(p: f64) -> String {
    let text = format!("{:.4}", p * 100.0);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
