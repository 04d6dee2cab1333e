"""`straightband vouch`: whether a shop's folder still is what was entered."""

from __future__ import annotations

import argparse
from pathlib import Path

from straightband.cli.answer import Answer
from straightband.workflows.shop_folder import Vouched, open_shop, vouch


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `vouch`."""
    parser.add_argument("--shop", required=True, metavar="FOLDER", help="the shop's folder, or a copy of it")
    parser.add_argument(
        "--recompute", action="store_true", help="also read every photograph again and compare the numbers with those of the record"
    )


def run(options: argparse.Namespace) -> Answer:
    """Check the folder."""
    found = vouch(open_shop(Path(options.shop)), recompute=options.recompute)
    return Answer(
        facts={
            "whole": found.whole,
            "entries": found.checked.entries,
            "files": found.checked.files,
            "unnamed_files": found.checked.unnamed,
            "faults": list(found.checked.faults),
            "recomputed": found.read_again,
            "differing": list(found.differing),
        },
        lines=_lines(found, recompute=options.recompute),
    )


def _lines(found: Vouched, *, recompute: bool) -> tuple[str, ...]:
    checked = found.checked
    state = "Whole" if found.whole else "NOT WHOLE"
    again = f"{found.read_again} readings were computed anew, {found.read_again - len({each.split(':')[0] for each in found.differing})} of them to the same numbers."
    return (
        f"{state}: {checked.entries} entries and {checked.files} files were checked against their hashes.",
        *(f"  {fault}" for fault in checked.faults),
        *((again,) if recompute and not checked.faults else ()),
        *(f"  {each}" for each in found.differing),
        *((f"Note: {checked.unnamed} files are named by no entry, which does no harm.",) if checked.unnamed else ()),
    )
