"""The sums query on a cluster: a distributed SQL engine (Apache Spark) with two workers sums the demo's fleet from Parquet shards, and
`trend` on these sums says what it says on the readings.

usage: distributed_sums.py PROGRAM FOLDER     (PROGRAM: packdrift; FOLDER: scratch, emptied)

The cluster is a real one in small: a master, and two workers in processes of their own. The rows of every segment lie scattered over the
shards, so that no worker sees a segment whole before the engine brings it together. Every number of the two results is compared:
relative difference at most 1e-10; hours of crossing (a root that is searched for) and the effective number of points of an average
(a quotient of sums of exponentials of likelihoods) at most 1e-8. The forecasts are then shared out by engine as well: three runs on the
cluster's sums, joined, against one, byte by byte.
"""

import json
import math
import shutil
import subprocess
import sys
from pathlib import Path

from pyspark.sql import SparkSession

DEMO = Path(__file__).parent.parent.parent / "data" / "demo"
SCHEMA = "engine string, valve string, date date, hours double, feature string, value double, event string, `group` string"
SHARDS = 7
WORKERS = 2
SHARES = 3


def packdrift(program, *arguments):
    """A run of the program; status 1 says that valves are due."""
    run = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True)
    if run.returncode not in (0, 1):
        sys.exit(f"packdrift {' '.join(map(str, arguments))}: {run.stderr}")
    return run.stdout


def summed(program, folder):
    """The table of sums, made by the cluster; one Parquet file."""
    spark = (
        SparkSession.builder.master(f"local-cluster[{WORKERS},1,1024]").appName("packdrift sums")
        .config("spark.ui.enabled", "false").config("spark.ui.showConsoleProgress", "false").config("spark.driver.host", "127.0.0.1")
        .config("spark.driver.bindAddress", "127.0.0.1").config("spark.sql.shuffle.partitions", "4")
        .config("spark.executor.memory", "512m").config("spark.sql.adaptive.enabled", "false")
        .config("spark.local.dir", str(folder / "spark")).config("spark.worker.dir", str(folder / "workers"))
        .config("spark.sql.warehouse.dir", str(folder / "warehouse"))
        # Wait for both workers before the first task.
        .config("spark.scheduler.minRegisteredResourcesRatio", "1.0")
        .config("spark.scheduler.maxRegisteredResourcesWaitingTime", "60s").getOrCreate()
    )
    spark.sparkContext.setLogLevel("ERROR")
    csv = spark.read.csv(str(DEMO / "inspections.csv"), header=True, comment="#", schema=SCHEMA)
    # Row by row in turn to the shards.
    csv.repartition(SHARDS).write.parquet(str(folder / "shards"))
    shards = list((folder / "shards").glob("*.parquet"))
    spark.read.parquet(str(folder / "shards")).createOrReplaceTempView("inspections")
    sums = spark.sql(packdrift(program, "trend", "--sums-sql", "--sql-quote", "backtick"))
    sums.coalesce(1).write.parquet(str(folder / "sums"))
    # Who worked: processes of the cluster other than this one.
    tracker = spark.sparkContext._jsc.sc().statusTracker().getExecutorInfos()
    at_work = len(tracker) - 1
    spark.stop()
    if at_work != WORKERS or len(shards) < 2:
        sys.exit(f"{at_work} workers and {len(shards)} shards: this was no cluster of {WORKERS}")
    (part,) = (folder / "sums").glob("*.parquet")
    return part


def shared_out(program, folder, *arguments):
    """The result of shares of the forecasts, made one by one and joined."""
    parts = []
    for k in range(1, SHARES + 1):
        parts.append(folder / f"part-{k}.json")
        parts[-1].write_text(packdrift(program, "trend", *arguments, "--shard", f"{k}/{SHARES}"))
    return packdrift(program, "trend", *arguments, "--parts", *parts)


def keyed(result):
    """A result with its lists of valves as tables by name: the two runs list engines in orders of their own."""
    for feature in result["features"]:
        feature["valves"] = {f"{v['engine']}/{v['valve']}/{v['segment']}": v for v in feature["valves"]}
        feature["model"]["groups"] = {g["group"]: g for g in feature["model"].get("groups") or []}
    return {f["feature"]: f for f in result["features"]}


def differences(a, b, where=""):
    """Every place where the two differ by more than allowed, and a count of the numbers compared."""
    if isinstance(a, dict) and isinstance(b, dict):
        if a.keys() != b.keys():
            yield f"{where}: {sorted(a.keys() ^ b.keys())} on one side only"
        for key in a.keys() & b.keys():
            yield from differences(a[key], b[key], f"{where}/{key}")
    elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        for k, (x, y) in enumerate(zip(a, b)):
            yield from differences(x, y, f"{where}/{k}")
    elif isinstance(a, float) or isinstance(b, float):
        compared[0] += 1
        loose = "crossing" in where or where.endswith("average_effective")
        allowed = 1e-8 if loose else 1e-10
        # Chances of one in a thousand million and less are held to 1e-14 as they are.
        if not loose and abs(a) > 1e-9:
            compared[1] = max(compared[1], abs(a / b - 1) if b else math.inf)
        if not math.isclose(a, b, rel_tol=allowed, abs_tol=1e-14):
            yield f"{where}: {a!r} from the readings, {b!r} from the sums"
    elif a != b:
        yield f"{where}: {a!r} from the readings, {b!r} from the sums"


def as_believed(valve, other):
    """Where a last look stands off, the answer from readings is given both ways; sums have no looks, and answer as the readings are believed.
    Puts that answer in the valve's place, and takes from both what it does not hold."""
    answers = (valve["verdict"] or {}).get("answers") or []
    believed = next((a for a in answers if a["assuming"] == "readings as believed"), None)
    if believed is None:
        return
    both_ways[0] += 1
    for key in ("slope_se", "level_se", "level_slope_cov", "drifting_to", "verdict"):
        valve.pop(key), other.pop(key)
    valve.update({key: value for key, value in believed.items() if key != "assuming"})


def without_days(readings, sums):
    """Takes out of both what sums cannot tell: they have no days and no newest reading, so that a valve is judged as of its last reading by its fit
    alone. Yields where a chance as of a later day is below that one."""
    for feature, found in readings.items():
        for name, valve in found["valves"].items():
            other = sums[feature]["valves"][name]
            yield from differences({"newest": None, "since_read": 0.0}, {k: other[k] for k in ("newest", "since_read")}, name)
            as_believed(valve, other)
            by_its_reading = valve["status"] == "overdue" and valve["newest"]["believed"]
            later = valve["since_read"] > 0
            if later and valve["chance_by_horizon"] < other["chance_by_horizon"]:
                yield f"{feature}/{name}: the chance falls as the engine runs on"
            drop = {"newest", "since_read"} | ({"chance_now", "chance_by_horizon"} if later else set()) | ({"status", "verdict"} if later or by_its_reading else set())
            for key in drop:
                valve.pop(key, None), other.pop(key, None)
            same_day[0] += not later


# Valves answered both ways.
both_ways = [0]
# Valves read on the day of the answer.
same_day = [0]
# Numbers compared, and the largest relative difference of those held to 1e-10.
compared = [0, 0.0]


def main(program, folder):
    folder = Path(folder).resolve()
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    program = str(Path(program).resolve())
    part = summed(program, folder)
    policy = ["--policy", DEMO / "policy.toml", "--model", "random-slope", "--format", "json"]
    readings = keyed(json.loads(packdrift(program, "trend", DEMO / "inspections.csv", *policy)))
    whole = packdrift(program, "trend", "--sums", part, *policy)
    sums = keyed(json.loads(whole))
    found = [*without_days(readings, sums), *differences(readings, sums)]
    if not same_day[0]:
        found.append("no valve was read on the day of the answer: no chance was compared")
    # One sound look in ten stands off by itself, half of them towards safety, and so do two looks together.
    if both_ways[0] >= 38:
        found.append(f"{both_ways[0]} of 192 valves are answered both ways")
    if shared_out(program, folder, "--sums", part, *policy) != whole:
        found.append(f"{SHARES} shares of the forecasts, joined, are not the whole")
    print("\n".join(found[:20]))
    print(f"{WORKERS} workers, {SHARDS} shards: trend on their sums {'differs from' if found else 'agrees with'} trend on the readings, {compared[0]} numbers, {same_day[0]} valves read on the day of the answer, largest relative difference {compared[1]:.1e}; {SHARES} shares of forecasts joined: {'the same bytes' if not found else 'see above'}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
