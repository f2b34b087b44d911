"""Least-cost tolerances by other means than ours: scipy's SLSQP for costs b/tol^k, and exhaustion over small tables of grades.

An offset is a sum of washers with sd = tol/3, and of a stem whose tolerance is fixed; "joint" has two requirements that share a washer. The
optimum is accepted where it is stationary: the conditions of Karush, Kuhn and Tucker (J. Nocedal, S. Wright, Numerical Optimization, 2006,
theorem 12.1) are evaluated here once more, whatever the optimiser says of itself.

Freezes tests/reference/allocation.json, which crates/spread and the end-to-end tests read.
Run: python tests/outside/allocation.py [--check]
"""

import itertools
import sys

import numpy as np
from scipy import optimize, stats

from freeze import freeze

FIXED = 0.02  # tolerance of the stem, which has no cost


def least_cost(scale, exponent, share, ceiling):
    """min sum b/t^k subject to share(t) <= ceiling, over x = ln t."""
    b, k = np.array(scale), np.array(exponent)
    margin = lambda x: np.log(ceiling / share(np.exp(x)))
    h = 1e-4

    def margin_slope(x):
        """Five-point central differences."""
        out = np.empty_like(x)
        for i, e in enumerate(np.eye(len(x)) * h):
            out[i] = (8 * (margin(x + e) - margin(x - e)) - margin(x + 2 * e) + margin(x - 2 * e)) / (12 * h)
        return out

    unit = float(np.sum(b * 0.05**-k))
    found = optimize.minimize(
        lambda x: float(np.sum(b * np.exp(-k * x))) / unit, np.log(np.full(len(b), 0.05)), jac=lambda x: -b * k * np.exp(-k * x) / unit,
        bounds=[(np.log(1e-3), 0.0)] * len(b), constraints=[{"type": "ineq", "fun": margin, "jac": margin_slope}], method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 500},
    )
    x = found.x
    ratios = b * k * np.exp(-k * x) / -margin_slope(x)  # all equal the multiplier
    assert np.ptp(ratios) < 2e-5 * ratios.mean() and abs(margin(x)) < 1e-7, (found, ratios)
    return {"tol": np.exp(x).tolist(), "cost": float(np.sum(b * np.exp(-k * x)))}


def between(low, high):
    """Share of N(0, sum (t/3)^2 + fixed) outside low to high."""

    def share(t):
        sd = np.sqrt(np.sum(t**2) / 9 + (FIXED / 3) ** 2)
        return float(stats.norm.sf(high / sd) + stats.norm.cdf(low / sd))

    return share


def joint(limit_offset, limit_sum):
    """At least one broken of |w0 + stem| <= limit_offset and |w0 + w1 + w2| <= limit_sum: by quadrature over what they share, w0."""
    z = np.linspace(-9, 9, 4001)
    weights = stats.norm.pdf(z) * (z[1] - z[0])  # the trapezoidal rule: exponentially accurate for a smooth integrand that dies out

    def share(t):
        shared = t[0] / 3 * z
        rest = np.hypot(t[1], t[2]) / 3
        out = lambda limit, sd: stats.norm.sf((limit - shared) / sd) + stats.norm.cdf((-limit - shared) / sd)
        one, two = out(limit_offset, FIXED / 3), out(limit_sum, rest)
        return float(np.sum(weights * (one + two - one * two)))

    return share


def exhaustion(grades, limit, ceiling):
    share = between(-limit, limit)
    fits = (choice for choice in itertools.product(*grades) if share(np.array([t for t, _ in choice])) <= ceiling)
    best = min((sum(p for _, p in choice), [t for t, _ in choice]) for choice in fits)
    return {"grades": grades, "cost": best[0], "tol": best[1]}


def main():
    powers = {"scale": [1.0, 3.0, 0.5, 2.0], "exponent": [1.0, 1.5, 0.8, 2.0]}
    reciprocal = {"scale": [1.0, 8.0, 0.5], "exponent": [1.0, 1.0, 1.0]}
    base = [(0.02, 9.0), (0.04, 5.0), (0.06, 3.5), (0.10, 2.0), (0.14, 1.2)]
    table = [[(t, p * (1 + 0.37 * ((k * 7 + g * 3) % 5))) for g, (t, p) in enumerate(base)] for k in range(5)]
    values = {
        "powers": powers | least_cost(**powers, share=between(-0.1, 0.1), ceiling=0.0027),
        "reciprocal": reciprocal | least_cost(**reciprocal, share=between(-0.1, 0.1), ceiling=0.0027),
        "off centre": powers | least_cost(**powers, share=between(-0.08, 0.12), ceiling=0.01),
        "joint": reciprocal | least_cost(**reciprocal, share=joint(0.07, 0.12), ceiling=0.01),
        "grades": exhaustion(table, 0.1, 0.0027),
    }
    freeze("allocation", values, 2e-5, 1e-9, "--check" in sys.argv)


main()
