"""The program beside its peers, in one run on one machine; ratios are what counts. Prints a Markdown table for benches/README.md.

  cargo build --release && python benches/side_by_side.py [PROGRAM]

Every figure is the median wall-clock time of whole processes, start-up and reading included, the two sides taking turns.
"""

import statistics
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
PROGRAM = sys.argv[1] if len(sys.argv) > 1 else str(HERE / "../target/release/packdrift")
TRIALS = "10000000"


def once(command):
    begin = time.perf_counter()
    # Status 1 says that something is out of limits: the work was done.
    status = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False).returncode
    if status not in (0, 1):
        sys.exit(f"{command} ended with {status}")
    return time.perf_counter() - begin


def beside(ours, peer, turns=5):
    """Median seconds of both, taking turns."""
    pairs = [(once(ours), once(peer)) for _ in range(turns)]
    return [statistics.median(column) for column in zip(*pairs)]


def alone(ours, turns=15):
    return statistics.median(once(ours) for _ in range(turns))


bay, demo = str(HERE / "bay.toml"), str(HERE / "../data/demo/pack.toml")
rows = []
ours, numpy = beside([PROGRAM, "stack", bay, "--method", "monte-carlo", "--trials", TRIALS], [sys.executable, str(HERE / "numpy_bay.py"), TRIALS])
rows.append((f"plain Monte Carlo, 13-dimension bay, {TRIALS} trials", ours, f"numpy {numpy:.2f} s", f"{numpy / ours:.1f}×"))
rows.append(("`stack` on the demo pack, everything by default", alone([PROGRAM, "stack", demo]), "", ""))
rows.append(("`--help`", alone([PROGRAM, "--help"]), "", ""))

print("| what | packdrift | peer | ratio |\n|---|---|---|---|")
for what, seconds, peer, ratio in rows:
    print(f"| {what} | {seconds:.3f} s | {peer} | {ratio} |")
