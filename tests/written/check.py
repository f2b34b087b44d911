"""Runs every example of README.md, docs/ and --help in a folder with what a clone has, and holds the printed answers to what the program says.

    python3 tests/written/check.py target/release/packdrift [PAGE… | --help]

A page is a folder of its own: its ```toml and ```csv blocks that are introduced by a file name (`… as `mine.toml`:`) are written, then its
```sh blocks are run in order, a line at a time. A line may end with status 0 or 1 (an answer); 2 or more is a failure. A ```text block
after a ```sh block is of what its last line prints: each of its lines must be in the output, in this order (`…` stands for lines left out).
On docs/mistakes.md every line must be refused with status 2, and its answer is what it prints on either stream.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# The page of mistakes: each of its lines is refused (status 2), and what is said is its answer.
MISTAKES = ROOT / "docs" / "mistakes.md"
# Not run here: they are test.sh itself, or what it runs as a step of its own.
ELSEWHERE = ("./test.sh", "cargo ", "mdbook ")
# The windows in which text must fit.
NARROW, WIDE = 80, 120
FOR_PROGRAMS = re.compile(r"--format json|--sums-sql|--shard|packdrift completions|\bpython3?\b|\bcat\b|>")
# Commands whose text begins with its answer, after one of three marks.
ANSWERS = dict.fromkeys(("check", "stack", "allocate", "lot", "gauge", "sampling", "shim", "stock", "trend", "due"), "[○◆▲] ")
FENCE = re.compile(r"^( *)```(\w*) *$")
# `Save this as `mine.toml`:` and the like, on the last line with words before the block.
NAMED = re.compile(r"`([\w.-]+\.(?:toml|csv))`:\s*$")


def blocks(page: Path):
    """Each block's kind, lines, first line number, and the line of prose before it."""
    kind, lines, start, prose = None, [], 0, ""
    for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1):
        fence = FENCE.match(line)
        if fence and kind is None:
            kind, lines, start = fence[2], [], number + 1
        elif fence:
            yield kind, lines, start, prose
            kind, prose = None, ""
        elif kind is not None:
            lines.append(line)
        elif line.strip():
            prose = line


def commands(lines: list[str], start: int):
    """Lines joined where they end in a backslash, each with its number."""
    whole, first = "", start
    for number, line in enumerate(lines, start):
        if not whole:
            first = number
        if line.endswith("\\"):
            whole += line[:-1]
            continue
        whole += line
        if whole.strip() and not whole.lstrip().startswith("#"):
            yield whole, first
        whole = ""


def differs(printed: str, expected: list[str]) -> str | None:
    """The first expected line that is not printed after those before it. Where lines are broken and how far columns stand apart does not count."""
    text, place = " ".join(printed.split()), 0
    for line in (" ".join(line.split()) for line in expected):
        if line in ("", "…"):
            continue
        place = text.find(line, place)
        if place < 0:
            return line
        place += len(line)
    return None


def too_wide(line: str, printed: str, columns: int) -> list[str]:
    """Lines that do not fit their window. What is for programs is as wide as it comes to be, and a command to be copied stays whole."""
    if FOR_PROGRAMS.search(line):
        return []
    return [wide for wide in printed.splitlines() if len(wide) > columns and not wide.lstrip().startswith(("packdrift ", "face |"))]


def at_hand(program: Path, folder: str, columns: int) -> dict[str, str]:
    """Puts the program into the folder. The environment that finds it there, in a window of so many columns; what an example installs for its reader
    goes into this folder too."""
    (Path(folder) / "bin").mkdir()
    os.symlink(program, Path(folder) / "bin" / "packdrift")
    return {**os.environ, "HOME": folder, "PATH": f"{folder}/bin{os.pathsep}{os.environ['PATH']}", "COLUMNS": str(columns), "NO_COLOR": "1"}


def run_page(page: Path, program: Path) -> tuple[int, list[str]]:
    """How many lines were run, and what failed."""
    name, ran, failures, printed, last = page.relative_to(ROOT), 0, [], None, ""
    with tempfile.TemporaryDirectory(prefix="packdrift-written-") as folder:
        shutil.copytree(ROOT / "data", Path(folder) / "data")
        shutil.copytree(ROOT / "docs" / "examples", Path(folder) / "docs" / "examples")
        environment = at_hand(program, folder, WIDE)
        for kind, lines, start, prose in blocks(page):
            named = NAMED.search(prose)
            if kind in ("toml", "csv") and named:
                (Path(folder) / named[1]).write_text("\n".join(lines) + "\n", encoding="utf-8")
            if kind == "text" and printed is not None:
                missing = differs(printed, lines)
                if missing is not None:
                    failures.append(f"{name}:{start}: `{last.strip()}` does not print {missing!r}; it prints\n{printed[:1500]}")
            if kind != "sh":
                printed = None
                continue
            for line, number in commands(lines, start):
                if line.lstrip().startswith(ELSEWHERE):
                    continue
                done = subprocess.run(["sh", "-c", line], cwd=folder, env=environment, capture_output=True, text=True)
                ran, printed, last = ran + 1, done.stdout, line
                if page == MISTAKES:
                    printed += done.stderr
                if done.returncode not in ((2,) if page == MISTAKES else (0, 1)):
                    failures.append(f"{name}:{number}: `{line.strip()}` ends with status {done.returncode}:\n{done.stderr}")
                failures += [f"{name}:{number}: in a window of {WIDE}: {wide}" for wide in too_wide(line, done.stdout, WIDE) if page != MISTAKES]
                if "panicked" in done.stderr:
                    failures.append(f"{name}:{number}: `{line.strip()}` panics:\n{done.stderr}")
    return ran, failures


def run_help(program: Path) -> tuple[int, list[str]]:
    """The examples that each command's --help begins with, in order, in a folder as `packdrift tour` leaves one."""
    ran, failures = 0, []
    with tempfile.TemporaryDirectory(prefix="packdrift-help-") as folder:
        shutil.copytree(ROOT / "data" / "demo", folder, dirs_exist_ok=True)
        shutil.copy(ROOT / "docs" / "examples" / "shop.csv", folder)
        environment = at_hand(program, folder, NARROW)
        ask = lambda line: subprocess.run(["sh", "-c", line], cwd=folder, env=environment, capture_output=True, text=True)
        listed = ask("packdrift --help").stdout.split("\nCommands:\n", 1)[1].split("\n\n", 1)[0]
        for name in re.findall(r"^  (\S+)", listed, re.M):
            if name == "help":
                continue
            # A narrow window breaks an example's line.
            head = ask(f"COLUMNS={WIDE} packdrift {name} --help").stdout.split("\n\n", 1)[0].splitlines()
            examples = [line.strip() for line in head[1:]]
            if head[:1] != ["Examples:"] or not examples:
                failures.append(f"packdrift {name} --help does not begin with an example")
            for line in examples:
                done, ran = ask(line), ran + 1
                if done.returncode not in (0, 1) or "panicked" in done.stderr:
                    failures.append(f"packdrift {name} --help: `{line}` ends with status {done.returncode}:\n{done.stderr}")
                failures += [f"`{line}` in a window of {NARROW}: {wide}" for wide in too_wide(line, done.stdout, NARROW)]
                if name in ANSWERS and not re.match(ANSWERS[name], done.stdout) and not FOR_PROGRAMS.search(line):
                    failures.append(f"`{line}` does not begin with its answer and a mark:\n{done.stdout[:300]}")
    return ran, failures


def main(program: str, *pages: str) -> int:
    chosen = [Path(page).resolve() for page in pages if page != "--help"]
    chosen = chosen or ("--help" not in pages and [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]) or []
    ran, failures = 0, []
    for page in chosen:
        of_page, failed = run_page(page, Path(program).resolve())
        ran, failures = ran + of_page, failures + failed
        if of_page:
            print(f"{page.relative_to(ROOT)}: {of_page} lines run, {len(failed)} failed", flush=True)
    if not pages or "--help" in pages:
        of_help, failed = run_help(Path(program).resolve())
        ran, failures = ran + of_help, failures + failed
        print(f"--help of each command: {of_help} lines run, {len(failed)} failed", flush=True)
    print("\n".join(failures))
    print(f"{ran} lines run, {len(failures)} failures")
    return 1 if failures or not ran else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
