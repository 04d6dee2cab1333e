"""`straightband keep`: a consistent copy of the shop's folder, made while the bench may be running."""

from __future__ import annotations

import argparse
from pathlib import Path

from straightband.cli.answer import Answer
from straightband.workflows.shop_folder import keep, open_shop


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `keep`."""
    parser.add_argument("--shop", required=True, metavar="FOLDER", help="the shop's folder")
    parser.add_argument("--out", required=True, metavar="FOLDER", help="where the copy goes: a folder that is not there yet")


def run(options: argparse.Namespace) -> Answer:
    """Copy the shop and check the copy."""
    target = Path(options.out)
    checked = keep(open_shop(Path(options.shop)), target)
    return Answer(
        facts={"path": str(target), "entries": checked.entries, "files": checked.files, "faults": list(checked.faults)},
        lines=(
            f"Copied to {target}: {checked.entries} entries and {checked.files} files, each checked against its hash.",
            *(f"Amiss, in the shop itself as well: {fault}." for fault in checked.faults),
        ),
    )
