"""Writes tests/data/stock_linprog.csv: random outlines and cones, and the least area that HiGHS finds.

    python tests/reference/stock_linprog.py > tests/data/stock_linprog.csv

Needs numpy and scipy. Each wall k has points (x, y); the unknowns are one slope b and an offset a_k for each
wall; a_k + b x <= y at every point; the area between outline and line is least. Random numbers by seed.
"""
import sys

import numpy as np
import scipy
from scipy.optimize import linprog

rng = np.random.default_rng(20261129)
out = sys.stdout
out.write(f"# scipy {scipy.__version__} linprog, method highs; random outlines and cones by seed\n")
out.write("case,slope_from,slope_to,wall,x,y,slope,least_area\n")
for case in range(60):
    walls = []
    for _ in range(rng.integers(1, 5)):
        n = int(rng.integers(2, 40))
        x = np.unique(np.round(rng.uniform(0, 60, n), 1))
        if len(x) < 2:
            x = np.array([0.0, 40.0])
        y = 10 + rng.normal(0, 0.1) * x + rng.normal(0, rng.choice([0.01, 0.3, 2.0]), len(x))
        walls.append((x, np.round(y, 3)))
    bounded = rng.random() < 0.4
    low, high = sorted(np.round(rng.normal(0, 0.1, 2), 4)) if bounded else (None, None)
    k = len(walls)
    cost, rows, right, under = np.zeros(k + 1), [], [], 0.0
    for i, (x, y) in enumerate(walls):
        length, mid = x[-1] - x[0], (x[-1] + x[0]) / 2
        cost[0] -= length * mid
        cost[1 + i] -= length
        under += np.trapezoid(y, x)
        for px, py in zip(x, y):
            row = np.zeros(k + 1)
            row[0], row[1 + i] = px, 1
            rows.append(row)
            right.append(py)
    bounds = [(low, high)] + [(None, None)] * k
    solved = linprog(cost, np.array(rows), np.array(right), bounds=bounds, method="highs",
                     options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10})
    assert solved.status == 0
    text = lambda v: "" if v is None else repr(float(v))
    for i, (x, y) in enumerate(walls):
        for px, py in zip(x, y):
            out.write(f"{case},{text(low)},{text(high)},{i},{float(px)!r},{float(py)!r},"
                      f"{float(solved.x[0])!r},{float(under + solved.fun)!r}\n")
