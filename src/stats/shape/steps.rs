//! Steps beyond the first, and when each may have happened.

use super::candidates::{Candidate, Fitter, Kind};
use super::{NoShape, Options, Points, ShapeTest, test};
use crate::autocorrelation::{
    about_zero, corrected_about_line, corrected_about_mean, variance_factor,
};

/// A change of level at a date.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// First point at the new level.
    pub index: usize,
    /// First point of the earliest date that fits nearly as well.
    pub index_low: usize,
    /// First point of the latest date that fits nearly as well.
    pub index_high: usize,
    /// Change of level, in the unit of the values.
    pub size: f64,
    /// Standard error of the change: with its date known, and what the date's own interval adds.
    pub se: f64,
    /// Degrees of freedom of that error.
    pub df: f64,
    /// p-value of the shape that brought the step.
    pub p_value: f64,
}

/// The point at which something begins, with the range of those that fit nearly as well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DateRange {
    /// The point that fits best.
    pub at: usize,
    /// The earliest.
    pub low: usize,
    /// The latest.
    pub high: usize,
}

impl DateRange {
    fn only(at: usize) -> Self {
        Self { at, low: at, high: at }
    }
}

/// p-value below which a segment is cut again.
pub const FURTHER_STEP_P: f64 = 0.01;

/// A shape with all its steps.
#[derive(Debug, Clone, PartialEq)]
pub struct Movement {
    /// The test over the whole series.
    pub test: ShapeTest,
    /// Kind of shape, after steps inside segments are known.
    pub kind: Kind,
    /// All steps, by index.
    pub steps: Vec<Step>,
    /// Where the slope begins: first point of the series for a plain slope.
    pub slope_from: Option<DateRange>,
    /// Slopes that go with the earliest and the latest of these dates, as multiples of that at the date itself.
    pub slope_between: Option<(f64, f64)>,
}

/// The best shape with further steps by the same test inside each segment.
///
/// Further steps are looked for only where the first shape is certain at `p <= 0.05`, inside segments
/// at [`FURTHER_STEP_P`], since every segment is another question. Two levels up and down again look
/// like a slope and a step to a test that knows one date only, so the cuts of plain steps are tried
/// beside the best shape, and BIC over all cuts decides.
/// # Errors
/// As [`fn@test`].
pub fn find(points: &Points, options: &Options) -> Result<Movement, NoShape> {
    let whole = test(points, options)?;
    let n = points.values.len();
    let best = whole.best.clone();
    let smallest = options.smallest_segment;
    let certain = whole.p_value <= 0.05;
    let fitter = Fitter::new(points);
    let mut movement = Movement {
        kind: best.kind,
        test: whole,
        steps: Vec::new(),
        slope_from: None,
        slope_between: None,
    };
    let mut level = points.clone();
    let mut cuts = Vec::new();
    let mut bic = best.bic;
    match (best.kind, best.index) {
        (Kind::Slope | Kind::Bend, _) => {
            movement.slope_from = began(points, &best, options);
            movement.slope_between =
                movement.slope_from.and_then(|dates| slopes_between(points, dates, smallest));
        }
        (Kind::SlopeAndStep, Some(k)) => {
            movement.slope_from = Some(DateRange::only(0));
            level = without_slope(points, &best);
            cuts.push((k, movement.test.p_value));
            if certain {
                let mut ignored = None;
                for part in [(0, k), (k, n)] {
                    cut_again(&level, part, options, true, &mut cuts, &mut ignored);
                }
                bic = bic.min(fitter.joint_bic(&points.values, &places(&mut cuts), Some(0)));
            }
        }
        (Kind::Step, Some(k)) => cuts.push((k, movement.test.p_value)),
        _ => {}
    }
    let plain =
        movement.test.candidates.iter().find(|c| c.kind == Kind::Step).and_then(|c| c.index);
    if let Some(k) = plain.filter(|_| certain && best.kind != Kind::Wave) {
        let mut stairs = vec![(k, movement.test.p_value)];
        let mut slope = None;
        for part in [(0, k), (k, n)] {
            cut_again(points, part, options, false, &mut stairs, &mut slope);
        }
        let stairs_bic = fitter.joint_bic(&points.values, &places(&mut stairs), slope);
        if best.kind == Kind::Step || stairs_bic < bic {
            movement.kind = if slope.is_some() { Kind::SlopeAndStep } else { Kind::Step };
            movement.slope_from = slope.map(DateRange::only);
            movement.slope_between = None;
            (level, cuts) = (points.clone(), stairs);
            if let Some(k) = slope {
                flatten_from(&mut level, k, smallest);
            }
        }
    }
    cuts.sort_by_key(|c| c.0);
    movement.steps = measure(&level, &cuts, smallest);
    if let Some(slope) = movement.slope_from {
        beside_slope(&fitter, points, &mut movement.steps, slope.at);
    }
    Ok(movement)
}

/// Sizes of steps beside a slope, with their errors: of steps and slope fitted together over the whole series, since
/// with the slope taken off as if it were known a step's interval holds its size in 78 of 100. Dates stay.
fn beside_slope(fitter: &Fitter, points: &Points, steps: &mut [Step], slope_from: usize) {
    let y = &points.values;
    let places: Vec<usize> = steps.iter().map(|s| s.index).collect();
    let left = fitter.joint_residuals(y, &places, slope_from);
    let rho = corrected_about_line(about_zero(&left, 1).unwrap_or(0.0), left.len());
    for (i, step) in steps.iter_mut().enumerate() {
        let others: Vec<usize> = places.iter().copied().filter(|k| *k != places[i]).collect();
        let dates = step.index_low..=step.index_high;
        let found = fitter.joint_steps(y, &others, slope_from, dates.clone(), rho);
        let Some((size, se)) =
            dates.clone().zip(&found).find_map(|(k, f)| f.filter(|_| k == step.index))
        else {
            continue;
        };
        step.size = size;
        step.se = se.hypot(by_date(found.into_iter().flatten().map(|f| f.0)));
        let known = (places.len() + 1) as f64;
        step.df = (y.len() as f64 * (1.0 - rho) / (1.0 + rho) - 1.0 - known).max(1.0);
    }
}

/// Standard error that a date leaves to a size, from the sizes of all dates in its interval, which is about two standard
/// errors to either side.
fn by_date(sizes: impl Iterator<Item = f64>) -> f64 {
    let (least, most) = sizes.fold((f64::INFINITY, f64::NEG_INFINITY), |ends, size| {
        (ends.0.min(size), ends.1.max(size))
    });
    if most > least { (most - least) / 4.0 } else { 0.0 }
}

/// Takes the slope that begins at point `k` off the points behind it, so that it is no part of a step.
fn flatten_from(level: &mut Points, k: usize, smallest: usize) {
    let Some(part) = level.part(k, level.values.len()) else {
        return;
    };
    let fitted = Fitter::new(&part).fit(Kind::Slope, &part.values, smallest, None);
    let Some(slope) = fitted.and_then(|c| c.coefficients.last().copied()) else {
        return;
    };
    let start = level.days[k];
    for (v, d) in level.values.iter_mut().zip(&level.days).skip(k) {
        *v -= slope * (d - start);
    }
}

fn places(cuts: &mut [(usize, f64)]) -> Vec<usize> {
    cuts.sort_by_key(|c| c.0);
    cuts.iter().map(|c| c.0).collect()
}

/// The points with the slope of the candidate taken off.
fn without_slope(points: &Points, best: &Candidate) -> Points {
    let mut level = points.clone();
    if best.kind == Kind::SlopeAndStep {
        let slope = best.coefficients[1 + points.covariates.len()];
        let first = points.days[0];
        for (v, d) in level.values.iter_mut().zip(&points.days) {
            *v -= slope * (d - first);
        }
    }
    level
}

fn cut_again(
    points: &Points,
    (from, to): (usize, usize),
    options: &Options,
    straight: bool,
    cuts: &mut Vec<(usize, f64)>,
    slope: &mut Option<usize>,
) {
    let Some(Ok(found)) = points.part(from, to).map(|part| test(&part, options)) else {
        return;
    };
    if found.p_value > FURTHER_STEP_P {
        return;
    }
    match (found.best.kind, found.best.index) {
        (Kind::Step | Kind::SlopeAndStep, Some(k)) => {
            cuts.push((from + k, found.p_value));
            cut_again(points, (from, from + k), options, straight, cuts, slope);
            cut_again(points, (from + k, to), options, straight, cuts, slope);
        }
        // Only a slope that still goes on at the end matters for what comes next.
        (Kind::Slope, _) if !straight && to == points.values.len() => *slope = Some(from),
        (Kind::Bend, Some(k)) if !straight && to == points.values.len() => *slope = Some(from + k),
        _ => {}
    }
}

/// Sizes and date intervals of known cuts, each within the stretch between its neighbours.
fn measure(level: &Points, cuts: &[(usize, f64)], smallest: usize) -> Vec<Step> {
    let n = level.values.len();
    (0..cuts.len())
        .filter_map(|i| {
            let from = if i == 0 { 0 } else { cuts[i - 1].0 };
            let to = cuts.get(i + 1).map_or(n, |c| c.0);
            let (k, p_value) = cuts[i];
            measure_one(&level.part(from, to)?, k - from, smallest, from, p_value)
        })
        .collect()
}

/// Size, date interval and error of one step near point `at` of a stretch that starts at point `offset` of its
/// series; `None` where the stretch is too short.
pub fn measure_one(
    part: &Points,
    at: usize,
    smallest: usize,
    offset: usize,
    p_value: f64,
) -> Option<Step> {
    let fitter = Fitter::new(part);
    let given = fitter.fit(Kind::Step, &part.values, smallest, Some(at))?;
    let DateRange { at: best, low, high } = dated_range(part, &given, smallest)?;
    let candidate = fitter.fit(Kind::Step, &part.values, smallest, Some(best))?;
    let left = fitter.residuals_of(&candidate, &part.values);
    let rho = corrected_about_line(about_zero(&left, 1).unwrap_or(0.0), left.len());
    let sizes = (low..=high)
        .filter_map(|k| fitter.fit(Kind::Step, &part.values, smallest, Some(k)))
        .filter_map(|c| c.coefficients.last().copied());
    let by_date = by_date(sizes);
    Some(Step {
        index: offset + best,
        index_low: offset + low,
        index_high: offset + high,
        size: *candidate.coefficients.last()?,
        se: fitter.standard_error(&candidate, &part.values, rho)?.hypot(by_date),
        df: (part.values.len() as f64 * (1.0 - rho) / (1.0 + rho) - 2.0).max(1.0),
        p_value,
    })
}

/// When a slope began, with all dates that fit nearly as well: a line through the whole series is a slope that
/// begins with its first point, and may as well have begun a little later.
fn began(points: &Points, best: &Candidate, options: &Options) -> Option<DateRange> {
    let smallest = options.smallest_segment;
    let as_bend = |index: usize| Candidate { kind: Kind::Bend, index: Some(index), ..best.clone() };
    match best.index {
        Some(_) => options
            .logarithms
            .then(|| dates_on_currents(points, best, smallest))
            .flatten()
            .or_else(|| dated_range(points, best, smallest)),
        None => {
            dated_range(points, &as_bend(0), smallest).map(|r| DateRange { at: 0, low: 0, ..r })
        }
    }
}

/// The dates of a slope of values that are logarithms of currents.
///
/// The square of a current of which a part grows evenly, in phase or at right angles, is a line and a square in
/// time from the beginning on; where a line alone fits nearly as well, the current itself is taken for a line.
/// A straight line on the logarithms puts the beginning of a leak at right angles about 16 days late, and none
/// of its dates is the true one; the square everywhere leaves the beginning of small slopes open by months.
/// Errors are in proportion, so all is divided by the fitted current, or by its square.
fn dates_on_currents(points: &Points, best: &Candidate, smallest: usize) -> Option<DateRange> {
    let n = points.values.len();
    let fitter = Fitter::new(points);
    let left = fitter.residuals_of(best, &points.values);
    // From the mean, so that no square overflows.
    let mean = points.values.iter().sum::<f64>() / n as f64;
    let rho = corrected_about_mean(about_zero(&left, 1).unwrap_or(0.0), n);
    let profile = |power: f64| {
        let y: Vec<f64> = left.iter().map(|e| (power * e).exp()).collect();
        let weights: Vec<f64> =
            points.values.iter().zip(&left).map(|(v, e)| (-power * (v - e - mean)).exp()).collect();
        let finite = y.iter().chain(&weights).all(|x| x.is_finite());
        finite.then(|| fitter.curved_profile(&y, &weights, 0..n.saturating_sub(2 * smallest)))
    };
    let margin = |least: f64| 7.0 * least / (n as f64 - 4.0).max(1.0) * variance_factor(rho);
    let least = |of: &[f64]| of.iter().copied().fold(f64::INFINITY, f64::min);
    let (straight, curved): (Vec<f64>, Vec<f64>) = profile(2.0)?.into_iter().unzip();
    let fit = if least(&straight) > least(&curved) + margin(least(&curved)) {
        curved
    } else {
        profile(1.0)?.into_iter().map(|p| p.0).collect()
    };
    let at = least(&fit);
    let near = |c: &f64| *c <= at + margin(at);
    Some(DateRange {
        at: fit.iter().position(|c| *c <= at)?,
        low: fit.iter().position(near)?,
        high: fit.iter().rposition(near)?,
    })
}

/// Slopes of the broken line with its break at the earliest and latest date, in that at the date found.
fn slopes_between(
    points: &Points,
    DateRange { at, low, high }: DateRange,
    smallest: usize,
) -> Option<(f64, f64)> {
    let fitter = Fitter::new(points);
    let slope = |k: usize| {
        let (kind, index) = if k == 0 { (Kind::Slope, None) } else { (Kind::Bend, Some(k)) };
        let fitted = fitter.fit(kind, &points.values, smallest, index)?;
        fitted.coefficients.last().copied()
    };
    let own = slope(at)?;
    (own != 0.0).then(|| Some((slope(low)? / own, slope(high)? / own))).flatten()
}

/// The date of least squares and all dates whose sum of squares is within
/// `7 s^2 (1 + rho)/(1 - rho)` of it, `s` and `rho` from the residuals.
fn dated_range(points: &Points, candidate: &Candidate, smallest: usize) -> Option<DateRange> {
    let at = candidate.index?;
    let n = points.values.len();
    let fitter = Fitter::new(points);
    // A cut given from outside may lie nearer to an end than a search would go; a slope may begin at once.
    let first = if candidate.kind == Kind::Bend { 0 } else { smallest.min(at).max(1) };
    let range = first..(n + 1 - smallest.min(n - at).max(1)).min(n);
    let profile = fitter.profile(candidate.kind, &points.values, range);
    let (best, least) = profile.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1))?;
    let chosen = fitter.fit(candidate.kind, &points.values, smallest, Some(first + best))?;
    let left = fitter.residuals_of(&chosen, &points.values);
    let rho = corrected_about_mean(about_zero(&left, 1).unwrap_or(0.0), n);
    let margin = 7.0 * least / (n as f64 - 3.0).max(1.0) * variance_factor(rho);
    let near = |c: &f64| *c <= least + margin;
    let low = profile.iter().position(near)?;
    let high = profile.iter().rposition(near)?;
    Some(DateRange { at: first + best, low: first + low, high: first + high })
}
