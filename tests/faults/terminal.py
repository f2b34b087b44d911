"""On a terminal: what takes longer shows how far it is and how much time is left, on standard error alone; Ctrl-C ends every command at once.

    terminal.py PROGRAM [TRIES]     TRIES of Ctrl-C for each command, at moments of its run (3 unless given)

Ctrl-C reaches the whole group, as from a terminal, so a process that the program started ends too. A busy machine may hold any process up: of
a command's tries the quickest must be within half a second, and none may take five.
"""

import os
import pty
import random
import re
import select
import signal
import subprocess
import sys
import time

from common import PROGRAM, conclude, leftovers, listening, remove, run, workplace

TRIES = int(sys.argv[2]) if len(sys.argv) > 2 else 3
AT_ONCE, NEVER = 0.5, 5.0
DUE = ["due", "inspections.csv", "--policy", "policy.toml", "--pack", "pack.toml"]
TREND = ["trend", "inspections.csv", "--policy", "policy.toml"]
SHIM = ["shim", "pack.toml", "--valve", "1 exhaust", "--stock", "drawer.csv", "--measured", "1.10"]
STOCK = ["stock", "pack.toml", "--valve", "1 exhaust", "--catalogue", "drawer.csv", "--new-builds", "0.05", "--jobs", "60000"]
LONG = ["stack", "pack.toml", "--method", "monte-carlo", "--trials", "20000000"]
ALLOCATE = ["allocate", "pack-with-prices.toml", "--max-out", "0.01"]
LOT = ["lot", "shims-0.60.csv", "--drawing", "drawing-0.60.toml", "--pack", "pack.toml", "--as", "shim 0.60"]
GAUGE = ["gauge", "gauge.csv", "--tolerance", "0.06", "--pack", "pack.toml"]
PLAN = ["sampling", "--by", "variables", "--lower", "0.57", "--upper", "0.63"]
# A mechanic's whole evening: each result is followed by a search of its own.
ROUNDS = ["shim", "pack.toml", "--valve", "1 exhaust", "--stock", "full-drawer.csv", "--measured", "1.1", "--enough", "0.9999", *["--result=0.95", "--result=1.0", "--result=1.03"]]
CHECK = ["check", "large.csv"]
TIDY = ["tidy", "large.csv", "clean.csv", "--force"]
REPLAY = ["replay", "report/result.json"]
COMMANDS = [LONG, ALLOCATE, LOT, GAUGE, PLAN, SHIM, ROUNDS, STOCK, TREND, DUE, ["tour"], CHECK, TIDY, REPLAY]
# What takes more than two seconds on the demo's files, on a large table, or on a larger fleet.
SHOWN = [LONG, ALLOCATE, LOT, ROUNDS, STOCK, TREND, DUE, ["tour"], CHECK, TIDY, REPLAY]
# These have no --quiet: they write no notes.
NEVER_QUIET = ["replay"]


def make_large(at):
    """A table as it comes, of so many rows that reading it takes a while, and a drawer that is full."""
    random_ = random.Random(3)
    with open(at / "large.csv", "w") as table:
        table.write("Engine;Valve;Date;Hours;Feature;Value\n")
        for engine in range(500):
            for valve in range(8):
                for k in range(100):
                    value = f"{1 + 0.001 * k + random_.gauss(0, 0.01):.3f}".replace(".", ",")
                    table.write(f"E{engine};{valve};15.{1 + k % 12:02d}.{2000 + k // 12};{k * 100};contact_offset;{value}\n")
    with open(at / "full-drawer.csv", "w") as drawer:
        drawer.write("piece,thickness,u,count\n")
        for k in range(400):
            drawer.write(f"S{k},{random_.uniform(0.1, 0.4):.3f},0.002,3\n")


def on_terminal(at, arguments, longest):
    """What the program writes to a terminal that is its standard error, in at most so many seconds, and whether it ended by itself."""
    ours, theirs = pty.openpty()
    child = subprocess.Popen([PROGRAM, *arguments], cwd=at, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=theirs, env={**os.environ, "TERM": "xterm", "COLUMNS": "100"})
    os.close(theirs)
    shown, end = b"", time.monotonic() + longest
    while time.monotonic() < end:
        if select.select([ours], [], [], 0.1)[0]:
            try:
                piece = os.read(ours, 65536)
            except OSError:
                break
            if not piece:
                break
            shown += piece
        elif child.poll() is not None:
            break
    if child.poll() is None:
        child.kill()
    child.wait()
    os.close(ours)
    return shown.decode(errors="replace")


def interrupted(at, arguments, after):
    """Seconds from Ctrl-C to the end, and the status; None where the run was over before."""
    child = subprocess.Popen([PROGRAM, *arguments], cwd=at, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True, preexec_fn=listening)
    try:
        child.wait(after)
        return None
    except subprocess.TimeoutExpired:
        pass
    begin = time.monotonic()
    os.killpg(child.pid, signal.SIGINT)
    try:
        status = child.wait(NEVER)
    except subprocess.TimeoutExpired:
        os.killpg(child.pid, signal.SIGKILL)
        child.wait()
        return NEVER, "none"
    return time.monotonic() - begin, status


def main():
    random_ = random.Random(5)
    failures, slowest, ended = [], 0.0, 0
    at = workplace()
    make_large(at)
    run(at, [*TREND, "--out", "report", "--quiet"])
    for arguments in COMMANDS:
        name, length = arguments[0], 4.0
        waits = []
        for _ in range(3 * TRIES):
            if len(waits) == TRIES:
                break
            found = interrupted(at, arguments, random_.uniform(0.05, length))
            if found is None:
                # It was over: next time sooner.
                length /= 4
                continue
            seconds, status = found
            if status not in (130, -signal.SIGINT, 0, 1):
                failures.append(f"{name}: status {status} after Ctrl-C")
            waits.append(seconds)
        ended += len(waits)
        if waits and (min(waits) > AT_ONCE or max(waits) >= NEVER):
            failures.append(f"{name}: Ctrl-C took {min(waits):.2f} to {max(waits):.2f} s")
        slowest = max([slowest, *waits])
        if leftovers(at):
            failures.append(f"{name}: left {leftovers(at)}")
    for arguments in SHOWN:
        shown = on_terminal(at, [*arguments, "--force"] if arguments == ["tour"] else arguments, 30.0)
        told = re.findall(r"(\d+) %, ([\w. ]+) left", re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", shown))
        if not told:
            failures.append(f"{arguments[0]}: no progress with time left on a terminal: {shown[:200]!r}")
        if arguments[0] not in NEVER_QUIET and on_terminal(at, [*arguments, "--quiet"], 0.5):
            failures.append(f"{arguments[0]} --quiet: something on standard error")
    remove(at)
    conclude("terminal", failures, f"Ctrl-C ended {ended} runs, the slowest in {slowest:.2f} s; {len(SHOWN)} commands show the time left")


main()
