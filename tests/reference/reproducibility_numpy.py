"""Intervals of the reproducibility standard deviation by the profile of the restricted likelihood,
with dense matrices: an independent reckoning. Writes tests/data/iso5725/profile_intervals.csv.
numpy and scipy; run from the repository's root."""

import csv
from collections import defaultdict

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2

ROOT = "tests/data/iso5725/"


def deviance(y, x, z, g, total):
    s2 = total / (1 + g)
    v = s2 * (np.eye(len(y)) + g * z @ z.T)
    vi = np.linalg.inv(v)
    xvx = x.T @ vi @ x
    beta = np.linalg.solve(xvx, x.T @ vi @ y)
    r = y - x @ beta
    return np.linalg.slogdet(v)[1] + np.linalg.slogdet(xvx)[1] + r @ vi @ r


def interval(y, x, z):
    def least(log_total):
        f = lambda u: deviance(y, x, z, np.exp(u), np.exp(log_total))
        grid = np.linspace(-14, 14, 141)
        k = int(np.argmin([f(u) for u in grid]))
        lo, hi = grid[max(k - 1, 0)], grid[min(k + 1, len(grid) - 1)]
        best = minimize_scalar(f, bounds=(lo, hi), method="bounded", options={"xatol": 1e-9}).fun
        return min(best, deviance(y, x, z, 0.0, np.exp(log_total)))

    start = np.log(np.var(y - x @ np.linalg.lstsq(x, y, rcond=None)[0]))
    top = minimize_scalar(least, bounds=(start - 5, start + 5), method="bounded", options={"xatol": 1e-9})
    excess = lambda t: least(t) - top.fun - chi2.ppf(0.95, 1)
    ends = []
    for sign in (-1, 1):
        step = 1.0
        while excess(top.x + sign * step) < 0:
            step *= 1.5
        ends.append(np.exp(brentq(excess, top.x, top.x + sign * step, xtol=1e-10) / 2))
    return ends


def indicator(names):
    known = sorted(set(names))
    return np.array([[float(n == k) for k in known] for n in names])


rows = []
data = defaultdict(list)
for r in csv.DictReader(open(ROOT + "data.csv")):
    data[r["dataset"], r["level"]].append((r["lab"], float(r["value"])))
for key in [("glucose_serum", "C"), ("apricot_fibre", "1"), ("dyestuff", "1"), ("seeded_caliper", "bore_mm"),
            ("seeded_caliper", "negative_component"), ("seeded_caliper", "two_measurers")]:
    if key not in data:
        key = next(k for k in data if k[0] == key[0])
    labs, y = zip(*data[key])
    low, high = interval(np.array(y), np.ones((len(y), 1)), indicator(labs))
    rows.append(["one_way", key[0], key[1], low, high])
crossed = defaultdict(list)
for r in csv.DictReader(open(ROOT + "measurer_bias_data.csv")):
    crossed[r["case"]].append((r["piece"], r["measurer"], float(r["value"])))
for case, of in crossed.items():
    pieces, measurers, y = zip(*of)
    low, high = interval(np.array(y), indicator(pieces), indicator(measurers))
    rows.append(["fixed_pieces", case, "", low, high])
with open(ROOT + "profile_intervals.csv", "w", newline="") as f:
    out = csv.writer(f, lineterminator="\n")
    out.writerow(["model", "case", "level", "low", "high"])
    for m, c, l, low, high in rows:
        out.writerow([m, c, l, f"{low:.9g}", f"{high:.9g}"])
