"""The program beside its peers, on one machine, in one run; quotients are what counts. Prints the Markdown tables of benches/README.md.

  benches/run.sh [PROGRAM] [SECTION ...]

or, with the program and crates/spread's example disc_spring_bay built for release, python benches/side_by_side.py [PROGRAM] [SECTION ...]

Sections: monte-carlo, stack, rare, dimensions, memory (the last makes a thousand million trials). Without one, all.

Every figure is of whole processes, start-up and reading included, the sides taking turns: the median of wall-clock time, and beside it the
processor time (user and system, all threads), which says little less on a busy machine. `rare` needs numpy and OpenTURNS, `monte-carlo` numpy.
"""

import json
import math
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
SECTIONS = ["monte-carlo", "stack", "rare", "dimensions", "memory"]
BAY, RARE, DEMO = HERE / "bay.toml", HERE / "rare.toml", HERE / "../data/demo/pack.toml"
TRIALS = 10_000_000


def once(command):
    """Wall-clock seconds, processor seconds, peak memory in MiB, and what it wrote."""
    with tempfile.TemporaryFile() as out:
        begin = time.perf_counter()
        child = subprocess.Popen([str(word) for word in command], stdout=out, stderr=subprocess.DEVNULL)
        _, status, usage = os.wait4(child.pid, 0)
        wall = time.perf_counter() - begin
        child.returncode = os.waitstatus_to_exitcode(status)
        # Status 1 says that something is out of limits: the work was done.
        if child.returncode not in (0, 1):
            sys.exit(f"{command} ended with {child.returncode}")
        out.seek(0)
        return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, out.read().decode()


def beside(commands, turns=5):
    """For each command, taking turns: median wall-clock seconds, median processor seconds, and the last output."""
    runs = [[once(command) for command in commands] for _ in range(turns)]
    return [(statistics.median(r[0] for r in one), statistics.median(r[1] for r in one), one[-1][3]) for one in zip(*runs)]


def table(*rows):
    head, *body = rows
    print("| " + " | ".join(head) + " |\n|" + "---|" * len(head))
    for row in body:
        print("| " + " | ".join(str(cell) for cell in row) + " |")
    print(flush=True)


def both(wall, cpu):
    return f"{wall:.3f} s ({cpu:.3f} s)"


def monte_carlo(program):
    print(f"Plain Monte Carlo, the 13-dimension disc-spring bay, {TRIALS:,} trials: wall clock (processor).\n")
    bare = Path(program).parent / "examples/disc_spring_bay"
    if not bare.exists():
        sys.exit(f"{bare} is missing: cargo build --release -p packdrift-spread --example disc_spring_bay")
    ours, normals, numpy = beside([
        [program, "stack", BAY, "--method", "monte-carlo", "--trials", TRIALS],
        [bare, TRIALS, "normals"],
        [sys.executable, HERE / "numpy_bay.py", TRIALS],
    ], 3)
    table(
        ["", "time", "times as fast"],
        ["packdrift", both(*ours[:2]), f"{numpy[0] / ours[0]:.1f} by wall clock, {numpy[1] / ours[1]:.1f} by processor time"],
        ["the limit: the bare generation of those normals", both(*normals[:2]),
         f"{numpy[0] / normals[0]:.1f} by wall clock, {numpy[1] / normals[1]:.1f} by processor time"],
        ["numpy, vectorised, one thread", both(*numpy[:2]), "1"],
    )
    print(f"The bare generation of the normals takes {normals[1] / ours[1]:.2f} of the processor time.\n")


def stack(program):
    print("Whole processes: wall clock (processor).\n")
    runs = beside([[program, "stack", DEMO], [program, "--help"]], 11)
    table(["", "time", "target"], ["`stack` on the demo pack, everything shown by default", both(*runs[0][:2]), "0.150 s"],
          ["`--help`", both(*runs[1][:2]), "0.015 s"])


def rare(program, until=0.01):
    print(f"A share of about 1e-5 outside, to a relative standard error of {until:.0%}: wall clock (processor).\n")
    ours, peer, numpy = beside([
        [program, "stack", RARE, "--until", until, "--format", "json"],
        [sys.executable, HERE / "rare_openturns.py", until],
        [sys.executable, HERE / "numpy_bay.py", TRIALS],
    ], 3)
    out = json.loads(ours[2])["requirements"][0]["monte_carlo"]
    share, error = out["out"]["total"], out["out"]["standard_error"]
    other = json.loads(peer[2])
    apart = abs(share - other["share"]) / math.hypot(error, other["standard_error"])
    if apart > 4:
        sys.exit(f"the shares {share:.4e} and {other['share']:.4e} are {apart:.1f} standard errors apart")
    # Plain trials for the same relative error: (1 − p)/(p·e²).
    trials = (1 - share) / (share * until**2)
    plain = [seconds * trials / TRIALS for seconds in numpy[:2]]
    table(
        ["", "share ± standard error", "evaluations", "time", "times as fast"],
        [f"packdrift ({out['method']})", f"{share:.4e} ± {error:.1e}", f"{out['trials']:,}", both(*ours[:2]), ""],
        ["OpenTURNS, importance sampling from its design point, whole process", f"{other['share']:.4e} ± {other['standard_error']:.1e}",
         f"{other['evaluations']:,}", both(*peer[:2]), f"{peer[0] / ours[0]:.0f}"],
        ["the same without the start of Python and imports", "", "", f"{other['seconds']:.3f} s", f"{other['seconds'] / ours[0]:.1f}"],
        [f"numpy, plain, {trials:.2e} trials needed, extrapolated from {TRIALS:,}", "", f"{trials:.2e}", both(*plain), f"{plain[0] / ours[0]:,.0f}"],
    )
    print(f"The two shares are {apart:.1f} of their joint standard errors apart.\n")


def spacers(count):
    """A pack of `count` uncertain dimensions: span, four of a disc spring, rocker, adjuster, stem, and spacers."""
    solids = count - 8
    parts = "".join(
        f'[[bay.part]]\nname = "spacer {k}"\nkind = "spacer"\nthickness = {{ mean = 1.0, sd = {0.05 / math.sqrt(solids):.9f} }}\n' for k in range(solids)
    )
    return f"""# Made up for the bench.
title = "Bench: {count} dimensions"
units = "mm"
reference_temperature = 20.0
[condition.assembly]
temperature = 20.0
[material.steel]
expansion = 11.5e-6
youngs_modulus = 206000.0
poisson = 0.3
[[bay]]
name = "long"
span = {{ mean = {solids + 24.8:.1f}, sd = 0.02 }}
material = "steel"
[[bay.part]]
name = "rocker"
kind = "rocker"
width = {{ mean = 24.0, sd = 0.017 }}
adjuster = {{ mean = 11.3, sd = 0.02 }}
material = "steel"
[[bay.part]]
name = "disc"
kind = "spring-washer"
law = "disc"
outer_diameter = {{ mean = 30.0, sd = 0.05 }}
inner_diameter = {{ mean = 18.4, sd = 0.05 }}
thickness = {{ mean = 0.6, sd = 0.007 }}
cone_height = {{ mean = 0.6, sd = 0.013 }}
material = "steel"
{parts}[[bay.valve]]
name = "exhaust"
rocker = "rocker"
stem = {{ mean = 10.3, sd = 0.027 }}
[[requirement]]
name = "preload"
quantity = "preload"
bay = "long"
lower = 60.0
upper = 400.0
[[requirement]]
name = "offset"
quantity = "offset"
valve = "exhaust"
lower = 0.88
upper = 1.12
"""


def dimensions(program):
    trials = 1_000_000
    print(f"Cost by the number of dimensions: processor seconds; plain Monte Carlo of {trials:,} trials, and everything by default.\n")
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for count in (10, 30, 100, 300, 1000):
            pack = Path(folder) / f"{count}.toml"
            pack.write_text(spacers(count))
            plain, default = beside([[program, "stack", pack, "--method", "monte-carlo", "--trials", trials], [program, "stack", pack]], 3)
            rows.append([count, f"{plain[1]:.3f}", f"{1e9 * plain[1] / (trials * count):.2f}", f"{default[1]:.3f}", f"{1e3 * default[1] / count:.2f}"])
    table(["dimensions", "plain", "ns a trial and dimension", "default", "ms a dimension"], *rows)


def memory(program):
    print("Memory by the number of trials: the bay of bay.toml, plain Monte Carlo.\n")
    rows = []
    for trials in (10**6, 10**7, 10**8, 10**9):
        wall, cpu, peak, _ = once([program, "stack", BAY, "--method", "monte-carlo", "--trials", trials])
        rows.append([f"{trials:.0e}", f"{peak:.1f} MiB", both(wall, cpu)])
    table(["trials", "peak resident memory", "time"], *rows)


def machine():
    model = next((line.split(":")[1].strip() for line in open("/proc/cpuinfo") if line.startswith("model name")), platform.processor())
    load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
    print(f"{time.strftime('%Y-%m-%d %H:%M')}, {model}, {os.cpu_count()} cores, load before {load}, Python {platform.python_version()}\n")


def main():
    words = sys.argv[1:]
    sections = [word for word in words if word in SECTIONS] or SECTIONS
    programs = [word for word in words if word not in SECTIONS]
    program = programs[0] if programs else HERE / "../target/release/packdrift"
    run = {"monte-carlo": monte_carlo, "stack": stack, "rare": rare, "dimensions": dimensions, "memory": memory}
    machine()
    for section in sections:
        run[section](program)


main()
