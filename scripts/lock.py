"""Writes requirements/*.txt: every package pinned and hashed, without any address (docs/decisions/0002).

``make lock`` keeps the versions that still fit; ``make lock UPGRADE=1`` takes the newest ones.
"""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys

from toolchain import REQUIREMENTS, ROOT, find_uv, uv_environment

# A release younger than this is not taken: most bad uploads are found and withdrawn within days.
COOLING_OFF = dt.timedelta(days=7)

LOCKS = {
    "uv.txt": ["requirements/uv.in"],
    "run.txt": ["pyproject.toml", "--group", "build"],
    # Held to run.txt, so that what is tested is what is shipped.
    "dev.txt": ["pyproject.toml", "--group", "dev", "--constraint", "requirements/run.txt"],
}


def main() -> int:
    """Write the three lock files and say in one sentence what went wrong if one cannot be written."""
    uv = find_uv()
    if uv is None:
        print("lock: uv could not be fetched or run; it is needed to write the locks (set-up works without).", file=sys.stderr)
        return 1
    newest = dt.datetime.now(dt.UTC) - COOLING_OFF
    command = [
        *(str(uv), "pip", "compile", "--quiet", "--universal", "--python-version", "3.11", "--generate-hashes"),
        # One version of each package for every Python: numbers must not depend on who runs them.
        *("--fork-strategy", "fewest", "--only-binary", ":all:"),
        # These four keep addresses, paths and the command line out of the file.
        *("--no-header", "--no-annotate", "--no-emit-index-url", "--no-emit-find-links"),
        *("--exclude-newer", newest.strftime("%Y-%m-%dT00:00:00Z")),
        *(["--upgrade"] if os.environ.get("UPGRADE") else []),
    ]
    environment = uv_environment()
    # Only what the default index holds may be locked: others do not have this machine's local folders.
    for name in ("UV_INDEX", "UV_FIND_LINKS"):
        environment.pop(name, None)
    for name, inputs in LOCKS.items():
        target = REQUIREMENTS / name
        written = subprocess.run([*command, *inputs, "-o", str(target)], cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, check=False)
        if written.returncode != 0:
            print(f"lock: {name} could not be written; the reason is above.", file=sys.stderr)
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
