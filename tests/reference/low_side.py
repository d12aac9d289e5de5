"""Reference values of the low side in tests/known_answers/low_side.rs.

Python 3, scipy 1.17.1, numpy (pip install scipy). Run: python low_side.py
Bodies of 100 000 units in steps of 0.01 whose counts are exactly those expected, so that the fit is the law
itself; cut at the edge nearest 2 % above, the lowest 2 % only "below". Likelihood, its second derivatives
(central differences) and the bounds by scipy's own functions: shares nothing with ours.
"""
import numpy as np
import scipy
from scipy import optimize, stats

print("scipy", scipy.__version__)
N, STEP = 100_000.0, 0.01
laws = {
    "normal": (lambda t: stats.norm(t[0], np.exp(t[1])), [2.0, np.log(0.2)], 1.2),
    "lognormal": (lambda t: stats.lognorm(s=np.exp(t[1]), scale=np.exp(t[0])), [np.log(2.0), np.log(0.15)], 1.2),
}
for name, (law, truth, limit) in laws.items():
    k = np.arange(50, 501)
    low, high = (k - 0.5) * STEP, (k + 0.5) * STEP
    d = law(truth)
    counts = N * (d.cdf(high) - d.cdf(low))
    keep = counts > 1e-3
    low, high, counts = low[keep], high[keep], counts[keep]
    n = counts.sum()
    beyond = n - np.cumsum(counts)
    cut = high[np.argmin(np.abs(np.log((beyond + 0.5) / (0.02 * n + 0.5))))]
    below = np.cumsum(counts)
    ok = below <= 0.03 * n
    low_cut = high[ok][np.argmin(np.abs(below[ok] - 0.02 * n))]
    body = (high > low_cut + 1e-9) & (high < cut + 1e-9)
    left = counts[high < low_cut + 1e-9].sum()

    def minus(t):
        d = law(t)
        p = d.cdf(high[body]) - d.cdf(low[body])
        return -(counts[body] @ np.log(p) + left * d.logcdf(low_cut) - (counts[body].sum() + left) * d.logcdf(cut))

    fit = optimize.minimize(minus, truth, method="Nelder-Mead", options={"xatol": 1e-12, "fatol": 1e-12, "maxiter": 9000})
    t = fit.x
    h = np.array([1e-3 * np.exp(t[1]), 1e-3])
    info = np.empty((2, 2))
    for i in range(2):
        for j in range(2):
            e = lambda a, b: minus(t + a * h * np.eye(2)[i] + b * h * np.eye(2)[j])
            info[i, j] = (e(1, 1) - e(1, -1) - e(-1, 1) + e(-1, -1)) / (4 * h[i] * h[j])
    covariance = np.linalg.inv(info)

    def error(what):
        g = [(what(t + h * np.eye(2)[i]) - what(t - h * np.eye(2)[i])) / (2 * h[i]) for i in range(2)]
        return np.sqrt(g @ covariance @ g)

    index = lambda t: (law(t).ppf(0.5) - limit) / (law(t).ppf(0.5) - law(t).ppf(0.00135))
    odds = lambda t: law(t).logcdf(limit) - law(t).logsf(limit)
    c, s, z = index(t), error(index), stats.norm.ppf(0.975)
    print(name, "cut", cut, "low cut", low_cut, "n", n)
    print("  index", repr(float(c)), "exact value", repr(float(index(truth))))
    print("  plain interval", repr(float(c - z * s)), repr(float(c + z * s)))
    if name == "normal":
        m = min((1 / 9 + c * c / 2) / s**2, counts[body].sum() + left)
        root = 3 * np.sqrt(m)
        for conf in (0.975, 0.025):
            bound = optimize.brentq(lambda x: stats.nct.cdf(root * c, m - 1, root * x) - conf, 0.8 * c, 1.2 * c, xtol=1e-12)
            print("  exact bound", conf, "of", m, "readings", repr(float(bound)))
    o, so = odds(t), error(odds)
    back = lambda y: float(1 / (1 + np.exp(-y)))
    print("  share", repr(back(o)), repr(back(o - z * so)), repr(back(o + z * so)), "exact", repr(float(law(truth).cdf(limit))))
