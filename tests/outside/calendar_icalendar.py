"""Reads a plan's calendar with the icalendar library (another reader of RFC 5545 than ours) and holds it against the plan's result.json.

    packdrift due data/demo/inspections.csv --policy data/demo/policy.toml --out FOLDER
    python calendar_icalendar.py FOLDER
"""
import datetime
import json
import pathlib
import sys

from icalendar import Calendar

folder = pathlib.Path(sys.argv[1])
raw = (folder / "calendar.ics").read_bytes()
result = json.loads((folder / "result.json").read_text())
calendar = Calendar.from_ical(raw)
assert calendar["VERSION"] == "2.0" and not calendar.errors
# Written again by the library and read again, nothing is lost: escapes and folds mean the same to both.
events = list(calendar.walk("VEVENT"))
again = list(Calendar.from_ical(calendar.to_ical()).walk("VEVENT"))
assert [e["SUMMARY"] for e in events] == [e["SUMMARY"] for e in again]
assert len({e["UID"] for e in events}) == len(events)
day = datetime.date.fromisoformat
one = datetime.timedelta(days=1)
by_uid = {str(e["UID"]): e for e in events}
for window in result["plan"]["windows"]:
    key = "window-{}-{}-1@packdrift.invalid".format(window["start"].replace("-", ""), window["end"].replace("-", ""))
    event = by_uid.pop(key)
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (day(window["start"]), day(window["end"]) + one)
    for name in window["engines"]:
        assert name in event["SUMMARY"] and f"{name}: " in event["DESCRIPTION"]
for engine in result["engines"]:
    if engine["due"] and engine["due"] <= result["plan"]["end"]:
        event = by_uid.pop(f"latest-{engine['engine'].encode().hex()}@packdrift.invalid")
        assert event["DTSTART"].dt == max(day(engine["due"]), day(result["today"])) and engine["engine"] in event["SUMMARY"]
        assert event["TRANSP"] == "TRANSPARENT" and event["DTSTAMP"].dt.date() == day(result["today"])
assert not by_uid, by_uid
print(f"{len(events)} events agree with the plan")
