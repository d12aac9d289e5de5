//! The arithmetic that several methods share: roots, quadrature, small linear systems, medians.
//!
//! Takes numbers and functions, gives numbers; `None` where there is no answer. In one place, so that a method is
//! about its question and a better root finder serves all of them.

/// Root of a function that does not fall between `low` and `high`, to 1e-15 of the larger end: false position,
/// with a halving whenever that is slow (Illinois rule; Dowell & Jarratt 1971, from memory).
///
/// `None` where the ends do not bracket a root, or a value is not a number.
pub fn increasing_root(f: impl Fn(f64) -> f64, low: f64, high: f64) -> Option<f64> {
    increasing_root_within(f, low, high, 1e-15)
}

/// As [`increasing_root`], ending when the bracket is narrower than `relative` times its larger end.
pub fn increasing_root_within(
    f: impl Fn(f64) -> f64,
    low: f64,
    high: f64,
    relative: f64,
) -> Option<f64> {
    let ends = [low, high].map(|x| (x, f(x)));
    closed_in(f, ends, |low, high| high - low <= relative * low.abs().max(high.abs()))
}

/// As [`increasing_root`], between ends whose values are known, ending when a bracket is `narrow`.
pub fn closed_in(
    f: impl Fn(f64) -> f64,
    [(mut low, mut f_low), (mut high, mut f_high)]: [(f64, f64); 2],
    narrow: impl Fn(f64, f64) -> bool,
) -> Option<f64> {
    if f_low == 0.0 {
        return Some(low);
    }
    if !(f_low <= 0.0 && f_high >= 0.0) {
        return None;
    }
    // Which end moved last: +1 the high one, -1 the low one.
    let mut moved = 0;
    for round in 0..200 {
        if narrow(low, high) {
            break;
        }
        let mut x = (low * f_high - high * f_low) / (f_high - f_low);
        if round % 3 == 2 || !(x > low && x < high) {
            x = low + (high - low) / 2.0;
        }
        if x <= low || x >= high {
            break;
        }
        let y = f(x);
        if y == 0.0 {
            return Some(x);
        }
        if y < 0.0 {
            low = x;
            f_low = y;
            if moved == -1 {
                f_high /= 2.0;
            }
            moved = -1;
        } else if y > 0.0 {
            high = x;
            f_high = y;
            if moved == 1 {
                f_low /= 2.0;
            }
            moved = 1;
        } else {
            return None;
        }
    }
    Some(low + (high - low) / 2.0)
}

/// As [`increasing_root`], from a guess that is likely near: one end moves away from it, `step` at first and twice as
/// far each time, to the ends at most; the root to within `error`. Half as many values as from the ends.
pub fn increasing_root_about(
    f: impl Fn(f64) -> f64,
    [guess, step]: [f64; 2],
    [low, high]: [f64; 2],
    error: f64,
) -> Option<f64> {
    let from = guess.clamp(low, high);
    let mut here = (from, f(from));
    let up = here.1 < 0.0;
    let mut step = step;
    while here.1 != 0.0 {
        let next = if up { (here.0 + step).min(high) } else { (here.0 - step).max(low) };
        if next == here.0 {
            return None;
        }
        let there = (next, f(next));
        if (there.1 >= 0.0) == up && !there.1.is_nan() {
            let ends = if up { [here, there] } else { [there, here] };
            return closed_in(f, ends, |low, high| high - low <= error);
        }
        here = there;
        step *= 2.0;
    }
    Some(here.0)
}

/// As [`increasing_root`], from a guess: the ends are moved out, `width` away at first and twice as far each time,
/// until they bracket the root.
pub fn increasing_root_near(f: impl Fn(f64) -> f64, guess: f64, width: f64) -> Option<f64> {
    let end = |sign: f64| {
        let (mut width, mut x) = (width, guess + sign * width);
        for _ in 0..200 {
            if sign * f(x) >= 0.0 {
                break;
            }
            width *= 2.0;
            x += sign * width;
        }
        x
    };
    increasing_root(&f, end(-1.0), end(1.0))
}

/// Root of an increasing function to its last digit, with an answer whatever its values: as [`increasing_root`], but a
/// value that is no number counts as above the root, and ends that do not bracket one close in on the nearer. Both
/// ends are weighed at every step, with a halving at each eighth: the tails of distributions are steep, and their
/// quantiles are asked for to the last digit.
pub(crate) fn root_between(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    let (mut f_low, mut f_high) = (f(low), f(high));
    if f_low == 0.0 {
        return low;
    }
    if f_high == 0.0 {
        return high;
    }
    for round in 0..200 {
        let width = high - low;
        let middle = low + width / 2.0;
        let mut u = (low * f_high - high * f_low) / (f_high - f_low);
        if !u.is_finite() || u <= low || u >= high || round % 8 == 7 {
            u = middle;
        }
        if u <= low || u >= high || width <= 1e-16 * (low.abs() + high.abs()) {
            break;
        }
        let value = f(u);
        if value == 0.0 {
            return u;
        }
        if value < 0.0 {
            low = u;
            f_low = value;
            f_high /= 2.0;
        } else {
            high = u;
            f_high = value;
            f_low /= 2.0;
        }
    }
    low + (high - low) / 2.0
}

/// Where a condition that holds from `low` on and fails before `high` turns, by `rounds` halvings.
pub fn last_that(holds: impl Fn(f64) -> bool, low: f64, high: f64, rounds: usize) -> f64 {
    let (mut low, mut high) = (low, high);
    for _ in 0..rounds {
        let middle = 0.5 * (low + high);
        if holds(middle) { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// A node of a quadrature rule on -1 to 1, and its weight; the weights of a rule add up to 1, so that the sum over
/// them is the mean over the interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    /// Place on -1 to 1.
    pub at: f64,
    /// Weight.
    pub weight: f64,
}

const fn node(at: f64, weight: f64) -> Node {
    Node { at, weight }
}

/// Gauss-Legendre with three nodes. Source: closed form, `sqrt(3/5)`, weights 5/18 and 8/18.
pub const GAUSS_3: [Node; 3] = [
    node(-0.774_596_669_241_483_4, 0.277_777_777_777_777_8),
    node(0.0, 0.444_444_444_444_444_5),
    node(0.774_596_669_241_483_4, 0.277_777_777_777_777_8),
];

/// Gauss-Legendre with five nodes.
/// Source: closed form, `sqrt(5 -+ 2 sqrt(10/7)) / 3` and `(322 +- 13 sqrt 70) / 1800`.
pub const GAUSS_5: [Node; 5] = [
    node(-0.906_179_845_938_664, 0.118_463_442_528_094_54),
    node(-0.538_469_310_105_683_1, 0.239_314_335_249_683_23),
    node(0.0, 0.284_444_444_444_444_44),
    node(0.538_469_310_105_683_1, 0.239_314_335_249_683_23),
    node(0.906_179_845_938_664, 0.118_463_442_528_094_54),
];

/// Gauss-Legendre with eight nodes, from the middle outward.
/// Source: Abramowitz M., Stegun I.A. (1964) Handbook of Mathematical Functions, table 25.4 (from memory).
pub const GAUSS_8: [Node; 8] = [
    node(-0.183_434_642_495_649_8, 0.181_341_891_689_181),
    node(0.183_434_642_495_649_8, 0.181_341_891_689_181),
    node(-0.525_532_409_916_329, 0.156_853_322_938_943_66),
    node(0.525_532_409_916_329, 0.156_853_322_938_943_66),
    node(-0.796_666_477_413_626_7, 0.111_190_517_226_687_24),
    node(0.796_666_477_413_626_7, 0.111_190_517_226_687_24),
    node(-0.960_289_856_497_536_3, 0.050_614_268_145_188_13),
    node(0.960_289_856_497_536_3, 0.050_614_268_145_188_13),
];

/// Gauss-Legendre with `n` nodes, by Newton's method on the polynomial.
pub fn gauss_legendre(n: usize) -> Vec<Node> {
    let m = n as f64;
    (0..n)
        .map(|i| {
            let mut x = ((i as f64 + 0.75) / (m + 0.5) * std::f64::consts::PI).cos();
            let mut slope = 1.0;
            for _ in 0..50 {
                let (mut p, mut before) = (1.0, 0.0);
                for k in 1..=n {
                    let k = k as f64;
                    (p, before) = (((2.0 * k - 1.0) * x * p - (k - 1.0) * before) / k, p);
                }
                slope = m * (x * p - before) / (x * x - 1.0);
                let move_by = p / slope;
                x -= move_by;
                if move_by.abs() < 1e-15 {
                    break;
                }
            }
            node(x, 1.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// Inverse of the symmetric matrix `[[a, b], [b, c]]`; `None` unless it is positive definite with a determinant
/// above `least` times `a c`, 0 to 1: what rounding leaves of a singular one is no information.
pub fn inverse([a, b, c]: [f64; 3], least: f64) -> Option<[[f64; 2]; 2]> {
    let determinant = a * c - b * b;
    let usable = a > 0.0 && c > 0.0 && determinant > least * a * c && determinant.is_finite();
    usable.then(|| [[c / determinant, -b / determinant], [-b / determinant, a / determinant]])
}

/// A matrix times a vector.
pub fn product(m: &[[f64; 2]; 2], v: [f64; 2]) -> [f64; 2] {
    [m[0][0] * v[0] + m[0][1] * v[1], m[1][0] * v[0] + m[1][1] * v[1]]
}

/// `v' m v`, `m` symmetric: the variance of a quantity with gradient `v`, where `m` is the covariance.
pub fn quadratic(m: &[[f64; 2]; 2], v: [f64; 2]) -> f64 {
    v[0] * v[0] * m[0][0] + 2.0 * v[0] * v[1] * m[0][1] + v[1] * v[1] * m[1][1]
}

/// Solves a system of equations, each row the coefficients and then the right side, by elimination with row
/// exchange; `None` where it is singular.
pub fn solve(mut a: Vec<Vec<f64>>) -> Option<Vec<f64>> {
    let n = a.len();
    for column in 0..n {
        let pivot =
            (column..n).max_by(|i, j| a[*i][column].abs().total_cmp(&a[*j][column].abs()))?;
        a.swap(column, pivot);
        if a[column][column] == 0.0 {
            return None;
        }
        let (top, below) = a.split_at_mut(column + 1);
        let row = &top[column];
        for other in below {
            let factor = other[column] / row[column];
            for k in column..=n {
                other[k] -= factor * row[k];
            }
        }
    }
    let mut x = vec![0.0; n];
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|k| a[i][k] * x[k]).sum();
        x[i] = (a[i][n] - known) / a[i][i];
    }
    Some(x)
}

/// Inverse of a symmetric positive definite matrix of any size; `None` where it is singular.
pub fn inverse_of_any(mut a: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let k = a.len();
    let sizes: Vec<f64> = (0..k).map(|i| a[i][i]).collect();
    let mut out: Vec<Vec<f64>> =
        (0..k).map(|i| (0..k).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    for i in 0..k {
        let pivot = a[i][i];
        if pivot.is_nan() || pivot <= 1e-10 * sizes[i] {
            return None;
        }
        for j in 0..k {
            a[i][j] /= pivot;
            out[i][j] /= pivot;
        }
        for r in (0..k).filter(|r| *r != i) {
            let factor = a[r][i];
            for j in 0..k {
                a[r][j] -= factor * a[i][j];
                out[r][j] -= factor * out[i][j];
            }
        }
    }
    Some(out)
}

/// Median of values in any order; `None` where there are none.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    median_of_sorted(&sorted)
}

/// Median of values in ascending order; `None` where there are none.
pub fn median_of_sorted(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len();
    (n > 0).then(|| f64::midpoint(sorted[(n - 1) / 2], sorted[n / 2]))
}

/// Where a running weight reaches a share of all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reached {
    /// Index of the item.
    pub index: usize,
    /// Weight of all items before it.
    pub before: f64,
}

/// The first of items in ascending order at which the weight of it and all before is `share` (0 to 1) of the whole:
/// with 0.5 the lower weighted median. `None` where there is no item or the weights are no numbers.
pub fn reaching(
    weights: impl IntoIterator<Item = f64, IntoIter: Clone>,
    share: f64,
) -> Option<Reached> {
    let weights = weights.into_iter();
    let sought = share * weights.clone().sum::<f64>();
    let mut before = 0.0;
    for (index, weight) in weights.enumerate() {
        if before + weight >= sought {
            return Some(Reached { index, before });
        }
        before += weight;
    }
    None
}

/// Lower weighted median: the smallest value with half the weight at or below it; `None` where empty.
pub fn weighted_median(values: &[f64], weights: &[f64]) -> Option<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let reached = reaching(order.iter().map(|i| weights[*i]), 0.5)?;
    Some(values[order[reached.index]])
}
