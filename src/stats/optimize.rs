//! The highest point of a smooth function of two unbounded parameters, and how the search ended.

use super::distribution::Derivatives;
use super::numeric::{self, product, quadratic};

/// How a successful search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Stop {
    /// The gradient is zero to rounding.
    GradientZero,
    /// Rounding allows no higher point; the gradient is near zero (within 1e-4 standard errors).
    NoFurtherProgress,
}

impl Stop {
    /// In words, for a report.
    pub fn text(self) -> &'static str {
        match self {
            Self::GradientZero => "gradient zero",
            Self::NoFurtherProgress => "no further progress",
        }
    }
}

/// A maximum: where, with value and derivatives there.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Maximum {
    pub theta: [f64; 2],
    pub at: Derivatives,
    pub stopped: Stop,
    pub evaluations: usize,
}

/// Why a search found no maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Failure {
    /// Value or derivatives at the start are not finite.
    BadStart,
    /// The parameters ran off without an end to the rise.
    RanAway,
    /// Too many rounds, or no way up although the gradient is not zero; its distance from the maximum
    /// in standard errors, where the surface tells.
    Unfinished { distance: f64 },
    /// At the highest point the information is not positive definite.
    Singular,
}

/// Squared distance from the maximum, in standard errors, that counts as there. Newton's last step has
/// then squared a distance that was already small.
const DONE: f64 = 1e-18;
/// The same where rounding ends the search.
const NEAR: f64 = 1e-8;
const ROUNDS: usize = 200;
/// A log spread this far from that of the data has no end: at `e^15` times the spread all that is left of
/// the likelihood's slope is rounding, and it would pass for a maximum.
const FAR: f64 = 15.0;

/// A place known no better than to this many spreads (or a log spread to [`FAR`]) is not known: the
/// likelihood has become flat on the way to nowhere, and gradient and information vanish together.
const UNKNOWN: f64 = 30.0;

fn unknown(covariance: [[f64; 2]; 2], theta: [f64; 2]) -> bool {
    covariance[0][0].sqrt() > UNKNOWN * theta[1].exp() || covariance[1][1].sqrt() > FAR
}

/// Part of the product of both variances' inverses that rounding may leave of the determinant of a singular matrix.
const SINGULAR: f64 = 1e-13;

/// Inverse of an information; `None` unless positive definite, also to rounding.
pub(crate) fn inverse(information: [f64; 3]) -> Option<[[f64; 2]; 2]> {
    numeric::inverse(information, SINGULAR)
}

/// Information (minus the hessian) as `[mm, ms, ss]`.
fn information(at: &Derivatives) -> [f64; 3] {
    at.hessian.map(|h| -h)
}

fn finite(at: &Derivatives) -> bool {
    at.value.is_finite()
        && at.gradient.iter().all(|g| g.is_finite())
        && at.hessian.iter().all(|h| h.is_finite())
}

/// Maximises `f` from `start` by damped Newton steps (Levenberg 1944, Marquardt 1963, from memory).
///
/// - `f` is a log-likelihood in place and log spread; a step moves the log spread by at most 1 and the
///   place by at most 3 spreads.
/// - Checked, not believed: derivatives finite, distance from the top by the quadratic model under
///   [`DONE`] (or [`NEAR`] at the end of rounding), information positive definite and not vanishing.
pub(crate) fn maximise(
    mut f: impl FnMut([f64; 2]) -> Derivatives,
    start: [f64; 2],
) -> Result<Maximum, Failure> {
    let mut theta = start;
    let mut at = f(theta);
    let mut evaluations = 1;
    if !finite(&at) {
        return Err(Failure::BadStart);
    }
    let mut damping = 0.0;
    for _ in 0..ROUNDS {
        let info = information(&at);
        if let Some(covariance) = inverse(info) {
            let distance = quadratic(&covariance, at.gradient);
            if distance <= DONE && unknown(covariance, theta) {
                return Err(Failure::RanAway);
            }
            if distance <= DONE {
                return Ok(Maximum { theta, at, stopped: Stop::GradientZero, evaluations });
            }
        }
        let Some(step) = step(info, at.gradient, damping, theta[1]) else {
            damping = f64::max(4.0 * damping, 1e-3);
            continue;
        };
        let next = [theta[0] + step[0], theta[1] + step[1]];
        if (next[1] - start[1]).abs() > FAR || next[0].abs() > 1e9 {
            return Err(Failure::RanAway);
        }
        let there = f(next);
        evaluations += 1;
        // Close to the top the rise drowns in rounding: there a shrinking gradient decides.
        let rounding = 1e-14 * (1.0 + at.value.abs());
        let higher =
            there.value > at.value || (there.value > at.value - rounding && shrinks(&at, &there));
        if finite(&there) && higher {
            theta = next;
            at = there;
            damping = if damping < 1e-6 { 0.0 } else { damping / 10.0 };
        } else {
            damping = f64::max(10.0 * damping, 1e-4);
            if damping > 1e12 {
                break;
            }
        }
    }
    // Stuck on the way to nowhere, rather than near a top.
    if theta[1] - start[1] > FAR / 3.0 || (theta[0] - start[0]).abs() > 2.0 * FAR * start[1].exp() {
        return Err(Failure::RanAway);
    }
    let Some(covariance) = inverse(information(&at)) else {
        return Err(Failure::Singular);
    };
    if unknown(covariance, theta) {
        return Err(Failure::RanAway);
    }
    let distance = quadratic(&covariance, at.gradient);
    if distance <= NEAR {
        Ok(Maximum { theta, at, stopped: Stop::NoFurtherProgress, evaluations })
    } else {
        Err(Failure::Unfinished { distance: distance.sqrt() })
    }
}

fn shrinks(from: &Derivatives, to: &Derivatives) -> bool {
    let size = |g: [f64; 2]| {
        inverse(information(from)).map_or(f64::INFINITY, |covariance| quadratic(&covariance, g))
    };
    size(to.gradient) < size(from.gradient)
}

/// The damped step; `None` where the damping does not yet make the information positive definite.
fn step(info: [f64; 3], gradient: [f64; 2], damping: f64, log_spread: f64) -> Option<[f64; 2]> {
    let scale = |x: f64| x.abs().max(1e-12 * (info[0].abs() + info[2].abs())).max(1e-300);
    let damped = [info[0] + damping * scale(info[0]), info[1], info[2] + damping * scale(info[2])];
    let c = inverse(damped)?;
    let full = product(&c, gradient);
    let length = (full[0].abs() / (3.0 * log_spread.exp())).max(full[1].abs()).max(1.0);
    let short = full.map(|x| x / length);
    short.iter().all(|x| x.is_finite()).then_some(short)
}
