//! Special functions that keep their digits in both tails.
//!
//! Limits lie where `1 - cdf` has no digits left, so each distribution function comes with its own
//! upper tail, and where fits need it with the logarithm of both. What the crates below give well is
//! passed on; what they do not (quantiles far out, logarithms below 1e-308) is solved here.
//!
//! Outside its domain a function returns NaN, like `f64::ln`; no input panics or loops for ever.

use std::f64::consts::{LN_2, PI, SQRT_2};

use super::numeric::root_between;

/// `ln sqrt(2 pi)`. Source: definition; recomputed in tests/known_answers/special_functions.rs.
pub const LN_SQRT_2_PI: f64 = 0.918_938_533_204_672_8;

/// Probabilities under this are recomputed as logarithms, well above the smallest normal double.
const SMALLEST_DIRECT: f64 = 1e-280;

/// `P(Z <= z)` of the standard normal.
pub fn normal_cdf(z: f64) -> f64 {
    libm::erfc(-z / SQRT_2) / 2.0
}

/// `P(Z > z)` of the standard normal, without cancellation for large `z`.
pub fn normal_sf(z: f64) -> f64 {
    normal_cdf(-z)
}

/// `ln P(Z <= z)`; see [`normal_ln_sf`].
pub fn normal_ln_cdf(z: f64) -> f64 {
    normal_ln_sf(-z)
}

/// `ln P(Z > z)` of the standard normal, to full precision however far out.
///
/// - Formula: for `z > 0`, `ln(erfcx(z / sqrt 2) / 2) - z^2 / 2` with the scaled complementary error
///   function `erfcx(x) = exp(x^2) erfc(x)`; else `ln(1 - P(Z <= z))`.
pub fn normal_ln_sf(z: f64) -> f64 {
    if z.is_nan() {
        f64::NAN
    } else if z <= 0.0 {
        (-libm::erfc(-z / SQRT_2) / 2.0).ln_1p()
    } else if z > 1e150 {
        f64::NEG_INFINITY
    } else {
        (cdflib::special::error_fc_scaled(z / SQRT_2) / 2.0).ln() - z * z / 2.0
    }
}

/// Log density of the standard normal.
pub fn normal_ln_pdf(z: f64) -> f64 {
    -z * z / 2.0 - LN_SQRT_2_PI
}

/// The `z` with `P(Z <= z) = p`; infinite at 0 and 1, NaN outside. For upper tails use
/// `-normal_quantile(q)`, which keeps the digits of a small `q`.
///
/// - Method: a rational start from `cdflib`, then Newton on the log tail.
pub fn normal_quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p > 0.5 {
        return -normal_quantile(1.0 - p);
    }
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    let target = p.ln();
    let mut z = cdflib::special::dinvnr(p, 1.0 - p).clamp(-40.0, 0.0);
    for _ in 0..4 {
        let ln_cdf = normal_ln_cdf(z);
        let step = (ln_cdf - target) * (ln_cdf - normal_ln_pdf(z)).exp();
        if !step.is_finite() {
            break;
        }
        z -= step;
        if step.abs() <= 1e-16 * z.abs() {
            break;
        }
    }
    z
}

/// `P(T > t)` of Student's t with `df > 0` degrees of freedom (infinite: the normal).
pub fn student_t_sf(t: f64, df: f64) -> f64 {
    if t.is_nan() || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if df > 1e12 {
        return normal_sf(t);
    }
    if t.is_infinite() {
        return if t > 0.0 { 0.0 } else { 1.0 };
    }
    let ratio = t * (t / df);
    let (x, y) =
        if ratio.is_finite() { (1.0 / (1.0 + ratio), ratio / (1.0 + ratio)) } else { (0.0, 1.0) };
    let (tail, rest) = beta_tails(0.5 * df, 0.5, x, y);
    if t > 0.0 { 0.5 * tail } else { 0.5 + 0.5 * rest }
}

/// The `t` with `P(T <= t) = p` of Student's t with `df > 0` degrees of freedom (infinite: the normal).
///
/// - Method: bracketed search on the log tail, on a log scale of `t`. Digits: 12 or more.
pub fn student_t_quantile(p: f64, df: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if p < 0.5 {
        return -student_t_upper(p, df);
    }
    student_t_upper(1.0 - p, df)
}

fn student_t_upper(q: f64, df: f64) -> f64 {
    if q == 0.0 {
        return f64::INFINITY;
    }
    if q == 0.5 {
        return 0.0;
    }
    if df > 1e12 {
        return -normal_quantile(q);
    }
    let start = (-normal_quantile(q)).max(1e-300).ln();
    solve_increasing(|u| -student_t_sf(u.exp(), df).ln(), -q.ln(), start).exp()
}

/// `P(X > x)` of chi-square with `df > 0` degrees of freedom.
pub fn chi_square_sf(x: f64, df: f64) -> f64 {
    gamma_ln_sf(df / 2.0, x / 2.0).exp()
}

/// The `x` with `P(X <= x) = p` of chi-square with `df > 0` degrees of freedom.
pub fn chi_square_quantile(p: f64, df: f64) -> f64 {
    2.0 * gamma_quantile(df / 2.0, p)
}

/// Logarithm of the gamma function, `x > 0`.
pub fn ln_gamma(x: f64) -> f64 {
    if x.is_nan() || x <= 0.0 {
        return f64::NAN;
    }
    if x.is_infinite() {
        return x;
    }
    cdflib::special::gamma_log(x)
}

/// Derivative of [`ln_gamma`], `x > 0`.
pub fn digamma(x: f64) -> f64 {
    if x.is_nan() || x <= 0.0 {
        return f64::NAN;
    }
    statrs::function::gamma::digamma(x)
}

/// `ln(x^a e^(-x) / Gamma(a))`: the gamma log density in `ln x`, without cancellation for large shapes.
///
/// - Formula: for `a >= 20`, `-a (l - 1 - ln l) + ln(a / 2 pi) / 2 - d(a)` with `l = x / a` and `d` the
///   remainder of Stirling's series (Abramowitz & Stegun 6.1.41, from memory).
pub fn gamma_ln_kernel(shape: f64, x: f64) -> f64 {
    if shape < 20.0 {
        return shape * x.ln() - x - ln_gamma(shape);
    }
    let ratio = x / shape;
    let distance = if (0.6..1.6).contains(&ratio) {
        cdflib::special::internal::rlog1((x - shape) / shape)
    } else {
        ratio - 1.0 - ratio.ln()
    };
    let square = 1.0 / (shape * shape);
    let remainder = (1.0 / 12.0
        - square
            * (1.0 / 360.0 - square * (1.0 / 1260.0 - square * (1.0 / 1680.0 - square / 1188.0))))
        / shape;
    -shape * distance + 0.5 * (shape / (2.0 * PI)).ln() - remainder
}

/// `ln P(X <= x)` of the gamma distribution with this shape and scale 1; good where the probability
/// itself would underflow.
pub fn gamma_ln_cdf(shape: f64, x: f64) -> f64 {
    gamma_ln_tails(shape, x).0
}

/// `ln P(X > x)` of the gamma distribution with this shape and scale 1; see [`gamma_ln_cdf`].
pub fn gamma_ln_sf(shape: f64, x: f64) -> f64 {
    gamma_ln_tails(shape, x).1
}

/// Both log tails of the gamma distribution with this shape and scale 1.
///
/// - Formula: `cdflib` (DiDonato & Morris 1986, TOMS 12:377, from memory) down to 1e-280; beyond, the
///   series `P = kernel / a * sum x^n / (a+1)_n` and Legendre's continued fraction for the upper tail
///   (Abramowitz & Stegun 6.5.29 and 6.5.31, from memory); above a shape of 1e7, where both are slow,
///   Temme's expansion.
pub fn gamma_ln_tails(shape: f64, x: f64) -> (f64, f64) {
    if shape.is_nan() || x.is_nan() || shape <= 0.0 || shape.is_infinite() {
        return (f64::NAN, f64::NAN);
    }
    if x <= 0.0 {
        return (f64::NEG_INFINITY, 0.0);
    }
    if x.is_infinite() {
        return (0.0, f64::NEG_INFINITY);
    }
    let far = |x: f64| -> (f64, f64) {
        if shape > LARGE_SHAPE && (x - shape).abs() < 0.03 * shape {
            near_normal(shape, x)
        } else if x < shape {
            let ln_p = gamma_ln_kernel(shape, x) + ln_series(shape, x);
            (ln_p, ln_one_minus_exp(ln_p))
        } else {
            let ln_q = gamma_ln_kernel(shape, x) + ln_fraction(shape, x);
            (ln_one_minus_exp(ln_q), ln_q)
        }
    };
    // Far from the body the direct routine would underflow (and takes odd branches): skip it.
    if gamma_ln_kernel(shape, x) < SMALLEST_DIRECT.ln() && (x - shape).abs() > 0.1 * shape {
        return far(x);
    }
    match cdflib::special::try_gamma_inc(shape, x) {
        Ok((p, q)) if p > SMALLEST_DIRECT && q > SMALLEST_DIRECT && p <= 1.0 && q <= 1.0 => {
            if p < q { (p.ln(), (-p).ln_1p()) } else { ((-q).ln_1p(), q.ln()) }
        }
        _ => far(x),
    }
}

/// Above this shape the far tails are within a few per cent of the mean, and nearly normal.
const LARGE_SHAPE: f64 = 1e7;

/// Both log tails for a large shape `a`, `x` within 3 % of it.
///
/// - Formula: `Q = erfc(eta sqrt(a / 2)) / 2 + exp(-a eta^2 / 2) c / sqrt(2 pi a)` with
///   `eta^2 / 2 = x / a - 1 - ln(x / a)`, `c = -1/3 + eta / 12 - 2 eta^2 / 135 + eta^3 / 864`; the next terms are
///   under 1e-9 of `c`. Source: Temme (1979) SIAM J. Math. Anal. 10:757-766 (from memory).
fn near_normal(a: f64, x: f64) -> (f64, f64) {
    let distance = cdflib::special::internal::rlog1((x - a) / a);
    let eta = (2.0 * distance).sqrt().copysign(x - a);
    let c = -1.0 / 3.0 + eta * (1.0 / 12.0 - eta * (2.0 / 135.0 - eta / 864.0));
    let correction = c / (2.0 * PI * a).sqrt();
    let scaled = cdflib::special::error_fc_scaled(eta.abs() * (a / 2.0).sqrt()) / 2.0;
    if eta < 0.0 {
        let ln_p = (scaled - correction).ln() - a * distance;
        (ln_p, ln_one_minus_exp(ln_p))
    } else {
        let ln_q = (scaled + correction).ln() - a * distance;
        (ln_one_minus_exp(ln_q), ln_q)
    }
}

/// `ln(sum_{n>=0} x^n / (a (a+1) ... (a+n)))`, for `x < a`.
fn ln_series(a: f64, x: f64) -> f64 {
    let (mut term, mut sum) = (1.0, 1.0);
    for n in 1..10_000 {
        term *= x / (a + f64::from(n));
        sum += term;
        if term < 1e-17 * sum {
            break;
        }
    }
    (sum / a).ln()
}

/// Logarithm of `Gamma(a, x) / (x^a e^(-x))`, for `x >= a`, by the modified Lentz method.
fn ln_fraction(a: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut h = d;
    for n in 1..10_000 {
        let n = f64::from(n);
        let an = -n * (n - a);
        b += 2.0;
        d = an * d + b;
        if d.abs() < TINY {
            d = TINY;
        }
        c = b + an / c;
        if c.abs() < TINY {
            c = TINY;
        }
        d = 1.0 / d;
        h *= d * c;
        if (d * c - 1.0).abs() < 1e-16 {
            break;
        }
    }
    h.ln()
}

/// The `x` with `P(X <= x) = p` of the gamma distribution with this shape and scale 1.
///
/// - Method: bracketed search on the log tail, in `ln x`. An answer under 1e-308 comes back as 0.
pub fn gamma_quantile(shape: f64, p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || shape.is_nan() || shape <= 0.0 {
        return f64::NAN;
    }
    if p > 0.5 {
        return gamma_upper_quantile(shape, 1.0 - p);
    }
    if p == 0.0 {
        return 0.0;
    }
    let start = gamma_start(shape, normal_quantile(p), (p.ln() + ln_gamma(shape + 1.0)) / shape);
    let u = solve_increasing(|u| gamma_ln_cdf(shape, u.exp()), p.ln(), start);
    if u < f64::MIN_POSITIVE.ln() { 0.0 } else { u.exp() }
}

/// The `x` with `P(X > x) = q` of the gamma distribution with this shape and scale 1, for `q` however
/// small; see [`gamma_quantile`].
pub fn gamma_upper_quantile(shape: f64, q: f64) -> f64 {
    if !(0.0..=1.0).contains(&q) || shape.is_nan() || shape <= 0.0 {
        return f64::NAN;
    }
    if q > 0.5 {
        return gamma_quantile(shape, 1.0 - q);
    }
    if q == 0.0 {
        return f64::INFINITY;
    }
    let start = gamma_start(shape, -normal_quantile(q), (shape + 1.0).ln());
    solve_increasing(|u| -gamma_ln_sf(shape, u.exp()), -q.ln(), start).exp()
}

/// `ln x` to start from: Wilson & Hilferty's cube root where it is positive, else the given one.
fn gamma_start(shape: f64, z: f64, otherwise: f64) -> f64 {
    let root = 1.0 - 1.0 / (9.0 * shape) + z / (3.0 * shape.sqrt());
    if root > 0.05 && shape > 0.3 {
        shape.ln() + 3.0 * root.ln()
    } else {
        otherwise.clamp(-740.0, 700.0)
    }
}

/// The regularised incomplete beta function `I_x(a, b)`: `P(X <= x)` of the beta distribution.
pub fn beta_reg(a: f64, b: f64, x: f64) -> f64 {
    beta_tails(a, b, x, 1.0 - x).0
}

/// `I_x(a, b)` and its complement, each to full relative precision; `y = 1 - x` is given apart, since
/// it has lost its digits where `x` is close to 1.
fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> (f64, f64) {
    if a.is_nan() || b.is_nan() || x.is_nan() || a <= 0.0 || b <= 0.0 {
        return (f64::NAN, f64::NAN);
    }
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if y <= 0.0 {
        return (1.0, 0.0);
    }
    cdflib::special::try_beta_inc(a, b, x, y).unwrap_or((f64::NAN, f64::NAN))
}

/// The `x` with `I_x(a, b) = p` (`a, b > 0`), as Clopper–Pearson limits need it.
///
/// - Method: bracketed search in `ln x` on the logarithm of the smaller tail, so that the answer keeps
///   its digits at a share of 1e-9 among 1e9 as well as near one half.
pub fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || a.is_nan() || b.is_nan() || a <= 0.0 || b <= 0.0 {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return p;
    }
    let mean = a / (a + b);
    let u = if p <= 0.5 {
        let tail = |u: f64| beta_tails(a, b, u.exp(), -u.exp_m1()).0.ln();
        solve_below_zero(tail, p.ln(), mean.ln())
    } else {
        let tail = |u: f64| -beta_tails(a, b, u.exp(), -u.exp_m1()).1.ln();
        solve_below_zero(tail, -(1.0 - p).ln(), mean.ln())
    };
    u.exp()
}

/// `ln(e^a - e^b)` for `a >= b`; negative infinity where they are equal.
pub fn ln_diff_exp(a: f64, b: f64) -> f64 {
    if b == f64::NEG_INFINITY {
        a
    } else if a <= b {
        if a == b { f64::NEG_INFINITY } else { f64::NAN }
    } else {
        a + ln_one_minus_exp(b - a)
    }
}

/// `ln(e^a + e^b)`.
pub fn ln_sum_exp(a: f64, b: f64) -> f64 {
    let (high, low) = if a >= b { (a, b) } else { (b, a) };
    if low == f64::NEG_INFINITY || high == f64::INFINITY {
        high
    } else {
        high + (low - high).exp().ln_1p()
    }
}

/// `ln(1 - e^x)` for `x <= 0`, switched at `-ln 2` (Mächler 2012, from memory).
pub fn ln_one_minus_exp(x: f64) -> f64 {
    if x > -LN_2 { (-x.exp_m1()).ln() } else { (-x.exp()).ln_1p() }
}

/// Solves `f(u) = target` for increasing `f`, from `start`, by doubling steps and then
/// [`root_between`]. Where no bracket lies within the exponents a double can hold, the end of that
/// range comes back.
fn solve_increasing(f: impl Fn(f64) -> f64, target: f64, start: f64) -> f64 {
    const ENDS: (f64, f64) = (-745.0, 709.7);
    let start = if start.is_finite() { start.clamp(ENDS.0, ENDS.1) } else { 0.0 };
    let (mut low, mut high) = (start, start);
    let mut step = 0.01;
    if f(start) < target {
        while f(high) < target {
            if high >= ENDS.1 {
                return high;
            }
            low = high;
            high = (high + step).min(ENDS.1);
            step *= 3.0;
        }
    } else {
        // Written so that NaN (a tail of zero by zero) also widens.
        while f(low) >= target {
            if low <= ENDS.0 {
                return low;
            }
            high = low;
            low = (low - step).max(ENDS.0);
            step *= 3.0;
        }
    }
    root_between(|u| f(u) - target, low, high)
}

/// As [`solve_increasing`], for `u < 0`.
fn solve_below_zero(f: impl Fn(f64) -> f64, target: f64, start: f64) -> f64 {
    let (mut low, mut high) = (start, start);
    let mut factor = 1.0 / 1.2;
    while f(high) < target && high < -1e-300 {
        low = high;
        high *= factor;
        factor *= factor;
    }
    let mut step = 0.05;
    while f(low) > target && low > -745.0 {
        high = low;
        low -= step;
        step *= 2.0;
    }
    root_between(|u| f(u) - target, low, high)
}
