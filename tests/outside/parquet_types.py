"""Small Parquet files with column types that the program does not read, written by another library (pyarrow 26.0.1).

Run by hand, `python parquet_types.py ../../crates/records/tests/fixtures`: the files are in the repository, and the test
crates/records/tests/parquet.rs reads them.
"""

import decimal
import pathlib
import sys

import numpy
import pyarrow
import pyarrow.parquet

READINGS = [0.401, 0.402, 0.398]


def main(folder):
    types = {
        "decimal": pyarrow.array([decimal.Decimal(str(x)) for x in READINGS], pyarrow.decimal128(9, 3)),
        "decimal-wide": pyarrow.array([decimal.Decimal(str(x)) for x in READINGS], pyarrow.decimal128(38, 3)),
        "int8": pyarrow.array([1, 2, 3], pyarrow.int8()),
        "uint8": pyarrow.array([1, 2, 3], pyarrow.uint8()),
        "int16": pyarrow.array([1, 2, 3], pyarrow.int16()),
        "float16": pyarrow.array(numpy.array(READINGS, numpy.float16)),
        "float32": pyarrow.array(READINGS, pyarrow.float32()),
        "int32": pyarrow.array([1, 2, 3], pyarrow.int32()),
    }
    for name, column in types.items():
        table = pyarrow.table({"lot": ["a", "a", "a"], "part": ["1", "2", "3"], "reading": column})
        pyarrow.parquet.write_table(table, pathlib.Path(folder) / f"{name}.parquet", compression="none")


main(sys.argv[1])
