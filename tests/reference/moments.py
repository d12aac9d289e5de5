"""Reference values of tests/known_answers/{moments,autocorrelation}.rs that the sources do not print.

Python 3, mpmath 1.4.1 (pip install mpmath). Run from tests: python reference/moments.py
Exact fractions of the values as doubles hold them: what a computation in doubles can be held to where the
decimal values of the source are not doubles. Then sums of the decimals themselves, for comparison.
"""
import json
from fractions import Fraction
from mpmath import mp, mpf, sqrt

mp.dps = 60


def real(q):
    return mpf(q.numerator) / q.denominator


def show(label, x):
    print(f"  {label} {mp.nstr(x, 20)}")


def univariate(name, x):
    print(name)
    n = len(x)
    mean = sum(x) / n
    ss = sum((v - mean) ** 2 for v in x)
    show("mean", real(mean))
    show("sd", sqrt(real(ss / (n - 1))))
    show("lag1", real(sum((a - mean) * (b - mean) for a, b in zip(x, x[1:])) / ss))


for kind, number in [("as doubles", lambda s: Fraction(float(s))), ("decimal", Fraction)]:
    print(f"== {kind}")
    alternate = lambda first, low, high: [number(first)] + [number(v) for v in [low, high] * 500]
    univariate("NumAcc3", alternate("1000000.2", "1000000.1", "1000000.3"))
    univariate("NumAcc4", alternate("10000000.2", "10000000.1", "10000000.3"))

print("== Longley, the residuals as listed")
with open("data/checks/durbinwatson-longley.json") as file:
    e = [Fraction(v) for v in json.load(file, parse_float=str)["data"]["residuals"]]
total = sum(v * v for v in e)
show("residual_lag1", real(sum(a * b for a, b in zip(e, e[1:])) / total))
