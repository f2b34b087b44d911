"""Distribution functions of weighted sums by quadrature in value space and by rational arithmetic, mpmath at 30 digits: another way than the
characteristic functions that the program inverts.

Irwin-Hall: F(x) = sum over k of (-1)^k C(n, k) (x - k)^n / n!, k up to x (N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate
Distributions 2, 1995, 26.9); its form for unequal widths sums over the corners of the box. Triangular and trapezoidal: sums of two
rectangulars. The normal: erfc. All others: the convolution integral.

Freezes tests/reference/exact_sums.json, which crates/spread reads in its tests. About 20 s.
Run: python tests/outside/exact_sums.py [--check]
"""

import sys
from fractions import Fraction
from itertools import product
from math import comb, factorial

from mpmath import asin, erfc, exp, gamma, inf, log, mp, mpf, npdf, pi, quad, sqrt

from freeze import freeze

mp.dps = 30


def phi_below(z):
    return erfc(-z / sqrt(mpf(2))) / 2


def density(d):
    """Probability density, and where its quadrature is to be broken."""
    p = {key: mpf(str(value)) for key, value in d.items() if key != "kind"}
    kind = d["kind"]
    if kind == "arcsine":
        h = p["upper"]
        return lambda y: 1 / (pi * sqrt(h**2 - y**2)) if abs(y) < h else mpf(0), [-h, -0.9 * h, 0, 0.9 * h, h]
    if kind == "curvilinear-trapezoidal":
        w, e = p["upper"], p["inexactness"]
        return lambda y: log((w + e) / max(abs(y), w - e)) / (4 * e), [-w - e, -w + e, 0, w - e, w + e]
    if kind == "gamma":
        k, t = p["shape"], p["scale"]
        return lambda y: y ** (k - 1) * exp(-y / t) / (gamma(k) * t**k), [0, 0.2, 0.5, 1, 2, 4, 8, 16, 30]
    if kind == "exponential":
        return lambda y: exp(-y / p["mean"]) / p["mean"], [0, 0.5, 1, 2, 4, 8, 16, 40, 80]
    if kind == "lognormal":
        v = log(1 + (p["sd"] / p["mean"]) ** 2)
        mu = log(p["mean"]) - v / 2
        f = lambda y: exp(-((log(y) - mu) ** 2) / (2 * v)) / (y * sqrt(2 * pi * v))
        return f, [mpf("1e-6"), 0.05, 0.2, 0.5, 1, 1.5, 2.5, 4, 8, 16, 32]
    if kind == "truncated-normal":
        m, s, a, b = p["mean"], p["sd"], p["lower"], p["upper"]
        inside = phi_below((b - m) / s) - phi_below((a - m) / s)
        return lambda y: npdf(y, m, s) / inside, [a, 0, 0.5, 1, b]
    if kind == "t":
        nu, s = p["degrees_of_freedom"], p["scale"]
        f = lambda y: gamma((nu + 1) / 2) / (gamma(nu / 2) * sqrt(nu * pi) * s) * (1 + (y / s) ** 2 / nu) ** (-(nu + 1) / 2)
        far = [mpf(10) ** k for k in (17, 13, 9, 6, 4, 2)]
        return f, [-inf, *[-x for x in far], -10, -2, -0.2, 0, 0.2, 2, 10, *far[::-1], inf]
    if kind == "triangular":
        a, b = p["lower"], p["upper"]
        c, h = (a + b) / 2, (b - a) / 2
        return lambda y: max(mpf(0), h - abs(y - c)) / h**2, [a, c, b]
    if kind == "rectangular":
        a, b = p["lower"], p["upper"]
        return lambda y: 1 / (b - a) if a <= y <= b else mpf(0), [a, b]
    raise ValueError(kind)


def below(d):
    """Distribution function in closed form, and where it has corners."""
    p = {key: mpf(str(value)) for key, value in d.items() if key != "kind"}
    kind = d["kind"]
    if kind == "normal":
        return lambda x: phi_below((x - p["mean"]) / p["sd"]), [p["mean"] + k * p["sd"] for k in (-6, -3, -1, 0, 1, 3, 6)]
    if kind == "arcsine":
        h = p["upper"]
        return lambda x: mpf(0) if x <= -h else mpf(1) if x >= h else mpf(1) / 2 + asin(x / h) / pi, [-h, h]
    if kind == "rectangular":
        a, b = p["lower"], p["upper"]
        return lambda x: max(mpf(0), min(mpf(1), (x - a) / (b - a))), [a, b]
    if kind == "triangular":
        a, b = p["lower"], p["upper"]
        c, h = (a + b) / 2, (b - a) / 2
        rise = lambda x: (x - a) ** 2 / (2 * h**2)
        return lambda x: mpf(0) if x <= a else mpf(1) if x >= b else rise(x) if x <= c else 1 - (b - x) ** 2 / (2 * h**2), [a, c, b]
    if kind == "lognormal":
        v = log(1 + (p["sd"] / p["mean"]) ** 2)
        mu = log(p["mean"]) - v / 2
        return lambda x: mpf(0) if x <= 0 else phi_below((log(x) - mu) / sqrt(v)), [0, 0.05, 0.2, 0.5, 1, 1.5, 2.5, 4, 8]
    raise ValueError(kind)


def convolved(a, b, x):
    """P(A + B <= x) = integral of F_A(x - y) f_B(y) dy."""
    x = mpf(str(x))
    cdf, corners = below(a)
    pdf, breaks = density(b)
    breaks = [mpf(q) for q in breaks]
    corners = [x - mpf(k) for k in corners]
    return quad(lambda y: cdf(x - y) * pdf(y), sorted(set(breaks + [k for k in corners if breaks[0] < k < breaks[-1]])))


def rectangulars(halves, x):
    """Sum of rectangulars about 0 of these half-widths, over the corners of their box, in rational arithmetic."""
    halves, x = [Fraction(h) for h in halves], Fraction(x)
    total = Fraction(0)
    for corner in product((0, 1), repeat=len(halves)):
        rest = x + sum(halves) - sum(2 * h for h, at in zip(halves, corner) if at)
        if rest > 0:
            total += (-1) ** sum(corner) * rest ** len(halves)
    for h in halves:
        total /= 2 * h
    return total / factorial(len(halves))


def irwin_hall(n, x):
    x = Fraction(x)
    return sum((-1) ** k * comb(n, k) * (x - k) ** n for k in range(int(x) + 1)) / factorial(n)


def rectangular(half):
    return {"kind": "rectangular", "lower": -float(Fraction(half)), "upper": float(Fraction(half))}


def case(what, terms, at):
    """Terms as [coefficient, distribution]; at as pairs of x and the share below."""
    return {"what": what, "terms": terms, "at": [[float(Fraction(str(x))), float(f)] for x, f in at]}


def main():
    arcsine = lambda h: {"kind": "arcsine", "lower": -h, "upper": h}
    t = lambda nu, s: {"kind": "t", "degrees_of_freedom": nu, "location": 0.0, "scale": s}
    normal = lambda sd: {"kind": "normal", "mean": 0.0, "sd": sd}
    gamma_ = {"kind": "gamma", "shape": 2.5, "scale": 0.4}
    lognormal = {"kind": "lognormal", "mean": 1.0, "sd": 0.4}
    triangular = {"kind": "triangular", "lower": -0.2, "upper": 0.4}
    curvilinear = {"kind": "curvilinear-trapezoidal", "lower": -1.0, "upper": 1.0, "inexactness": 0.25}
    truncated = {"kind": "truncated-normal", "mean": 0.0, "sd": 1.0, "lower": -0.5, "upper": 2.0}
    cases = []
    for n, points in [(1, ["1/4"]), (2, ["1/2", "17/10"]), (3, ["2/5", "2"]), (5, ["1", "3"]), (8, ["1", "9/2", "7"]),
                      (100, ["40", "50", "101/2", "62"])]:
        unit = {"kind": "rectangular", "lower": 0.0, "upper": 1.0}
        cases.append(case(f"{n} unit rectangulars", [[1.0, unit]] * n, [(x, irwin_hall(n, x)) for x in points]))
    for halves, points in [
        (["1", "1/1000", "1/1000000"], ["-1", "-9990005/10000000", "0", "1000001/1000000"]),
        (["1/20", "1/50", "1/100", "1/500"], ["-7/100", "-3/100", "1/1000", "8/100"]),
        (["3/10", "2/10", "1/10", "1/20", "1/40"], ["-6/10", "-1/10", "4/10", "67/100"]),
    ]:
        terms = [[1.0, rectangular(h)] for h in halves]
        cases.append(case(f"rectangulars of {', '.join(halves)}", terms, [(x, rectangulars(halves, x)) for x in points]))
    # A trapezoid of base 2 and top 1, times 0.7, with a rectangular: rectangulars of 0.525, 0.175 and 0.3.
    trapezoidal = {"kind": "trapezoidal", "lower": -1.0, "upper": 1.0, "beta": 0.5}
    cases.append(case("trapezoidal and rectangular", [[0.7, trapezoidal], [1.0, rectangular("3/10")]],
                      [(x, rectangulars(["21/40", "7/40", "3/10"], x)) for x in ["-9/10", "-2/5", "1/20", "7/10"]]))
    cases.append(case("one triangular", [[1.0, triangular]], [(x, below(triangular)[0](mpf(str(x)))) for x in (-0.05, 0.1, 0.3)]))
    three = sqrt(mpf(14) / 100)
    cases.append(case("three normals", [[1.0, normal(0.1)], [-2.0, normal(0.1)], [3.0, normal(0.1)]],
                      [(x, phi_below(mpf(str(x)) / three)) for x in (-2.2, -0.3, 0.5, 1.7)]))
    for d, sd, points in [
        (arcsine(1.0), 0.3, [-1.7, -0.2, 0.6, 1.9]),
        (curvilinear, 0.3, [-1.7, -0.2, 0.6, 1.9]),
        (gamma_, 0.3, [-0.4, 0.7, 1.5, 5]),
        ({"kind": "exponential", "mean": 1.0}, 0.3, [-0.6, 0.5, 3, 9]),
        (lognormal, 0.3, [-0.2, 0.7, 1.5, 4]),
        (truncated, 0.3, [-1.1, 0.1, 1.4, 2.7]),
        (triangular, 0.05, [-0.25, 0.05, 0.2, 0.48]),
        (t(4, 0.5), 0.3, [-3, -0.4, 0.9, 8]),
        (t(1, 0.1), 0.3, [-3, -0.4, 0.9, 40]),
        (t(2, 0.2), 0.3, [-3, -0.4, 0.9, 8]),
        (arcsine(1.0), 1e-4, [-0.9999, -0.2, 0.6, 1]),
    ]:
        cases.append(case(f"{d['kind']} and normal {sd}", [[1.0, d], [1.0, normal(sd)]], [(x, convolved(normal(sd), d, x)) for x in points]))
    for a, b, points in [
        (arcsine(1.0), arcsine(0.4), [-1.2, -0.3, 0.65, 1.1]),
        (rectangular("1/2"), lognormal, [0.1, 0.9, 2, 4]),
        (rectangular("1/2"), t(1, 0.1), [-2, 0.3, 0.6, 10]),
        (triangular, curvilinear, [-1.3, -0.2, 0.6, 1.5]),
        (lognormal, gamma_, [0.5, 1.5, 3, 6]),
    ]:
        cases.append(case(f"{a['kind']} and {b['kind']}", [[1.0, a], [1.0, b]], [(x, convolved(a, b, x)) for x in points]))
    freeze("exact_sums", cases, 1e-14, 1e-16, "--check" in sys.argv)


main()
