"""Ten thousand lots of fifty readings by pandas and scipy, as far as they go: the other side of crates/lot/examples/many_lots.rs.

It covers mean, sd, their intervals, the share outside with its bound from the noncentral t, Anderson-Darling, Shapiro-Wilk, Grubbs, the
tolerance factor (once), capability and the moving range. It has no restricted likelihood, no shape tests that know the instrument's step,
no curves for skew lots, no generalised bounds for two limits.

Run: python benches/many_lots.py [LOTS]
"""

import sys
import time

import numpy as np
import pandas as pd
from scipy import stats

LOTS = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
N = 50
LOWER, UPPER, NOMINAL = 0.37, 0.43, 0.40

rng = np.random.Generator(np.random.PCG64(1))
means = 0.4 + 0.003 * rng.standard_normal(LOTS)
readings = np.round(means[:, None] + 0.006 * rng.standard_normal((LOTS, N)), 3)
table = pd.DataFrame({"lot": np.repeat(np.arange(LOTS), N), "part": np.tile(np.arange(1, N + 1), LOTS), "reading": readings.ravel()})

start = time.perf_counter()
k = stats.nct.ppf(0.95, N - 1, np.sqrt(N) * stats.norm.ppf(0.9973)) / np.sqrt(N)
t = stats.t.ppf(0.975, N - 1)
chi = stats.chi2.ppf([0.975, 0.025], N - 1)
g = stats.t.ppf(1 - 0.05 / (2 * N), N - 2)
grubbs = (N - 1) / np.sqrt(N) * np.sqrt(g * g / (N - 2 + g * g))


def judge(x):
    x = x.to_numpy()
    mean, sd = x.mean(), x.std(ddof=1)
    return pd.Series({
        "mean": mean, "sd": sd, "half": t * sd / np.sqrt(N), "sd_low": sd * np.sqrt((N - 1) / chi[0]), "sd_high": sd * np.sqrt((N - 1) / chi[1]),
        "deviation": mean - NOMINAL, "percent": 100 * (mean / NOMINAL - 1),
        "anderson": stats.anderson(x, "norm", method="interpolate").statistic, "shapiro_p": stats.shapiro(x).pvalue,
        "outlier": np.max(np.abs(x - mean)) / sd > grubbs,
        "tolerance_low": mean - k * sd, "tolerance_high": mean + k * sd,
        "pp": (UPPER - LOWER) / (6 * sd), "ppk": min(UPPER - mean, mean - LOWER) / (3 * sd),
        "out": stats.norm.cdf((LOWER - mean) / sd) + stats.norm.sf((UPPER - mean) / sd),
        "moving_range": np.abs(np.diff(x)).mean() / 1.128,
    })


result = table.groupby("lot")["reading"].apply(judge).unstack()
within = result["sd"].astype(float).pow(2).mean()
between = N * result["mean"].astype(float).var() - within
print(f"{time.perf_counter() - start:.2f} s, {LOTS} lots of {N}: within {np.sqrt(within):.5f}, between {np.sqrt(max(between, 0) / N):.5f}")
