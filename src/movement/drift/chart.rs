//! The moving average of a series against a stated baseline.
//!
//! The baseline begins after the last known change (an event of the model, or an established step) that leaves it
//! 25 days and 300 units and, where lots are known, five lots. Limits come from the variation between days and
//! between lots: from days alone, every bought-in lot is a signal. How far lots lie apart is taken from all of them,
//! by the median of squared differences between neighbours, which a slope or a step moves little: five lots alone
//! know it too badly. The centre is itself known from few days and lots, and widens the limits.

use super::{DayPoint, DriftOptions, values};
use crate::stats::autocorrelation::about_zero;
use crate::stats::ewma;
use crate::stats::moments::Moments;
use crate::stats::numeric::median;
use crate::stats::special::{normal_cdf, student_t_quantile};

/// Lots of a baseline, at least.
const LOTS: usize = 5;
/// Median of chi-squared with one degree of freedom: the square of the normal quantile at 3/4.
const MEDIAN_OF_SQUARES: f64 = 0.454_936_423_119_573;

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
    /// Days after the baseline on which it lies outside.
    pub signals: Vec<i32>,
}

/// How far points vary, as far as it is not a movement.
struct Spread {
    /// Variance of a day about its lot's level; about the level of all where no lots are known.
    days: f64,
    /// Degrees of freedom of that.
    free: f64,
    /// Variance of the levels of lots.
    lots: f64,
    /// Correlation of a day with the next, about the same level.
    rho: f64,
    /// Lots of the baseline, and points of a lot.
    known: Option<(f64, f64)>,
}

/// Moving average from the baseline on; limits for the run length of the options, widened by the AR(1)
/// parameter of the points: `rho`, or that within lots where these are known. `None` where the series never fills a
/// baseline, or does not vary.
pub fn ewma_chart(points: &[DayPoint], rho: f64, options: &DriftOptions) -> Option<EwmaChart> {
    let start = points.iter().position(|p| options.baseline_from.is_none_or(|d| p.day >= d))?;
    let all = &points[start..];
    let lots = lots_of(all);
    let mut units = 0.0;
    let size = all.iter().enumerate().find_map(|(i, p)| {
        units += p.units;
        // A lot counts once the next one has begun.
        let enough = lots.as_ref().is_none_or(|l| l.get(LOTS).is_some_and(|next| *next <= i + 1));
        (i + 1 >= options.baseline_points && units >= options.baseline_units && enough)
            .then_some(i + 1)
    })?;
    let all_values = values(all);
    let base = &all_values[..size];
    let centre_ma = Moments::of_values(base)?.mean;
    let spread = match &lots {
        Some(starts) => within_and_between(&all_values, starts, size),
        None => Spread {
            days: Moments::of_values(base)?.sd()?.powi(2),
            free: size as f64 - 1.0,
            lots: 0.0,
            rho,
            known: None,
        },
    };
    let correlated = ewma::autocorrelation_factor(options.lambda, spread.rho).powi(2);
    let settled = ewma::settled_sd(options.lambda).powi(2);
    let (of_lots, of_centre) = spread.known.map_or((0.0, 0.0), |(lots, length)| {
        (spread.lots * ewma::block_variance(options.lambda, length), spread.lots / lots)
    });
    let days_of_centre = spread.days * (1.0 + spread.rho) / (1.0 - spread.rho) / size as f64;
    let variance = spread.days * settled * correlated + of_lots + of_centre + days_of_centre;
    let of_known_spread = ewma::limit_factor(options.lambda, options.run_length)?;
    // As far out for a spread that 25 days tell as that is for a known one.
    let factor = student_t_quantile(normal_cdf(of_known_spread), spread.free);
    let half = factor * variance.sqrt();
    (half > 0.0).then_some(())?;
    let smooth = ewma::smooth(&all_values, options.lambda, centre_ma);
    let values: Vec<(i32, f64)> = all.iter().map(|p| p.day).zip(smooth).collect();
    let outside = |v: &&(i32, f64)| (v.1 - centre_ma).abs() > half;
    Some(EwmaChart {
        baseline: (all[0].day, all[size - 1].day),
        centre_ma,
        low_ma: centre_ma - half,
        high_ma: centre_ma + half,
        signals: values[size..].iter().filter(outside).map(|v| v.0).collect(),
        values,
    })
}

/// Where each lot begins; `None` where a point has no lot, or lots are no coarser than points.
fn lots_of(points: &[DayPoint]) -> Option<Vec<usize>> {
    let lots: Vec<u32> = points.iter().map(|p| p.lot).collect::<Option<_>>()?;
    let starts: Vec<usize> =
        (0..lots.len()).filter(|&i| i == 0 || lots[i] != lots[i - 1]).collect();
    (starts.len() * 2 <= lots.len()).then_some(starts)
}

/// Variance of days about their lots in the baseline, and of lots about each other.
fn within_and_between(values: &[f64], starts: &[usize], size: usize) -> Spread {
    let ends = starts.iter().skip(1).copied().chain([values.len()]);
    let parts: Vec<&[f64]> = starts.iter().zip(ends).map(|(from, to)| &values[*from..to]).collect();
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let within: Vec<f64> =
        parts.iter().flat_map(|part| part.iter().map(|v| v - mean(part))).collect();
    let (n, groups) = (values.len() as f64, parts.len() as f64);
    // A mean is taken off every lot, so the bias is that of series as long as a lot.
    let (length, r) = (n / groups, about_zero(&within, 1).unwrap_or(0.0));
    let rho = ((length * r + 1.0) / (length - 3.0).max(1.0)).clamp(0.0, r.max(0.0) + 0.2).min(0.95);
    let of_baseline = starts.iter().filter(|s| **s < size).count() as f64;
    let free = (size as f64 - of_baseline).max(1.0);
    let days = within[..size].iter().map(|v| v * v).sum::<f64>() / free;
    // What daily scatter alone makes of a difference between two lots is taken off.
    let of_mean = |part: &[f64]| days * ((1.0 + rho) / (1.0 - rho) / part.len() as f64).min(1.0);
    let pairs: Vec<f64> = parts.windows(2).map(|w| (mean(w[1]) - mean(w[0])).powi(2)).collect();
    let from_days: Vec<f64> = parts.windows(2).map(|w| of_mean(w[0]) + of_mean(w[1])).collect();
    let seen = median(&pairs).unwrap_or(0.0) / MEDIAN_OF_SQUARES;
    let lots = 0.5 * (seen - median(&from_days).unwrap_or(0.0)).max(0.0);
    Spread { days, free, lots, rho, known: Some((of_baseline, length)) }
}
