"""The best assortment of shim sizes, found in three ways from the same jobs.

packdrift's example solves 10 000 invented jobs (which sets of sizes do each) and searches the 792 assortments of 5 sizes of 12 by branch
and bound. From the sets it prints, numpy goes through all assortments, and scipy's mixed-integer solver (HiGHS) solves the maximum
coverage: maximise the jobs done, at most 5 sizes, a job is done where all sizes of one of its sets are held. The script ends with an error
where they differ. HiGHS takes minutes, so it is asked only with --milp.

    cargo build --release -p packdrift-stock --example assortment
    python3 benches/assortment.py [--milp] [target/release/examples/assortment]
"""

import itertools
import json
import os
import resource
import subprocess
import sys
import time

import numpy as np
import scipy
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array


def enumerated(groups, sizes, held):
    """The largest number of jobs done, over all assortments."""
    best = (-1, ())
    counts = np.array([count for _, count in groups])
    sets = np.concatenate([np.array(sets, dtype=np.uint64) for sets, _ in groups])
    starts = np.cumsum([0] + [len(sets) for sets, _ in groups[:-1]])
    for chosen in itertools.combinations(range(sizes), held):
        missing = np.uint64(sum(1 << k for k in range(sizes) if k not in chosen))
        does = np.logical_or.reduceat((sets & missing) == 0, starts)
        done = int(counts[does].sum())
        if done > best[0]:
            best = (done, chosen)
    return best


def programmed(groups, sizes, held):
    """The same by mixed-integer programming: one variable a size, one a set, one a group."""
    rows, columns, values, row = [], [], [], 0
    cost, upper = [0.0] * sizes, []

    def entry(column, value):
        rows.append(row)
        columns.append(column)
        values.append(value)

    for sets, count in groups:
        done = len(cost)
        cost.append(-float(count))
        if 0 in sets:
            continue  # needs nothing: done whatever is held
        taken = []
        for mask in sets:
            use = len(cost)
            cost.append(0.0)
            taken.append(use)
            for size in (k for k in range(sizes) if mask >> k & 1):
                entry(use, 1.0)
                entry(size, -1.0)
                upper.append(0.0)
                row += 1
        entry(done, 1.0)
        for use in taken:
            entry(use, -1.0)
        upper.append(0.0)
        row += 1
    for size in range(sizes):
        entry(size, 1.0)
    upper.append(float(held))
    row += 1
    matrix = coo_array((values, (rows, columns)), shape=(row, len(cost))).tocsr()
    whole = np.zeros(len(cost))
    whole[:sizes] = 1  # with whole sizes the others may as well be whole
    found = milp(cost, integrality=whole, bounds=Bounds(0, 1), constraints=LinearConstraint(matrix, ub=upper))
    assert found.success, found.message
    chosen = tuple(k for k in range(sizes) if found.x[k] > 0.5)
    return round(-found.fun), chosen


def main():
    here = os.path.dirname(os.path.abspath(__file__))
    arguments = [argument for argument in sys.argv[1:] if argument != "--milp"]
    program = arguments[0] if arguments else os.path.join(here, "..", "target", "release", "examples", "assortment")
    print("load", os.getloadavg(), "numpy", np.__version__, "scipy", scipy.__version__)
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    ours = json.loads(subprocess.run([program], capture_output=True, text=True, check=True).stdout)
    cpu = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before
    sizes, held, jobs = ours["sizes"], ours["held"], ours["jobs"]
    groups = [group for group in ours["groups"] if group[0]]  # without a set: the whole catalogue cannot do them
    done = round(ours["coverage"] * jobs)
    assert ours["proven"]
    solve = ours["seconds_to_solve_the_jobs"]
    print(f"{jobs} jobs, {len(groups)} groups, {sum(len(s) for s, _ in groups)} sets; {sizes} sizes, {held} held")
    print("| | wall, s | jobs done | assortment |")
    print("|---|---:|---:|---|")
    print(f"| packdrift: the jobs | {solve:.3f} | | |")
    print(f"| packdrift: the assortment | {ours['seconds'] - solve:.4f} | {done} | {ours['best']} |")
    print(f"| packdrift: both (processor {cpu:.3f} s) | {ours['seconds']:.3f} | | |")
    searches = [("numpy, all assortments", enumerated)] + ([("scipy milp", programmed)] if "--milp" in sys.argv else [])
    for name, search in searches:
        start = time.perf_counter()
        count, chosen = search(groups, sizes, held)
        print(f"| {name} | {time.perf_counter() - start:.3f} | {count} | {list(chosen)} |")
        assert count == done, (name, count, done)


if __name__ == "__main__":
    main()
