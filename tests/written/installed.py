"""Completions in their shells, and manual pages in `man`: what docs/install.md has a user install.

    python3 tests/written/installed.py target/release/packdrift

Needs bash, zsh, fish, man and lexgrog. Each shell is asked what comes after a few words; each page is rendered by man and read by lexgrog.
"""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

failures: list[str] = []


def run(command, **more):
    return subprocess.run(command, capture_output=True, text=True, **more)


def expect(what: str, holds: bool, shown: str = ""):
    if not holds:
        failures.append(f"{what}: {shown.strip()[:1500]}")


def commands(program: str) -> list[str]:
    """The commands that --help lists."""
    listed = run([program, "--help"]).stdout.split("\nCommands:\n", 1)[1].split("\n\n", 1)[0]
    return [name for name in re.findall(r"^  (\S+)", listed, re.M) if name != "help"]


def bash(script: Path, names: list[str]):
    # As bash itself calls it: the words, the place of the cursor, then what the function left.
    def after(*words):
        quoted = " ".join(f"'{word}'" for word in words)
        asked = f"source {script}; COMP_WORDS=({quoted}); COMP_CWORD={len(words) - 1}; _packdrift packdrift '{words[-1]}' '{words[-2]}'"
        done = run(["bash", "-c", asked + '; printf "%s\\n" "${COMPREPLY[@]}"'])
        expect("bash", done.returncode == 0, done.stderr)
        return done.stdout.split()

    expect("bash -n", run(["bash", "-n", str(script)]).returncode == 0)
    found = after("packdrift", "")
    expect("bash: commands", set(names) <= set(found) and "try-read" not in found, str(found))
    expect("bash: options of shim", after("packdrift", "shim", "--meas") == ["--measured"], str(after("packdrift", "shim", "--meas")))
    found = after("packdrift", "trend", "--model", "")
    expect("bash: models of trend", {"auto", "gamma", "wiener"} <= set(found), str(found))


def zsh(script: Path):
    done = run(["zsh", "-n", str(script)])
    expect("zsh -n", done.returncode == 0, done.stderr)
    expect("zsh: #compdef", script.read_text().startswith("#compdef packdrift"))
    # compinit finds the file by its name, and the function that it names is loaded from it.
    loaded = f"fpath=({script.parent} $fpath); autoload -Uz compinit; compinit -u -D; print ${{_comps[packdrift]}}"
    done = run(["zsh", "-fc", loaded])
    expect("zsh: compinit", done.stdout.strip() == "_packdrift", done.stdout + done.stderr)


def fish(script: Path, names: list[str], home: str):
    def after(line):
        done = run(["fish", "--no-config", "-c", f"source {script}; complete -C '{line}'"], env={**os.environ, "HOME": home})
        expect("fish", done.returncode == 0, done.stderr)
        return [found.split("\t")[0] for found in done.stdout.splitlines()]

    found = after("packdrift ")
    expect("fish: commands", set(names) <= set(found) and "try-read" not in found, str(found))
    expect("fish: options of shim", after("packdrift shim --meas") == ["--measured"], str(after("packdrift shim --meas")))
    expect("fish: models of trend", {"auto", "gamma", "wiener"} <= set(after("packdrift trend --model ")))


def manual(program: str, folder: Path, names: list[str]):
    done = run([program, "manual", str(folder)])
    expect("manual", done.returncode == 0, done.stderr)
    wanted = {"packdrift.1", *(f"packdrift-{name}.1" for name in names)}
    expect("pages", {page.name for page in folder.iterdir()} == wanted, str(sorted(folder.iterdir())))
    for page in sorted(folder.iterdir()):
        told = run(["lexgrog", str(page)])
        expect(f"lexgrog {page.name}", told.returncode == 0 and f'"{page.stem} - ' in told.stdout, told.stdout + told.stderr)
        shown = run(["man", "--warnings", "-E", "UTF-8", "-l", "-Tutf8", str(page)], env={**os.environ, "MANWIDTH": "80", "LC_ALL": "C.UTF-8"})
        text = re.sub(r"\x1b\[[0-9;]*m|.\x08", "", shown.stdout)
        # A word that cannot be broken may overflow its line; anything else is a mistake of ours.
        warned = [line for line in shown.stderr.splitlines() if line and "cannot" not in line]
        expect(f"man {page.name}", shown.returncode == 0 and not warned, shown.stderr)
        for heading in ("NAME", "SYNOPSIS", "DESCRIPTION", "EXAMPLES"):
            expect(f"man {page.name}", re.search(rf"^{heading}$", text, re.M) is not None, f"no {heading}\n{text}")
    again = run([program, "manual", str(folder)])
    expect("a second time", again.returncode == 0, again.stderr)
    (folder / "packdrift.1").write_text("somebody's")
    refused = run([program, "manual", str(folder)])
    expect("somebody's page", refused.returncode == 2 and (folder / "packdrift.1").read_text() == "somebody's", refused.stderr)


def main(program: str) -> int:
    program = str(Path(program).resolve())
    names = commands(program)
    with tempfile.TemporaryDirectory(prefix="packdrift-installed-") as folder:
        scripts = {"bash": "packdrift", "zsh": "_packdrift", "fish": "packdrift.fish"}
        for shell, name in scripts.items():
            (Path(folder) / shell).mkdir()
            scripts[shell] = Path(folder) / shell / name
            scripts[shell].write_text(run([program, "completions", shell]).stdout, encoding="utf-8")
        bash(scripts["bash"], names)
        zsh(scripts["zsh"])
        fish(scripts["fish"], names, folder)
        manual(program, Path(folder) / "man1", names)
    print("\n".join(failures))
    print(f"{len(names)} commands, 3 shells, {1 + len(names)} pages, {len(failures)} failures")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
