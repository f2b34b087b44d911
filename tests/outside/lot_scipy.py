"""Shape tests, tolerance factors, sampling plans and the Johnson curve by scipy: other code, the same definitions.

Freezes tests/reference/lot_scipy.json, which crates/lot reads in its tests.
Run: python tests/outside/lot_scipy.py [--check]
"""

import sys

import numpy as np
from scipy import stats, optimize, integrate

from freeze import freeze


def two_sided_k(n, content, confidence):
    """Root of the defining double integral, by adaptive quadrature and brentq."""
    nu = n - 1

    def radius(x):
        f = lambda r: stats.norm.cdf(x + r) - stats.norm.cdf(x - r) - content
        return optimize.brentq(f, 1e-12, abs(x) + 40, xtol=1e-14)

    def covered(k):
        f = lambda z: stats.chi2.sf(nu * (radius(z / np.sqrt(n)) / k) ** 2, nu) * stats.norm.pdf(z)
        return 2 * integrate.quad(f, 0, 9, epsabs=1e-12, epsrel=1e-12, limit=200)[0]

    return optimize.brentq(lambda k: covered(k) - confidence, 0.5, 200, xtol=1e-12)


def main():
    rng = np.random.Generator(np.random.PCG64(5))
    samples = {}
    for name, values in {
        "normal 20": rng.normal(0.4, 0.006, 20),
        "normal 50": rng.normal(0.4, 0.006, 50),
        "normal 500": rng.normal(0.4, 0.006, 500),
        "rectangular 60": rng.uniform(0.37, 0.43, 60),
        "exponential 30": 0.4 + rng.exponential(0.01, 30),
        "three": np.array([0.401, 0.404, 0.412]),
        "five": np.array([0.401, 0.404, 0.412, 0.398, 0.4]),
        "eleven": rng.normal(10, 1, 11),
    }.items():
        w, p = stats.shapiro(values)
        entry = {"values": values.tolist(), "w": float(w), "w_p": float(p)}
        if len(values) >= 5:
            entry["a2"] = float(stats.anderson(values, "norm", method="interpolate").statistic)
        samples[name] = entry
    k = [
        {"n": n, "content": p, "confidence": c,
         "one_sided": float(stats.nct.ppf(c, n - 1, np.sqrt(n) * stats.norm.ppf(p)) / np.sqrt(n)),
         "two_sided": float(two_sided_k(n, p, c))}
        for n, p, c in [(5, 0.9, 0.95), (10, 0.95, 0.95), (43, 0.9, 0.99), (50, 0.9973, 0.95), (200, 0.99, 0.9)]
    ]
    attributes = []
    for n, c in [(80, 2), (13, 0), (200, 7), (1250, 21)]:
        for p in [0.001, 0.01, 0.03, 0.1]:
            attributes.append({"n": n, "c": c, "p": p, "binomial": float(stats.binom.cdf(c, n, p))})
    finite = [
        {"lot": lot, "bad": bad, "n": n, "c": c, "hypergeometric": float(stats.hypergeom.cdf(c, lot, bad, n))}
        for lot, bad, n, c in [(100, 3, 13, 0), (500, 20, 50, 2), (60, 6, 20, 1), (10000, 150, 200, 5)]
    ]
    variables = [
        {"n": n, "k": kk, "p": p, "accept": float(stats.nct.sf(np.sqrt(n) * kk, n - 1, np.sqrt(n) * stats.norm.isf(p)))}
        for n, kk in [(30, 1.86), (13, 1.426)] for p in [0.01, 0.02, 0.05, 0.1]
    ]
    curves = []
    for a, b in [(1.0, 1.5), (-0.5, 2.2)]:
        su, sb = stats.johnsonsu(a, b, 0.4, 0.01), stats.johnsonsb(a, b, 0.4, 0.03)
        at = [0.0013498980316300933, 0.1, 0.5, 0.9, 0.9986501019683699]
        curves.append({"gamma": a, "eta": b, "xi": 0.4, "su_lambda": 0.01, "sb_lambda": 0.03, "p": at,
                       "su": [float(su.ppf(p)) for p in at], "sb": [float(sb.ppf(p)) for p in at]})
    freeze("lot_scipy", {"samples": samples, "k": k, "attributes": attributes, "finite": finite, "variables": variables, "curves": curves},
           1e-8, 1e-10, "--check" in sys.argv)


main()
