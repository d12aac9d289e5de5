//! The generalised Pareto law of excesses: its likelihood over censored readings, and where that is
//! largest.

use crate::stats::sample::Observation;

/// Standard deviation of the normal penalty on the shape: tails of measured characteristics are
/// rarely far from exponential, and some hundred readings cannot say more. From simulation.
pub const SHAPE_SD: f64 = 0.2;
/// `(exp(shape r) - 1)/shape`, the excess in scales at depth `r`.
pub(crate) fn growth(shape: f64, r: f64) -> f64 {
    if (shape * r).abs() < 1e-8 {
        r
    } else {
        (shape * r).exp_m1() / shape
    }
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

/// What an observation says about the excess; `None` where it need not lie beyond the threshold.
pub(crate) fn excess(observation: Observation, threshold: f64) -> Option<Observation> {
    match observation {
        Observation::Exact(x) => (x > threshold).then_some(Observation::Exact(x - threshold)),
        Observation::Above(x) => (x >= threshold).then_some(Observation::Above(x - threshold)),
        Observation::Between { low, high } => {
            ((low + high) / 2.0 > threshold).then(|| Observation::Between {
                low: (low - threshold).max(0.0),
                high: high - threshold,
            })
        }
        Observation::Below(_) => None,
    }
}

/// Log-likelihood of one excess and its gradient by (ln scale, shape).
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
                let near = Self::survival(low, at)?;
                match Self::survival(high, at) {
                    None => near,
                    Some(far) => {
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
                }
            }
            Observation::Below(_) => return None,
        };
        let finite = term.value.is_finite() && term.gradient.iter().all(|g| g.is_finite());
        finite.then_some(term)
    }

    /// `ln P(excess > y)`; `None` beyond the end.
    fn survival(y: f64, at: [f64; 2]) -> Option<Self> {
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
        Some(Self {
            value: ln_sf(z, shape),
            gradient: [z / base, by_shape],
        })
    }
}

/// Penalised log-likelihood at (ln scale, shape), with its gradient; `None` where an excess is impossible.
pub(crate) fn objective(lines: &[(Observation, f64)], at: [f64; 2]) -> Option<Term> {
    let variance = SHAPE_SD * SHAPE_SD;
    let mut sum = Term {
        value: -at[1] * at[1] / (2.0 * variance),
        gradient: [0.0, -at[1] / variance],
    };
    for &(line, count) in lines {
        let term = Term::of(line, at)?;
        sum.value += count * term.value;
        sum.gradient[0] += count * term.gradient[0];
        sum.gradient[1] += count * term.gradient[1];
    }
    sum.value.is_finite().then_some(sum)
}

/// Where the penalised likelihood is largest, and the inverse information there.
pub(crate) fn maximise(lines: &[(Observation, f64)]) -> Option<([f64; 2], [[f64; 2]; 2])> {
    let total: f64 = lines.iter().map(|line| line.1).sum();
    let middle = |o: Observation| match o {
        Observation::Between { low, high } => (low + high) / 2.0,
        other => other.low(),
    };
    let mean = lines
        .iter()
        .map(|&(o, count)| count * middle(o))
        .sum::<f64>()
        / total;
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    let mut at = [mean.ln(), 0.0];
    let mut here = objective(lines, at)?;
    for _ in 0..100 {
        let information = information(lines, at)?;
        let inverse = invert(information);
        // Away from the maximum the information may not be positive definite: then along the gradient.
        let step = match inverse {
            Some(v) => [
                v[0][0] * here.gradient[0] + v[0][1] * here.gradient[1],
                v[1][0] * here.gradient[0] + v[1][1] * here.gradient[1],
            ],
            None => [here.gradient[0] / total, here.gradient[1] / total],
        };
        let mut size = 1.0 / (step[0].abs().max(step[1].abs()) / 0.5).max(1.0);
        let mut moved = false;
        for _ in 0..40 {
            let next = [at[0] + size * step[0], at[1] + size * step[1]];
            if let Some(there) = objective(lines, next).filter(|t| t.value >= here.value) {
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
    let covariance = invert(information(lines, at)?)?;
    // Newton's decrement: twice the likelihood still to be gained.
    let gain = here.gradient[0]
        * (covariance[0][0] * here.gradient[0] + 2.0 * covariance[0][1] * here.gradient[1])
        + here.gradient[1] * covariance[1][1] * here.gradient[1];
    (gain < 1e-4).then_some((at, covariance))
}

/// Negative second derivatives, by central differences of the gradient.
fn information(lines: &[(Observation, f64)], at: [f64; 2]) -> Option<[[f64; 2]; 2]> {
    let h = 1e-4;
    let row = |i: usize| {
        let (mut up, mut down) = (at, at);
        up[i] += h;
        down[i] -= h;
        let (up, down) = (objective(lines, up)?, objective(lines, down)?);
        Some([0, 1].map(|j| (down.gradient[j] - up.gradient[j]) / (2.0 * h)))
    };
    let (first, second) = (row(0)?, row(1)?);
    let cross = (first[1] + second[0]) / 2.0;
    Some([[first[0], cross], [cross, second[1]]])
}

fn invert(m: [[f64; 2]; 2]) -> Option<[[f64; 2]; 2]> {
    let determinant = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    (m[0][0] > 0.0 && determinant > 0.0).then(|| {
        [
            [m[1][1] / determinant, -m[0][1] / determinant],
            [-m[1][0] / determinant, m[0][0] / determinant],
        ]
    })
}
