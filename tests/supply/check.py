"""The supply of code, looked at without a network: licences, sources, crates in two versions, dependencies that nobody uses, a bill of materials.

    check.py [--bill FILE | --licences]     --bill writes the bill of materials (CycloneDX 1.5, JSON), --licences docs/licences.md, and nothing else

Reads Cargo.lock, `cargo metadata --offline`, `cargo tree` and the sources. Ends with status 1 if anything is not as `allowed.toml` says.
"""

import json
import pathlib
import re
import subprocess
import sys
import tomllib

ROOT = pathlib.Path(__file__).resolve().parents[2]
ALLOWED = tomllib.loads((pathlib.Path(__file__).parent / "allowed.toml").read_text())
REGISTRY = "registry+https://github.com/rust-lang/crates.io-index"


def metadata():
    # The crates of this machine's platform: others need not have been downloaded.
    version = subprocess.run(["rustc", "-vV"], check=True, capture_output=True, text=True).stdout
    host = re.search(r"^host: (.*)$", version, re.M)[1]
    command = ["cargo", "metadata", "--format-version", "1", "--offline", "--locked", "--filter-platform", host]
    return json.loads(subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout)


def is_licensed(expression):
    """Whether an SPDX expression can be met with allowed licences alone."""
    text = expression.replace("/", " OR ")
    tokens = re.findall(r"\(|\)|[^\s()]+", text)

    def any_of(at):
        fine, at = all_of(at)
        while at < len(tokens) and tokens[at] == "OR":
            other, at = all_of(at + 1)
            fine = fine or other
        return fine, at

    def all_of(at):
        fine, at = one(at)
        while at < len(tokens) and tokens[at] == "AND":
            other, at = one(at + 1)
            fine = fine and other
        return fine, at

    def one(at):
        if tokens[at] == "(":
            fine, at = any_of(at + 1)
            return fine, at + 1
        name, at = tokens[at], at + 1
        if at < len(tokens) and tokens[at] == "WITH":
            name, at = f"{name} WITH {tokens[at + 1]}", at + 2
        return name in ALLOWED["licences"], at

    return any_of(0)[0]


def licences(packages):
    for package in packages:
        if package["source"] is None:
            continue
        expression = package["license"] or ""
        if not (expression and is_licensed(expression)) and package["name"] not in ALLOWED["exceptions"]:
            yield f"{package['name']} {package['version']}: licence {expression or 'not told'}"


def sources(lock):
    for package in lock["package"]:
        source = package.get("source")
        if source is None and (ROOT / "Cargo.toml").exists() and package["name"].startswith("packdrift"):
            continue
        if source != REGISTRY or "checksum" not in package:
            yield f"{package['name']} {package['version']}: from {source or 'a folder'}, not from the registry with a checksum"


def duplicates():
    """Among the crates that are built on this machine, tests included."""
    command = ["cargo", "tree", "--workspace", "--offline", "--locked", "--duplicates", "--depth", "0", "--prefix", "none", "--format", "{p}"]
    lines = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()
    versions = {}
    for name, version in (line.split()[:2] for line in lines if line.strip()):
        versions.setdefault(name, set()).add(version.lstrip("v"))
    twice = {name: found for name, found in versions.items() if len(found) > 1}
    for name, found in sorted(twice.items()):
        if name not in ALLOWED["twice"]:
            yield f"{name} in {len(found)} versions: {', '.join(sorted(found))}"
    for name in sorted(set(ALLOWED["twice"]) - set(twice)):
        yield f"allowed.toml lets {name} be there twice, and it is there once: take it out"


def unused(packages):
    """Dependencies of our own crates whose name stands nowhere in the crate's sources."""
    for package in packages:
        if package["source"] is not None:
            continue
        folder = pathlib.Path(package["manifest_path"]).parent
        files = set(folder.rglob("*.rs")) | {pathlib.Path(target["src_path"]) for target in package["targets"]}
        for target in package["targets"]:
            # A test that lies elsewhere brings its folder.
            files |= set(pathlib.Path(target["src_path"]).parent.rglob("*.rs"))
        texts = {file: file.read_text(errors="replace") for file in files if "target" not in file.parts}
        # And what a module is told to be.
        told = {(file.parent / path).resolve() for file, text in texts.items() for path in re.findall(r'#\[path = "([^"]+)"\]', text)}
        texts |= {file: file.read_text(errors="replace") for file in told if file.exists()}
        code = {file: re.sub(r"^\s*//[^/!].*$", "", text, flags=re.M) for file, text in texts.items()}
        # A package of benches has nothing else.
        tests = set() if package["name"].endswith("-benches") else {t for t in code if any(part in ("tests", "benches", "examples") for part in t.parts) or t.name == "tests.rs"}
        for dependency in package["dependencies"]:
            name = (dependency["rename"] or dependency["name"]).replace("-", "_")
            used = re.compile(rf"(?<![\w.]){name}(?:::|\s*;|\s+as\b|!\s*[\[({{])|\buse\s+(?:::)?{name}\b|\bextern crate {name}\b")
            where = code if dependency["kind"] == "dev" else {f: t for f, t in code.items() if f not in tests}
            if not any(used.search(text) for text in where.values()):
                kind = "dev-dependency" if dependency["kind"] == "dev" else "dependency"
                yield f"{package['name']}: the {kind} {dependency['name']} is used nowhere"


def workspace_unused(packages):
    """Entries of [workspace.dependencies] that no crate takes."""
    manifest = tomllib.loads((ROOT / "Cargo.toml").read_text())
    taken = {d["rename"] or d["name"] for p in packages if p["source"] is None for d in p["dependencies"]}
    for name in manifest["workspace"]["dependencies"]:
        if name not in taken:
            yield f"[workspace.dependencies]: {name} is taken by no crate"


def built_of():
    """Name and version of what the program is built of, without what only tests use."""
    command = ["cargo", "tree", "-p", "packdrift-cli", "--offline", "--locked", "-e", "normal,build", "--prefix", "none", "--format", "{p}"]
    lines = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()
    return {(name, version.lstrip("v")) for name, version in (line.split()[:2] for line in lines if line.strip())}


LICENCES = ROOT / "docs" / "licences.md"


def licence_page(data):
    """Every dependency with its licence, as a page of the documentation."""
    built = built_of()
    of = lambda inside: sorted(
        (p["name"], p["version"], (p["license"] or "not told").replace("/", " OR "))
        for p in data["packages"]
        if p["source"] is not None and ((p["name"], p["version"]) in built) == inside
    )
    program, others = of(True), of(False)
    table = lambda rows: "\n".join(["| crate | version | licence |", "|---|---|---|", *(f"| {' | '.join(row)} |" for row in rows)])
    return f"""# Licences

packdrift is under the MIT licence. What it is built of, on Linux, with the licence that each crate tells of itself (SPDX). Made by
`python3 tests/supply/check.py --licences` from Cargo.lock; `./test.sh supply` holds this page to it, and refuses a licence that is not
in `tests/supply/allowed.toml`.

## In the program: {len(program)} crates

{table(program)}

## In tests, benchmarks and fuzzing only: {len(others)} crates

{table(others)}
"""


def licence_list(data):
    if not LICENCES.exists() or LICENCES.read_text() != licence_page(data):
        yield "docs/licences.md is not what Cargo.lock gives: run tests/supply/check.py --licences"


def bill(data, path):
    lock = tomllib.loads((ROOT / "Cargo.lock").read_text())
    sums = {(p["name"], p["version"]): p.get("checksum") for p in lock["package"]}
    program = next(p for p in data["packages"] if p["name"] == "packdrift-cli")
    built = built_of()
    components = []
    for package in sorted(data["packages"], key=lambda p: (p["name"], p["version"])):
        if (package["name"], package["version"]) not in built or package["source"] is None:
            continue
        component = {
            "type": "library",
            "name": package["name"],
            "version": package["version"],
            "purl": f"pkg:cargo/{package['name']}@{package['version']}",
            "licenses": [{"expression": (package["license"] or "NOASSERTION").replace("/", " OR ")}],
        }
        checksum = sums.get((package["name"], package["version"]))
        if checksum:
            component["hashes"] = [{"alg": "SHA-256", "content": checksum}]
        components.append(component)
    document = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {"component": {"type": "application", "name": "packdrift", "version": program["version"]}},
        "components": components,
    }
    pathlib.Path(path).write_text(json.dumps(document, indent=1) + "\n")
    print(f"{path}: {len(components)} components")


def main():
    data = metadata()
    if len(sys.argv) == 3 and sys.argv[1] == "--bill":
        bill(data, sys.argv[2])
        return
    if sys.argv[1:] == ["--licences"]:
        LICENCES.write_text(licence_page(data))
        return
    lock = tomllib.loads((ROOT / "Cargo.lock").read_text())
    packages = data["packages"]
    found = [*licences(packages), *licence_list(data), *sources(lock), *duplicates(), *unused(packages), *workspace_unused(packages)]
    for line in found:
        print(f"FAILED {line}")
    print(f"supply: {len(packages)} crates looked at, {len(found)} findings")
    sys.exit(1 if found else 0)


main()
