"""Picking shims beside plain enumeration, each as a whole process, taking turns on the same drawers.

The bay is that of tests/end_to_end/support.toml: one rocker, two flat washers beside a linear spring washer. Enumeration (itertools, no
library) goes through every build that touches at most SIX parts and judges it by the same score; a build that touches more cannot beat one
that scores above 1 - 0.07. It starts from the program's own forecast of the bay as it is, so that only the search is compared.

Then the demo's bay, whose two rockers are tied to each other and where a known lot lies in every place: one of them shimmed, and both at once. Half of each
drawer are packets nobody has measured, half are measured pieces, some of a known packet. Its exhaustive check is the stock crate's tests.

    python3 benches/drawer.py PROGRAM
"""

import csv
import itertools
import json
import math
import os
import random
import resource
import subprocess
import sys
import tempfile
import time

PACK = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "tests", "end_to_end", "support.toml")
SIX = 6
MEASURED = "0.55"
RATE, GROWTH = 150.0, 1 + 11.5e-6 * 40  # N/mm; steel from 20 to 60 degrees C


def drawer(path, n, seed):
    stream = random.Random(seed)
    # A third thick enough to stand for a washer, the rest thin.
    pieces = [round(stream.uniform(0.6, 1.0) if k % 3 == 0 else stream.uniform(0.15, 0.6), 3) for k in range(n)]
    with open(path, "w", newline="") as out:
        rows = csv.writer(out)
        rows.writerow(["piece", "thickness", "u"])
        rows.writerows([f"P{k:03d}", thickness, 0.002] for k, thickness in enumerate(pieces))
    return pieces


def demo_drawer(path, n, seed):
    stream = random.Random(seed)
    sizes = (0.15, 0.25, 0.40, 0.60, 1.20)
    rows = [["", f"{size:.2f}", f"{size:.2f}", "", n // 10] for size in sizes if n >= 10]
    for k in range(n - sum(row[4] for row in rows)):
        size = stream.choice(sizes)
        thickness = size * (1 + stream.gauss(0, 0.02)) + stream.gauss(0, 0.008)
        rows.append([f"S{k:03d}", f"{size:.2f}" if stream.random() < 0.5 else "", f"{thickness:.3f}", 0.002, 1])
    with open(path, "w", newline="") as out:
        csv.writer(out).writerows([["piece", "size", "thickness", "u", "count"]] + rows)


DEMO = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "data", "demo", "pack.toml")
# Offsets measured at the exhaust and, where both are shimmed, the intake rocker: near, off, far off.
DEMO_CASES = (("0.80",), ("1.05",), ("1.22",), ("1.05", "1.30"), ("1.22", "0.90"), ("0.50", "1.50"))


def two_rockers(program, folder):
    print()
    print("| pieces | measured: exhaust, intake | packdrift, user s | packdrift, wall s | parts touched | best score | proven |")
    print("|---:|---|---:|---:|---:|---|---|")
    path = os.path.join(folder, "drawer.csv")
    for n in (8, 20, 50, 100, 200):
        demo_drawer(path, n, n)
        for offsets in DEMO_CASES:
            command = [program, "shim", DEMO, "--valve", "1 exhaust", "--measured", offsets[0], "--stock", path, "--format", "json"]
            if len(offsets) > 1:
                command += ["--also", "1 intake", "--also-measured", offsets[1]]
            runs = [timed(lambda: subprocess.run(command, capture_output=True, text=True)) for _ in range(5)]
            ours = json.loads(runs[0][0].stdout)
            wall, user = min(run[1] for run in runs), min(run[2] for run in runs)
            best = ours["builds"][0]
            proven = "yes" if ours["proven"] else "no"
            print(f"| {n} | {', '.join(offsets)} | {user:.3f} | {wall:.3f} | {best['touched']} | {best['score']:.4f} | {proven} |")


def inside(lower, upper, mean, sd):
    cdf = lambda x: 0.5 * math.erfc(-(x - mean) / (sd * math.sqrt(2)))
    return cdf(upper) - cdf(lower)


def enumerate_builds(pieces, now):
    """The best score, and how many builds were judged."""
    state = {(q["quantity"], q["condition"]): q for q in now["quantities"]}
    o_cold, o_warm = state["offset", "assembly"], state["offset", "running"]
    p_cold, p_warm = state["preload", "assembly"], state["preload", "running"]
    washers = (0.969, 1.001)
    best, judged = -1.0, 0

    def judge(left, change, added, touched):
        nonlocal best, judged
        judged += 1
        chance, miss = 1.0, 0.0
        for cold, warm, by, per in ((o_cold, o_warm, left, 1.0), (p_cold, p_warm, change * RATE, RATE)):
            sd = math.hypot(cold["sd"], 0.002 * per * math.sqrt(added))
            low = max(q["lower"] - q["mean"] - by * g for q, g in ((cold, 1.0), (warm, GROWTH)))
            high = min(q["upper"] - q["mean"] - by * g for q, g in ((cold, 1.0), (warm, GROWTH)))
            chance *= max(inside(low, high, 0.0, sd), 0.0)
            for q, g in ((cold, 1.0), (warm, GROWTH)):
                aim = q["target"] if q["target"] is not None else 0.5 * (q["lower"] + q["upper"])
                miss += 0.5 * ((q["mean"] + by * g - aim) / (0.5 * (q["upper"] - q["lower"]))) ** 2
        best = max(best, chance - 0.01 * touched - 0.02 * miss)

    for added in range(SIX + 1):
        for chosen in itertools.combinations(pieces, added):
            for sides in itertools.product((0, 1), repeat=added):
                left = sum(t for t, side in zip(chosen, sides) if side == 0)
                right = [t for t, side in zip(chosen, sides) if side == 1]
                on_left = added - len(right)
                if on_left <= 4 and len(right) <= 6:
                    judge(left, left + sum(right), added, added)
                # The pair out, each washer away or before the rocker: two of what comes stand for them.
                thick = sorted(right, reverse=True)
                if added + 2 > SIX or len(thick) < 2 or thick[0] < 0.5005 or thick[1] < 0.4845 or len(right) > 8:
                    continue
                for moved in itertools.product((0, 1), repeat=2):
                    if on_left + sum(moved) > 4:
                        continue
                    stays = sum(t for t, m in zip(washers, moved) if m)
                    judge(left + stays, left + stays + sum(right) - sum(washers), added, added + 2)
    return best, judged


def timed(call):
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    result = call()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return result, time.perf_counter() - start, after.ru_utime - before.ru_utime


def main():
    if len(sys.argv) == 4 and sys.argv[1] == "--enumerate":
        with open(sys.argv[2]) as file, open(sys.argv[3]) as result:
            pieces = [float(row["thickness"]) for row in csv.DictReader(file)]
            print(json.dumps(enumerate_builds(pieces, json.load(result)["now"])))
        return
    program = sys.argv[1]
    print("load", os.getloadavg())
    print("| pieces | builds enumerated | enumeration, user s | packdrift, user s | packdrift, wall s | best score, both |")
    print("|---:|---:|---:|---:|---:|---|")
    with tempfile.TemporaryDirectory() as folder:
        for n in (8, 11, 14, 50, 100, 200):
            path, result = os.path.join(folder, "drawer.csv"), os.path.join(folder, "result.json")
            drawer(path, n, n)
            command = [program, "shim", PACK, "--valve", "exhaust", "--measured", MEASURED, "--stock", path, "--format", "json"]
            runs = [timed(lambda: subprocess.run(command, capture_output=True, text=True)) for _ in range(5)]
            output = runs[0][0].stdout
            ours = json.loads(output)
            score = ours["builds"][0]["score"]
            assert ours["proven"], n
            wall, user = min(run[1] for run in runs), min(run[2] for run in runs)
            if n > 14:
                print(f"| {n} | – | – | {user:.3f} | {wall:.3f} | {score:.4f} |")
                continue
            with open(result, "w") as file:
                file.write(output)
            peer = [sys.executable, os.path.abspath(__file__), "--enumerate", path, result]
            found, _, peer_user = timed(lambda: subprocess.run(peer, capture_output=True, text=True, check=True))
            best, judged = json.loads(found.stdout)
            # The program's forecast is by draws through the whole model: its own standard error, and the linear peer's.
            assert abs(best - score) < 3 * ours["builds"][0]["forecast"]["chance_all_standard_error"] + 1e-3, (n, best, score)
            print(f"| {n} | {judged} | {peer_user:.2f} | {user:.3f} | {wall:.3f} | {best:.4f}, {score:.4f} |")
        two_rockers(program, folder)


if __name__ == "__main__":
    main()
