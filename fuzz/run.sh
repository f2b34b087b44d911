#!/usr/bin/env bash
# Fuzzes every target, or those named, SECONDS each (ten), two at a time.
#
#   fuzz/run.sh [SECONDS [NAME…]]
#
# A crash, a reading that takes over 20 s or more than 1 GiB is a finding: its file is shown, kept in target/fuzz/found, and the status is 1.
# What reaches new places is kept in target/fuzz/reached and taken up by the next run.
set -uo pipefail
cd "$(dirname "$0")/.." || exit 1

target="${CARGO_TARGET_DIR:-target}"
seconds="${1:-10}"; shift || true
RUSTC_WORKSPACE_WRAPPER="$PWD/fuzz/instrument.sh" cargo build --workspace --features packdrift-fuzz/libfuzzer --bin fuzz || exit
program="$PWD/$target/debug/fuzz"
mapfile -t names < <(if (($#)); then printf '%s\n' "$@"; else PACKDRIFT_FUZZ='' "$program" 2>&1 | sed 's/.*: //; s/, /\n/g'; fi)

# one NAME: fuzzes one target; its last line says how it went.
one() {
  local name=$1 reached="$target/fuzz/reached/$1" found="$target/fuzz/found" log="$target/fuzz/$1.log" status=0
  mkdir -p "$reached" "$found" "fuzz/corpus/$name"
  # Bits turned in a Parquet file can make the library ask for more memory than there is; a process of its own reads such files first.
  local more=(); [ "$name" != parquet ] || more=(-fork=1 -ignore_ooms=1)
  PACKDRIFT_FUZZ=$name POLARS_MAX_THREADS=1 NO_COLOR=1 "$program" "${more[@]}" -max_total_time="$seconds" -timeout=20 -rss_limit_mb=1024 \
    -max_len=32768 -use_value_profile=1 -artifact_prefix="$found/$name-" -print_final_stats=1 \
    "$reached" "fuzz/corpus/$name" data/demo crates/records/tests/fixtures >"$log" 2>&1 || status=$?
  local runs; runs=$(grep -oE '^#[0-9]+' "$log" | tail -n 1)
  if ((status)); then
    echo "FAILED $name: status $status, ${runs#\#} runs; see $log and $found/$name-*"; tail -n 25 "$log"; return 1
  fi
  echo "$name: ${runs#\#} runs, nothing found"
}
export -f one; export target program seconds
printf '%s\n' "${names[@]}" | xargs -P 2 -I {} bash -c 'one {}'
status=$?
rm -f "$target"/fuzz/found/*oom-* 2>/dev/null
exit $((status != 0))
