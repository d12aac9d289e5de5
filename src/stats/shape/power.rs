//! The smallest step that would have been found in a series that stands still.

use super::candidates::{Candidate, Fitter};
use super::{Null, Options, Points, ShapeTest, gain_of};
use rand::SeedableRng;
use rand_pcg::Pcg64;

/// Simulated series with a step, and as many without, for each size tried.
const SERIES: usize = 100;
/// Share that may be missed: a step found four times in five, less what the correlation's own uncertainty takes.
const MISSED: f64 = 0.15;
/// The size is not sought beyond this factor of the first guess.
const REACH: f64 = 4.0;
/// Sizes tried.
const TRIES: usize = 4;

/// Size of the smallest step in the middle of the series that would be noticed, as a movement of any shape,
/// four times in five at the 5 % level; in the unit of the values.
///
/// By simulation, since a step passes in part for correlation, or for lots further apart, and so raises the
/// very gain that it must exceed: with the correlation of the series at rest, the size named would be
/// found in 45 to 70 % where levels hang together. Two to four sizes are tried, each next one by a line
/// through the roots of the gains of the last two.
///
/// `None` where the series has no spread, or where no size is found so often: of few known lots each may lie
/// anywhere, and a step of any size passes for one of them.
pub fn smallest_step(points: &Points, test: &ShapeTest, options: &Options) -> Option<f64> {
    let n = points.values.len();
    let m = n as f64;
    let mut fitter = Fitter::new(points);
    let left = fitter.residuals_of(&test.steady, &points.values);
    let null = Null::of(points, &left, &fitter.residuals_of(&test.best, &points.values));
    let variance = left.iter().map(|v| v * v).sum::<f64>() / (m - 1.0);
    let sd = (variance / (1.0 + null.lot_variance())).sqrt();
    // Gain of a step is n ln(1 + F) - 2 ln n, F its share of what is left.
    let share = ((test.usual_gain.max(0.0) + 2.0 * m.ln()) / m).exp() - 1.0;
    let information = fitter.step_information(n / 2, null.rho)?;
    let first = (((share * m).sqrt() + 0.842) / information.sqrt())
        * ((1.0 - null.rho * null.rho) * (1.0 + null.lot_variance())).sqrt();
    if !(sd > 0.0 && first.is_finite() && first > 0.0) {
        return None;
    }
    let mut last: Option<(f64, f64)> = None;
    let mut size = first;
    for _ in 0..TRIES {
        let at = excess(size, &null, points, &mut fitter, options);
        let next = match last {
            None => size * if at < 0.0 { 1.5 } else { 0.75 },
            Some((other, was)) if (at - was) / (size - other) > 0.0 => {
                size - at * (size - other) / (at - was)
            }
            // More of a step is not found more often.
            Some(_) => return None,
        };
        // Near enough to what was tried: the line between them holds.
        if last.is_some() && next > 0.7 * size && next < 1.3 * size {
            return Some(sd * next);
        }
        last = Some((size, at));
        size = next.clamp(first / REACH, first * REACH);
    }
    None
}

/// By how much the gain that four steps of this size in five reach exceeds the gain they need, both as roots.
fn excess(size: f64, null: &Null, points: &Points, fitter: &mut Fitter, options: &Options) -> f64 {
    let n = points.values.len();
    let price = 2.0 * (n as f64).ln();
    let mut rng = Pcg64::seed_from_u64(options.seed);
    let mut gains = Vec::with_capacity(SERIES);
    let mut seen = Vec::with_capacity(SERIES);
    for _ in 0..SERIES {
        let mut series = null.draw_as_seen(&mut rng, points);
        series[n / 2..].iter_mut().for_each(|v| *v += size);
        let all = fitter.all(&series, options.smallest_segment, options.yearly_wave);
        let smallest = |a: &&Candidate, b: &&Candidate| a.bic.total_cmp(&b.bic);
        let (Some(best), Some(moving)) =
            (all.iter().min_by(smallest), all[1..].iter().min_by(smallest))
        else {
            continue;
        };
        // Below 0 where steady is best: a size must be told from another that is missed by more.
        gains.push(all[0].bic - moving.bic);
        seen.push(Null::of(
            points,
            &fitter.residuals_of(&all[0], &series),
            &fitter.residuals_of(best, &series),
        ));
    }
    let mean = Null::mean_of(&seen);
    let mut needed: Vec<f64> = (0..SERIES)
        .map(|_| {
            let series = mean.draw(&mut rng, points);
            gain_of(&fitter.all(&series, options.smallest_segment, options.yearly_wave))
        })
        .collect();
    needed.sort_by(f64::total_cmp);
    gains.sort_by(f64::total_cmp);
    let at = |sorted: &[f64], share: f64| {
        let place = (share * sorted.len() as f64) as usize;
        (sorted.get(place).copied().unwrap_or(0.0) + price).max(0.0).sqrt()
    };
    at(&gains, MISSED) - at(&needed, 0.95)
}
