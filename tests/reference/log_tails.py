"""Writes tests/data/tails/log_tails.csv: log tails, log-differences and their derivatives of every family.

Python 3, mpmath 1.4.1 (pip install mpmath). Run: python tests/reference/log_tails.py (some minutes).
Each reading is rounded to a double first and taken as exact, so that what is compared is the function
and not the place it is asked at. Parameters are the internal ones of `Law::internal`, as doubles.
Columns: family, m, s, kind (below, above, between), low, high, ln P, its derivatives in m and s.
"""
import csv
from mpmath import mp, mpf, diff, erfc, exp, expm1, findroot, gammainc, inf, loggamma, log, log1p, quad, sqrt

mp.dps = 40


def two(ln_cdf, ln_sf):
    return {"below": ln_cdf, "above": ln_sf}


def ln_1m_exp(v):
    return log(-expm1(v))


normal = two(lambda z: log(erfc(-z / sqrt(2)) / 2), lambda z: log(erfc(z / sqrt(2)) / 2))
smallest = two(lambda z: ln_1m_exp(-exp(z)), lambda z: -exp(z))
largest = two(lambda z: -exp(-z), lambda z: ln_1m_exp(-exp(-z)))
logistic = two(lambda z: -log1p(exp(-z)), lambda z: -log1p(exp(z)))
STANDARD = {"normal": normal, "lognormal": normal, "weibull": smallest, "log_logistic": logistic, "gumbel": largest}


def gamma_ln(k, d, side):
    """ln of a tail of the gamma at x = k e^d: closed below shape 2000, else by quadrature of the density of ln x."""
    if k < 2000:
        x = k * exp(d)
        a, b = (0, x) if side == "below" else (x, inf)
        direct = gammainc(k, a, b, regularized=True)
        return log(direct)
    # With t the distance outwards, f(d + t) / f(d) = exp(-k (e^(d+t) - e^d - t)); quadrature over its width.
    sign = -1 if side == "below" else 1
    slope = abs(k * expm1(d))
    width = 1 / max(slope if sign * d > 0 else 0, sqrt(k))
    f = lambda u: exp(-k * (exp(d) * expm1(sign * u * width) - sign * u * width))
    if sign * d < 0:
        # The body lies on the way: the other tail is the small one.
        return ln_1m_exp(gamma_ln(k, d, "above" if side == "below" else "below"))
    area = quad(f, [0, 1, 3, 8, 20, 50, 120]) * width
    return -k * (expm1(d) - d) + k * log(k) - k - loggamma(k) + log(area)


def line(family, x):
    return x if family in ("normal", "gumbel") else log(x)


def ln_tail(family, side, x, m, s):
    y = line(family, x)
    if family == "gamma":
        return gamma_ln(exp(-2 * s), y - m, side)
    return STANDARD[family][side]((y - m) * exp(-s))


def ln_between(family, low, high, m, s):
    a, b = ln_tail(family, "above", low, m, s), ln_tail(family, "above", high, m, s)
    c, d = ln_tail(family, "below", low, m, s), ln_tail(family, "below", high, m, s)
    with_digits = (a, b) if a < d else (d, c)
    return with_digits[0] + ln_1m_exp(with_digits[1] - with_digits[0])


def reading(family, m, s, side, ln_p):
    """A double whose tail on this side is about e^ln_p, by bisection on the line in spreads."""
    spread = exp(s)
    near, far = mpf(-3), mpf(1)
    sign = -1 if side == "below" else 1
    at = lambda u: m + sign * u * spread
    value = lambda u: ln_tail(family, side, at(u) if family in ("normal", "gumbel") else exp(at(u)), m, s)
    while value(far) > ln_p:
        far *= 2
    for _ in range(30):
        u = (near + far) / 2
        near, far = (u, far) if value(u) > ln_p else (near, u)
    y = at(near)
    return float(y if family in ("normal", "gumbel") else exp(y))


LAWS = [("normal", 1.0, -2.3), ("normal", 4.75, -4.5), ("lognormal", 0.0, -1.4), ("lognormal", -5.5, -3.5), ("weibull", 0.1, -1.6),
        ("weibull", 1.5, 0.25), ("log_logistic", 0.0, -2.2), ("log_logistic", -4.0, -4.0), ("gumbel", 0.9, -1.8), ("gumbel", 7.0, -1.0),
        ("gamma", 0.0, 0.2), ("gamma", 0.5, -0.4), ("gamma", 0.0, -1.6), ("gamma", -3.0, -3.0), ("gamma", 1.0, -4.5), ("gamma", 0.0, -7.0),
        ("gamma", 0.0, -9.3), ("gamma", 0.0, -11.5)]
SHARES = [0.5, 0.02, 1e-6, 1e-20, 1e-100, 1e-200, 1e-279, 1e-281, 1e-300]
rows = []
for family, m, s in LAWS:
    m, s = mpf(m), mpf(s)
    heavy = family == "gamma" and s < -4
    mp.dps = 30 if heavy else 40
    for share in SHARES:
        for side in ("below", "above"):
            x = reading(family, m, s, side, log(mpf(share)))
            if not 1e-290 < abs(x) < 1e290:
                continue
            ends = [(side, x, x)]
            # From x inwards: a narrow interval, and one that takes in most of the tail.
            for width in ("0.003", "1.5"):
                y = line(family, mpf(x)) + (1 if side == "below" else -1) * exp(s) * mpf(width)
                other = float(y if family in ("normal", "gumbel") else exp(y))
                low, high = sorted((x, other))
                if low < high and low > (0 if family not in ("normal", "gumbel") else -inf):
                    ends.append(("between", low, high))
            for kind, low, high in ends:
                if kind == "between":
                    f = lambda a, b: ln_between(family, mpf(low), mpf(high), a, b)
                else:
                    f = lambda a, b: ln_tail(family, kind, mpf(x), a, b)
                step = exp(s) * mpf(10) ** -8
                by_m = (f(m + step, s) - f(m - step, s)) / (2 * step)
                h = mpf(10) ** -8
                by_s = (f(m, s + h) - f(m, s - h)) / (2 * h)
                rows.append([family, float(m), float(s), kind, repr(low), repr(high)]
                            + [mp.nstr(v, 18) for v in (f(m, s), by_m, by_s)])
# The two ways to a gamma tail agree where they meet.
k, d = mpf(1999), mpf("0.4")
area = quad(lambda u: exp(-k * (exp(d) * expm1(u) - u)), [0, 0.001, 0.003, 0.01, 0.03, 0.1])
assert abs(-k * (expm1(d) - d) + k * log(k) - k - loggamma(k) + log(area) - gamma_ln(k, d, "above")) < mpf(10) ** -20
with open("tests/data/tails/log_tails.csv", "w", newline="") as out:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["family", "m", "s", "kind", "low", "high", "ln_p", "by_m", "by_s"])
    writer.writerows(rows)
print(len(rows))
