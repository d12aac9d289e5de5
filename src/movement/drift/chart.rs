//! The moving average of a series against a stated baseline.
//!
//! The baseline begins after the last known change (an event of the model, or an established step) that
//! leaves 25 days for it.

use super::{DayPoint, DriftOptions, values};
use crate::stats::ewma;
use crate::stats::moments::Moments;

/// The moving average against its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct EwmaChart {
    /// First and last day of the baseline.
    pub baseline: (i32, i32),
    /// Mean of the baseline, mA.
    pub centre_ma: f64,
    /// Limits, mA.
    pub low_ma: f64,
    /// Upper limit, mA.
    pub high_ma: f64,
    /// Day and moving average of each point from the baseline on, mA.
    pub values: Vec<(i32, f64)>,
    /// Days on which it lies outside.
    pub signals: Vec<i32>,
}

/// Moving average from the baseline on; limits for the run length of the options, widened by the AR(1)
/// parameter `rho` of the points. `None` where the series never fills a baseline.
pub fn ewma_chart(points: &[DayPoint], rho: f64, options: &DriftOptions) -> Option<EwmaChart> {
    let start = points.iter().position(|p| options.baseline_from.is_none_or(|d| p.day >= d))?;
    let mut units = 0.0;
    let size = points[start..].iter().enumerate().find_map(|(i, p)| {
        units += p.units;
        (i + 1 >= options.baseline_points && units >= options.baseline_units).then_some(i + 1)
    })?;
    let baseline = Moments::of_values(&values(&points[start..start + size]))?;
    let (centre_ma, sd) = (baseline.mean, baseline.sd().unwrap_or(0.0));
    let half = ewma::limit_factor(options.lambda, options.run_length)?
        * ewma::settled_sd(options.lambda)
        * ewma::autocorrelation_factor(options.lambda, rho)
        * sd;
    let smooth = ewma::smooth(&values(&points[start..]), options.lambda, centre_ma);
    let values: Vec<(i32, f64)> = points[start..].iter().map(|p| p.day).zip(smooth).collect();
    Some(EwmaChart {
        baseline: (points[start].day, points[start + size - 1].day),
        centre_ma,
        low_ma: centre_ma - half,
        high_ma: centre_ma + half,
        signals: values.iter().filter(|v| (v.1 - centre_ma).abs() > half).map(|v| v.0).collect(),
        values,
    })
}
