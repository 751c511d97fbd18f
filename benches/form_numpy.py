"""Comparable work on the traces of pieces with numpy and scipy, for a figure to set beside
`cargo bench --bench form -- "forms of pieces"`.

Less is done here than there: of an outline the line of least squares and the minimum zone (by
scipy's convex hull), of a section the least-squares circle and harmonics 0 to 15. One core.

    python benches/form_numpy.py [pieces]
"""

import sys
import time

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial import ConvexHull

ORDERS = 15


def outline(x, y):
    slope, intercept = np.polyfit(x, y, 1)
    points = np.column_stack([x, y])
    corners = points[ConvexHull(points).vertices]
    edges = np.roll(corners, -1, axis=0) - corners
    normals = np.column_stack([-edges[:, 1], edges[:, 0]])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    reach = normals @ corners.T
    return slope, intercept, np.min(reach.max(axis=1) - reach.min(axis=1))


def section(angles, radii):
    x, y = radii * np.cos(angles), radii * np.sin(angles)
    circle = least_squares(
        lambda c: np.hypot(x - c[0], y - c[1]) - c[2], [x.mean(), y.mean(), radii.mean()]
    ).x
    x, y = x - circle[0], y - circle[1]
    turned = np.outer(np.arctan2(y, x), np.arange(1, ORDERS + 1))
    design = np.column_stack([np.ones_like(x), np.cos(turned), np.sin(turned)])
    return circle, np.linalg.lstsq(design, np.hypot(x, y), rcond=None)[0]


def main():
    pieces = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    random = np.random.default_rng(1)
    x = 0.4 * np.arange(100)
    angles = np.radians(3.6 * np.arange(100))
    scatter = random.uniform(0.0, 0.02, (pieces, 6, 100))
    heights = np.round(15.0 + 0.12 * x + scatter[:, :5], 2)
    heights[:, 4, 80:] += 0.3
    radii = np.round(20.0 + 0.05 * np.cos(2.0 * angles) + scatter[:, 5], 2)
    start = time.perf_counter()
    for piece in range(pieces):
        for height in heights[piece]:
            outline(x, height)
        section(angles, radii[piece])
    took = time.perf_counter() - start
    print(f"{pieces} pieces in {took:.3f} s, {pieces / took:.0f} pieces a second")


if __name__ == "__main__":
    main()
