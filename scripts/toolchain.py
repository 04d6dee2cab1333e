"""Finds or fetches the program that resolves and installs packages, and hands it this machine's settings.

uv is put into ``.tools/`` by ``pip install --target``. That works where Python is marked "externally managed"
and where the venv package is missing, because nothing is installed into the system. Only the standard library is used.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
REQUIREMENTS = ROOT / "requirements"
TOOLS = ROOT / ".tools"

# Where pip is told about certificates and indexes, and the name uv knows the same thing by: uv reads neither
# pip.conf nor PIP_*, so a machine that is set up for pip alone would otherwise be cut off.
PASSED_ON = {
    "index-url": "UV_DEFAULT_INDEX",
    "extra-index-url": "UV_INDEX",
    "find-links": "UV_FIND_LINKS",
    "trusted-host": "UV_INSECURE_HOST",
    "proxy": "ALL_PROXY",
    "default-timeout": "UV_HTTP_TIMEOUT",
    "timeout": "UV_HTTP_TIMEOUT",
    "cert": "SSL_CERT_FILE",
}


def pip_command() -> list[str]:
    """Return pip as run by the Python that runs this script."""
    return [sys.executable, "-m", "pip", "--disable-pip-version-check"]


def pip_settings() -> dict[str, str]:
    """Return what pip was told by its files and by PIP_*, the latter winning, under pip's long option names."""
    listing = subprocess.run([*pip_command(), "config", "list"], capture_output=True, text=True, check=False).stdout
    settings: dict[str, str] = {}
    for section in ("global", "install", ":env:"):
        for line in listing.splitlines():
            key, _, value = line.partition("=")
            if key.startswith(f"{section}."):
                settings[key.removeprefix(f"{section}.")] = value.strip("'\"").replace("\\n", " ")
    return settings


def uv_environment() -> dict[str, str]:
    """Return the environment for uv: ours, and pip's settings under uv's names where uv has none of its own."""
    environment = dict(os.environ)
    # The machine's own root certificates: on an inspected network the ones uv brings along are refused.
    environment.setdefault("UV_SYSTEM_CERTS", "1")
    environment.setdefault("UV_PYTHON_DOWNLOADS", "never")
    for setting, value in pip_settings().items():
        name = PASSED_ON.get(setting)
        if name:
            # Both take lists: pip with blanks, uv with commas for folders and blanks for indexes.
            environment.setdefault(name, ("," if setting == "find-links" else " ").join(value.split()))
    if "UV_INDEX" in environment:
        # As pip does. Safe here: a file is accepted by its hash only, wherever it was found.
        environment.setdefault("UV_INDEX_STRATEGY", "unsafe-best-match")
    return environment


def find_uv() -> Path | None:
    """Return a uv of the locked version, fetched if need be, or None where it cannot be had or does not run."""
    if os.environ.get("PIP_ONLY"):
        return None
    lock = REQUIREMENTS / "uv.txt"
    stamp = TOOLS / "stamp"
    program = TOOLS / "bin" / ("uv.exe" if os.name == "nt" else "uv")
    wanted = hashlib.sha256(lock.read_bytes()).hexdigest()
    if not (stamp.exists() and stamp.read_text() == wanted):
        shutil.rmtree(TOOLS, ignore_errors=True)
        command = [*pip_command(), "install", "--quiet", "--target", str(TOOLS), "--no-deps", "--only-binary", ":all:"]
        environment = {**os.environ, "PIP_ROOT_USER_ACTION": "ignore"}
        fetched = subprocess.run([*command, "--require-hashes", "-r", str(lock)], env=environment, check=False)
        if fetched.returncode != 0:
            return None
        stamp.write_text(wanted)
    try:
        ran = subprocess.run([program, "--version"], capture_output=True, check=False)
    except OSError:
        return None
    return program if ran.returncode == 0 else None
