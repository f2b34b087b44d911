"""Ten thousand lots of fifty readings by pandas and scipy, as far as they go: the other side of crates/lot/examples/many_lots.rs.

It covers mean, sd, their intervals, the share outside with its bound from the noncentral t, Anderson-Darling, Shapiro-Wilk, Grubbs, the
tolerance factor (once), capability and the moving range. It has no restricted likelihood, no shape tests that know the instrument's step,
no curves for skew lots, no generalised bounds for two limits.

Both sides in one run, taking turns; prints the Markdown table of benches/README.md:

  cargo build --release -p packdrift-lot --example many_lots && python benches/many_lots.py [LOTS] [EXAMPLE]
"""

import os
import subprocess
import sys
import time

import numpy as np
import pandas as pd
from scipy import stats

LOTS = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
EXAMPLE = sys.argv[2] if len(sys.argv) > 2 else "target/release/examples/many_lots"
TURNS = 3
N = 50
LOWER, UPPER, NOMINAL = 0.37, 0.43, 0.40

rng = np.random.Generator(np.random.PCG64(1))
means = 0.4 + 0.003 * rng.standard_normal(LOTS)
readings = np.round(means[:, None] + 0.006 * rng.standard_normal((LOTS, N)), 3)
table = pd.DataFrame({"lot": np.repeat(np.arange(LOTS), N), "part": np.tile(np.arange(1, N + 1), LOTS), "reading": readings.ravel()})

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


def peer():
    """Wall-clock and processor seconds of the pandas and scipy side, and what it found."""
    start, busy = time.perf_counter(), time.process_time()
    result = table.groupby("lot")["reading"].apply(judge).unstack()
    within = result["sd"].astype(float).pow(2).mean()
    between = N * result["mean"].astype(float).var() - within
    found = f"within {np.sqrt(within):.5f}, between {np.sqrt(max(between, 0) / N):.5f}"
    return time.perf_counter() - start, time.process_time() - busy, found


def ours():
    """The same of the example: its own clock, without start-up; the process's time with it."""
    child = subprocess.Popen([EXAMPLE, str(LOTS)], stdout=subprocess.PIPE, text=True)
    text = child.stdout.read().strip()
    _, status, usage = os.wait4(child.pid, 0)
    if status:
        sys.exit(f"{EXAMPLE} ended with status {status}")
    return float(text.split()[0]), usage.ru_utime + usage.ru_stime, text.split(": ", 1)[1]


def median(values):
    ordered = sorted(values)
    return ordered[len(ordered) // 2]


load = os.getloadavg()[0]
sides = {"packdrift, all of it": [], "pandas and scipy, what they offer of it": []}
for _ in range(TURNS):
    for name, run in zip(sides, [ours, peer]):
        sides[name].append(run())
print(f"{LOTS} lots of {N}, {os.cpu_count()} cores, load {load:.1f} before; median of {TURNS} turns\n")
print("| | wall-clock, s | processor, s | found |\n|---|---|---|---|")
for name, runs in sides.items():
    print(f"| {name} | {median(r[0] for r in runs):.2f} | {median(r[1] for r in runs):.2f} | {runs[-1][2]} |")
