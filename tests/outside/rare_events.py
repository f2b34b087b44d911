"""Shares outside by closed forms and quadrature, scipy and mpmath at 25 digits: what line sampling must find.

Freezes tests/reference/rare_events.json, which crates/spread reads in its tests.
Run: python tests/outside/rare_events.py [--check]
"""

import sys

import numpy as np
from mpmath import erfc, exp, gamma, mp, mpf, pi, quad, sqrt
from scipy import integrate, stats

from freeze import freeze

mp.dps = 25


def below(z):
    return erfc(-z / sqrt(mpf(2))) / 2


def normal_density(z):
    return exp(-z * z / 2) / sqrt(2 * pi)


def chi_square_density(q, k):
    return q ** (mpf(k) / 2 - 1) * exp(-q / 2) / (2 ** (mpf(k) / 2) * gamma(mpf(k) / 2))


def loose_below():
    """P(x2 < -4, or squeeze < 0 and x2 + squeeze < -4), squeeze N(3, 2), x2 standard: by adaptive quadrature."""
    f = lambda d: stats.norm.pdf(d, 3, np.sqrt(2)) * stats.norm.cdf(-4 + max(-d, 0.0))
    return integrate.quad(f, -12, 0, epsabs=1e-18, epsrel=1e-12)[0] + integrate.quad(f, 0, 16, epsabs=1e-18, epsrel=1e-12)[0]


def main():
    chi = lambda q: chi_square_density(q, 4)
    values = {
        # N(10, 1) * N(10, 1) > 160
        "product": float(quad(lambda x: normal_density(x - 10) * below(-(160 / x - 10)), [mpf("0.5"), 5, 8, 10, 12, 14, 16, 18, 22])),
        # u1 > 4 + 0.1 chi^2_4, and u1 > 5 - 0.1 chi^2_4
        "away": float(quad(lambda q: chi(q) * below(-(4 + mpf("0.1") * q)), [0, 1, 5, 20, 60, 200])),
        "towards": float(quad(lambda q: chi(q) * below(-(5 - mpf("0.1") * q)), [0, 1, 5, 10, 20, 30, 40, 50, 60, 80, 100, 150, 250])),
        "sphere 2": float(stats.chi2.sf(5**2, 2)),
        "sphere 4": float(stats.chi2.sf(5.5**2, 4)),
        # |x| beyond 4.2 one way, 4.6 the other; either of two beyond 4
        "edge": float(stats.norm.sf(4.2) + stats.norm.sf(4.6)),
        "corner": float(2 * stats.norm.sf(4) - stats.norm.sf(4) ** 2),
        # five exponentials of mean 1 beyond 20
        "exponentials": float(stats.gamma.sf(20, 5)),
        # product of three lognormals, each exp(N(0, 0.2^2)), beyond 3
        "lognormals": float(stats.norm.sf(np.log(3.0) / np.sqrt(3 * 0.04))),
        # two standard normals tied by 0.6, sum beyond 7.5
        "tied": float(stats.norm.sf(7.5 / np.sqrt(2 + 1.2))),
        # play = max(0, -(3 + x0 + x1)) beyond 1.5
        "play": float(stats.norm.sf(4.5 / np.sqrt(2))),
        "loose below": float(loose_below()),
    }
    freeze("rare_events", values, 1e-9, 0.0, "--check" in sys.argv)


main()
