"""Reference values of the family tails and fits in tests/known_answers/censored_fits.rs.

Python 3, mpmath 1.4.1, scipy 1.17.1 (pip install mpmath scipy). Run: python family_tails.py
Tails: differences of distribution functions at 400 digits. Fits: Nelder-Mead on scipy's own
distribution functions, an implementation that shares nothing with ours.
"""
import numpy as np
from mpmath import mp, mpf, erfc, gammainc, log, sqrt, exp
from scipy import optimize, stats

mp.dps = 400
sf = {
    "normal(1, 0.1)": lambda x: erfc((x - 1) / mpf("0.1") / sqrt(2)) / 2,
    "lognormal(0, 0.25)": lambda x: erfc(log(x) / mpf("0.25") / sqrt(2)) / 2,
    "gamma(16, 0.0625)": lambda x: gammainc(16, 16 * x, mp.inf, regularized=True),
    "weibull(4, 1)": lambda x: exp(-(x**4)),
    "log-logistic(8, 1)": lambda x: 1 / (1 + x**8),
    "gumbel(1, 0.1)": lambda x: 1 - exp(-exp(-(x - 1) / mpf("0.1"))),
}
for name, f in sf.items():
    for low, high in [("3", "3.001"), ("4", "4.5"), ("0.2", "0.201"), ("0.999", "1.001")]:
        low, high = mpf(low), mpf(high)
        print(f"{name:20s} ln P({mp.nstr(low, 5)} < X <= {mp.nstr(high, 5)}) {mp.nstr(log(f(low) - f(high)), 20)}")

# Counts of readings with step 0.1, two below 0.35, three above 1.45; and the same cut at 1.05.
edges = np.arange(4, 15) / 10
counts = np.array([3, 7, 14, 21, 25, 22, 17, 12, 8, 5, 4])
families = {
    "normal": lambda a, b: stats.norm(a, np.exp(b)),
    "lognormal": lambda a, b: stats.lognorm(s=np.exp(b), scale=np.exp(a)),
    "gamma": lambda a, b: stats.gamma(np.exp(b), scale=np.exp(a)),
    "weibull": lambda a, b: stats.weibull_min(np.exp(b), scale=np.exp(a)),
    "log_logistic": lambda a, b: stats.fisk(np.exp(b), scale=np.exp(a)),
    "gumbel": lambda a, b: stats.gumbel_r(a, np.exp(b)),
}
start = {"normal": [0.8, -1.2], "lognormal": [-0.2, -1.2], "gamma": [-2.3, 2.3], "weibull": [-0.1, 1.1],
         "log_logistic": [-0.2, 1.7], "gumbel": [0.7, -1.4]}
for cut in [None, 1.05]:
    for name, law in families.items():
        def minus(theta):
            d = law(*theta)
            keep = edges < cut if cut else edges > 0
            p = d.cdf(edges[keep] + 0.05) - d.cdf(edges[keep] - 0.05)
            total = counts[keep] @ np.log(p) + 2 * d.logcdf(0.35)
            total += -(counts[keep].sum() + 2) * d.logcdf(cut) if cut else 3 * d.logsf(1.45)
            return -total
        fit = optimize.minimize(minus, start[name], method="Nelder-Mead",
                                options={"xatol": 1e-11, "fatol": 1e-13, "maxiter": 20000, "maxfev": 20000})
        fit = optimize.minimize(minus, fit.x, method="Nelder-Mead",
                                options={"xatol": 1e-11, "fatol": 1e-13, "maxiter": 20000, "maxfev": 20000})
        a, b = fit.x
        print(cut, name, "first", repr(float(a if name in ("normal", "lognormal", "gumbel") else np.exp(a))),
              "second", repr(float(np.exp(b))), "lnL", repr(float(-fit.fun)))
