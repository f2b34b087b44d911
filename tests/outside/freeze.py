"""Freezes a script's values in tests/reference, or compares fresh values with the frozen ones."""

import json
import math
import platform
import sys
from pathlib import Path

REFERENCE = Path(__file__).parent.parent / "reference"


def differences(frozen, fresh, relative, absolute, where=""):
    """Every place where two JSON values differ by more than allowed."""
    if isinstance(frozen, dict) and isinstance(fresh, dict):
        if frozen.keys() != fresh.keys():
            yield f"{where}: keys {sorted(frozen.keys() ^ fresh.keys())} stand on one side only"
        for key in frozen.keys() & fresh.keys():
            yield from differences(frozen[key], fresh[key], relative, absolute, f"{where}/{key}")
    elif isinstance(frozen, list) and isinstance(fresh, list):
        if len(frozen) != len(fresh):
            yield f"{where}: {len(frozen)} entries frozen, {len(fresh)} fresh"
        for k, (a, b) in enumerate(zip(frozen, fresh)):
            yield from differences(a, b, relative, absolute, f"{where}/{k}")
    elif isinstance(frozen, float) or isinstance(fresh, float):
        if not math.isclose(frozen, fresh, rel_tol=relative, abs_tol=absolute):
            yield f"{where}: frozen {frozen!r}, fresh {fresh!r}"
    elif frozen != fresh:
        yield f"{where}: frozen {frozen!r}, fresh {fresh!r}"


def freeze(name, values, relative, absolute, check):
    """Writes tests/reference/NAME.json, or with check compares and ends the process with 1 on any difference."""
    path = REFERENCE / f"{name}.json"
    values = json.loads(json.dumps(values))  # tuples and numpy scalars as JSON sees them
    if not check:
        path.write_text(json.dumps({"made_by": f"tests/outside/{name}.py", "python": platform.python_version(), "values": values}, indent=1) + "\n")
        print(f"froze {path}")
        return
    found = list(differences(json.loads(path.read_text())["values"], values, relative, absolute))
    for line in found:
        print(f"{name}{line}")
    print(f"{name}: {'differs' if found else 'agrees'} with the frozen values")
    if found:
        sys.exit(1)
