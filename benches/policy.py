"""Tolerances and drawer together, in the size that a shop may ask: ten priced dimensions in five grades, twelve sizes, five of them held at most.

The demo's priced pack with every cost as five grades and a price for the spring washer's strip; the catalogue is twelve sizes from 0.10 to 1.20 mm.
Run: python benches/policy.py target/release/packdrift [more options]
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


main(os.path.abspath(sys.argv[1]), sys.argv[2:])
