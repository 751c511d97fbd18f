"""Writes tests/data/plan_linprog.jsonl: random linear programs as a plan has them, and their least cost by HiGHS.

    python tests/reference/plan_linprog.py > tests/data/plan_linprog.jsonl

Needs numpy and scipy. Unknowns x from 0 to a bound, limits low <= A x <= high, cost least; null for no limit; a
cost of null where nothing keeps all limits. Random numbers by seed.
"""
import json

import numpy as np
from scipy.optimize import linprog

rng = np.random.default_rng(20261130)
for case in range(200):
    works, limits = int(rng.integers(1, 9)), int(rng.integers(1, 12))
    a = np.round(rng.choice([-2, -1, -0.5, 0, 0, 0.5, 1, 2], (limits, works)) * rng.uniform(0.9, 1.1, (limits, works)), 3)
    costs = np.round(rng.uniform(0.1, 5, works), 3)
    to = np.round(rng.uniform(0.5, 4, works), 3)
    middle = a @ rng.uniform(0, 1, works) * (1 if rng.random() < 0.8 else 4)
    low = [round(float(m - w), 3) if rng.random() < 0.7 else None for m, w in zip(middle, rng.uniform(0, 0.5, limits))]
    high = [round(float(m + w), 3) if rng.random() < 0.7 else None for m, w in zip(middle, rng.uniform(0, 0.5, limits))]
    rows, right = [], []
    for row, l, h in zip(a, low, high):
        if l is not None:
            rows.append(-row), right.append(-l)
        if h is not None:
            rows.append(row), right.append(h)
    solved = linprog(costs, np.array(rows).reshape(-1, works), np.array(right), bounds=[(0, t) for t in to],
                     method="highs", options={"primal_feasibility_tolerance": 1e-10})
    assert solved.status in (0, 2), solved
    print(json.dumps({"costs": costs.tolist(), "to": to.tolist(), "rows": a.tolist(), "low": low, "high": high,
                      "least": float(solved.fun) if solved.status == 0 else None}))
