#!/usr/bin/env bash
# What is handed out, made from the repository as it is committed: the installed program, every crate's package, the static program.
# About half an hour on two cores; run it before each release, beside tests/fresh.sh.
#
#   tests/packages.sh [FOLDER]      works in FOLDER (a new temporary one unless given), which is taken away at the end
#
# Adds the target x86_64-unknown-linux-musl by rustup, and Debian's musl-tools, where they are missing; without rustup the toolchain must have the target.
set -euo pipefail
cd "$(dirname "$0")/.."

at="$(realpath -m "${1:-$(mktemp -d /var/tmp/packdrift-packages-XXXXXX)}")"
[ -z "$(ls -A "$at" 2>/dev/null)" ] || { echo "$at is not empty: name a folder that is new"; exit 2; }
mkdir -p "$at"
trap 'rm -rf "$at"' EXIT
git clone -q . "$at/clone"
cd "$at/clone"
export CARGO_TERM_COLOR=never CARGO_TARGET_DIR="$at/target"
static=x86_64-unknown-linux-musl

# made NAME COMMAND…: runs a command with its time; fails where it fails or warns.
made() {
  local name=$1 log="$at/$1.log" begin=$SECONDS; shift
  if ! "$@" >"$log" 2>&1; then tail -n 60 "$log"; echo "FAILED  $((SECONDS - begin)) s  $name"; exit 1; fi
  # `cargo install` says so where its folder is not on the path, which is not ours to mend.
  if grep '^warning' "$log" | grep -v 'to your PATH to be able to run'; then echo "FAILED  $name: warnings"; exit 1; fi
  echo "ok      $((SECONDS - begin)) s  $name"
}

made "cargo install" cargo install --path crates/cli --locked --root "$at/installed"
made "the tour, installed" "$at/installed/bin/packdrift" tour --out "$at/tour"

if command -v rustup >/dev/null; then rustup target add -q "$static"; fi
if ! command -v musl-gcc >/dev/null; then
  made "musl-tools" sh -c 'apt-get update -q && DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends musl-tools'
fi
made "cargo install, static" cargo install --path crates/cli --locked --root "$at/static" --target "$static"
if readelf -d "$at/static/bin/packdrift" | grep NEEDED; then echo "FAILED  the static program asks for libraries"; exit 1; fi
# Without anything of the system: no C library, no loader, no configuration.
mkdir -p "$at/root/tmp"
cp "$at/static/bin/packdrift" "$at/root/packdrift"
made "the tour, static, in an empty root" chroot "$at/root" /packdrift tour --out /tmp/tour
# The C libraries' logarithms may differ in their last bit, so results are not held to the byte; the demo's files are.
made "the same demo" sh -c "cd '$at/tour' && for file in *.toml *.csv; do cmp \"\$file\" '$at/root/tmp/tour/'\"\$file\" || exit 1; done"
if cmp -s "$at/tour/result.json" "$at/root/tmp/tour/result.json"; then echo "the static program's results: the same bytes"; else echo "the static program's results differ in their bytes"; fi

# Each package unpacked and built by itself, with the dependencies that its own Cargo.toml names.
private=(); for crate in $(awk -F'"' 'FNR == 1 { name = "" } /^name/ && !name { name = $2 } /^publish = false/ { print name }' */Cargo.toml); do private+=(--exclude "$crate"); done
made "cargo package" cargo package --workspace "${private[@]}" --locked
echo "$(ls "$CARGO_TARGET_DIR"/package/*.crate | wc -l) packages, program $(stat -c %s "$at/installed/bin/packdrift") bytes, static $(stat -c %s "$at/static/bin/packdrift") bytes"
