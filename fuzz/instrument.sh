#!/bin/sh
# Stands before rustc for the crates of this workspace alone (RUSTC_WORKSPACE_WRAPPER): counters of what is reached, and operands of comparisons,
# for the engine. Other crates are built as the tests build them, once.
exec "$@" -Cpasses=sancov-module \
  -Cllvm-args=-sanitizer-coverage-level=4 \
  -Cllvm-args=-sanitizer-coverage-inline-8bit-counters \
  -Cllvm-args=-sanitizer-coverage-pc-table \
  -Cllvm-args=-sanitizer-coverage-trace-compares
