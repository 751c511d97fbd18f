"""Sections and their undulations by numpy and scipy: writes data/form/lobes_*.csv.

Do not edit the tables; run this in tests/data/form with numpy and scipy installed.
Centre: the root of the two first-order coefficients; then numpy.linalg.lstsq; partial F tests by
refitting without the order; scipy.stats.f. The least-squares circle: scipy least_squares.
"""

import csv

import numpy as np
from scipy import optimize, stats

CASES = {
    # name: (n, highest order, amplitudes by order, noise, eccentricity, gap in degrees)
    "even_hexagon": (36, 11, {6: 0.3, 2: 0.05}, 0.02, 0.0, 0.0),
    "uneven_oval": (24, 7, {2: 0.08}, 0.01, 0.4, 0.0),
    "uneven_noise": (20, 6, {}, 0.015, 0.2, 0.0),
    "gap_three": (60, 4, {3: 0.06, 5: 0.03}, 0.01, 0.1, 50.0),
}


def design(t, orders):
    columns = [np.ones_like(t)]
    for k in orders:
        columns += [np.cos(k * t), np.sin(k * t)]
    return np.stack(columns, axis=1)


def about(centre, x, y):
    dx, dy = x - centre[0], y - centre[1]
    return np.arctan2(dy, dx), np.hypot(dx, dy)


def fit(t, r, orders):
    m = design(t, orders)
    beta = np.linalg.lstsq(m, r, rcond=None)[0]
    return m, beta, np.sum((r - m @ beta) ** 2)


rng = np.random.default_rng(20011)
points, orders_out, circles = [], [], []
for name, (n, highest, amplitudes, noise, ecc, gap) in CASES.items():
    step = (360.0 - gap) / n
    angle = step * np.arange(n)
    if name != "even_hexagon":
        angle = angle + rng.uniform(-0.3, 0.3, n) * step
    r = 20.0 + rng.normal(0.0, noise, n) + ecc * np.cos(np.radians(angle - 40.0))
    for k, a in amplitudes.items():
        r = r + a * np.cos(k * np.radians(angle - 11.0))
    angle, r = np.round(angle, 3), np.round(r, 4)
    points += [(name, a, b) for a, b in zip(angle, r)]
    x, y = r * np.cos(np.radians(angle)), r * np.sin(np.radians(angle))

    def deviations(c):
        d = np.hypot(x - c[0], y - c[1])
        return d - d.mean()

    lsc = optimize.least_squares(deviations, [0.0, 0.0], xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    d = np.hypot(x - lsc[0], y - lsc[1])
    circles.append((name, *map(repr, map(float, (lsc[0], lsc[1], d.mean(), np.sqrt(np.mean((d - d.mean()) ** 2)))))))

    orders = list(range(1, highest + 1))
    centre = np.array(lsc)
    for _ in range(30):
        t, rr = about(centre, x, y)
        centre = centre + fit(t, rr, orders)[1][1:3]
    t, rr = about(centre, x, y)
    m, beta, rss = fit(t, rr, orders)
    df = n - m.shape[1]
    s2 = rss / df
    v = np.linalg.inv(m.T @ m)
    for k in range(2, highest + 1):
        a, b = beta[2 * k - 1], beta[2 * k]
        size = np.hypot(a, b)
        e = np.array([a, b]) / size
        block = v[2 * k - 1 : 2 * k + 1, 2 * k - 1 : 2 * k + 1]
        without = fit(t, rr, [j for j in orders if j != k])[2]
        f = (without - rss) / 2 / s2
        orders_out.append((
            name, k, repr(float(size)), repr(float(np.sqrt(s2 * e @ block @ e))),
            repr(float(np.degrees(np.arctan2(b, a)) / k % (360.0 / k))),
            repr(float(stats.f.sf(f, 2, df))), df,
        ))

for path, head, rows in [
    ("lobes_points.csv", ["case", "angle_deg", "radius"], points),
    ("lobes_orders.csv", ["case", "order", "amplitude", "standard_error", "crest_deg", "p", "df"], orders_out),
    ("lobes_circles.csv", ["case", "cx", "cy", "r", "rms"], circles),
]:
    with open(path, "w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(rows)
