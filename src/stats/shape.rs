//! How a series moved: the best shape, and whether chance alone makes such a shape.
//!
//! Points are taken in order; neighbours in the list are neighbours in the AR(1) error, whatever the
//! days between them. Each shape is fitted by least squares on prewhitened points, with an AR(1)
//! parameter of its own estimated in three passes from that shape's residuals: full maximum likelihood
//! for every candidate date would cost a hundred times as much, and the simulated series that give the
//! p-value go through the very same steps, so what the approximation does it does to both.

pub mod candidates;
pub mod steps;
mod whitened;

use crate::stats::autocorrelation::{about_zero, autocorrelation, corrected_about_mean};
use candidates::{Candidate, Fitter, Kind};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// Fewer points claim no shape.
pub const FEWEST_POINTS: usize = 20;

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
    /// The points `from..to` alone.
    #[must_use]
    pub fn part(&self, from: usize, to: usize) -> Self {
        Self {
            days: self.days[from..to].to_vec(),
            values: self.values[from..to].to_vec(),
            covariates: self
                .covariates
                .iter()
                .map(|c| c[from..to].to_vec())
                .collect(),
            lots: self.lots.as_ref().map(|l| l[from..to].to_vec()),
        }
    }

    fn sound(&self) -> bool {
        let n = self.values.len();
        let finite = |x: &Vec<f64>| x.len() == n && x.iter().all(|v| v.is_finite());
        finite(&self.days)
            && finite(&self.values)
            && self.covariates.iter().all(finite)
            && self.lots.as_ref().is_none_or(|l| l.len() == n)
    }
}

/// Settings of the test.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Simulated steady series, at least 199.
    pub replicates: usize,
    /// Replicates in all where the first ones leave the p-value below 0.05.
    pub replicates_near: usize,
    /// Seed of the simulated series.
    pub seed: u64,
    /// Fewest points on either side of a date.
    pub smallest_segment: usize,
    /// Whether a yearly wave is a candidate too (needs two years of history to mean anything).
    pub yearly_wave: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            replicates: 199,
            replicates_near: 999,
            seed: 20_261_030,
            smallest_segment: 5,
            yearly_wave: false,
        }
    }
}

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoShape {
    /// Under 20 points, or none left beside the covariates.
    TooFewPoints,
    /// A value is infinite or not a number, or columns differ in length.
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
    /// Variance of lot levels over that of the points within lots; 0 where lots are not known.
    pub lot_variance: f64,
    /// The gain that one steady series in twenty passes.
    pub usual_gain: f64,
    /// Simulated series used.
    pub replicates: usize,
}

impl ShapeTest {
    /// Size of the smallest step in the middle of the series that would be found four times in five
    /// at the 5 % level, in the unit of the values.
    #[must_use]
    pub fn smallest_step(&self, points: &Points) -> Option<f64> {
        let n = points.values.len();
        let m = n as f64;
        // Gain of a step is n ln(1 + F) - 2 ln n, F its share of what is left.
        let share = ((self.usual_gain.max(0.0) + 2.0 * m.ln()) / m).exp() - 1.0;
        let unit = Fitter::new(points).step_information(n / 2, self.rho)?;
        let variance = self.steady.rss / m;
        Some(((share * m).sqrt() + 0.842) * (variance / unit).sqrt())
    }
}

/// Finds the best shape of a series and its p-value.
///
/// - Candidates and prices (`D` points): slope `ln D`; step, and slope that begins at a date, `2 ln D`
///   each; slope and step `3 ln D`; yearly wave, where asked for, `2 ln D`.
/// - p-value: rank of the gain in BIC over steady among steady AR(1) series with
///   `rho = clip((D r + 1)/(D - 3), 0, 0.95)`; where lots are known `r` is that within lots and the
///   series carry lot levels, of variance half the mean squared difference of successive lots less the
///   part that daily scatter has in it.
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
    let candidates = fitter.all(
        &points.values,
        options.smallest_segment,
        options.yearly_wave,
    );
    let gain = gain_of(&candidates);
    let steady = candidates[0].clone();
    let best = candidates
        .iter()
        .min_by(|a, b| a.bic.total_cmp(&b.bic))
        .cloned()
        .unwrap_or_else(|| steady.clone());
    let null = Null::of(points, &fitter.residuals_of(&steady, &points.values));
    let mut rng = Pcg64::seed_from_u64(options.seed);
    let mut gains = Vec::new();
    let mut as_large = 0;
    // A series without any spread has nothing to find.
    let flat = steady.rss <= f64::EPSILON.powi(2) * (1.0 + points.values[0].powi(2)) * n as f64;
    while gains.len()
        < if flat {
            0
        } else {
            options.replicates_near.max(199)
        }
    {
        let first = gains.len() == options.replicates.max(199);
        let near = (as_large + 1) as f64 / (gains.len() + 1) as f64 <= 0.05;
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
        p_value: if flat || gain <= 0.0 {
            1.0
        } else {
            (as_large + 1) as f64 / (replicates + 1) as f64
        },
        best: if flat { steady.clone() } else { best },
        gain: if flat { 0.0 } else { gain },
        steady,
        candidates,
        rho: null.rho,
        lot_variance: null.lot_sd.powi(2),
        usual_gain,
        replicates,
    })
}

fn gain_of(candidates: &[Candidate]) -> f64 {
    let best = candidates
        .iter()
        .map(|c| c.bic)
        .fold(f64::INFINITY, f64::min);
    candidates[0].bic - best
}

/// The steady series that chance is measured by; points have sd 1 within lots.
struct Null {
    rho: f64,
    lot_sd: f64,
}

impl Null {
    fn of(points: &Points, residuals: &[f64]) -> Self {
        let n = residuals.len();
        if let Some(null) = points
            .lots
            .as_deref()
            .and_then(|lots| Self::with_lots(lots, residuals))
        {
            return null;
        }
        let r = autocorrelation(residuals, 1).unwrap_or(0.0);
        Self {
            rho: corrected_about_mean(r, n),
            lot_sd: 0.0,
        }
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
        let rho = ((length * r + 1.0) / (length - 3.0).max(1.0))
            .clamp(0.0, r.max(0.0) + 0.2)
            .min(0.95);
        let daily = within.iter().map(|v| v * v).sum::<f64>() / (n - groups);
        if daily <= 0.0 {
            return None;
        }
        let of_mean = |size: f64| daily * ((1.0 + rho) / (1.0 - rho) / size).min(1.0);
        let pairs = groups - 1.0;
        let moved: f64 = levels
            .windows(2)
            .map(|w| (w[1].0 - w[0].0).powi(2))
            .sum::<f64>()
            / pairs;
        let from_days: f64 = levels
            .windows(2)
            .map(|w| of_mean(w[0].1) + of_mean(w[1].1))
            .sum::<f64>()
            / pairs;
        let lot_variance = (0.5 * (moved - from_days)).max(0.0) / daily;
        Some(Self {
            rho,
            lot_sd: lot_variance.sqrt(),
        })
    }

    fn draw(&self, rng: &mut Pcg64, points: &Points) -> Vec<f64> {
        let fresh = (1.0 - self.rho * self.rho).sqrt();
        let mut state: f64 = StandardNormal.sample(rng);
        let mut level = 0.0;
        let mut series = Vec::with_capacity(points.values.len());
        for i in 0..points.values.len() {
            if i > 0 {
                let shock: f64 = StandardNormal.sample(rng);
                state = self.rho * state + fresh * shock;
            }
            if let Some(lots) = points.lots.as_deref().filter(|_| self.lot_sd > 0.0)
                && (i == 0 || lots[i] != lots[i - 1])
            {
                let shock: f64 = StandardNormal.sample(rng);
                level = self.lot_sd * shock;
            }
            series.push(state + level);
        }
        series
    }
}

impl Kind {
    /// Whether the shape jumps at a date.
    #[must_use]
    pub fn has_step(self) -> bool {
        matches!(self, Self::Step | Self::SlopeAndStep)
    }

    /// Whether the shape rises or falls steadily over some stretch.
    #[must_use]
    pub fn has_slope(self) -> bool {
        matches!(self, Self::Slope | Self::Bend | Self::SlopeAndStep)
    }
}
