"""`straightband vouch`: whether a shop's folder still is what was entered."""

from __future__ import annotations

import argparse
from pathlib import Path

from straightband.cli.answer import Answer, tell_progress
from straightband.workflows.shop_folder import Recomputed, Vouched, open_shop, vouch


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `vouch`."""
    parser.add_argument("--shop", required=True, metavar="FOLDER", help="the shop's folder, or a copy of it")
    parser.add_argument(
        "--recompute",
        action="store_true",
        help="also compute everything anew, readings from their photographs, and compare the numbers with those of the record",
    )


def run(options: argparse.Namespace) -> Answer:
    """Check the folder."""
    found = vouch(open_shop(Path(options.shop)), recompute=options.recompute, stage=tell_progress)
    again = found.recomputed
    return Answer(
        facts={
            "whole": found.whole,
            "entries": found.checked.entries,
            "files": found.checked.files,
            "unnamed_files": found.checked.unnamed,
            "faults": list(found.checked.faults),
            "recomputed": {} if again is None else again.counts,
            "same": 0 if again is None else again.same,
            "differing": [] if again is None else list(again.differing),
        },
        lines=_lines(found),
    )


def _lines(found: Vouched) -> tuple[str, ...]:
    checked = found.checked
    state = "Whole" if found.whole else "NOT WHOLE"
    return (
        f"{state}: {checked.entries} entries and {checked.files} files were checked against their hashes.",
        *(f"  {fault}" for fault in checked.faults),
        *(() if found.recomputed is None else _again_lines(found.recomputed)),
        *((f"Note: {checked.unnamed} files are named by no entry, which does no harm.",) if checked.unnamed else ()),
    )


def _again_lines(again: Recomputed) -> tuple[str, ...]:
    counted = ", ".join(f"{name} {count}" for name, count in again.counts.items()) or "nothing"
    total = sum(again.counts.values())
    came = "all" if again.same == total else f"{again.same} of {total}"
    return (f"Computed anew: {counted}; {came} came out the same.", *(f"  {each}" for each in again.differing))
