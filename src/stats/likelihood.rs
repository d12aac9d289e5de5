//! Maximum likelihood for any family over any sample: exact, censored and interval readings mixed.

use std::borrow::Cow;

use super::distribution::{Curve, Derivatives, Family, Law, Term, with_curve};
use super::grid::Grid;
use super::numeric::reaching;
use super::optimize::{self, Failure, Maximum, Stop};
use super::sample::{Counted, Observation, Sample};

/// A law fitted by maximum likelihood.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The fitted law.
    pub law: Law,
    /// Inverse observed information, of the law's internal parameters ([`Law::internal`]).
    pub covariance: [[f64; 2]; 2],
    /// Log-likelihood: log densities (per unit of the readings) of exact readings, log probabilities
    /// of the others.
    pub ln_likelihood: f64,
    /// `-2 ln L + 4 + 12 / (n - 3)`. Source: Hurvich & Tsai (1989), from memory.
    pub aicc: f64,
    /// `-2 ln L + 2 ln n`. Source: Schwarz (1978), from memory.
    pub bic: f64,
    /// How the search ended.
    pub stopped: Stop,
    /// How often the likelihood was computed.
    pub evaluations: usize,
}

/// Why a family could not be fitted.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// Fewer than four readings: too few for the criterion that compares families.
    #[error("{count} readings, more than 3 needed: collect more units")]
    TooFewReadings {
        /// How many there are.
        count: f64,
    },
    /// All readings agree with a single value (or the edge between two), so no spread can be told.
    #[error(
        "all readings fit one value or the edge between two: use a finer reading step or more units"
    )]
    TooFewDistinct,
    /// Every reading is only a bound on the same side.
    #[error("every reading is only a bound on the same side: readings between bounds are needed")]
    AllCensored,
    /// The family allows only values above zero, and a reading is not.
    #[error("a reading of {reading} is not above zero, as this family needs: try another family")]
    NotPositive {
        /// The reading, or its upper edge.
        reading: f64,
    },
    /// A reading lies wholly above the cut at which the sample is said to end.
    #[error("a reading of {reading} lies above the cut at {cut}: leave such readings out")]
    BeyondCut {
        /// The reading, or its lower edge.
        reading: f64,
        /// The cut.
        cut: f64,
    },
    /// The cut is not a finite number, or not above zero for a family that needs it.
    #[error("the cut at {cut} leaves nothing of this family: put it inside the data")]
    BadCut {
        /// The cut.
        cut: f64,
    },
    /// The likelihood rises without end as the spread or the place runs off.
    #[error("the likelihood has no highest point: the data do not bound this family's parameters")]
    Unbounded,
    /// The search ended away from the highest point.
    #[error(
        "the search stopped {distance:.1e} standard errors from the highest point after {evaluations} \
         evaluations: look for readings far from all others"
    )]
    NotConverged {
        /// Likelihoods computed, over all starts.
        evaluations: usize,
        /// How far from the top, in standard errors, by the quadratic model; infinite if unknown.
        distance: f64,
    },
    /// At the highest point the information is not positive definite: the data do not tell the two
    /// parameters apart.
    #[error("the readings do not tell the two parameters apart: more distinct readings are needed")]
    SingularInformation,
    /// Squares of the readings do not fit a double, so no variance can be told.
    #[error("the readings are too large or too small to be squared: choose another unit")]
    BadUnit,
}

/// Maximum-likelihood fit of one family.
///
/// - Many intervals that overlap are shared among cells of a grid much narrower than the sample.
/// - `truncated_above`: where given, the readings are those of units that lie at or below this cut, and
///   each probability is divided by `P(X <= cut)` (right truncation; Efron 2007, section 4).
///   Observations that reach across the cut are clipped to it.
/// - Method: damped Newton on place and log spread with analytic derivatives, on data moved and
///   stretched to mean 0 and spread 1, so that the unit of the readings does not matter; up to four starts.
///
/// # Errors
/// See [`FitError`]; a search that did not end at a maximum is never returned as a fit.
pub fn fit(family: Family, sample: &Sample, truncated_above: Option<f64>) -> Result<Fit, FitError> {
    let count = sample.total();
    if count <= 3.0 {
        return Err(FitError::TooFewReadings { count });
    }
    let terms = Terms::new(family, &shared(sample, truncated_above), truncated_above)?;
    terms.check()?;
    let (centre, unit) = terms.moments();
    // The gamma family cannot be stretched on the line of the logarithm, only moved.
    let stretch = if family == Family::Gamma { 1.0 } else { unit };
    let standard = terms.standardised(centre, stretch);
    let best = search(family, &standard, unit / stretch)?;

    let theta = if family == Family::Gamma {
        [best.theta[0] + centre, best.theta[1]]
    } else {
        [centre + stretch * best.theta[0], best.theta[1] + stretch.ln()]
    };
    let law = Law::from_internal(family, theta).ok_or(FitError::Unbounded)?;
    let c = optimize::inverse(best.at.hessian.map(|h| -h)).ok_or(FitError::SingularInformation)?;
    let covariance =
        [[c[0][0] * stretch * stretch, c[0][1] * stretch], [c[1][0] * stretch, c[1][1]]];
    if !(covariance[0][0].is_normal() && covariance[1][1].is_normal()) {
        return Err(FitError::BadUnit);
    }
    let ln_likelihood = best.at.value;
    Ok(Fit {
        law,
        covariance,
        ln_likelihood,
        aicc: -2.0 * ln_likelihood + 4.0 + 12.0 / (count - 3.0),
        bic: -2.0 * ln_likelihood + 2.0 * count.ln(),
        stopped: best.stopped,
        evaluations: best.evaluations,
    })
}

/// Lines up to which overlapping intervals are taken as they are; of more no cell is so many times narrower than the
/// middle half of the sample…
const MOST_LINES: usize = 500;
const FINEST: f64 = 200.0;
/// …and they stay as they are where this share of them lies within so many cells of zero: there a density may change
/// much inside a cell.
const LOWEST: f64 = 0.05;
const FROM_ZERO: f64 = 8.0;

/// The lines of a sample below a cut, overlapping intervals shared among cells, the same for all families. As they are
/// where they are few or shared among none, and where one lies beyond the cut, which is refused later.
fn shared(sample: &Sample, cut: Option<f64>) -> Cow<'_, [Counted]> {
    let lines = sample.lines();
    let below = || {
        let given = lines.iter().map(|line| {
            let observation = clipped(line.observation, cut).ok()?;
            Some(Counted { observation, ..*line })
        });
        let given: Vec<Counted> = given.collect::<Option<_>>()?;
        let grid = Grid::of(&given, FINEST)?;
        let lowest = reaching(given.iter().map(|line| line.count), LOWEST)?.index;
        let is_far = given[lowest].observation.low() >= FROM_ZERO * grid.width;
        is_far.then(|| grid.shared(&given))
    };
    match (lines.len() > MOST_LINES).then(below).flatten() {
        Some(cells) => Cow::Owned(cells),
        None => Cow::Borrowed(lines),
    }
}

/// Newton from the moments, then from wider, narrower and shifted starts.
fn search(family: Family, terms: &Terms, sd: f64) -> Result<Maximum, FitError> {
    let mut evaluations = 0;
    let mut failure = FitError::NotConverged { evaluations: 0, distance: f64::INFINITY };
    for (shift, factor) in [(0.0, 1.0), (0.0, 3.0), (0.0, 0.3), (-1.0, 1.5)] {
        let start = family.start(shift * sd, factor * sd);
        let mut tried = 0;
        let found = optimize::maximise(
            |theta| {
                tried += 1;
                terms.total(family, theta)
            },
            start,
        );
        evaluations += tried;
        match found {
            Ok(maximum) => {
                return Ok(Maximum { evaluations, ..maximum });
            }
            // One start that ran off tells more than others that got stuck.
            Err(Failure::RanAway) => failure = FitError::Unbounded,
            Err(_) if failure == FitError::Unbounded => {}
            Err(Failure::BadStart) => {}
            Err(Failure::Singular) => failure = FitError::SingularInformation,
            Err(Failure::Unfinished { distance }) => {
                failure = FitError::NotConverged { evaluations, distance };
            }
        }
    }
    Err(failure)
}

/// The score of each line of the sample under a law: the gradient of its log probability in the law's
/// internal parameters, in the order of [`Sample::lines`].
///
/// # Errors
/// As [`fit`], where the sample does not fit family or cut.
pub fn scores(
    law: &Law,
    sample: &Sample,
    truncated_above: Option<f64>,
) -> Result<Vec<[f64; 2]>, FitError> {
    let family = law.family();
    let [m, s] = law.internal();
    // Seen from the law's own place, edges that differ in their last digits stay apart.
    let (unit, theta) =
        if family == Family::Gamma { (1.0, [0.0, s]) } else { (s.exp(), [0.0, 0.0]) };
    let terms = Terms::new(family, sample.lines(), truncated_above)?.standardised(m, unit);
    Ok(with_curve!(family, theta, curve => {
        let cut = terms.cut.map_or([0.0; 2], |y| curve.left(y).gradient);
        terms
            .lines
            .iter()
            .map(|(term, _)| {
                let g = term.derivatives(&curve).gradient;
                [(g[0] - cut[0]) / unit, g[1] - cut[1]]
            })
            .collect()
    }))
}

/// A sample on a family's line.
struct Terms {
    lines: Vec<(Term, f64)>,
    /// The cut, on the same line.
    cut: Option<f64>,
    total: f64,
    /// Size of place below which rounding no longer shrinks: a logarithm is no better known than its argument.
    least_size: f64,
}

/// Share of an interval's width by which intervals that touch may seem apart.
const TOUCHING: f64 = 1e-6;

impl Terms {
    fn new(family: Family, given: &[Counted], cut: Option<f64>) -> Result<Self, FitError> {
        let log = family.is_positive();
        if let Some(cut) = cut
            && (!cut.is_finite() || (log && cut <= 0.0))
        {
            return Err(FitError::BadCut { cut });
        }
        let mut lines = Vec::with_capacity(given.len());
        for line in given {
            let observation = clipped(line.observation, cut)?;
            let term = Term::new(observation, log)
                .ok_or(FitError::NotPositive { reading: observation.high() })?;
            lines.push((term, line.count));
        }
        let cut = cut.map(|cut| if log { cut.ln() } else { cut });
        Ok(Self {
            lines,
            cut,
            total: given.iter().map(|line| line.count).sum(),
            least_size: if log { 1.0 } else { 0.0 },
        })
    }

    /// Refuses data whose likelihood rises without end as the spread shrinks: there is a value that
    /// every reading allows, up to rounding of the edges (else the spread fitted is that rounding). Also
    /// data that are bounds on one side only.
    fn check(&self) -> Result<(), FitError> {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let (mut bounded, mut left, mut right) = (false, false, false);
        // Steps that touch are apart by rounding only; points may be close to each other in earnest.
        let (mut narrowest, mut points) = (f64::INFINITY, false);
        for (term, _) in &self.lines {
            match *term {
                Term::Point { y, .. } => {
                    bounded = true;
                    points = true;
                    low = low.max(y);
                    high = high.min(y);
                }
                Term::Interval { low: from, high: to, width } => {
                    bounded = true;
                    narrowest = narrowest.min(width);
                    low = low.max(from);
                    high = high.min(to);
                }
                Term::Left(y) => {
                    left = true;
                    high = high.min(y);
                }
                Term::Right(y) => {
                    right = true;
                    low = low.max(y);
                }
                Term::Certain => {}
            }
        }
        let rounding = 16.0 * f64::EPSILON * low.abs().max(high.abs()).max(self.least_size);
        let slack = if points || narrowest.is_infinite() {
            rounding
        } else {
            rounding.max(TOUCHING * narrowest)
        };
        if !bounded && (!left || !right) {
            Err(FitError::AllCensored)
        } else if low - high <= slack {
            Err(FitError::TooFewDistinct)
        } else {
            Ok(())
        }
    }

    /// Mean and standard deviation of interval middles, bounds taken as they are; the deviation is
    /// above zero.
    fn moments(&self) -> (f64, f64) {
        let middle = |term: &Term| match *term {
            Term::Point { y, .. } | Term::Left(y) | Term::Right(y) => Some(y),
            Term::Interval { low, width, .. } => Some(low + width / 2.0),
            Term::Certain => None,
        };
        let weighted = || {
            self.lines
                .iter()
                .filter_map(|(term, count)| middle(term).map(|y| (y, count / self.total)))
        };
        // A shift first: the sum of squares about the first reading keeps its digits.
        let origin = weighted().next().map_or(0.0, |(y, _)| y);
        let weight: f64 = weighted().map(|(_, w)| w).sum();
        let mean = weighted().map(|(y, w)| (y - origin) * w).sum::<f64>() / weight;
        let largest = weighted().map(|(y, _)| (y - origin - mean).abs()).fold(0.0, f64::max);
        let sd = if largest > 0.0 {
            let square = |y: f64| ((y - origin - mean) / largest).powi(2);
            largest * (weighted().map(|(y, w)| square(y) * w).sum::<f64>() / weight).sqrt()
        } else {
            // Several intervals about one middle: the narrowest gives the scale.
            self.lines
                .iter()
                .filter_map(|(term, _)| match *term {
                    Term::Interval { width, .. } => Some(width),
                    _ => None,
                })
                .fold(f64::INFINITY, f64::min)
        };
        let usable = sd.is_finite() && sd > 0.0;
        (origin + mean, if usable { sd } else { 1.0 })
    }

    fn standardised(&self, centre: f64, unit: f64) -> Self {
        Self {
            lines: self
                .lines
                .iter()
                .map(|&(term, count)| (term.standardised(centre, unit), count))
                .collect(),
            cut: self.cut.map(|y| (y - centre) / unit),
            total: self.total,
            least_size: self.least_size,
        }
    }

    /// Log-likelihood with its derivatives.
    fn total(&self, family: Family, theta: [f64; 2]) -> Derivatives {
        with_curve!(family, theta, curve => {
            let mut sum = Derivatives::default();
            for (term, count) in &self.lines {
                sum.add(*count, &term.derivatives(&curve));
            }
            if let Some(y) = self.cut {
                sum.add(-self.total, &curve.left(y));
            }
            sum
        })
    }
}

/// The part of an observation at or below the cut.
fn clipped(observation: Observation, cut: Option<f64>) -> Result<Observation, FitError> {
    let Some(cut) = cut else {
        return Ok(observation);
    };
    let beyond = |reading| Err(FitError::BeyondCut { reading, cut });
    match observation {
        Observation::Exact(x) if x > cut => beyond(x),
        Observation::Above(low) | Observation::Between { low, .. } if low >= cut => beyond(low),
        Observation::Exact(_) => Ok(observation),
        Observation::Below(high) => Ok(Observation::Below(high.min(cut))),
        Observation::Above(low) => Ok(Observation::Between { low, high: cut }),
        Observation::Between { low, high } => Ok(Observation::Between { low, high: high.min(cut) }),
    }
}
