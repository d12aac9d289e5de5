//! Steps of stations: which station moved, when and by how much.

use super::relative::{Shared, Taken};
use super::{StationOptions, TesterStep};
use crate::stats::estimate::Estimate;
use crate::stats::shape::candidates::{Fitter, Kind};
use crate::stats::shape::steps::{Step, measure_one};
use crate::stats::shape::{self, Points};
use crate::stats::special::student_t_quantile;

fn series_of(shared: &Shared, station: usize, taken: &[Taken]) -> Points {
    let moving = shared.without_lasting(&shared.levelled(taken));
    let (days, values) = shared.against_others(station, &moving);
    Points { days: days.into_iter().map(f64::from).collect(), values, ..Points::default() }
}

/// Steps of stations, the clearest first, each taken off before the next is sought.
pub(super) fn find_steps(
    shared: &Shared,
    stations: usize,
    options: &StationOptions,
) -> (Vec<Taken>, Vec<f64>) {
    let (mut taken, mut p_values): (Vec<Taken>, Vec<f64>) = (Vec::new(), Vec::new());
    let smallest = options.shape.smallest_segment;
    for _ in 0..3 * stations {
        let mut proposals: Vec<(f64, Taken, Points)> = Vec::new();
        for station in 0..stations {
            let points = series_of(shared, station, &taken);
            if points.values.len() < shape::FEWEST_POINTS {
                continue;
            }
            let all = Fitter::new(&points).all(&points.values, smallest, false);
            let Some(best) = all.iter().min_by(|a, b| a.bic.total_cmp(&b.bic)) else {
                continue;
            };
            if let (true, Some(k), Some(size)) =
                (best.kind.has_step(), best.index, best.coefficients.last())
            {
                let step = Taken { station, day: points.days[k] as i32, size: *size };
                proposals.push((all[0].bic - best.bic, step, points));
            }
        }
        proposals.sort_by(|a, b| b.0.total_cmp(&a.0));
        proposals.truncate(4);
        let unrest = |step: &Taken| {
            let with: Vec<Taken> = taken.iter().chain([step]).copied().collect();
            shared.unrest(&shared.without_lasting(&shared.levelled(&with)))
        };
        let chosen = proposals.into_iter().min_by(|a, b| unrest(&a.1).total_cmp(&unrest(&b.1)));
        let Some((_, step, points)) = chosen else {
            break;
        };
        let p_value =
            shape::test(&points, &options.shape).map_or(1.0, |t| t.p_value) * stations as f64;
        if p_value > 0.05 {
            break;
        }
        taken.push(step);
        p_values.push(p_value);
        settle(shared, &mut taken, smallest);
    }
    (taken, p_values)
}

/// Sizes of all steps together: each is measured with the others taken off, a few times over.
fn settle(shared: &Shared, taken: &mut [Taken], smallest: usize) {
    for _ in 0..4 {
        for i in 0..taken.len() {
            let points = series_of(shared, taken[i].station, taken);
            let at = points.days.partition_point(|d| *d < f64::from(taken[i].day));
            let fitter = Fitter::new(&points);
            let step = fitter.fit(Kind::Step, &points.values, smallest, Some(at));
            if let Some(more) = step.and_then(|s| s.coefficients.last().copied()) {
                taken[i].size += more;
            }
        }
    }
}

/// A step as it was measured.
pub(super) struct Measured {
    pub step: TesterStep,
    /// Standard error of its size, on the scale of logs.
    pub error: f64,
}

/// Each step measured with itself put back, between its station's neighbouring steps; in 75 days on either side
/// where every series moves. `None` where it cannot be.
pub(super) fn measured(
    shared: &Shared,
    taken: &[Taken],
    p_values: &[f64],
    options: &StationOptions,
) -> Vec<Option<Measured>> {
    taken
        .iter()
        .zip(p_values)
        .map(|(own, p_value)| {
            let mut points = series_of(shared, own.station, taken);
            let day = f64::from(own.day);
            for (v, d) in points.values.iter_mut().zip(&points.days) {
                *v += if *d >= day { own.size } else { 0.0 };
            }
            let others =
                || taken.iter().filter(|t| t.station == own.station).map(|t| f64::from(t.day));
            let mut from = others().filter(|d| *d < day).fold(f64::NEG_INFINITY, f64::max);
            let mut to = others().filter(|d| *d > day).fold(f64::INFINITY, f64::min);
            if !shared.any_still {
                (from, to) = (from.max(day - 75.0), to.min(day + 75.0));
            }
            let (a, b) = (
                points.days.partition_point(|d| *d < from),
                points.days.partition_point(|d| *d < to),
            );
            let part = points.part(a, b)?;
            let at = part.days.partition_point(|d| *d < day);
            let step = measure_one(&part, at, options.shape.smallest_segment, 0, *p_value)?;
            let error = step.se;
            Some(Measured { step: as_tester_step(&step, &part, *p_value, options.level), error })
        })
        .collect()
}

fn as_tester_step(step: &Step, points: &Points, p_value: f64, level: f64) -> TesterStep {
    let reach = student_t_quantile(0.5 + 0.5 * level, step.df) * step.se;
    let pct = |d: f64| 100.0 * d.exp_m1();
    let day = |k: usize| points.days[k] as i32;
    TesterStep {
        day: day(step.index),
        day_low: if step.index_low > 0 { day(step.index_low - 1) + 1 } else { day(0) },
        day_high: day(step.index_high),
        size_pct: Estimate {
            value: pct(step.size),
            low: pct(step.size - reach),
            high: pct(step.size + reach),
            level,
            method: "station against the others, least squares with AR(1) errors".into(),
        },
        p_value,
    }
}
