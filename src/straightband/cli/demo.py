"""`straightband demo`: the whole job on an invented shop, and real photographs at the end."""

from __future__ import annotations

import argparse
from pathlib import Path

from straightband.cli.answer import Answer
from straightband.errors import BadInput
from straightband.workflows.demo import run_demo
from straightband.workflows.store import write_whole

DEFAULT_FOLDER = "demo-out"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `demo`."""
    parser.add_argument("--out", default=DEFAULT_FOLDER, metavar="FOLDER", help=f"where its files go (default {DEFAULT_FOLDER})")


def run(options: argparse.Namespace) -> Answer:
    """Run the demonstration and write what it made."""
    folder = _made(Path(options.out))
    demo = run_demo()
    for file in demo.files:
        write_whole(folder / file.name, file.data)
    width = max(len(file.name) for file in demo.files)
    listing = (f"  {file.name:<{width}}  {file.shows}" for file in demo.files)
    return Answer(
        facts={
            "folder": str(folder),
            **demo.facts,
            "files": [{"path": str(folder / file.name), "shows": file.shows} for file in demo.files],
        },
        lines=(*demo.lines, "", f"Written to {folder}:", *listing),
    )


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as reason:  # ValueError: a name that no disk takes
        raise BadInput(
            found=f"the folder '{str(folder)[:80]}' can't be made ({getattr(reason, 'strerror', None) or reason})",
            needed="a folder that you may write to is needed",
            remedy="name another with --out",
        ) from None
    return folder
