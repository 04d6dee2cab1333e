"""Makes ``.venv`` from the hashed locks: ``setup.py run`` to use the program, ``setup.py dev`` to work on it.

Does nothing when the environment already fits. uv does the work where it can be had; otherwise plain pip does, and
``PIP_ONLY=1`` asks for that. Runs on a bare Python: no venv package, no packages beside pip.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

OLDEST_PYTHON = (3, 11)
if sys.version_info < OLDEST_PYTHON:
    sys.exit(
        f"set-up: this is Python {sys.version.split()[0]}, and 3.11 or newer is needed. "
        "Name a newer one: make PYTHON=/path/to/python3 setup"
    )

# The sentence above has to come before these, which an older Python cannot read.
import tomllib  # noqa: E402

from toolchain import REQUIREMENTS, ROOT, find_uv, pip_command, uv_environment  # noqa: E402

VENV = ROOT / ".venv"
VENV_PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
LOCKS = {"run": "run.txt", "dev": "dev.txt"}


@contextlib.contextmanager
def one_at_a_time() -> Iterator[None]:
    """Hold other set-ups of this folder back until this one is through."""
    try:
        import fcntl
    except ImportError:  # Windows: two set-ups at once are not guarded there.
        yield
        return
    # The folder itself is locked, so that no lock file is left lying about.
    handle = os.open(ROOT, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def fingerprint(kind: str) -> str:
    """Return what the environment depends on, as one hash: the lock, this Python, and how our package is built."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    parts = [
        (REQUIREMENTS / LOCKS[kind]).read_text(encoding="utf-8"),
        (ROOT / "src/straightband/__init__.py").read_text(encoding="utf-8"),
        json.dumps([project["project"], project["build-system"], project["tool"]["hatch"]]),
        sys.version,
        sys.base_prefix,
        str(ROOT),
    ]
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()


def stamp(kind: str) -> Path:
    """Return the file that says for which fingerprint the environment was completed."""
    return VENV / f"set-up-{kind}"


def fits(kind: str) -> bool:
    """Tell whether the environment is complete for this kind; the one for work holds all the one for use does."""
    kinds = {kind, "dev"}
    return any(stamp(k).exists() and stamp(k).read_text() == fingerprint(k) for k in kinds)


def run(command: list[str], environment: dict[str, str]) -> bool:
    """Run a step of the set-up in the project's folder and tell whether it worked."""
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode == 0


def same_python() -> bool:
    """Tell whether the environment there is runs, and on this very Python."""
    question = "import sys; print(sys.version, sys.base_prefix, sep='\\n', end='')"
    try:
        answer = subprocess.run([VENV_PYTHON, "-c", question], capture_output=True, text=True, check=False)
    except OSError:
        return False
    return answer.stdout == f"{sys.version}\n{sys.base_prefix}"


def install_by_uv(uv: Path, lock: Path) -> bool:
    """Make the environment by uv, which needs neither the venv package nor pip inside it."""
    environment = uv_environment()
    into = ["--quiet", "--python", str(VENV_PYTHON)]
    return (
        (same_python() or run([str(uv), "venv", "--quiet", "--clear", "--python", sys.executable, str(VENV)], environment))
        and run([str(uv), "pip", "sync", *into, "--require-hashes", "--compile-bytecode", str(lock)], environment)
        and run([str(uv), "pip", "install", *into, "--no-deps", "--no-build-isolation", "--editable", "."], environment)
    )


def install_by_pip(lock: Path) -> bool:
    """Make the environment by the venv module and the pip outside it, since ensurepip may be missing."""
    environment = {**os.environ, "PIP_ROOT_USER_ACTION": "ignore"}
    into = [*pip_command(), "--python", str(VENV_PYTHON), "install", "--quiet", "--no-deps"]
    return (
        (same_python() or run([sys.executable, "-m", "venv", "--clear", "--without-pip", str(VENV)], environment))
        and run([*into, "--require-hashes", "--only-binary", ":all:", "-r", str(lock)], environment)
        and run([*into, "--no-build-isolation", "--editable", "."], environment)
    )


def main(arguments: list[str]) -> int:
    """Set the asked kind of environment up, or say in one sentence what is missing."""
    if len(arguments) != 1 or arguments[0] not in LOCKS:
        print("set-up: say which environment is wanted: setup.py run, or setup.py dev.", file=sys.stderr)
        return 2
    kind = arguments[0]
    with one_at_a_time():
        if fits(kind):
            return 0
        if subprocess.run([*pip_command(), "--version"], capture_output=True, check=False).returncode != 0:
            print(f"set-up: {sys.executable} has no pip, and it is needed. On Debian: apt install python3-pip.", file=sys.stderr)
            return 1
        print("Setting up .venv (once) ...", file=sys.stderr, flush=True)
        lock = REQUIREMENTS / LOCKS[kind]
        uv = find_uv()
        done = uv is not None and install_by_uv(uv, lock)
        if not done:
            if not os.environ.get("PIP_ONLY"):
                print("uv cannot be used here; going on with plain pip.", file=sys.stderr, flush=True)
            done = install_by_pip(lock)
        if not done:
            shutil.rmtree(VENV, ignore_errors=True)
            print("set-up: the packages could not be installed; the reason is above. Check the network and try again.", file=sys.stderr)
            return 1
        stamp(kind).write_text(fingerprint(kind))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
