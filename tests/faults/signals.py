"""A run that is ended at any moment leaves the old folder of results or the new one, whole, and the next run leaves nothing beside it.

    signals.py PROGRAM [KILLS]     KILLS of each signal into each folder of a study that takes a moment, so that many of them meet the writing,
                                   a sixth of that of each into a stack's folder and a tour's (12 unless given; 300 on demand)
"""

import random
import signal
import sys
import time

from common import STACK, conclude, contents, leftovers, remove, run, start, workplace

KILLS = int(sys.argv[2]) if len(sys.argv) > 2 else 12
SIGNALS = {"INT": signal.SIGINT, "TERM": signal.SIGTERM, "HUP": signal.SIGHUP, "KILL": signal.SIGKILL}


def study(seed, out):
    # Another confidence, another result.
    return ["gauge", "gauge.csv", "--tolerance", "0.06", "--confidence", f"0.9{seed}", "--quiet", "--out", out]


def stack(seed, out):
    return [*STACK, "--seed", str(seed), "--out", out]


def tour(seed, out):
    return ["tour", out, "--seed", str(seed), "--force", "--quiet"]


def kill_at(random_, length):
    """Half of the moments lie anywhere in the run, half where files are written."""
    return length * (random_.uniform(0.0, 1.1) if random_.random() < 0.5 else random_.uniform(0.75, 1.1))


def main():
    random_ = random.Random(17)
    failures, ended, kept, new = [], 0, 0, 0
    places = {
        "a folder": (study, "report", None),
        "a folder with the user's file": (study, "report", lambda at: (at / "report" / "notes.txt").write_text("mine")),
        "a stack": (stack, "report", None),
        "a tour": (tour, "tour", None),
    }
    for place, (ask, out, prepare) in places.items():
        kills = KILLS if ask is study else max(2, KILLS // 6)
        at = workplace()
        wanted = []
        for seed in (1, 2):
            remove(at / out)
            begin = time.monotonic()
            run(at, ask(seed, out))
            length = time.monotonic() - begin
            if prepare:
                prepare(at)
            wanted.append(contents(at / out))
        for name, number in SIGNALS.items():
            before = (ended, kept, new, len(failures))
            for kill in range(kills):
                child = start(at, ask(1 + kill % 2, out))
                time.sleep(kill_at(random_, length))
                # How long a run takes hangs on what else the machine does: about half of the signals are to come before its end.
                length *= 0.9 if child.poll() is not None else 1.1
                child.send_signal(number)
                _, error = child.communicate()
                found = contents(at / out)
                if child.returncode == -number or child.returncode == 128 + number:
                    ended += 1
                elif child.returncode not in (0, 1):
                    failures.append(f"{place}, {name}: status {child.returncode}: {error}")
                if name == "KILL" and found not in wanted:
                    # What stands ready is moved in by the next run.
                    found = {path: sum_ for path, sum_ in found.items() if not path.startswith(".packdrift")}
                if found not in wanted:
                    failures.append(f"{place}, {name}: a mixture, or a part: {sorted(found)}")
                    remove(at / out)
                kept, new = kept + (found == wanted[(kill + 1) % 2]), new + (found == wanted[kill % 2])
                if name != "KILL" and leftovers(at):
                    failures.append(f"{place}, {name}: left {leftovers(at)}")
            # The next run takes away what was left.
            run(at, ask(2, out))
            if leftovers(at) or contents(at / out) != wanted[1]:
                failures.append(f"{place}, {name}: after the next run {leftovers(at)}")
            if KILLS > 12:
                # The long form takes minutes to an hour: what is done is told as it is done.
                now = [a - b for a, b in zip((ended, kept, new, len(failures)), before)]
                print(f"{place}, {name}: of {kills} runs {now[0]} ended in time, {now[1]} old and {now[2]} new, {now[3]} not", flush=True)
        remove(at)
    conclude("signals", failures, f"{ended} runs ended in time, {kept} old folders and {new} new ones found whole, {len(failures)} not")


main()
