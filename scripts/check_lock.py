"""Refuses a lock file that holds anything but pinned, hashed packages, or that no longer fits pyproject.toml.

The lines that may stand in a lock are described here, so an address, a path or an option of any kind is refused
without having to be known (docs/decisions/0002). Runs inside ``.venv``.
"""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from toolchain import REQUIREMENTS, ROOT

_VARIABLE = r"(?:python_version|python_full_version|sys_platform|platform_system|platform_machine|platform_python_implementation|os_name)"
_VALUE = r"'[A-Za-z0-9_.*]+'"
_CLAUSE = rf"\(*{_VARIABLE} (?:[<>=!]=?|not in|in) {_VALUE}\)*"
_PIN = re.compile(
    rf"(?P<name>[a-z0-9]+(?:-[a-z0-9]+)*)(?:\[[a-z0-9,-]+\])?==(?P<version>[A-Za-z0-9.+!]+)"
    rf"(?: ; {_CLAUSE}(?: (?:and|or) {_CLAUSE})*)? \\"
)
_HASH = re.compile(r"    --hash=sha256:[0-9a-f]{64}(?P<more> \\)?")


def faults_in_form(text: str) -> list[str]:
    """Return a sentence per line that is not a pin followed by its hashes."""
    faults = []
    hash_due = False
    for number, line in enumerate(text.splitlines(), start=1):
        hash_line = _HASH.fullmatch(line)
        if hash_due != bool(hash_line) or not (hash_line or _PIN.fullmatch(line)):
            expected = "a hash" if hash_due else "name==version"
            faults.append(f"line {number} should be {expected} and nothing else, and is {line.strip()!r}")
        hash_due = bool(hash_line["more"]) if hash_line else bool(_PIN.fullmatch(line))
    if hash_due:
        faults.append("the last package has no hash")
    names = [found["name"] for found in map(_PIN.fullmatch, text.splitlines()) if found]
    faults += [f"{name} is pinned {names.count(name)} times" for name in sorted(set(names)) if names.count(name) > 1]
    return faults


def pins(text: str) -> dict[str, str]:
    """Return the version of every package that is pinned."""
    return {found["name"]: found["version"] for found in map(_PIN.fullmatch, text.splitlines()) if found}


def faults_in_fit(wanted: list[str], locked: dict[str, str]) -> list[str]:
    """Return a sentence per requirement that the locked versions do not meet."""
    faults = []
    for requirement in map(Requirement, wanted):
        version = locked.get(canonicalize_name(requirement.name))
        if version is None or not requirement.specifier.contains(version, prereleases=True):
            faults.append(f"{requirement} is asked for and {version or 'nothing'} is locked; run make lock")
    return faults


def wanted_by(lock: str) -> list[str]:
    """Return the requirements that a lock file must meet."""
    project: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    groups = project["dependency-groups"]
    dev = [entry for entry in groups["dev"] if isinstance(entry, str)]
    return {
        "uv.txt": (REQUIREMENTS / "uv.in").read_text(encoding="utf-8").split(),
        "run.txt": [*project["project"]["dependencies"], *groups["build"]],
        "dev.txt": [*project["project"]["dependencies"], *groups["build"], *dev],
    }[lock]


def faults_in(path: Path) -> list[str]:
    """Return every fault of one lock file, as sentences."""
    text = path.read_text(encoding="utf-8")
    return faults_in_form(text) + faults_in_fit(wanted_by(path.name), pins(text))


def main() -> int:
    """Check the three locks, and that what is shipped is what is tested."""
    locks = {name: REQUIREMENTS / name for name in ("uv.txt", "run.txt", "dev.txt")}
    faults = [f"requirements/{name}: {fault}" for name, path in locks.items() for fault in faults_in(path)]
    run, dev = (pins(locks[name].read_text(encoding="utf-8")) for name in ("run.txt", "dev.txt"))
    faults += [f"{name}: {run[name]} is shipped and {dev.get(name)} is tested" for name in run if dev.get(name) != run[name]]
    for fault in faults:
        print(f"lock check: {fault}", file=sys.stderr)
    if not faults:
        print("lock check: all pinned and hashed, no address, no path")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
