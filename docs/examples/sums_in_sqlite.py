"""Runs the query of `packdrift trend --sums-sql` over a CSV of inspections, in SQLite, and prints the table of sums as CSV.

    python3 docs/examples/sums_in_sqlite.py data/demo/inspections.csv sums.sql > sums.csv

An example of an engine; any that has window functions will do. It needs nothing but Python 3.
"""

import csv
import sqlite3
import sys

COLUMNS = ["engine", "valve", "date", "hours", "feature", "value", "event", "group"]


def main(inspections: str, query: str) -> None:
    with open(inspections, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    base = sqlite3.connect(":memory:")
    kinds = {"hours": "REAL", "value": "REAL"}
    columns = ", ".join(f'"{name}" {kinds.get(name, "TEXT")}' for name in COLUMNS)
    base.execute(f"CREATE TABLE inspections ({columns})")
    values = [[row.get(name) for name in COLUMNS] for row in rows]
    base.executemany(f"INSERT INTO inspections VALUES ({', '.join('?' * len(COLUMNS))})", values)
    with open(query, encoding="utf-8") as file:
        sums = base.execute(file.read())
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(column[0] for column in sums.description)
    # Seventeen significant digits lose nothing of a double.
    out.writerows([f"{cell:.17g}" if isinstance(cell, float) else cell for cell in row] for row in sums)


if __name__ == "__main__":
    main(*sys.argv[1:])
