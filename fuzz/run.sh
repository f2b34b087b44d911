#!/usr/bin/env bash
# Fuzzes every target, or those named, SECONDS each (ten), two at a time.
#
#   fuzz/run.sh [SECONDS [NAME…]]
#
# A crash, a reading that takes over 20 s or more than 1 GiB is a finding: its file is kept in target/fuzz/found, and the status is 1.
# What reaches new places is kept in target/fuzz/reached and taken up by the next run.
set -uo pipefail
cd "$(dirname "$0")/.." || exit 1

work="${CARGO_TARGET_DIR:-target}/fuzz"
seconds="${1:-10}"; shift || true
mkdir -p "$work/found"
# As the tests are built, so that all crates beside our own are there already.
RUSTC_WORKSPACE_WRAPPER="$PWD/fuzz/instrument.sh" \
  cargo test --no-run --workspace --features packdrift-fuzz/libfuzzer --test fuzz 2>&1 | tee "$work/build.log" || exit
program=$(sed -n 's/.*Executable .*(\(.*\))$/\1/p' "$work/build.log")
[ -x "$program" ] || { echo "the fuzzing program was not built"; exit 1; }
if (($#)); then names=("$@"); else mapfile -t names < <(PACKDRIFT_FUZZ='' "$program" 2>&1 | sed -n 's/^PACKDRIFT_FUZZ names the target: //p' | sed 's/, /\n/g'); fi

# one NAME: fuzzes one target; its last line says how it went.
one() {
  local name=$1 log="$work/$1.log" status=0 more=() longest=8192 runs
  mkdir -p "$work/reached/$name"
  case $name in
    workbook) longest=32768 ;;
    # Bits turned in a Parquet file can make the library ask for more memory than there is; the program tries such files in a process of its own.
    parquet) longest=32768; more=(-fork=1 -ignore_ooms=1) ;;
  esac
  PACKDRIFT_FUZZ=$name NO_COLOR=1 "$program" "${more[@]}" -max_total_time="$seconds" -timeout=20 -rss_limit_mb=1024 \
    -max_len=$longest -artifact_prefix="$work/found/$name-" -print_final_stats=1 \
    "$work/reached/$name" "fuzz/corpus/$name" data/demo crates/records/tests/fixtures >"$log" 2>&1 || status=$?
  runs=$(grep -oE '^#[0-9]+' "$log" | tail -n 1)
  if ((status)); then
    echo "FAILED $name: status $status after ${runs#\#} runs; see $log and $work/found/$name-*"; tail -n 25 "$log"; return 1
  fi
  echo "$name: ${runs#\#} runs, nothing found"
}
export -f one; export work program seconds
printf '%s\n' "${names[@]}" | xargs -P 2 -I {} bash -c 'one {}'
