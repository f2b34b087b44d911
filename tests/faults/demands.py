"""Files below 10 MB that demand as much as they can: refused or read, in at most 1 GiB of memory and soon, never a crash.

    demands.py PROGRAM
"""

import io
import random
import sys
import zipfile

from common import conclude, peak, remove, workplace

MEBIBYTES = 1024
# Of processor time, so that a busy machine is no failure; the second is when a run is given up.
SECONDS = 60
PATIENCE = 900

PACKAGE = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type='
    '"http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>'
)
WORKBOOK = (
    '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/'
    'officeDocument/2006/relationships"><sheets><sheet name="readings" sheetId="1" r:id="rId1"/></sheets></workbook>'
)
RELATIONS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type='
    '"http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship '
    'Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/>'
    "</Relationships>"
)
HEADER = "".join(f'<c t="inlineStr"><is><t>{name}</t></is></c>' for name in ("lot", "part", "reading"))


def workbook(pieces, texts=()):
    """A workbook whose one sheet holds the pieces of XML, written piece by piece."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        archive.writestr("_rels/.rels", PACKAGE)
        archive.writestr("xl/workbook.xml", WORKBOOK)
        archive.writestr("xl/_rels/workbook.xml.rels", RELATIONS)
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            part.write(f"<worksheet><sheetData><row>{HEADER}</row>".encode())
            for piece in pieces:
                part.write(piece.encode())
            part.write(b"</sheetData></worksheet>")
        if texts:
            with archive.open("xl/sharedStrings.xml", "w", force_zip64=True) as part:
                part.write(b"<sst>")
                for piece in texts:
                    part.write(piece.encode())
                part.write(b"</sst>")
    return out.getvalue()


def cells(count):
    row = "<row>" + "<c><v>1</v></c>" * 3 + "</row>"
    piece = row * 10_000
    return (piece for _ in range(count // 30_000))


def files():
    """Name, bytes, command."""
    random_ = random.Random(3)
    rows = "lot,part,reading\n"
    lot, gauge = ["lot"], ["gauge"]
    yield "cells.xlsx", workbook(cells(11_000_000)), lot
    yield "more-cells.xlsx", workbook(cells(13_000_000)), lot
    yield "texts.xlsx", workbook(["<row><c t='s'><v>0</v></c></row>"], ("<si><t>a</t></si>" * 10_000 for _ in range(390))), lot
    yield "more-texts.xlsx", workbook([], ("<si/>" * 10_000 for _ in range(500))), lot
    yield "blanks.xlsx", workbook(" " * (1 << 20) for _ in range(1900)), lot
    yield "long.xlsx", workbook(["<row><c t='inlineStr'><is><t>", *("x" * (1 << 20) for _ in range(200)), "</t></is></c></row>"]), lot
    yield "deep.xlsx", workbook("<row>" * 100_000 for _ in range(100)), lot
    yield "rows.csv", (rows + "a,b,1\n" * 1_600_000).encode(), lot
    yield "short.csv", (rows + "\n1" * 4_900_000).encode(), lot
    yield "wrong.csv", (rows + "a,b,x\n" * 1_600_000).encode(), lot
    yield "names.csv", (rows + "".join(f"{k:x},{k:x},1\n" for k in range(700_000))).encode(), lot
    yield "quotes.csv", (rows + '"' * 9_900_000).encode(), lot
    yield "line.csv", (rows + "," * 9_900_000).encode(), lot
    yield "header.csv", b"," * 9_900_000 + b"\n1\n", lot
    yield "comments.csv", b"#\n" * 4_900_000 + rows.encode(), lot
    yield "repeats.csv", (rows + "".join(f"a,{k // 2},0.{k % 1000:03}\n" for k in range(600_000))).encode(), lot
    yield "gauge.csv", ("operator,part,trial,reading\n" + "".join(f"{k},1,1,1\n" for k in range(600_000))).encode(), gauge
    yield "noise", random_.randbytes(9_000_000), lot
    yield "keys.toml", b"".join(b"k%d=1\n" % k for k in range(400_000)), ["check"]
    yield "same.toml", b"a=1\n" * 1_000_000, ["check"]
    yield "deep.toml", b"a." * 2_000_000 + b"a=1", ["check"]
    yield "brackets.toml", b"a=" + b"[" * 4_000_000, ["check"]
    yield "tables.toml", b"[[bay]]\n" * 500_000, ["check"]
    yield "parts.toml", b"[[bay]]\nname='b'\n" + b"[[bay.part]]\n" * 300_000, ["stack"]
    yield "text.toml", b"title='" + b"x" * 4_000_000 + b"'", ["stack"]
    yield "big.toml", b"#" * 9_000_000, ["check"]
    inspections = "engine,valve,date,hours,feature,value\n"
    yield "engines.csv", (inspections + "".join(f"{k:x},1,2024-01-01,{k},f,1\n" for k in range(300_000))).encode(), ["trend", "--model", "random-slope"]
    yield "features.csv", (inspections + "".join(f"e,1,2024-01-01,{k},{k:x},1\n" for k in range(2_000))).encode(), ["trend", "--model", "random-slope"]
    yield "gauge.json", b"[" * 9_000_000, ["shim", "pack.toml", "--valve", "1 exhaust", "--stock", "drawer.csv", "--u"]
    yield "part.json", b'{"a":' * 1_800_000, ["stack", "pack.toml", "--trials", "1000", "--parts"]


def main():
    failures, most, longest, count = [], 0, "", 0
    at = workplace()
    for name, contents, command in files():
        assert len(contents) < 10_000_000, f"{name} has {len(contents)} bytes"
        (at / name).write_bytes(contents)
        count += 1
        arguments = [*command, name] if command[0] != "trend" else [command[0], name, *command[1:]]
        status, mebibytes, seconds, error = peak(at, arguments, PATIENCE)
        if status not in (0, 1, 2):
            failures.append(f"{name}: {'given up' if status is None else f'status {status}'}: {error[:300]}")
        if seconds > SECONDS:
            failures.append(f"{name}: {seconds:.0f} s of processor time")
        if mebibytes > MEBIBYTES:
            failures.append(f"{name}: {mebibytes} MiB")
        if mebibytes > most:
            most, longest = mebibytes, name
        print(f"{name}: status {status}, {mebibytes} MiB, {seconds:.1f} s", file=sys.stderr)
        (at / name).unlink()
    remove(at)
    conclude("demands", failures, f"{count} files, at most {most} MiB ({longest}), {len(failures)} failures")


main()
