"""Makes sure that there is a Chromium for the browser tests: finds one, or on Debian and as root installs it by apt-get.

``CHROMIUM=/path/to/chromium make test`` names another. Nothing is skipped where there is none: a sentence says what to do. Standard library only.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def found() -> str | None:
    """Return the Chromium that is there."""
    named = os.environ.get("CHROMIUM")
    if named:
        return shutil.which(named)
    return next((path for path in map(shutil.which, NAMES) if path), None)


def install() -> bool:
    """Install Debian's Chromium and tell whether that worked."""
    if shutil.which("apt-get") is None or not hasattr(os, "geteuid") or os.geteuid() != 0:
        return False
    print("Installing Chromium for the browser tests (once) ...", file=sys.stderr, flush=True)
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    commands = (["apt-get", "update", "-qq"], ["apt-get", "install", "-y", "-qq", "--no-install-recommends", "chromium"])
    return all(subprocess.run(command, env=quiet, stdout=subprocess.DEVNULL, check=False).returncode == 0 for command in commands)


def main() -> int:
    """Find or install it."""
    if found() or (not os.environ.get("CHROMIUM") and install() and found()):
        return 0
    print(
        "The browser tests need Chromium and found none; install it (on Debian: apt-get install chromium) "
        "or name one: make CHROMIUM=/path/to/chromium test",
        file=sys.stderr,
    )
    return 1


if __name__ == "__main__":
    sys.exit(main())
