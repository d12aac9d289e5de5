"""Reference values of tests/known_answers/special_functions.rs, to 20 digits or more.

Python 3, mpmath 1.4.1 (pip install mpmath). Run: python special_functions.py
Every value is a quadrature or a root at 400 digits; no double is involved.
"""
from mpmath import mp, mpf, erfc, gammainc, betainc, findroot, log, sqrt, exp, loggamma, psi

mp.dps = 400
show = lambda name, x: print(f"{name:40s} {mp.nstr(x, 20)}")
sf = lambda z: erfc(mpf(z) / sqrt(2)) / 2

for z in [1, 5, 10, 38, 100]:
    show(f"normal ln sf({z})", log(sf(z)))
show("normal ln sf(-3)", log(sf(-3)))
for p, start in [("1e-300", -37), ("1e-20", -9), ("0.00135", -3), ("0.3", -0.5)]:
    root = findroot(lambda z: log(sf(-z)) - log(mpf(p)), start)
    show(f"normal quantile({p})", root)

tsf = lambda t, v: betainc(mpf(v) / 2, mpf(1) / 2, 0, v / (v + mpf(t) ** 2), regularized=True) / 2
for t, v in [(2.5, 5), (40, 19), (3, 200)]:
    show(f"t sf({t}, {v})", tsf(t, v))
for p, v, start in [("0.975", 5, 2.5), ("0.975", 19, 2), ("0.999", 3, 10), ("0.95", 12, 1.8), ("0.975", 1000, 1.96)]:
    show(f"t quantile({p}, {v})", findroot(lambda t: log(tsf(t, v)) - log(1 - mpf(p)), start))

P = lambda a, x: gammainc(mpf(a), 0, mpf(x), regularized=True)
Q = lambda a, x: gammainc(mpf(a), mpf(x), mp.inf, regularized=True)
for a, x in [("2.5", 1), ("2.5", 900), ("0.3", "1e-5"), (50, 30), (400, 900), (400, 60)]:
    show(f"gamma ln cdf({a}, {x})", log(P(a, x)))
    show(f"gamma ln sf({a}, {x})", log(Q(a, x)))
for a, q, start in [("2.5", "1e-300", 700), ("4", "0.001", 13), (400, "1e-30", 680)]:
    show(f"gamma upper quantile({a}, {q})", findroot(lambda x: log(Q(a, x)) - log(mpf(q)), start))
for a, p, start in [("2.5", "1e-12", "2e-5"), (30, "0.25", 26)]:
    show(f"gamma quantile({a}, {p})", exp(findroot(lambda u: log(P(a, exp(u))) - log(mpf(p)), log(mpf(start)))))

I = lambda a, b, x: betainc(mpf(a), mpf(b), 0, mpf(x), regularized=True)
show("beta reg(3, 7, 0.2)", I(3, 7, "0.2"))
for a, b, p, start in [(3, 7, "0.025", "0.07"), (7, 3, "0.975", "0.92")]:
    show(f"beta quantile({a}, {b}, {p})", exp(findroot(lambda u: log(I(a, b, exp(u))) - log(mpf(p)), log(mpf(start)))))
for x in ["0.1", "3.7", 1000]:
    show(f"ln gamma({x})", loggamma(mpf(x)))
    show(f"digamma({x})", psi(0, mpf(x)))
