#!/usr/bin/env bash
# Everything that must hold: formatting, lints, every test, the outside checks, the studies, the pages in a browser.
#
# Runs on a machine with Rust, Python 3 and Debian's packages; installs what else it needs (as root, or through sudo).
# Ends with a line `N passed, N failed, N skipped` and with status 0 only if nothing failed and nothing was skipped.
#   ./test.sh           everything, as CI runs it
#   ./test.sh NAME…     only the named steps (see the list at the end), for work in between
set -uo pipefail
# The tests send signals, and wait for what comes of them: begun by `nohup` or in the background of a script, the program would be told to ignore them.
if [ -z "${PACKDRIFT_SIGNALS-}" ] && env --default-signal true 2>/dev/null; then
  PACKDRIFT_SIGNALS=default exec env --default-signal "$0" "$@"
fi
cd "$(dirname "$0")" || exit 1

export CARGO_TERM_COLOR=never NO_COLOR=1
target="${CARGO_TARGET_DIR:-target}"
program="$target/release/packdrift"
work="$target/test-sh"           # what the steps leave: logs, pages, the Python environment
mkdir -p "$work"

passed=0 failed=0 skipped=0 chosen=("$@")
summary=()

# step NAME TITLE COMMAND…: runs one step, its output to a log that is shown where it fails.
step() {
  local name=$1 title=$2 log="$work/$1.log" begin=$SECONDS; shift 2
  if ((${#chosen[@]})) && [[ ! " ${chosen[*]} " == *" $name "* ]]; then return; fi
  echo "== $title"
  if "$@" >"$log" 2>&1; then
    passed=$((passed + 1)); summary+=("ok      $((SECONDS - begin)) s  $title")
    grep -hE '^test result|agrees with|^[0-9]+ figures|nothing found' "$log" | sort | uniq -c | sort -rn | head -n 24
    # Tests marked `ignore` are skipped tests.
    skipped=$((skipped + $(grep -E '^test result' "$log" | grep -oE '[0-9]+ ignored' | awk '{ n += $1 } END { print n + 0 }')))
  else
    failed=$((failed + 1)); summary+=("FAILED  $((SECONDS - begin)) s  $title")
    tail -n 120 "$log"
  fi
}

as_root() { if [ "$(id -u)" = 0 ]; then "$@"; else sudo "$@"; fi; }

# Debian packages, installed only where missing.
debian() {
  local missing=() package
  for package in "$@"; do dpkg -s "$package" >/dev/null 2>&1 || missing+=("$package"); done
  ((${#missing[@]} == 0)) && return
  as_root apt-get update -q && as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "${missing[@]}"
}

tools() {
  debian r-base-core r-cran-lme4 r-cran-nlme chromium fonts-dejavu-core poppler-utils zsh fish man-db groff-base || return
  python3 -m venv --help >/dev/null 2>&1 || debian python3-venv || return
  command -v g++ >/dev/null || debian g++ || return
  command -v node >/dev/null && command -v npm >/dev/null || debian nodejs npm || return
  [ -x "$work/venv/bin/python" ] || python3 -m venv "$work/venv" || return
  "$work/venv/bin/pip" install -q --disable-pip-version-check -r tests/outside/requirements.txt || return
  (cd tests/browser && npm ci --no-audit --no-fund --silent)
}

# The values frozen in tests/reference, computed again by the libraries they came from.
outside() {
  local script status=0
  # The other scripts print values that stand as literals in a crate's tests, which name them.
  for script in $(grep -l '^from freeze import' tests/outside/*.py); do
    "$work/venv/bin/python" "$script" --check || status=1
  done
  for script in tests/outside/*.R; do
    Rscript "$script" --check || status=1
  done
  # What the program itself writes, read by another reader of the standard.
  "$work/venv/bin/python" tests/outside/calendar_icalendar.py "$program" "$work/calendar" || status=1
  return $status
}

# The sums query on a cluster of a distributed SQL engine: a master and two workers on this machine.
cluster() {
  command -v java >/dev/null || debian default-jre-headless || return
  "$work/venv/bin/pip" install -q --disable-pip-version-check -r tests/outside/requirements-cluster.txt || return
  "$work/venv/bin/python" tests/outside/distributed_sums.py "$program" "$work/cluster"
}

tour() {
  rm -rf "$work/tour" && "$program" tour --out "$work/tour"
}

studies() {
  rm -rf "$work/studies" && cargo run --release -q -p packdrift-studies -- --out "$work/studies"
}

# A question put to the program: status 1 says that something is out of limits, and is an answer too.
asked() {
  local status=0
  "$program" "$@" --quiet >/dev/null || status=$?
  [ "$status" -le 1 ]
}

# Prints FILE on paper of WIDTH × HEIGHT mm in DejaVu Sans, the widest font a machine is likely to have; fails unless it takes one sheet of
# that size.
one_sheet() {
  local copy="$work/printed.html"
  sed "s|</head>|<style>@page { size: $2mm $3mm; } * { font-family: 'DejaVu Sans' !important; }</style></head>|" "$1" >"$copy" || return
  chromium --headless --no-sandbox --disable-gpu --no-pdf-header-footer --print-to-pdf="$copy.pdf" "file://$(realpath "$copy")" || return
  pdfinfo "$copy.pdf" | awk -v file="$1" -v width="$2" -v height="$3" '
    /^Pages/ { pages = $2 } /^Page size/ { w = $3 * 25.4 / 72; h = $5 * 25.4 / 72 }
    END {
      if (w < width - 1 || w > width + 1 || h < height - 1 || h > height + 1) { print file ": printed on " w " x " h " mm"; exit 1 }
      if (pages != 1) { print file ": " pages " pages of " width " x " height " mm"; exit 1 }
    }'
}

# Pages of the bench, of the stock and of the reviewer, and the bench sheet on one printed page.
pages() {
  local demo=data/demo out="$work/pages" bench=(shim data/demo/pack.toml --valve "1 exhaust" --stock data/demo/drawer.csv)
  rm -rf "$out"
  asked "${bench[@]}" --inspections $demo/inspections.csv --engine P18 --out "$out/shim" || return
  asked "${bench[@]}" --measured 1.10 --result 1.16 --result 1.16 --out "$out/shim-after" || return
  asked stock $demo/pack.toml --valve "1 exhaust" --catalogue $demo/drawer.csv --new-builds 0.05 --out "$out/stock" || return
  asked lot $demo/shims-0.60.csv --drawing $demo/drawing-0.60.toml --pack $demo/pack.toml --as "shim 0.60" --out "$out/lot" || return
  asked gauge $demo/gauge.csv --tolerance 0.06 --difference 0.05 --pack $demo/pack.toml --out "$out/gauge" || return
  asked sampling --out "$out/sampling" || return
  asked stack $demo/pack.toml --out "$out/stack" || return
  asked trend $demo/inspections.csv --policy $demo/policy.toml --out "$out/trend" || return
  asked due $demo/inspections.csv --policy $demo/policy.toml --pack $demo/pack.toml --out "$out/due" || return
  local sheet
  for sheet in "$out"/shim*/bench-sheet.html; do
    # A4 and Letter, each a tenth shorter than it is: another font, or a longer name, may take that much.
    one_sheet "$sheet" 210 267.3 && one_sheet "$sheet" 215.9 251.4 || return
  done
}

# Each page in headless Chromium: no console error, no request leaves the page, every figure is there. Then what the pages of stack and due say
# at other settings, beside the program run at these.
browser() {
  local pages=()
  # The report crate's tests leave pages of lots, gauge studies and sampling plans, with names that try to break out. Their page of stack is left
  # out: its figures are made by hand and need not agree with each other; the program's own is looked at.
  [ -f "$target/tmp/pages/lot.html" ] || { echo "no page of a lot to look at: run the step tests first"; return 1; }
  mapfile -t pages < <(find "$work/tour" "$work/studies" "$work/pages" "$target"/tmp/pages/{lot,gauge,sampling,trend}*.html \
    -name '*.html' | sort)
  ((${#pages[@]})) || { echo "no page to look at: run the steps tour, studies and pages first"; return 1; }
  node tests/browser/check.mjs "${pages[@]}" && node tests/browser/settings.mjs --program "$program" --work "$work/settings"
}

# What the tests of faults do to the program: signals, full disks, two writers, files that ask for much. Longer forms by hand: tests/faults/README.md.
faults() {
  local script status=0
  for script in signals writers disks demands terminal; do
    python3 "tests/faults/$script.py" "$program" || status=1
  done
  return $status
}

# Every reader and the option parser under a coverage-guided engine, ten seconds each. Longer by hand: fuzz/run.sh SECONDS.
fuzz() {
  fuzz/run.sh 10
}

# Licences, sources, duplicates and unused dependencies, the bill of materials that goes with a release, and each crate's package.
supply() {
  python3 tests/supply/check.py && python3 tests/supply/check.py --bill "$work/bill-of-materials.json" || return
  python3 tests/supply/readmes.py --check || return
  cargo package --workspace --no-verify --allow-dirty --offline --target-dir "$work/packages" 2>&1 | tee "$work/packages.txt"
  [ "${PIPESTATUS[0]}" = 0 ] && ! grep -q '^warning' "$work/packages.txt"
}

# Every example of README, docs and --help, the pages of the book and their links, completions in their shells, manual pages in `man`, the pictures.
written() {
  python3 tests/written/check.py "$program" && python3 tests/written/book.py && python3 tests/written/installed.py "$program" &&
    python3 tests/written/pictures.py "$program" --check
}

step format   "formatting"                                     cargo fmt --all --check
step tools    "tools: Debian packages, Python and node ones"   tools
step release  "release build"                                  cargo build --release --workspace
step tour     "the tour"                                       tour
step lints    "clippy, warnings denied"                        cargo clippy --workspace --all-targets -- -D warnings
step docs     "documentation, warnings denied"                 env RUSTDOCFLAGS="-D warnings -A rustdoc::private_intra_doc_links" cargo doc --workspace --no-deps --document-private-items -q
step tests    "every test"                                     cargo test --workspace --no-fail-fast
step supply   "licences, sources, unused dependencies"         supply
step faults   "signals, full disks, two writers, demands"      faults
step fuzz     "fuzzing, ten seconds a reader"                  fuzz
step outside  "outside checks: the frozen values again"        outside
step cluster  "the sums query on two workers"                  cluster
step written  "every example, link, completion, manual page"   written
step studies  "the studies"                                    studies
step pages    "pages of bench and stock, the sheet on one"     pages
step browser  "the pages in a browser"                         browser

printf '%s\n' "${summary[@]}"
echo "$passed passed, $failed failed, $skipped skipped"
[ "$failed" = 0 ] && [ "$skipped" = 0 ] && [ "$passed" != 0 ]
