"""The bay of bay.toml in numpy: plain Monte Carlo, vectorised, in chunks that stay in cache.

The disc's load is the direct formula of Almen and Laszlo (EN 16984), no root search: with one spring washer its deflection is the bay's
interference. Run: python benches/numpy_bay.py [trials] [chunk]
"""

import sys
import time

import numpy as np

# Mean and standard deviation in mm, in the order of the names.
SPAN, WASHER1, SHIM1, WIDTH, ADJUSTER, DE, DI, T, H0, SHIM2, WASHER2, TUBE, STEM = range(13)
MEAN = [52.00, 1.20, 0.40, 24.00, 11.30, 30.00, 18.40, 0.60, 0.60, 0.60, 1.20, 23.75, 11.90]
SD = [0.020, 0.010, 0.010, 0.017, 0.020, 0.050, 0.050, 0.007, 0.013, 0.010, 0.010, 0.020, 0.027]
LIMITS = {"preload": (60.0, 400.0), "offset": (0.88, 1.12)}


def preload_and_fit(x):
    """Preload by the direct formula, and whether the bay can be assembled, of each column of dimension values."""
    s, h0, load = load_of(x)
    return np.where(s <= 0, 0.0, load), s <= h0


def load_of(x):
    solids = x[WASHER1] + x[SHIM1] + x[WIDTH] + x[SHIM2] + x[WASHER2] + x[TUBE]
    t, h0 = x[T], x[H0]
    s = solids + t + h0 - x[SPAN]
    delta = x[DE] / x[DI]
    k1 = ((delta - 1) / delta) ** 2 / ((delta + 1) / (delta - 1) - 2 / np.log(delta)) / np.pi
    s1, h1 = s / t, h0 / t
    return s, h0, 4 * 206000.0 / (1 - 0.3**2) * t**4 / (k1 * x[DE] ** 2) * s1 * ((h1 - s1) * (h1 - 0.5 * s1) + 1)


def responses(rng, n):
    x = rng.standard_normal((13, n))
    for k in range(13):
        x[k] *= SD[k]
        x[k] += MEAN[k]
    s, h0, load = load_of(x)
    preload = np.where(s <= 0, 0.0, load)
    left = x[WASHER1] + x[SHIM1] + x[ADJUSTER] - x[STEM]
    # Loose: the rocker may move by the play, and the middle of its range counts.
    play = np.maximum(-s, 0.0)
    fits = s <= h0
    return np.where(fits, preload, np.nan), np.where(fits, left + 0.5 * play, np.nan), left, left + play, fits


def main():
    trials = int(float(sys.argv[1])) if len(sys.argv) > 1 else 1_000_000
    chunk = int(float(sys.argv[2])) if len(sys.argv) > 2 else 20_000
    start = time.perf_counter()
    rng = np.random.Generator(np.random.PCG64(1))
    preload, offset = np.empty(trials), np.empty(trials)
    out = {"preload": 0, "offset": 0}
    for first in range(0, trials, chunk):
        n = min(chunk, trials - first)
        p, o, low, high, fits = responses(rng, n)
        preload[first : first + n], offset[first : first + n] = p, o
        a, b = LIMITS["preload"]
        out["preload"] += np.count_nonzero((p < a) | (p > b) | ~fits)
        a, b = LIMITS["offset"]
        out["offset"] += np.count_nonzero((low < a) | (high > b) | ~fits)
    for name, values in (("preload", preload), ("offset", offset)):
        values = values[np.isfinite(values)]
        low, high = np.quantile(values, [0.025, 0.975])
        print(f"{name}: mean {values.mean():.5f}, sd {values.std(ddof=1):.5f}, 95 % {low:.5f} to {high:.5f}, outside {out[name] / trials:.6f}")
    print(f"{trials} trials: {time.perf_counter() - start:.3f} s")


if __name__ == "__main__":
    main()
