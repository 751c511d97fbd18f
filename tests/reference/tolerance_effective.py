"""Writes tests/data/tolerance_effective.csv: exact two-sided tolerance factors for degrees of freedom
and effective numbers of readings that no plain sample has.

Definition: the root k of  E P(chi2(df) > df r(Z)^2 / k^2) = confidence,  Z ~ N(0, 1/n_effective),
Phi(z + r) - Phi(z - r) = content.  mpmath, 25 digits, Gauss-Legendre panels; 15 digits are kept.
Run: python3 tests/reference/tolerance_effective.py > tests/data/tolerance_effective.csv
DO NOT EDIT the table by hand; add cases here.
"""
import mpmath as mp

mp.mp.dps = 25
CASES = [
    ("0.95", "0.95", "8.3", "3"), ("0.9", "0.95", "3", "4"), ("0.95", "0.95", "29", "30"),
    ("0.95", "0.95", "0.7", "1.5"), ("0.95", "0.95", "2.5", "0.8"), ("0.95", "0.95", "60", "2"),
    ("0.99", "0.9", "12.4", "250"), ("0.5", "0.9", "7", "5"), ("0.3", "0.99", "4.5", "6"),
    ("0.95", "0.5", "9", "4"), ("0.999", "0.999", "17.2", "9.5"), ("0.95", "0.95", "4000", "3.2"),
    ("0.95", "0.95", "6000", "12"), ("0.9", "0.95", "500", "500"), ("0.95", "0.05", "6", "7"),
]


def half_width(z, content, start):
    inside = lambda r: mp.ncdf(z + r) - mp.ncdf(z - r)
    r = start
    for _ in range(60):
        step = (inside(r) - content) / (mp.npdf(z + r) + mp.npdf(z - r))
        r -= step
        if abs(step) < mp.mpf(10) ** -23 * r:
            return r
    raise ArithmeticError((z, content))


def nodes(content, n, panels=60, end=10):
    x, out = mp.mpf(end) / panels, []
    rule = mp.calculus.quadrature.GaussLegendre(mp.mp).calc_nodes(3, 110)
    r = mp.sqrt(2) * mp.erfinv(content)
    for i in range(panels):
        for t, weight in sorted(rule):
            w = x * (i + (t + 1) / 2)
            r = half_width(w / mp.sqrt(n), content, r)
            out.append((r * r, weight * x * mp.npdf(w)))
    return out


def lower_gamma(a, x):
    """P(a, x): the series below the mean, Legendre's continued fraction above."""
    front = mp.exp(a * mp.log(x) - x - mp.loggamma(a))
    if x < a + 1:
        term = total = 1 / a
        k = 0
        while term > mp.eps * total:
            k += 1
            term *= x / (a + k)
            total += term
        return front * total
    b = x + 1 - a
    c, d = mp.inf, 1 / b
    value, k = d, 0
    while True:
        k += 1
        part = -k * (k - a)
        b += 2
        d = 1 / (part * d + b)
        c = b + part / c
        value *= c * d
        if abs(c * d - 1) < mp.eps:
            return 1 - front * value


def factor(content, confidence, df, n):
    rows = nodes(content, n, panels=60 if df < 1000 else 150)
    miss = lambda k: mp.fsum(
        w * lower_gamma(df / 2, df * r2 / (2 * k * k)) for r2, w in rows)
    f = lambda u: mp.log(miss(mp.exp(u)) / (1 - confidence))
    # Secant steps in logarithms, where the chance to miss is nearly a straight line.
    u, v = mp.log(rows[0][0]) / 2 + mp.mpf("0.3"), mp.log(rows[0][0]) / 2 + mp.mpf("0.35")
    fu, fv = f(u), f(v)
    while abs(v - u) > mp.mpf(10) ** -18:
        u, fu, v = v, fv, v - fv * (v - u) / (fv - fu)
        fv = f(v)
    return mp.exp(v)


print("content,confidence,df,n_effective,k")
for case in CASES:
    content, confidence, df, n = (mp.mpf(x) for x in case)
    print(*case, mp.nstr(factor(content, confidence, df, n), 15), sep=",", flush=True)
