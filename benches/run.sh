#!/bin/sh
# Everything in README.md, measured again: builds the release program, then the program beside its peers, then the kernels.
# numpy and OpenTURNS must be importable by $PYTHON (default: python3).
set -eu
cd "$(dirname "$0")/.."
cargo build --release -p packdrift-cli
cargo build --release -p packdrift-spread --example disc_spring_bay
"${PYTHON:-python3}" benches/side_by_side.py "$@"
cargo bench -p packdrift-benches
