"""Reference values of tests/known_answers/{moments,anova,autocorrelation}.rs that the sources do not print.

Python 3, mpmath 1.4.1 (pip install mpmath). Run from tests: python reference/moments_anova.py
Exact fractions of the values as doubles hold them: what a computation in doubles can be held to where the
decimal values of the source are not doubles. Then sums of the decimals themselves, for comparison.
"""
import csv
import json
from fractions import Fraction
from mpmath import mp, mpf, betainc, sqrt

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


def anova(name, groups):
    print(name)
    n = sum(len(g) for g in groups)
    k = len(groups)
    means = [sum(g) / len(g) for g in groups]
    grand = sum(sum(g) for g in groups) / n
    between = sum(len(g) * (m - grand) ** 2 for g, m in zip(groups, means))
    within = sum((v - m) ** 2 for g, m in zip(groups, means) for v in g)
    a, b = k - 1, n - k
    f = between / a / (within / b)
    size = (n - Fraction(sum(len(g) ** 2 for g in groups), n)) / a
    show("ss_between", real(between))
    show("ss_within", real(within))
    show("F", real(f))
    show("p_value", tail(f, a, b))
    show("r_squared", real(between / (between + within)))
    show("residual_sd", sqrt(real(within / b)))
    show("effective_size", real(size))
    show("variance_between", real((between / a - within / b) / size))


def tail(f, a, b):
    return betainc(mpf(b) / 2, mpf(a) / 2, 0, b / (b + a * real(Fraction(f))), regularized=True)


def read(name):
    with open(f"data/checks/{name}.csv") as file:
        return list(csv.DictReader(file))


for kind, number in [("as doubles", lambda s: Fraction(float(s))), ("decimal", Fraction)]:
    print(f"== {kind}")
    alternate = lambda first, low, high: [number(first)] + [number(v) for v in [low, high] * 500]
    univariate("NumAcc3", alternate("1000000.2", "1000000.1", "1000000.3"))
    univariate("NumAcc4", alternate("10000000.2", "10000000.1", "10000000.3"))
    for name in ["sirstv", "atmwtag", "smls01", "smls07", "smls08"]:
        rows = read(f"strd-anova-{name}")
        labels = sorted({row["group"] for row in rows})
        anova(name, [[number(r["y"]) for r in rows if r["group"] == label] for label in labels])
    anova("unequal", [[number(v) for v in group.split()] for group in ["1 2", "4 5 6 5", "9"]])

print("== tails of F")
for f, a, b in [("1e-3", 1, 5), ("0.5", 4, 20), ("1", 7, 7), ("3.5", 2, 12), ("50", 3, 40), ("201", 8, 1800)]:
    show(f"F {f}, {a} and {b}:", tail(Fraction(f), a, b))

print("== Longley, the residuals as listed")
with open("data/checks/durbinwatson-longley.json") as file:
    e = [Fraction(v) for v in json.load(file, parse_float=str)["data"]["residuals"]]
total = sum(v * v for v in e)
show("durbin_watson", real(sum((b - a) ** 2 for a, b in zip(e, e[1:])) / total))
show("residual_lag1", real(sum(a * b for a, b in zip(e, e[1:])) / total))
