"""Two runs into one folder at once, and runs that read while their input is replaced.

    writers.py PROGRAM [ROUNDS]
"""

import hashlib
import json
import os
import subprocess
import sys
import threading

from common import DEMO, PROGRAM, STACK, conclude, contents, leftovers, remove, run, start, workplace

ROUNDS = int(sys.argv[2]) if len(sys.argv) > 2 else 20


def two_writers(failures):
    """The folder is one of the two results, whole."""
    at = workplace()
    wanted = []
    for seed in ("1", "2"):
        remove(at / "report")
        run(at, [*STACK, "--seed", seed, "--out", "report"])
        wanted.append(contents(at / "report"))
    for number in range(ROUNDS):
        if number % 3 == 0:
            remove(at / "report")
        children = [start(at, [*STACK, "--seed", seed, "--out", "report"]) for seed in ("1", "2", "1")]
        for child in children:
            _, error = child.communicate()
            if child.returncode not in (0, 1):
                failures.append(f"two writers: status {child.returncode}: {error}")
        if contents(at / "report") not in wanted:
            failures.append("two writers: a mixture")
        if leftovers(at):
            failures.append(f"two writers: left {leftovers(at)}")
    remove(at)


def replaced_while_read(failures):
    """What is computed from is what was hashed: one of the two versions of the file."""
    at = workplace()
    whole = (DEMO / "inspections.csv").read_text()
    lines = whole.splitlines(keepends=True)
    versions = [whole, "".join(lines[: len(lines) // 2])]
    rows = {hashlib.sha256(v.encode()).hexdigest(): sum(not l.startswith("#") for l in v.splitlines()) - 1 for v in versions}
    stop = threading.Event()

    def replace():
        number = 0
        while not stop.is_set():
            (at / "next").write_text(versions[number % 2])
            os.replace(at / "next", at / "inspections.csv")
            number += 1

    thread = threading.Thread(target=replace)
    thread.start()
    for _ in range(ROUNDS):
        done = subprocess.run([PROGRAM, "check", "inspections.csv", "--format", "json"], cwd=at, capture_output=True)
        result = json.loads(done.stdout)
        sha256 = result["inputs"][0]["sha256"]
        holds = result["files"][0]["holds"]
        if done.returncode != 0 or sha256 not in rows or not holds.startswith(f"{rows[sha256]} readings"):
            failures.append(f"replaced while read: status {done.returncode}, {sha256}, {holds}")
    stop.set()
    thread.join()
    # Rewritten in place it may be read half; then it is an error or a shorter file, never a crash.
    stop.clear()

    def rewrite():
        while not stop.is_set():
            for version in versions:
                (at / "inspections.csv").write_text(version)

    thread = threading.Thread(target=rewrite)
    thread.start()
    for _ in range(ROUNDS):
        status, error = run(at, ["trend", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope", "--quiet"])
        if status not in (0, 1, 2):
            failures.append(f"rewritten while read: status {status}: {error}")
    stop.set()
    thread.join()
    remove(at)


def main():
    failures = []
    two_writers(failures)
    replaced_while_read(failures)
    conclude("writers", failures, f"{ROUNDS} rounds of three writers, {2 * ROUNDS} of a changing input, {len(failures)} failures")


main()
