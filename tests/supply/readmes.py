"""The README of each crate, from the first page of its documentation: what the crate is, and an example that runs there as a test.

    readmes.py [--check]     writes crates/*/README.md; with --check it only says which of them are not as they would be written
"""

import pathlib
import re
import sys
import tomllib

ROOT = pathlib.Path(__file__).resolve().parents[2]


def page(crate: pathlib.Path) -> str:
    manifest = tomllib.loads((crate / "Cargo.toml").read_text())
    name = manifest["package"]["name"]
    lines, fenced = [], False
    for line in (crate / "src" / "lib.rs").read_text().splitlines():
        if not line.startswith("//!"):
            break
        line = line.removeprefix("//!").removeprefix(" ")
        if line.startswith("```"):
            fenced = not fenced
            # Bare fences hold Rust in the documentation; elsewhere they would be plain text.
            line = "```rust" if fenced and line == "```" else line
        elif fenced and re.match(r"# |#$", line):
            # A line that the documentation hides.
            continue
        elif not fenced:
            if re.match(r"\[[^\]]+\]: ", line):
                continue
            # Places in the documentation are no places in a README; pages of the repository are.
            line = re.sub(r"\[(`[^`]+`)\](\([^)]*\)|\[[^\]]*\])?", r"\1", line)
            line = re.sub(r"\[(docs/[\w./-]+)\](?!\()", r"`\1`", line)
            line = re.sub(r"^(#+ )", r"#\1", line)
        lines.append(line)
    text = "\n".join(lines).strip()
    footer = (
        "One of the crates of packdrift: shim packs of a rocker shaft, their spread, and their wear. The repository's README has the whole, "
        "its `docs/` a page for each method."
    )
    return f"# {name}\n\n{text}\n\n---\n\n{footer} MIT licence.\n"


def main():
    wrong = []
    for manifest in sorted(ROOT.glob("crates/*/Cargo.toml")):
        readme, wanted = manifest.parent / "README.md", page(manifest.parent)
        if "--check" not in sys.argv:
            readme.write_text(wanted)
        elif not readme.exists() or readme.read_text() != wanted:
            wrong.append(readme.relative_to(ROOT))
    for readme in wrong:
        print(f"FAILED {readme} is not as the crate's first page has it: run tests/supply/readmes.py")
    sys.exit(1 if wrong else 0)


main()
