"""Fleets of growing size: `packdrift trend` as a whole process, from file to JSON, beside mixed-model libraries' fits alone.

Run: python benches/fleet.py target/release/packdrift [FOLDER]          (numpy, pandas, pyarrow, statsmodels; R with lme4)

20 000 valves, 150 000 readings: packdrift from CSV to JSON (reading, checking, fitting, a forecast for each valve), and lme4's `lmer` on a
table that is in memory already. 2 000 valves: statsmodels' MixedLM in the same way. 1e3 to 1e6 valves from Parquet: how time and memory
grow. The model is the same, a line for each valve with random intercept and slope, by REML; the estimates are compared.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

POLICY = """risk = 0.05
horizon = 2000
[feature.contact_offset]
unit = "mm"
lower = 0.4
upper = 1.6
"""

LMER = """
suppressPackageStartupMessages(library(lme4))
data <- read.csv(commandArgs(TRUE)[1])
data$t <- data$hours / 1000
data$unit <- factor(paste(data$engine, data$valve))
begin <- proc.time()
fit <- lmer(value ~ t + (t | unit), data, REML = TRUE)
used <- proc.time() - begin
sd <- attr(VarCorr(fit)$unit, "stddev")
cat(used[[3]], used[[1]] + used[[2]], fixef(fit)[[1]], fixef(fit)[[2]] / 1000, sd[[1]], sd[[2]] / 1000, sigma(fit), "\\n")
"""


def fleet(valves, seed=1):
    """Four valves an engine, 5 to 10 readings a valve: 7.5 on the average. Hours to a tenth, readings to a thousandth of a mm."""
    rng = np.random.default_rng(seed)
    engines = -(-valves // 4)
    visits = 5 + np.arange(engines) % 6
    of = np.repeat(np.arange(engines), visits)
    k = np.arange(len(of)) - np.repeat(np.cumsum(visits) - visits, visits)
    gain = np.where(k == 0, 0.0, rng.uniform(500, 1500, len(of)))
    hours = np.cumsum(gain)
    hours -= np.repeat(hours[np.cumsum(visits) - visits], visits)
    hours = np.round(hours, 1)
    days = np.datetime64("2018-01-01") + (hours / 6).astype(int)
    row = np.repeat(np.arange(len(of)), 4)
    valve = np.tile(np.arange(4), len(of))
    unit = of[row] * 4 + valve
    keep = unit < valves
    row, valve, unit = row[keep], valve[keep], unit[keep]
    start, slope = 1.0 + 0.06 * rng.standard_normal(valves), 2e-5 + 1.5e-5 * rng.standard_normal(valves)
    value = np.round(start[unit] + slope[unit] * hours[row] + 0.02 * rng.standard_normal(len(unit)), 3)
    return pd.DataFrame({
        "engine": np.char.add("E", of[row].astype(str)), "valve": (valve + 1).astype(str), "date": days[row], "hours": hours[row],
        "feature": "contact_offset", "value": value,
    })


# A process of its own and small: the peak memory that a process is charged with begins with that of the one it was forked from.
LAUNCH = """
import os, subprocess, sys, time
with open(sys.argv[1], "wb") as out:
    begin = time.perf_counter()
    child = subprocess.Popen(sys.argv[2:], stdout=out, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    wall = time.perf_counter() - begin
print(os.waitstatus_to_exitcode(status), wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""


def timed(command, output):
    """Wall seconds, CPU seconds and peak resident memory (MiB) of a process whose standard output goes to a file."""
    launched = subprocess.run([sys.executable, "-I", "-c", LAUNCH, output, *command], capture_output=True, text=True, check=True)
    status, wall, cpu, memory = map(float, launched.stdout.split())
    if status not in (0, 1):
        sys.exit(f"{command}: status {status:.0f}")
    return wall, cpu, memory


def best(command, output, times=3):
    return min((timed(command, output) for _ in range(times)), key=lambda t: t[0])


def model(output):
    m = json.loads(Path(output).read_text())["features"][0]["model"]
    return [m["intercept"], m["slope"], m["sd_intercept"], m["sd_slope"], m["sd_reading"]]


def agree(ours, theirs, allowed, who):
    off = max(abs(a / b - 1) for a, b in zip(ours, theirs))
    print(f"  estimates beside {who}: largest relative difference {off:.1e}")
    assert off < allowed, (ours, theirs)


def main(program, folder):
    folder.mkdir(parents=True, exist_ok=True)
    policy, csv, out = folder / "policy.toml", folder / "fleet.csv", folder / "trend.json"
    policy.write_text(POLICY)
    trend = lambda table: [program, "trend", str(table), "--policy", str(policy), "--model", "random-slope", "--format", "json", "--quiet"]
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")

    table = fleet(20_000)
    table.to_csv(csv, index=False, date_format="%Y-%m-%d")
    script = folder / "lmer.R"
    script.write_text(LMER)
    # In turns, so that whatever else the machine does meets both; the best of each.
    ours, theirs = [], []
    for _ in range(3):
        ours.append(best(trend(csv), out))
        fit = subprocess.run(["Rscript", script, csv], capture_output=True, text=True, check=True)
        theirs.append(list(map(float, fit.stdout.split())))
    wall, cpu, memory = min(ours)
    seconds, theirs_cpu, *estimates = min(theirs)
    print(f"20 000 valves, {len(table)} readings, CSV to JSON: {wall:.3f} s wall, {cpu:.3f} s CPU, {memory:.0f} MiB")
    print(f"  lme4's fit alone: {seconds:.2f} s wall, {theirs_cpu:.2f} s CPU: {seconds / wall:.1f} times in wall, {theirs_cpu / cpu:.1f} times in CPU")
    agree(model(out), estimates, 1e-3, "lme4")

    table = fleet(2_000)
    table.to_csv(csv, index=False, date_format="%Y-%m-%d")
    wall, cpu, memory = best(trend(csv), out)
    import statsmodels.formula.api as smf

    data = table.assign(t=table.hours / 1000, unit=table.engine + " " + table.valve)
    begin, begin_cpu = time.perf_counter(), time.process_time()
    fit = smf.mixedlm("value ~ t", data, groups="unit", re_formula="~t").fit(reml=True)
    seconds, theirs_cpu = time.perf_counter() - begin, time.process_time() - begin_cpu
    print(f"2 000 valves, {len(table)} readings, CSV to JSON: {wall:.3f} s wall, {cpu:.3f} s CPU")
    print(f"  statsmodels' fit alone: {seconds:.1f} s wall, {theirs_cpu:.1f} s CPU: {seconds / wall:.0f} times in wall, {theirs_cpu / cpu:.0f} times in CPU")
    theirs = [fit.fe_params["Intercept"], fit.fe_params["t"] / 1000, np.sqrt(fit.cov_re.iloc[0, 0]), np.sqrt(fit.cov_re.iloc[1, 1]) / 1000, np.sqrt(fit.scale)]
    agree(model(out), theirs, 1e-2, "statsmodels")

    print("| valves | readings | wall, s | CPU, s | CPU µs a reading | peak MiB |")
    print("|---|---|---|---|---|---|")
    for valves in (1_000, 10_000, 100_000, 1_000_000):
        parquet = folder / "fleet.parquet"
        table = fleet(valves)
        readings = len(table)
        table.to_parquet(parquet, index=False, row_group_size=500_000)
        del table
        wall, cpu, memory = best(trend(parquet), out, 3 if valves < 1_000_000 else 2)
        print(f"| {valves} | {readings} | {wall:.2f} | {cpu:.2f} | {cpu / readings * 1e6:.2f} | {memory:.0f} |")


if __name__ == "__main__":
    scratch = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(tempfile.mkdtemp())
    main(str(Path(sys.argv[1]).resolve()), scratch)
