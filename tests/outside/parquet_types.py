"""Small Parquet files of many column types, written by another library (pyarrow 26.0.1).

Run by hand, `python parquet_types.py ../../crates/records/tests/fixtures`: the files are in the repository, and the test
crates/records/tests/parquet.rs reads them.
"""

import datetime
import decimal
import pathlib
import sys

import numpy
import pyarrow
import pyarrow.parquet

READINGS = [0.401, 0.402, 0.398]
MOMENTS = [datetime.datetime(2024, 10, d) for d in (4, 5, 6)]


def readings():
    decimals = [decimal.Decimal(str(x)) for x in READINGS]
    return {
        "decimal-4-bytes": (pyarrow.array(decimals, pyarrow.decimal128(9, 3)), {"store_decimal_as_integer": True}),
        "decimal": (pyarrow.array(decimals, pyarrow.decimal128(9, 3)), {}),
        "decimal-wide": (pyarrow.array(decimals, pyarrow.decimal128(38, 3)), {}),
        "decimal-too-wide": (pyarrow.array(decimals, pyarrow.decimal256(50, 3)), {}),
        "int8": (pyarrow.array([1, 2, 3], pyarrow.int8()), {}),
        "uint8": (pyarrow.array([1, 2, 255], pyarrow.uint8()), {}),
        "int16": (pyarrow.array([1, 2, 3], pyarrow.int16()), {}),
        "uint64": (pyarrow.array([1, 2, 2**63], pyarrow.uint64()), {}),
        "float16": (pyarrow.array(numpy.array(READINGS, numpy.float16)), {}),
        "float32": (pyarrow.array(READINGS, pyarrow.float32()), {}),
        "int32": (pyarrow.array([1, 2, 3], pyarrow.int32()), {}),
        "time": (pyarrow.array([1, 2, 3], pyarrow.time32("ms")), {}),
        "list": (pyarrow.array([[x] for x in READINGS], pyarrow.list_(pyarrow.float64())), {}),
        "group": (pyarrow.array([{"mm": x} for x in READINGS]), {}),
        "truth": (pyarrow.array([True, False, True]), {}),
        "words": (pyarrow.array([str(x) for x in READINGS]).dictionary_encode(), {"compression": "zstd"}),
        "bytes": (pyarrow.array([str(x).encode() for x in READINGS]), {"compression": "gzip"}),
        "snappy-v2": (pyarrow.array(READINGS), {"compression": "snappy", "data_page_version": "2.0"}),
        "lz4": (pyarrow.array(READINGS), {"compression": "lz4"}),
        "brotli": (pyarrow.array(READINGS), {"compression": "brotli", "use_dictionary": False}),
        "split": (pyarrow.array(READINGS), {"column_encoding": {"reading": "BYTE_STREAM_SPLIT"}, "use_dictionary": False}),
    }


def days():
    return {
        "date": (pyarrow.array([m.date() for m in MOMENTS]), {}),
        "date-ms": (pyarrow.array(MOMENTS, pyarrow.timestamp("ms")), {}),
        "date-ns": (pyarrow.array(MOMENTS, pyarrow.timestamp("ns")), {}),
        "date-utc": (pyarrow.array(MOMENTS, pyarrow.timestamp("us", tz="UTC")), {}),
        "date-int96": (pyarrow.array(MOMENTS, pyarrow.timestamp("ns")), {"use_deprecated_int96_timestamps": True}),
        "date-zone": (pyarrow.array([m - datetime.timedelta(hours=2) for m in MOMENTS], pyarrow.timestamp("us", tz="Europe/Berlin")), {}),
        "date-times": (pyarrow.array([m + datetime.timedelta(hours=8) for m in MOMENTS], pyarrow.timestamp("us")), {}),
        "date-null": (pyarrow.nulls(3), {}),
    }


def main(folder):
    def write(name, columns, how):
        pyarrow.parquet.write_table(pyarrow.table(columns), pathlib.Path(folder) / f"{name}.parquet", **{"compression": "none"} | how)

    for name, (column, how) in readings().items():
        write(name, {"lot": ["a"] * 3, "part": ["1", "2", "3"], "reading": column}, how)
    for name, (column, how) in days().items():
        fixed = {"engine": ["E01"] * 3, "valve": ["1"] * 3, "hours": [10.0, 20.0, 30.0], "feature": ["offset"] * 3, "value": [1.0, 1.1, 1.2]}
        write(name, fixed | {"date": column}, how)


main(sys.argv[1])
