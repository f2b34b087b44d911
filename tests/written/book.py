"""The documentation as a book: SUMMARY.md lists every page once, every link leads somewhere, and mdBook builds it without a warning.

    python3 tests/written/book.py [mdbook]

With the path of an mdbook program the book is built too. Links are those within the repository; addresses of the web are not asked for.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
FENCED = re.compile(r"^ *```.*?^ *```", re.M | re.S)


def anchors(page: Path) -> set[str]:
    """The places in a page that a link may name: its headings, as GitHub and mdBook name them."""
    text = FENCED.sub("", page.read_text(encoding="utf-8"))
    found: set[str] = set()
    for heading in re.findall(r"^#+ +(.*)$", text, re.M):
        plain = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", heading).replace("`", "").lower()
        slug = re.sub(r"[^\w\- ]", "", plain).strip().replace(" ", "-")
        while slug in found:
            slug += "-1"
        found.add(slug)
    return found


def dead_links(page: Path):
    text = re.sub(r"`[^`\n]*`", "", FENCED.sub("", page.read_text(encoding="utf-8")))
    for link in LINK.findall(text):
        if re.match(r"[a-z]+:", link):
            continue
        path, _, anchor = link.partition("#")
        there = (page.parent / path).resolve() if path else page
        if not there.exists():
            yield f"{page.relative_to(ROOT)}: {link} leads nowhere"
        elif anchor and there.suffix == ".md" and anchor not in anchors(there):
            yield f"{page.relative_to(ROOT)}: {link}: no heading of that name"


def main(*mdbook: str) -> int:
    docs = ROOT / "docs"
    pages = sorted(docs.rglob("*.md"))
    listed = LINK.findall((docs / "SUMMARY.md").read_text(encoding="utf-8"))
    failures = [f"SUMMARY.md lists {name} {listed.count(name)} times" for name in set(listed) if listed.count(name) > 1]
    there = {str(page.relative_to(docs)) for page in pages} - {"SUMMARY.md"}
    failures += [f"SUMMARY.md does not list {name}" for name in sorted(there - set(listed))]
    failures += [f"SUMMARY.md lists {name}, which is not there" for name in sorted(set(listed) - there)]
    others = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "DESIGN.md", "CHANGELOG.md")]
    for page in [*pages, *others, *(ROOT / "studies").glob("*.md"), *(ROOT / "benches").glob("*.md"), *(ROOT / "tests").rglob("*.md")]:
        if "node_modules" not in page.parts:
            failures += dead_links(page)
    for program in mdbook:
        with tempfile.TemporaryDirectory() as folder:
            done = subprocess.run([program, "build", str(docs), "--dest-dir", folder], capture_output=True, text=True)
            said = done.stdout + done.stderr
            if done.returncode or "WARN" in said or "ERROR" in said or not (Path(folder) / "index.html").exists():
                failures.append(f"mdbook: {said}")
    print("\n".join(failures))
    print(f"{len(pages)} pages, {len(listed)} of them in the book, {len(failures)} failures")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
