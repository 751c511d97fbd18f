"""Writes ../data/cone_walls.csv and ../data/cone_results.csv: invented walls of leaning cones with
noise (numpy default_rng, seed per case), and the cones that scipy.optimize.least_squares fits to them.

The distance to the cone is written another way than in the crate: by the nearest point of the
generator line in the half plane of axis and point. SciPy 1.17.1, NumPy 2.4.6.
"""

import csv
import os

import numpy as np
from scipy.optimize import least_squares

HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "data")
# name, seed, azimuths, points a wall, stations, x0, y0, lean x, lean y, radius, half angle, noise
CASES = [
    ("four_walls", 2101, [0, 90, 180, 270], 25, (0, 40), 0.3, -0.2, 0.01, 0.02, 18.0, 3.0, 0.02),
    ("three_walls", 2102, [10, 125, 250], 12, (5, 30), -0.4, 0.1, -0.015, 0.005, 12.0, -2.5, 0.03),
    ("steep_six", 2103, [0, 60, 130, 190, 240, 300], 15, (0, 20), 0.1, 0.5, 0.05, -0.03, 25.0, 28.0, 0.05),
    ("near_cylinder", 2104, [0, 90, 180, 270], 20, (0, 60), 0.0, 0.2, 0.002, 0.0, 9.0, 0.05, 0.05),
    ("two_opposite", 2105, [30, 210], 20, (0, 40), 0.25, 0.14433756729740643, 0.02, 0.0115470053837925, 18.0, 4.0, 0.02),
]


def in_cone_frame(q, p, z0):
    x0, y0, a, b = q[:4]
    w = np.array([a, b, 1.0]) / np.sqrt(1 + a * a + b * b)
    d = p - np.array([x0, y0, z0])
    h = d @ w
    rho = np.linalg.norm(np.cross(d, w), axis=1)
    return h, rho


def distance(q, p, z0):
    h, rho = in_cone_frame(q, p, z0)
    radius, angle = q[4], q[5]
    # generator through (0, radius) with direction (cos, sin)
    along = h * np.cos(angle) + (rho - radius) * np.sin(angle)
    foot = np.stack([along * np.cos(angle), radius + along * np.sin(angle)])
    sign = np.sign(rho - radius - h * np.tan(angle))
    return sign * np.hypot(h - foot[0], rho - foot[1])


def walls(rng, azimuths, count, stations, x0, y0, a, b, radius, half, noise):
    z0, rows = sum(stations) / 2, []
    for azimuth in azimuths:
        z = np.linspace(*stations, count)
        for zi in z:
            t = np.radians(azimuth)
            lo, hi = 0.0, 200.0
            q = np.array([x0, y0, a, b, radius, np.radians(half)])
            for _ in range(100):  # bisection: where the ray outward meets the cone
                r = (lo + hi) / 2
                p = np.array([[r * np.cos(t), r * np.sin(t), zi]])
                h, rho = in_cone_frame(q, p, z0)
                if rho[0] < radius + h[0] * np.tan(q[5]):
                    lo = r
                else:
                    hi = r
            rows.append((azimuth, round(float(zi), 4), round(float(r + noise * rng.standard_normal()), 4)))
    return rows


with open(os.path.join(HERE, "cone_walls.csv"), "w", newline="") as f, open(
    os.path.join(HERE, "cone_results.csv"), "w", newline=""
) as g:
    data, results = csv.writer(f, lineterminator="\n"), csv.writer(g, lineterminator="\n")
    data.writerow("case,azimuth,station,outward".split(","))
    results.writerow(
        "case,x0,y0,slope_x,slope_y,radius,half_angle_deg,rss,"
        "se_x0,se_y0,se_slope_x,se_slope_y,se_radius,se_half_angle_deg".split(",")
    )
    for name, seed, *case in CASES:
        rows = walls(np.random.default_rng(seed), *case)
        data.writerows((name, *row) for row in rows)
        table = np.array(rows, float)
        t = np.radians(table[:, 0])
        p = np.stack([table[:, 2] * np.cos(t), table[:, 2] * np.sin(t), table[:, 1]], axis=1)
        z0 = (table[:, 1].min() + table[:, 1].max()) / 2
        truth = np.array([*case[3:7], case[7], np.radians(case[8])])
        if name == "two_opposite":
            plane = np.radians(30)
            basis = np.zeros((6, 4))
            for k in range(2):
                basis[2 * k, k], basis[2 * k + 1, k] = np.cos(plane), np.sin(plane)
                basis[4 + k, 2 + k] = 1
        else:
            basis = np.eye(6)
        start = np.linalg.lstsq(basis, truth, rcond=None)[0]
        fit = least_squares(
            lambda v: distance(basis @ v, p, z0), start, method="lm", jac="3-point",
            xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac",
        )
        q = basis @ fit.x
        rss = float(fit.fun @ fit.fun)
        variance = rss / (len(p) - basis.shape[1])
        se = np.sqrt(np.diag(basis @ np.linalg.inv(fit.jac.T @ fit.jac) @ basis.T) * variance)
        q[5], se[5] = np.degrees(q[5]), np.degrees(se[5])
        results.writerow([name, *(f"{v:.15g}" for v in [*q, rss, *se])])
