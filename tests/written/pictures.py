"""The README's pictures, made by the program from the demo files.

    python3 tests/written/pictures.py target/release/packdrift [--check]

Writes docs/pictures/*.svg; with --check it only says which of them are not, to the byte, what the program draws today.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# Picture, command, and the title of the figure that it is.
PICTURES = (
    ("bay.svg", ["stack", "data/demo/pack.toml"], "Bay cylinder 1 (alike: cylinder 2) at its nominal dimensions, running, 95 °C"),
    ("valve.svg", ["trend", "data/demo/inspections.csv", "--policy", "data/demo/policy.toml"], "P13, 1 exhaust: contact offset"),
)


def drawn(program: Path, command: list[str], title: str) -> bytes:
    """The figure of that title among those that the command leaves."""
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run([program, *command, "--out", f"{folder}/out", "--quiet"], cwd=ROOT, capture_output=True, text=True)
        if done.returncode not in (0, 1):
            sys.exit(done.stderr)
        for figure in sorted(Path(folder, "out", "figures").glob("*.svg")):
            found = re.search(r"<title[^>]*>([^<]*)<", figure.read_text(encoding="utf-8"))
            if found and found[1] == title:
                return figure.read_bytes()
    sys.exit(f"{' '.join(command)}: no figure is called {title!r}")


def main(program: str, *check: str) -> int:
    wrong = []
    for name, command, title in PICTURES:
        picture, wanted = ROOT / "docs" / "pictures" / name, drawn(Path(program).resolve(), command, title)
        if not check:
            picture.write_bytes(wanted)
        elif not picture.exists() or picture.read_bytes() != wanted:
            wrong.append(f"docs/pictures/{name} is not what the program draws: run tests/written/pictures.py and look at it")
    print("\n".join(wrong))
    print(f"{len(PICTURES)} pictures, {len(wrong)} failures")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
