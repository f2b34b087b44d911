"""Tolerances and drawer together, in the size that a shop may ask: ten priced dimensions in five grades, twelve sizes, five of them held at most.

The demo's priced pack with every cost as five grades and a price for the spring washer's strip; the catalogue is twelve sizes from 0.10 to 1.20 mm.
Run: python benches/policy.py target/release/packdrift [more options]

With --peer target/release/examples/whole_shop: builds of one choice beside tests/outside/whole_shop.py, which tries every set of pieces for each build with
numpy; the two take turns, and the shares that they find must agree. `cargo build --release --workspace --example whole_shop` makes it.
"""

import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).resolve().parents[1] / "data" / "demo" / "pack-with-prices.toml"
STEPS = (0.25, 0.5, 1.0, 2.0, 4.0)


def graded(tol, fixed, scale):
    grades = ", ".join(f"{{ tol = {step * tol:.5f}, price = {fixed + scale / (step * tol):.3f} }}" for step in STEPS)
    return f"cost = {{ grades = [ {grades} ] }}"


def pack():
    text = DEMO.read_text()
    curve = re.compile(r"tol = ([\d.]+), cost = \{ fixed = ([\d.]+), scale = ([\d.]+) \}")
    text = curve.sub(lambda m: f"tol = {m[1]}, {graded(*map(float, m.groups()))}", text)
    table = re.compile(r"tol = ([\d.]+)((?:, lot = \"[^\"]+\")?), cost = \{ grades = \[ \{ tol = ([\d.]+), price = ([\d.]+) \}[^]]*\] \}")
    text = table.sub(lambda m: f"tol = {m[1]}{m[2]}, {graded(float(m[1]), 0.2, 0.5 * float(m[3]) * float(m[4]))}", text)
    strip = "thickness = { nominal = 0.80, tol = 0.02 }"
    assert strip in text
    text = text.replace(strip, f"thickness = {{ nominal = 0.80, tol = 0.02, {graded(0.02, 0.5, 0.01)} }}")
    assert text.count("grades = [") == 10, text.count("grades = [")
    return text


def beside_numpy(example, turns=3, builds=2_000_000):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "outside"))
    import numpy as np
    import whole_shop

    theirs, ours = [], []
    for turn in range(turns):
        start = time.process_time()
        found = whole_shop.Shop(whole_shop.CASES["coarse"]).run(np.random.default_rng(turn))
        theirs.append((time.process_time() - start) / whole_shop.BUILDS)
        before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        run = subprocess.run([example, str(builds)], capture_output=True, text=True, check=True)
        ours.append((resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before) / builds)
        out, fitted, _ = map(float, run.stdout.split())
        for mine, peer in ((out, found["out"]), (fitted, found["fitted"])):
            se = (mine * (1 - mine) * (1 / builds + 1 / whole_shop.BUILDS)) ** 0.5
            assert abs(mine - peer) < 5 * se + 1e-4, (mine, peer, se)
    print(f"a build, processor time, best of {turns}: {1e6 * min(ours):.2f} µs; numpy, every set of pieces: {1e6 * min(theirs):.0f} µs; "
          f"{min(theirs) / min(ours):.0f} times; load {os.getloadavg()[0]:.0f}")


def main(program, more):
    sizes = (0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.50, 0.60, 0.80, 1.00, 1.20)
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "pack.toml").write_text(pack())
        Path(folder, "sizes.csv").write_text("size,thickness,cost,lead_days\n" + "".join(f"{s:.2f},{s:.2f},0.90,14\n" for s in sizes))
        start = time.perf_counter()
        command = [program, "allocate", "pack.toml", "--max-out", "0.01", "--fit-from", "sizes.csv", "--quiet", *more]
        run = subprocess.run(command, cwd=folder, capture_output=True, text=True)
        wall = time.perf_counter() - start
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print("\n".join(run.stdout.splitlines()[:7]), run.stderr)
    print(f"status {run.returncode}; {wall:.1f} s, {used.ru_utime:.1f} s of processor, {used.ru_maxrss / 1024:.0f} MiB; load {os.getloadavg()[0]:.0f}")


if sys.argv[1] == "--peer":
    beside_numpy(os.path.abspath(sys.argv[2]))
else:
    main(os.path.abspath(sys.argv[1]), sys.argv[2:])
