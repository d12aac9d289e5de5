//! How a series moved: the best shape, and whether chance alone makes such a shape.
//!
//! Points are taken in order; neighbours in the list are neighbours in the AR(1) error, whatever the
//! days between them. Each shape is fitted by least squares on prewhitened points, with an AR(1)
//! parameter of its own estimated in three passes from that shape's residuals: full maximum likelihood
//! for every candidate date would cost a hundred times as much, and the simulated series that give the
//! p-value go through the very same steps, so what the approximation does it does to both.
//!
//! 199 replicates, 999 while p is at most 0.05. Plain steps are tried beside the best shape, else two steps
//! read as slope and step. A slope's beginning is sought on the square only where the current bends.

pub mod candidates;
pub mod power;
pub mod steps;
mod whitened;

use crate::autocorrelation::{about_zero, autocorrelation, corrected_about_mean};
use candidates::{Candidate, Fitter, Kind};
use rand::SeedableRng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// Fewer points claim no shape.
pub const FEWEST_POINTS: usize = 20;

/// Largest values of a series whose squares, and those of what rounding leaves of them, are doubles.
const SQUARED: std::ops::RangeInclusive<f64> = 1e-130..=1e150;

/// The points of one series, in order of time.
#[derive(Debug, Clone, Default)]
pub struct Points {
    /// Time of each point, in days.
    pub days: Vec<f64>,
    /// Value of each point, in any unit.
    pub values: Vec<f64>,
    /// Columns (humidity, temperature ...) that enter every candidate, each as long as `values`.
    pub covariates: Vec<Vec<f64>>,
    /// The lot of each point, where lots are known and coarser than points.
    pub lots: Option<Vec<u32>>,
}

impl Points {
    /// The points `from..to` alone; `None` where a column does not hold them all.
    pub fn part(&self, from: usize, to: usize) -> Option<Self> {
        let within = |column: &Vec<f64>| column.get(from..to).map(<[f64]>::to_vec);
        Some(Self {
            days: within(&self.days)?,
            values: within(&self.values)?,
            covariates: self.covariates.iter().map(within).collect::<Option<_>>()?,
            lots: match &self.lots {
                Some(lots) => Some(lots.get(from..to)?.to_vec()),
                None => None,
            },
        })
    }

    fn sound(&self) -> bool {
        let n = self.values.len();
        let finite = |x: &Vec<f64>| x.len() == n && x.iter().all(|v| v.is_finite());
        let largest = self.values.iter().fold(0.0, |most: f64, v| most.max(v.abs()));
        finite(&self.days)
            && finite(&self.values)
            && (largest == 0.0 || SQUARED.contains(&largest))
            && self.covariates.iter().all(finite)
            && self.lots.as_ref().is_none_or(|l| l.len() == n)
    }
}

/// Settings of the test.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Simulated steady series, at least 199.
    pub replicates: usize,
    /// Replicates in all where the first ones leave the p-value below 0.1.
    pub replicates_near: usize,
    /// Seed of the simulated series.
    pub seed: u64,
    /// Fewest points on either side of a date.
    pub smallest_segment: usize,
    /// Whether a yearly wave is a candidate too (needs two years of history to mean anything).
    pub yearly_wave: bool,
    /// Whether the values are logarithms of currents: then a slope may bend on from its beginning, as a leak at
    /// right angles makes it.
    pub logarithms: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            replicates: 199,
            replicates_near: 999,
            seed: 20_261_030,
            smallest_segment: 5,
            yearly_wave: false,
            logarithms: false,
        }
    }
}

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoShape {
    /// Under 20 points, or none left beside the covariates.
    TooFewPoints,
    /// A value is infinite or not a number, all are so large or small that they have no squares, or columns differ
    /// in length.
    NotNumbers,
}

/// What the test found.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeTest {
    /// The candidate with the smallest BIC.
    pub best: Candidate,
    /// The steady candidate.
    pub steady: Candidate,
    /// All candidates, steady first.
    pub candidates: Vec<Candidate>,
    /// BIC of steady less that of the best candidate; 0 where steady is best.
    pub gain: f64,
    /// Chance that a steady series of this autocorrelation gains as much.
    pub p_value: f64,
    /// AR(1) parameter of the simulated series (within lots, where lots are known).
    pub rho: f64,
    /// The gain that one steady series in twenty passes.
    pub usual_gain: f64,
    /// Simulated series used.
    pub replicates: usize,
}

/// Finds the best shape of a series and its p-value.
///
/// - Candidates and prices (`D` points): slope `ln D`; step, and slope that begins at a date, `2 ln D`
///   each; slope and step `3 ln D`; yearly wave, where asked for, `2 ln D`.
/// - p-value: rank of the gain in BIC over steady among steady AR(1) series with
///   `rho = clip((D r + 1)/(D - 4), 0, 0.95)`, `r` from what the best shape leaves (below 240 points partly
///   from what steady leaves); where lots are known `r` is that within lots and the series carry lot levels,
///   of variance half the mean squared difference of successive lots, each time divided by a chi-squared
///   over its degrees of freedom, less the part that daily scatter has in it.
/// # Errors
/// See [`NoShape`].
pub fn test(points: &Points, options: &Options) -> Result<ShapeTest, NoShape> {
    let n = points.values.len();
    if !points.sound() {
        return Err(NoShape::NotNumbers);
    }
    if n < FEWEST_POINTS.max(4 * (points.covariates.len() + 1)) {
        return Err(NoShape::TooFewPoints);
    }
    let mut fitter = Fitter::new(points);
    let candidates = fitter.all(&points.values, options.smallest_segment, options.yearly_wave);
    let gain = gain_of(&candidates);
    let steady = candidates[0].clone();
    let best = candidates
        .iter()
        .min_by(|a, b| a.bic.total_cmp(&b.bic))
        .cloned()
        .unwrap_or_else(|| steady.clone());
    let about_level = fitter.residuals_of(&steady, &points.values);
    // A series without any spread has nothing to find.
    if about_level.iter().all(|left| *left == 0.0) {
        return Ok(ShapeTest::flat(steady, candidates));
    }
    let null = Null::of(points, &about_level, &fitter.residuals_of(&best, &points.values));
    let mut rng = Pcg64::seed_from_u64(options.seed);
    let mut gains = Vec::new();
    let mut as_large = 0;
    while gains.len() < options.replicates_near.max(199) {
        let first = gains.len() == options.replicates.max(199);
        let near = (as_large + 1) as f64 / (gains.len() + 1) as f64 <= 0.1;
        if first && !near {
            break;
        }
        let series = null.draw(&mut rng, points);
        let simulated =
            gain_of(&fitter.all(&series, options.smallest_segment, options.yearly_wave));
        as_large += usize::from(simulated >= gain);
        gains.push(simulated);
    }
    let replicates = gains.len();
    gains.sort_by(f64::total_cmp);
    let usual_gain = gains.get(replicates * 19 / 20).copied().unwrap_or(0.0);
    Ok(ShapeTest {
        p_value: if gain <= 0.0 { 1.0 } else { (as_large + 1) as f64 / (replicates + 1) as f64 },
        best,
        gain,
        steady,
        candidates,
        rho: null.rho,
        usual_gain,
        replicates,
    })
}

impl ShapeTest {
    /// Of a series without any spread: steady, with nothing that could be like what came before.
    fn flat(steady: Candidate, candidates: Vec<Candidate>) -> Self {
        Self {
            best: steady.clone(),
            steady,
            candidates,
            gain: 0.0,
            p_value: 1.0,
            rho: 0.0,
            usual_gain: 0.0,
            replicates: 0,
        }
    }
}

fn gain_of(candidates: &[Candidate]) -> f64 {
    let best = candidates.iter().map(|c| c.bic).fold(f64::INFINITY, f64::min);
    candidates[0].bic - best
}

/// The steady series that chance is measured by; points have sd 1 within lots.
struct Null {
    rho: f64,
    lots: Option<LotSpread>,
}

/// How far the levels of successive lots lie apart, in variances of the points within lots.
#[derive(Clone, Copy)]
struct LotSpread {
    /// Half the mean squared difference of successive lots.
    seen: f64,
    /// What daily scatter alone would show.
    from_days: f64,
    /// Degrees of freedom of `seen`.
    df: f64,
}

/// Points from which the residuals of the best shape alone give the correlation.
const TRUSTED_POINTS: f64 = 240.0;

/// Something of two lots that follow each other, each as level and size.
type OfPair<'a> = &'a dyn Fn(&[(f64, f64)]) -> f64;

impl Null {
    /// - `about_level`, `about_best`: what the steady and the best candidate leave. A movement left in the
    ///   residuals passes for correlation: of 2 standard deviations it makes 0.8 of 0.6, and hides itself.
    ///   The best shape of a short steady series takes part of the true correlation with it, so a share
    ///   `min(1, n/240)` of its own is used and the rest from the level.
    fn of(points: &Points, about_level: &[f64], about_best: &[f64]) -> Self {
        let n = about_level.len();
        if let Some(null) =
            points.lots.as_deref().and_then(|lots| Self::with_lots(lots, about_level))
        {
            return null;
        }
        let of = |left: &[f64]| corrected_about_mean(autocorrelation(left, 1).unwrap_or(0.0), n);
        let share = (n as f64 / TRUSTED_POINTS).min(1.0);
        Self { rho: share * of(about_best) + (1.0 - share) * of(about_level), lots: None }
    }

    /// `None` where lots are too few (under three) or no coarser than points.
    fn with_lots(lots: &[u32], residuals: &[f64]) -> Option<Self> {
        let mut within = residuals.to_vec();
        let mut levels = Vec::new();
        let mut start = 0;
        for lot in lots.chunk_by(|a, b| a == b) {
            let part = &mut within[start..start + lot.len()];
            let mean = part.iter().sum::<f64>() / lot.len() as f64;
            part.iter_mut().for_each(|v| *v -= mean);
            levels.push((mean, lot.len() as f64));
            start += lot.len();
        }
        let (n, groups) = (lots.len() as f64, levels.len() as f64);
        if groups < 3.0 || n < 2.0 * groups {
            return None;
        }
        // A mean is taken off every lot, so the bias is that of series as long as a lot.
        let length = n / groups;
        let r = about_zero(&within, 1)? * n / (n - groups).max(1.0);
        let rho =
            ((length * r + 1.0) / (length - 3.0).max(1.0)).clamp(0.0, r.max(0.0) + 0.2).min(0.95);
        let daily = within.iter().map(|v| v * v).sum::<f64>() / (n - groups);
        if daily <= 0.0 {
            return None;
        }
        let of_mean = |size: f64| daily * ((1.0 + rho) / (1.0 - rho) / size).min(1.0);
        let pairs = groups - 1.0;
        let half_mean =
            |of: OfPair<'_>| 0.5 * levels.windows(2).map(of).sum::<f64>() / pairs / daily;
        Some(Self {
            rho,
            lots: Some(LotSpread {
                seen: half_mean(&|w| (w[1].0 - w[0].0).powi(2)),
                from_days: half_mean(&|w| of_mean(w[0].1) + of_mean(w[1].1)),
                // Of the mean squared successive difference of independent levels (von Neumann, Kent, Bellinson & Hart
                // 1941): variance (3 groups - 4)/(groups - 1)^2 in squares of its mean.
                df: 2.0 * pairs * pairs / (3.0 * groups - 4.0),
            }),
        })
    }

    fn lot_variance(&self) -> f64 {
        self.lots.map_or(0.0, |lots| (lots.seen - lots.from_days).max(0.0))
    }

    /// Standard deviation of lot levels for one simulated series. How far lots lie apart is known from few
    /// of them, so each series draws it anew: taken as exact, 7 % of steady series come out as certain.
    fn lot_sd(&self, rng: &mut Pcg64) -> f64 {
        let Some(lots) = self.lots else { return 0.0 };
        let drawn = ChiSquared::new(lots.df).map_or(1.0, |chi| chi.sample(rng) / lots.df);
        (lots.seen / drawn - lots.from_days).max(0.0).sqrt()
    }

    /// One with the means of all.
    fn mean_of(all: &[Self]) -> Self {
        let count = (all.len() as f64).max(1.0);
        let mean = |of: &dyn Fn(&LotSpread) -> f64| {
            all.iter().filter_map(|n| n.lots.as_ref()).map(of).sum::<f64>() / count
        };
        Self {
            rho: all.iter().map(|n| n.rho).sum::<f64>() / count,
            lots: all.iter().find_map(|n| n.lots).map(|one| LotSpread {
                seen: mean(&|l| l.seen),
                from_days: mean(&|l| l.from_days),
                df: one.df,
            }),
        }
    }

    /// A series with lots exactly as far apart as they seem.
    fn draw_as_seen(&self, rng: &mut Pcg64, points: &Points) -> Vec<f64> {
        self.draw_with(rng, points, self.lot_variance().sqrt())
    }

    fn draw(&self, rng: &mut Pcg64, points: &Points) -> Vec<f64> {
        let lot_sd = self.lot_sd(rng);
        self.draw_with(rng, points, lot_sd)
    }

    fn draw_with(&self, rng: &mut Pcg64, points: &Points, lot_sd: f64) -> Vec<f64> {
        let fresh = (1.0 - self.rho * self.rho).sqrt();
        let mut state: f64 = StandardNormal.sample(rng);
        let mut level = 0.0;
        let mut series = Vec::with_capacity(points.values.len());
        for i in 0..points.values.len() {
            if i > 0 {
                let shock: f64 = StandardNormal.sample(rng);
                state = self.rho * state + fresh * shock;
            }
            if let Some(lots) = points.lots.as_deref().filter(|_| lot_sd > 0.0)
                && (i == 0 || lots[i] != lots[i - 1])
            {
                let shock: f64 = StandardNormal.sample(rng);
                level = lot_sd * shock;
            }
            series.push(state + level);
        }
        series
    }
}

impl Kind {
    /// Whether the shape jumps at a date.
    pub fn has_step(self) -> bool {
        matches!(self, Self::Step | Self::SlopeAndStep)
    }

    /// Whether the shape rises or falls steadily over some stretch.
    pub fn has_slope(self) -> bool {
        matches!(self, Self::Slope | Self::Bend | Self::SlopeAndStep)
    }
}
