//! The generalised Pareto law of excesses over a threshold: the line they are measured on, their likelihood
//! over censored readings, and where that is largest.
//!
//! Likelihood without a summit: readings that end in a cliff take the lowest regular shape, -1/2; a family
//! whose place the readings leave unknown to more than 30 spreads is refused as unbounded.

use crate::stats::distribution::{Distribution, Law};
use crate::stats::numeric::{increasing_root_within, inverse, product, quadratic};
use crate::stats::sample::Observation;
use crate::stats::special::{gamma_ln_sf, ln_gamma};

/// The line on which excesses are generalised Pareto.
///
/// On the scores of a law, `-ln P(X > x)`, the excesses of that law's own readings are exponential, so a tail
/// needs to learn only how readings differ from the law, and learns nothing wrong where they do not. Any
/// rising line is allowed; a law near the readings' makes the bias from a low threshold small.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Line {
    /// The readings themselves.
    Readings,
    /// The scores of a law.
    Scores(Law),
}

impl Line {
    pub(crate) fn at(self, x: f64) -> f64 {
        match self {
            Self::Readings => x,
            Self::Scores(law) => -law.ln_sf(x),
        }
    }

    pub(crate) fn back(self, w: f64) -> f64 {
        match self {
            Self::Readings => w,
            // Beyond this a share is no double any more.
            Self::Scores(law) => law.upper_quantile((-w.min(700.0)).exp()),
        }
    }
}

/// Where an observation lies for a tail.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Place {
    /// It need not lie beyond the threshold.
    Below,
    /// Beyond the threshold and below the cut, with its excess on the line.
    Inside(Observation),
    /// Beyond the cut.
    Beyond,
}

impl Place {
    pub(crate) fn of(
        o: Observation,
        threshold: f64,
        cut: Option<f64>,
        line: Line,
        start: f64,
    ) -> Self {
        let on = |x: f64| (line.at(x) - start).max(0.0);
        let beyond = |x: f64| cut.is_some_and(|cut| x >= cut);
        match o {
            Observation::Below(_) => Self::Below,
            Observation::Exact(x) if x <= threshold => Self::Below,
            Observation::Exact(x) if beyond(x) => Self::Beyond,
            // On scores the density of a reading is another one, by a factor free of the parameters.
            Observation::Exact(x) => Self::Inside(Observation::Exact(on(x))),
            Observation::Above(x) if x < threshold => Self::Below,
            // A trip below the cut would be known to lie below it as well as above the limit.
            Observation::Above(_) if cut.is_some() => Self::Beyond,
            Observation::Above(x) => Self::Inside(Observation::Above(on(x))),
            Observation::Between { low, high } => {
                let middle = low + (high - low) / 2.0;
                if middle <= threshold {
                    Self::Below
                } else if beyond(middle) {
                    Self::Beyond
                } else {
                    let high = cut.map_or(high, |cut| high.min(cut));
                    let (from, to) = (on(low), on(high));
                    if to > from {
                        Self::Inside(Observation::Between { low: from, high: to })
                    } else {
                        Self::Inside(Observation::Exact(from))
                    }
                }
            }
        }
    }
}

/// How far scale and shape are expected from 1 and 0, as standard deviations of normal penalties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Penalty {
    /// Of the log of the scale; infinite: none.
    pub(crate) ln_scale_sd: f64,
    /// Of the shape: tails of measured characteristics are rarely far from exponential, and some hundred
    /// readings cannot say more.
    pub(crate) shape_sd: f64,
}

impl Penalty {
    /// For a tail of all readings beyond its threshold.
    const OPEN: Self = Self { ln_scale_sd: 0.4, shape_sd: 0.2 };
    /// For a tail below a cut: a window of a law's scores is nearly as well described by a law twice as
    /// long, so the readings alone do not bound what lies beyond.
    const BELOW_CUT: Self = Self { ln_scale_sd: 0.4, shape_sd: 0.15 };
    /// Where nothing is known about the scale: a law that the readings contradict, or no law.
    pub(crate) const FREE: Self = Self { ln_scale_sd: f64::INFINITY, shape_sd: 0.2 };

    /// The penalty of a tail on a line. From simulation.
    pub(crate) fn of(line: Line, below_cut: bool) -> Self {
        match line {
            Line::Readings => Self::FREE,
            Line::Scores(_) if below_cut => Self::BELOW_CUT,
            Line::Scores(_) => Self::OPEN,
        }
    }
}

/// `(exp(shape r) - 1)/shape`, the excess in scales at depth `r`.
pub(crate) fn growth(shape: f64, r: f64) -> f64 {
    if (shape * r).abs() < 1e-8 { r } else { (shape * r).exp_m1() / shape }
}

/// `ln P(excess > z scales)`; negative infinity beyond the end.
pub(crate) fn ln_sf(z: f64, shape: f64) -> f64 {
    if shape * z <= -1.0 {
        f64::NEG_INFINITY
    } else if (shape * z).abs() < 1e-8 {
        -z
    } else {
        -(shape * z).ln_1p() / shape
    }
}

/// Excesses over a threshold and how often each occurred; where there is a cut, of readings below it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Excesses {
    /// Excesses and counts.
    pub(crate) lines: Vec<(Observation, f64)>,
    /// The excess that none of them can pass, since readings beyond it were left out.
    pub(crate) cut: Option<f64>,
    /// Sum of the counts.
    pub(crate) total: f64,
    /// How many readings lie beyond the cut. How many of them are healthy is not known, only that no more
    /// are: a law that expects more is unlikely.
    pub(crate) at_most: f64,
    /// Penalty on scale and shape.
    pub(crate) penalty: Penalty,
}

/// Log-likelihood of one excess and its gradient by (ln scale, shape).
#[derive(Clone, Copy)]
pub(crate) struct Term {
    pub(crate) value: f64,
    pub(crate) gradient: [f64; 2],
}

impl Term {
    pub(crate) fn of(excess: Observation, at: [f64; 2]) -> Option<Self> {
        let (scale, shape) = (at[0].exp(), at[1]);
        let term = match excess {
            Observation::Exact(y) => {
                let z = y / scale;
                let base = 1.0 + shape * z;
                let tail = Self::survival(y, at)?;
                Self {
                    value: -at[0] + tail.value - base.ln(),
                    gradient: [
                        -1.0 + tail.gradient[0] + shape * z / base,
                        tail.gradient[1] - z / base,
                    ],
                }
            }
            Observation::Above(y) => Self::survival(y, at)?,
            Observation::Between { low, high } => {
                Self::between(Self::survival(low, at)?, Self::survival(high, at))
            }
            Observation::Below(_) => return None,
        };
        term.finite()
    }

    /// Of an excess between two edges, by the survivals there; the far one may lie beyond the end.
    fn between(near: Self, far: Option<Self>) -> Self {
        let Some(far) = far else { return near };
        // Share of the survival at the near edge that lies beyond the far one.
        let ratio = (far.value - near.value).exp();
        let inside = -(far.value - near.value).exp_m1();
        Self {
            value: near.value + inside.ln(),
            gradient: [
                (near.gradient[0] - ratio * far.gradient[0]) / inside,
                (near.gradient[1] - ratio * far.gradient[1]) / inside,
            ],
        }
    }

    fn finite(self) -> Option<Self> {
        let finite = self.value.is_finite() && self.gradient.iter().all(|g| g.is_finite());
        finite.then_some(self)
    }

    /// `ln P(excess > y)`; `None` beyond the end.
    pub(crate) fn survival(y: f64, at: [f64; 2]) -> Option<Self> {
        let (z, shape) = (y / at[0].exp(), at[1]);
        let base = 1.0 + shape * z;
        if base <= 0.0 {
            return None;
        }
        let by_shape = if (shape * z).abs() < 1e-4 {
            z * z / 2.0 - 2.0 * shape * z * z * z / 3.0
        } else {
            (shape * z).ln_1p() / (shape * shape) - z / (shape * base)
        };
        Some(Self { value: ln_sf(z, shape), gradient: [z / base, by_shape] })
    }
}

impl Excesses {
    pub(crate) fn new(
        lines: Vec<(Observation, f64)>,
        cut: Option<f64>,
        at_most: f64,
        penalty: Penalty,
    ) -> Self {
        let total = lines.iter().map(|line| line.1).sum();
        Self { lines, cut, total, at_most, penalty }
    }

    /// Share of the law beyond the cut over the share below it, and its gradient; zero without a cut or
    /// where the law ends before it.
    pub(crate) fn odds_beyond_cut(&self, at: [f64; 2]) -> (f64, [f64; 2]) {
        let far = self.cut.and_then(|cut| Term::survival(cut, at));
        let Some(far) = far else {
            return (0.0, [0.0; 2]);
        };
        let below = -far.value.exp_m1();
        let odds = far.value.exp() / below;
        // d odds = S' / (1 - S)^2 with S' = S (ln S)'.
        (odds, far.gradient.map(|g| g * odds / below))
    }

    /// Log-likelihood of one excess, given that it lies below the cut.
    pub(crate) fn term(&self, excess: Observation, at: [f64; 2]) -> Option<Term> {
        let mut term = Term::of(excess, at)?;
        let (odds, by) = self.odds_beyond_cut(at);
        // -ln(1 - S) = ln(1 + odds)
        term.value += odds.ln_1p();
        term.gradient[0] += by[0] / (1.0 + odds);
        term.gradient[1] += by[1] / (1.0 + odds);
        Some(term)
    }

    /// Penalised log-likelihood at (ln scale, shape), with its gradient; `None` where an excess is
    /// impossible.
    pub(crate) fn objective(&self, at: [f64; 2]) -> Option<Term> {
        let (scale, shape) = (self.penalty.ln_scale_sd.powi(2), self.penalty.shape_sd.powi(2));
        let mut sum = self.likelihood(at)?;
        sum.value -= at[0] * at[0] / (2.0 * scale) + at[1] * at[1] / (2.0 * shape);
        sum.gradient[0] -= at[0] / scale;
        sum.gradient[1] -= at[1] / shape;
        sum.value.is_finite().then_some(sum)
    }

    /// The same without the penalty.
    pub(crate) fn likelihood(&self, at: [f64; 2]) -> Option<Term> {
        let mut sum = Term { value: 0.0, gradient: [0.0; 2] };
        // Readings that follow each other share an edge.
        let mut edge: (f64, Option<Term>) = (f64::NAN, None);
        for &(line, count) in &self.lines {
            let term = match line {
                Observation::Between { low, high } => {
                    let near = if low == edge.0 { edge.1 } else { Term::survival(low, at) };
                    edge = (high, Term::survival(high, at));
                    Term::between(near?, edge.1).finite()?
                }
                line => Term::of(line, at)?,
            };
            sum.value += count * term.value;
            sum.gradient[0] += count * term.gradient[0];
            sum.gradient[1] += count * term.gradient[1];
        }
        if self.cut.is_some() {
            let (odds, by) = self.odds_beyond_cut(at);
            sum.value += self.total * odds.ln_1p();
            sum.gradient[0] += self.total * by[0] / (1.0 + odds);
            sum.gradient[1] += self.total * by[1] / (1.0 + odds);
            // ln P(Poisson(expected) <= at_most) and its slope.
            let expected = self.total * odds;
            if expected > 0.0 {
                let k = self.at_most;
                let ln_p = gamma_ln_sf(k + 1.0, expected);
                let slope = -(k * expected.ln() - expected - ln_gamma(k + 1.0) - ln_p).exp();
                sum.value += ln_p;
                sum.gradient[0] += slope * self.total * by[0];
                sum.gradient[1] += slope * self.total * by[1];
            }
        }
        sum.value.is_finite().then_some(sum)
    }
}

/// The lowest shape whose likelihood is a smooth hill (Smith R.L. (1985) Biometrika 72:67-90; from memory).
const LOWEST_REGULAR: f64 = -0.5;

/// Where the penalised likelihood is largest, and the inverse information there. Readings that end in a
/// cliff, evenly spread ones say, have no such place: then the best with the lowest regular shape, whose
/// tail is longer than theirs.
pub(crate) fn maximise(excesses: &Excesses) -> Option<([f64; 2], [[f64; 2]; 2])> {
    climb(excesses).or_else(|| climb_with(excesses, LOWEST_REGULAR))
}

/// The best scale for a shape.
fn climb_with(excesses: &Excesses, shape: f64) -> Option<([f64; 2], [[f64; 2]; 2])> {
    let slope = |ln_scale: f64| {
        excesses.objective([ln_scale, shape]).map_or(f64::NAN, |term| -term.gradient[0])
    };
    let farthest = excesses.lines.iter().map(|(o, _)| o.low()).fold(0.0, f64::max);
    // From where the law just reaches the farthest reading.
    let from = (farthest * -shape * (1.0 + 1e-6)).ln();
    let ln_scale = increasing_root_within(slope, from, from + 10.0, 1e-9)?;
    let at = [ln_scale, shape];
    let along_scale = information(excesses, at)?[0];
    (along_scale > 0.0).then(|| {
        let covariance = [[1.0 / along_scale, 0.0], [0.0, excesses.penalty.shape_sd.powi(2)]];
        (at, covariance)
    })
}

fn climb(excesses: &Excesses) -> Option<([f64; 2], [[f64; 2]; 2])> {
    let total = excesses.total;
    let middle = |o: Observation| match o {
        Observation::Between { low, high } => (low + high) / 2.0,
        other => other.low(),
    };
    let mean = excesses.lines.iter().map(|&(o, count)| count * middle(o)).sum::<f64>() / total;
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    let mut at = [if excesses.penalty.ln_scale_sd.is_finite() { 0.0 } else { mean.ln() }, 0.0];
    let mut here = excesses.objective(at)?;
    for _ in 0..100 {
        // Away from the maximum the information may not be positive definite: then along the gradient.
        let step = match inverse(information(excesses, at)?, 0.0) {
            Some(covariance) => product(&covariance, here.gradient),
            None => [here.gradient[0] / total, here.gradient[1] / total],
        };
        let mut size = 1.0 / (step[0].abs().max(step[1].abs()) / 0.5).max(1.0);
        let mut moved = false;
        for _ in 0..40 {
            let next = [at[0] + size * step[0], at[1] + size * step[1]];
            if let Some(there) = excesses.objective(next).filter(|t| t.value >= here.value) {
                moved = there.value > here.value;
                at = next;
                here = there;
                break;
            }
            size /= 2.0;
        }
        let small = step[0].abs().max(step[1].abs()) < 1e-9;
        if small || !moved {
            break;
        }
    }
    let covariance = inverse(information(excesses, at)?, 0.0)?;
    // Newton's decrement: twice the likelihood still to be gained.
    let gain = quadratic(&covariance, here.gradient);
    (gain < 1e-4).then_some((at, covariance))
}

/// Negative second derivatives by scale twice, each, shape twice; central differences of the gradient.
fn information(excesses: &Excesses, at: [f64; 2]) -> Option<[f64; 3]> {
    let h = 1e-4;
    let row = |i: usize| {
        let (mut up, mut down) = (at, at);
        up[i] += h;
        down[i] -= h;
        let (up, down) = (excesses.objective(up)?, excesses.objective(down)?);
        Some([0, 1].map(|j| (down.gradient[j] - up.gradient[j]) / (2.0 * h)))
    };
    let (first, second) = (row(0)?, row(1)?);
    Some([first[0], (first[1] + second[0]) / 2.0, second[1]])
}
