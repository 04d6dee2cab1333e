"""Folders as programs of each schema left them, for the tests: `python -m fuzzing.old_shops tests/truth/shops` makes those that are not there yet.

Run it when a schema is released, before another is added: a folder made by a later program only looks like one of that time.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fuzzing.faults import made_old
from straightband.shop.database import migrations


def main(arguments: list[str]) -> None:
    """Make what is missing."""
    for number, _ in migrations():
        folder = Path(arguments[0]) / f"schema-{number:04d}"
        if not folder.exists():
            made_old(folder, schema=number)
            (folder / ".held").unlink(missing_ok=True)
            print(f"made {folder}")


if __name__ == "__main__":
    main(sys.argv[1:])
