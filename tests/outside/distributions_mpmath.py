"""Distribution functions, densities, quantiles, means and standard deviations by mpmath at 40 digits, from the definitions of JCGM 101:2008.

Freezes tests/reference/distributions_mpmath.json, which crates/spread reads in its tests.
Run: python tests/outside/distributions_mpmath.py [--check]
"""

import sys

from mpmath import mp, mpf, erfc, sqrt, exp, log, betainc, gammainc, gamma, pi, quad, asin, findroot, inf

from freeze import freeze

mp.dps = 40


def given(value):
    """A parameter as the double that the program gets."""
    return mpf(float(value))


def phi(z):
    return exp(-z * z / 2) / sqrt(2 * pi)


def below(z):
    return erfc(-z / sqrt(2)) / 2


class Normal:
    def __init__(self, mean, sd):
        self.m, self.s = given(mean), given(sd)
        self.mean, self.sd = self.m, self.s

    def lower(self, x):
        return below((x - self.m) / self.s)

    def upper(self, x):
        return below((self.m - x) / self.s)

    def pdf(self, x):
        return phi((x - self.m) / self.s) / self.s


class ByDensity:
    """Everything by quadrature of a density between break points."""

    def __init__(self, density, breaks):
        self.density, self.breaks = density, [mpf(b) for b in breaks]
        self.mean = quad(lambda x: x * density(x), self.breaks)
        self.sd = sqrt(quad(lambda x: (x - self.mean) ** 2 * density(x), self.breaks))

    def pdf(self, x):
        return self.density(x)

    def lower(self, x):
        return quad(self.density, [b for b in self.breaks if b < x] + [x])

    def upper(self, x):
        return quad(self.density, [x] + [b for b in self.breaks if b > x])


def truncated(mean, sd, lower, upper):
    mean, sd, lower, upper = map(given, (mean, sd, lower, upper))
    a, b = (lower - mean) / sd, (upper - mean) / sd
    whole = below(b) - below(a) if a < 0 else below(-a) - below(-b)
    return ByDensity(lambda x: phi((x - mean) / sd) / sd / whole, [lower, (lower + upper) / 2, upper])


class LogNormal:
    def __init__(self, mean, sd):
        self.mean, self.sd = given(mean), given(sd)
        self.s = sqrt(log(1 + (self.sd / self.mean) ** 2))
        self.m = log(self.mean) - self.s**2 / 2

    def lower(self, x):
        return below((log(x) - self.m) / self.s)

    def upper(self, x):
        return below((self.m - log(x)) / self.s)

    def pdf(self, x):
        return phi((log(x) - self.m) / self.s) / self.s / x


def trapezoidal(a, b, beta):
    a, b, beta = given(a), given(b), given(beta)
    c, h = (a + b) / 2, (b - a) / 2
    top = 1 / (h * (1 + beta))
    f = lambda x: top * min(mpf(1), (h - abs(x - c)) / (h * (1 - beta)))
    return ByDensity(f, [a, c - beta * h, c + beta * h, b])


def curvilinear(a, b, d):
    """JCGM 101:2008, 6.4.3.2."""
    a, b, d = given(a), given(b), given(d)
    x, w = (a + b) / 2, (b - a) / 2

    def f(t):
        y = abs(t - x)
        if y >= w + d:
            return mpf(0)
        return log((w + d) / max(y, w - d)) / (4 * d)

    return ByDensity(f, [a - d, a + d, b - d, b + d])


class Arcsine:
    def __init__(self, a, b):
        self.a, self.b = given(a), given(b)
        self.mean, self.sd = (self.a + self.b) / 2, (self.b - self.a) / sqrt(8)

    def lower(self, x):
        return 2 / pi * asin(sqrt((x - self.a) / (self.b - self.a)))

    def upper(self, x):
        return 2 / pi * asin(sqrt((self.b - x) / (self.b - self.a)))

    def pdf(self, x):
        return 1 / (pi * sqrt((x - self.a) * (self.b - x)))


class Student:
    def __init__(self, nu, location, scale):
        self.nu, self.m, self.s = given(nu), given(location), given(scale)
        self.mean = self.m
        self.sd = self.s * sqrt(self.nu / (self.nu - 2)) if self.nu > 2 else None

    def tail(self, t):
        """P(T > t), t >= 0."""
        return betainc(self.nu / 2, mpf(1) / 2, 0, self.nu / (self.nu + t * t), regularized=True) / 2

    def lower(self, x):
        t = (x - self.m) / self.s
        return self.tail(-t) if t < 0 else 1 - self.tail(t)

    def upper(self, x):
        t = (x - self.m) / self.s
        return 1 - self.tail(-t) if t < 0 else self.tail(t)

    def pdf(self, x):
        t, nu = (x - self.m) / self.s, self.nu
        return gamma((nu + 1) / 2) / gamma(nu / 2) / sqrt(nu * pi) * (1 + t * t / nu) ** (-(nu + 1) / 2) / self.s


class Gamma:
    def __init__(self, shape, scale):
        self.k, self.t = given(shape), given(scale)
        self.mean, self.sd = self.k * self.t, sqrt(self.k) * self.t

    def lower(self, x):
        return gammainc(self.k, 0, x / self.t, regularized=True)

    def upper(self, x):
        return gammainc(self.k, x / self.t, inf, regularized=True)

    def pdf(self, x):
        return (x / self.t) ** (self.k - 1) * exp(-x / self.t) / gamma(self.k) / self.t


CASES = [
    ({"kind": "normal", "mean": 0.4, "sd": 0.01}, Normal("0.4", "0.01"), ["0.35", "0.39", "0.4", "0.405", "0.46"]),
    ({"kind": "truncated-normal", "mean": 0, "sd": 1, "lower": -1, "upper": 2}, truncated(0, 1, -1, 2), ["-0.99", "0.2", "1.5", "1.9999"]),
    ({"kind": "truncated-normal", "mean": 0, "sd": 1, "lower": 6, "upper": 8}, truncated(0, 1, 6, 8), ["6.001", "6.1", "7", "7.9"]),
    ({"kind": "truncated-normal", "mean": 10, "sd": 2, "lower": -8, "upper": -4}, truncated(10, 2, -8, -4), ["-7.9", "-5", "-4.1"]),
    ({"kind": "lognormal", "mean": 2, "sd": 0.5}, LogNormal(2, "0.5"), ["0.6", "1.5", "2", "3", "6"]),
    ({"kind": "trapezoidal", "lower": -1, "upper": 3, "beta": 0.4}, trapezoidal(-1, 3, "0.4"), ["-0.999", "-0.5", "1", "1.7", "2.5", "2.9999"]),
    ({"kind": "triangular", "lower": 0, "upper": 0.2}, trapezoidal(0, "0.2", 0), ["0.0001", "0.05", "0.1", "0.19", "0.19999"]),
    ({"kind": "curvilinear-trapezoidal", "lower": -0.05, "upper": 0.05, "inexactness": 0.025}, curvilinear("-0.05", "0.05", "0.025"), ["-0.0749", "-0.05", "-0.03", "0", "0.01", "0.04", "0.0749"]),
    ({"kind": "curvilinear-trapezoidal", "lower": -1, "upper": 1, "inexactness": 0.001}, curvilinear(-1, 1, "0.001"), ["-1.0005", "-0.9995", "0.5", "1.0009"]),
    ({"kind": "arcsine", "lower": -0.5, "upper": 0.5}, Arcsine("-0.5", "0.5"), ["-0.4999", "-0.3", "0", "0.2", "0.49999"]),
    ({"kind": "t", "degrees_of_freedom": 1, "location": 0, "scale": 1}, Student(1, 0, 1), ["-1e9", "-3", "0.5", "1e4"]),
    ({"kind": "t", "degrees_of_freedom": 4, "location": 0.97, "scale": 0.001}, Student(4, "0.97", "0.001"), ["0.9", "0.969", "0.9705", "0.98"]),
    ({"kind": "t", "degrees_of_freedom": 18, "location": 50000623, "scale": 25}, Student(18, 50000623, 25), ["50000400", "50000600", "50000650", "50000900"]),
    ({"kind": "gamma", "shape": 0.5, "scale": 2}, Gamma("0.5", 2), ["1e-12", "0.3", "1", "30"]),
    ({"kind": "gamma", "shape": 9, "scale": 0.5}, Gamma(9, "0.5"), ["0.1", "3", "4.5", "20"]),
    ({"kind": "exponential", "mean": 3}, Gamma(1, 3), ["1e-9", "1", "3", "100"]),
]


def main():
    values = []
    for parameters, d, points in CASES:
        rows = []
        for text in points:
            # The double that the program will see, exactly.
            x = mpf(float(text))
            rows.append({"x": float(text), "lower": float(d.lower(x)), "upper": float(d.upper(x)), "pdf": float(d.pdf(x))})
        values.append({"distribution": parameters, "mean": float(d.mean), "sd": None if d.sd is None else float(d.sd), "points": rows})
    freeze("distributions_mpmath", values, 1e-13, 0.0, "--check" in sys.argv)


main()
