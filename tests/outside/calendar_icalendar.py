"""Plans the demo's fleet, reads the plan's calendar with the icalendar library (another reader of RFC 5545 than ours) and holds it against
the plan's result.json.

usage: calendar_icalendar.py PROGRAM FOLDER     (PROGRAM: packdrift; FOLDER: for the plan)
"""

import datetime
import json
import subprocess
import sys
from pathlib import Path

from icalendar import Calendar

DEMO = Path(__file__).parent.parent.parent / "data" / "demo"


def planned(program, folder, *more):
    """A plan of the demo: its calendar as bytes, and its result. Status 1 says that an engine is overdue, late or due."""
    files = [DEMO / "inspections.csv", "--policy", DEMO / "policy.toml", "--pack", DEMO / "pack.toml"]
    run = subprocess.run([program, "due", *files, "--model", "random-slope", "--quiet", "--out", folder, *more], capture_output=True, text=True)
    if run.returncode not in (0, 1):
        sys.exit(f"due: {run.stderr}")
    return (folder / "calendar.ics").read_bytes(), json.loads((folder / "result.json").read_text())


def held(raw, result):
    """Number of events, all of them the plan's; fails with an assertion where one is not."""
    calendar = Calendar.from_ical(raw)
    assert calendar["VERSION"] == "2.0" and not calendar.errors
    # Written again by the library and read again, nothing is lost: escapes and folds mean the same to both.
    events = list(calendar.walk("VEVENT"))
    again = list(Calendar.from_ical(calendar.to_ical()).walk("VEVENT"))
    assert [e["SUMMARY"] for e in events] == [e["SUMMARY"] for e in again]
    assert [e["DESCRIPTION"] for e in events if "DESCRIPTION" in e] == [e["DESCRIPTION"] for e in again if "DESCRIPTION" in e]
    assert len({e["UID"] for e in events}) == len(events)
    day = datetime.date.fromisoformat
    one = datetime.timedelta(days=1)
    by_uid = {str(e["UID"]): e for e in events}
    engines = {e["engine"]: e for e in result["engines"]}
    for window in result["plan"]["windows"]:
        key = "window-{}-{}-1@packdrift.invalid".format(window["start"].replace("-", ""), window["end"].replace("-", ""))
        event = by_uid.pop(key)
        assert (event["DTSTART"].dt, event["DTEND"].dt) == (day(window["start"]), day(window["end"]) + one)
        for name in window["engines"]:
            assert name in event["SUMMARY"] and f"{name}: " in event["DESCRIPTION"]
            assert all(valve["valve"] in event["DESCRIPTION"] for valve in engines[name]["valves"])
    for engine in result["engines"]:
        if engine["due"] and engine["due"] <= result["plan"]["end"]:
            event = by_uid.pop(f"latest-{engine['engine'].encode().hex()}@packdrift.invalid")
            assert event["DTSTART"].dt == max(day(engine["due"]), day(result["today"])) and engine["engine"] in event["SUMMARY"]
            assert event["TRANSP"] == "TRANSPARENT" and event["DTSTAMP"].dt.date() == day(result["today"])
            assert ("at once" in event["DESCRIPTION"]) == engine["at_once"]
        look = engine["look"]
        if look and look["by"] <= result["plan"]["end"]:
            event = by_uid.pop(f"look-{engine['engine'].encode().hex()}@packdrift.invalid")
            assert event["DTSTART"].dt == day(look["by"]) and engine["engine"] in event["SUMMARY"]
            assert event["TRANSP"] == "TRANSPARENT" and all(v in event["DESCRIPTION"] for v in look["valves_first"])
    assert not by_uid, by_uid
    return len(events)


def main(program, folder):
    program, folder = str(Path(program).resolve()), Path(folder).resolve()
    once = held(*planned(program, folder / "once"))
    waiting = held(*planned(program, folder / "waiting", "--late-in-windows"))
    print(f"calendar: {once} and {waiting} events, each agrees with its plan")


if __name__ == "__main__":
    main(*sys.argv[1:])
