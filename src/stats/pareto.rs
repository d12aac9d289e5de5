//! The generalised Pareto law of excesses over a threshold: the line they are measured on, their likelihood
//! over censored readings, and where that is largest.
//!
//! Likelihood without a summit: readings that end in a cliff take the lowest regular shape, -1/2; a family
//! whose place the readings leave unknown to more than 30 spreads is refused as unbounded.

use crate::distribution::{Distribution, Law};
use crate::grid::Grid;
use crate::numeric::{increasing_root_within, inverse, product, quadratic};
use crate::sample::{Counted, Observation};
use crate::special::{gamma_ln_sf, ln_gamma};

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
    lines: Vec<Counted>,
    /// The same as the likelihood takes them: many narrow ones in cells.
    cells: Vec<Counted>,
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

/// A law of the excesses, by (ln scale, shape), with what every excess asks of it.
#[derive(Clone, Copy)]
struct At {
    ln_scale: f64,
    rate: f64,
    shape: f64,
}

impl At {
    fn new([ln_scale, shape]: [f64; 2]) -> Self {
        Self { ln_scale, rate: (-ln_scale).exp(), shape }
    }

    fn term(self, excess: Observation) -> Option<Term> {
        let term = match excess {
            Observation::Exact(y) => {
                let z = y * self.rate;
                let base = 1.0 + self.shape * z;
                let tail = self.survival(y)?;
                Term {
                    value: -self.ln_scale + tail.value - base.ln(),
                    gradient: [
                        -1.0 + tail.gradient[0] + self.shape * z / base,
                        tail.gradient[1] - z / base,
                    ],
                }
            }
            Observation::Above(y) => self.survival(y)?,
            Observation::Between { low, high } => {
                Term::between::<true>(self.survival(low)?, self.survival(high))
            }
            Observation::Below(_) => return None,
        };
        term.finite()
    }

    /// `ln P(excess > y)`; `None` beyond the end.
    fn survival(self, y: f64) -> Option<Term> {
        let (z, shape) = (y * self.rate, self.shape);
        let bent = shape * z;
        if bent <= -1.0 {
            return None;
        }
        let base = 1.0 + bent;
        let value = ln_sf(z, shape);
        let by_shape = if bent.abs() < 1e-4 {
            z * z / 2.0 - 2.0 * shape * z * z * z / 3.0
        } else {
            -(value + z / base) / shape
        };
        Some(Term { value, gradient: [z / base, by_shape] })
    }
}

impl Term {
    /// Of an excess between two edges, by the survivals there; the far one may lie beyond the end. Without `VALUE` the
    /// gradient alone, which needs one logarithm less.
    fn between<const VALUE: bool>(near: Self, far: Option<Self>) -> Self {
        let Some(far) = far else { return near };
        // Share of the survival at the near edge that lies between the two, and beyond the far one.
        let inside = -(far.value - near.value).exp_m1();
        let ratio = 1.0 - inside;
        Self {
            value: near.value + if VALUE { inside.ln() } else { 0.0 },
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
}

/// Excesses up to which the likelihood takes them as they are; from then on those narrower than half a cell in cells, so
/// many to the mean excess: cells so wide lose nothing to speak of (a part in 6 000 of what readings say of a scale).
const MOST_LINES: usize = 500;
const CELLS: f64 = 16.0;

/// The middle of what is known of an excess; a trip's limit.
fn middle(excess: Observation) -> f64 {
    match excess {
        Observation::Between { low, high } => f64::midpoint(low, high),
        other => other.low(),
    }
}

fn mean(lines: &[Counted], total: f64) -> f64 {
    lines.iter().map(|line| line.count * middle(line.observation)).sum::<f64>() / total
}

/// Excesses as the likelihood takes them.
fn in_cells(lines: &[Counted], cut: Option<f64>, total: f64) -> Vec<Counted> {
    let width = mean(lines, total) / CELLS;
    if lines.len() <= MOST_LINES || !(width > 0.0 && width.is_finite()) {
        return lines.to_vec();
    }
    // No cell reaches beyond the cut.
    let width = cut.map_or(width, |cut| cut / (cut / width).ceil());
    Grid { width, narrow: width / 2.0 }.shared(lines)
}

impl Excesses {
    pub(crate) fn new(
        lines: Vec<Counted>,
        cut: Option<f64>,
        at_most: f64,
        penalty: Penalty,
    ) -> Self {
        let total = lines.iter().map(|line| line.count).sum();
        Self { cells: in_cells(&lines, cut, total), lines, cut, total, at_most, penalty }
    }

    /// Share of the law beyond the cut over the share below it, and its gradient; zero without a cut or
    /// where the law ends before it.
    pub(crate) fn odds_beyond_cut(&self, at: [f64; 2]) -> (f64, [f64; 2]) {
        let far = self.cut.and_then(|cut| At::new(at).survival(cut));
        let Some(far) = far else {
            return (0.0, [0.0; 2]);
        };
        let below = -far.value.exp_m1();
        let odds = far.value.exp() / below;
        // d odds = S' / (1 - S)^2 with S' = S (ln S)'.
        (odds, far.gradient.map(|g| g * odds / below))
    }

    /// Gradient of the log-likelihood of each excess, given that it lies below the cut.
    pub(crate) fn gradients(&self, at: [f64; 2]) -> Vec<[f64; 2]> {
        let (odds, by) = self.odds_beyond_cut(at);
        let at = At::new(at);
        // -ln(1 - S) = ln(1 + odds)
        let of = |[by_scale, by_shape]: [f64; 2]| {
            [by_scale + by[0] / (1.0 + odds), by_shape + by[1] / (1.0 + odds)]
        };
        let lines = self.lines.iter();
        lines
            .map(|line| at.term(line.observation).map_or([0.0; 2], |term| of(term.gradient)))
            .collect()
    }

    /// Penalised log-likelihood at (ln scale, shape), with its gradient; `None` where an excess is
    /// impossible.
    pub(crate) fn objective(&self, at: [f64; 2]) -> Option<Term> {
        self.objective_of::<true>(&self.cells, at)
    }

    /// The gradient of [`Excesses::objective`] alone.
    pub(crate) fn slope(&self, at: [f64; 2]) -> Option<[f64; 2]> {
        Some(self.objective_of::<false>(&self.cells, at)?.gradient)
    }

    /// The same of the excesses as they are, to compare with other explanations of them.
    pub(crate) fn objective_of_each(&self, at: [f64; 2]) -> Option<Term> {
        self.objective_of::<true>(&self.lines, at)
    }

    fn objective_of<const VALUE: bool>(&self, lines: &[Counted], at: [f64; 2]) -> Option<Term> {
        let (scale, shape) = (self.penalty.ln_scale_sd.powi(2), self.penalty.shape_sd.powi(2));
        let mut sum = self.likelihood_of::<VALUE>(lines, at)?;
        sum.value -= at[0] * at[0] / (2.0 * scale) + at[1] * at[1] / (2.0 * shape);
        sum.gradient[0] -= at[0] / scale;
        sum.gradient[1] -= at[1] / shape;
        sum.value.is_finite().then_some(sum)
    }

    /// [`Excesses::objective`] without the penalty.
    pub(crate) fn likelihood(&self, at: [f64; 2]) -> Option<Term> {
        self.likelihood_of::<true>(&self.cells, at)
    }

    fn likelihood_of<const VALUE: bool>(&self, lines: &[Counted], at: [f64; 2]) -> Option<Term> {
        let mut sum = Term { value: 0.0, gradient: [0.0; 2] };
        let law = At::new(at);
        // Readings that follow each other share an edge.
        let mut edge: (f64, Option<Term>) = (f64::NAN, None);
        for &Counted { observation, count } in lines {
            let term = match observation {
                Observation::Between { low, high } => {
                    let near = if low == edge.0 { edge.1 } else { law.survival(low) };
                    edge = (high, law.survival(high));
                    Term::between::<VALUE>(near?, edge.1).finite()?
                }
                other => law.term(other)?,
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
    let slope =
        |ln_scale: f64| excesses.slope([ln_scale, shape]).map_or(f64::NAN, |slope| -slope[0]);
    let farthest = excesses.cells.iter().map(|line| line.observation.low()).fold(0.0, f64::max);
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
    let mean = mean(&excesses.lines, total);
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
        let (up, down) = (excesses.slope(up)?, excesses.slope(down)?);
        Some([0, 1].map(|j| (down[j] - up[j]) / (2.0 * h)))
    };
    let (first, second) = (row(0)?, row(1)?);
    Some([first[0], (first[1] + second[0]) / 2.0, second[1]])
}
