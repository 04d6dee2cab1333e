"""`straightband demo`: the whole job on an invented shop, and real photographs at the end."""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

from straightband.cli.answer import Answer
from straightband.errors import BadInput
from straightband.workflows.demo import Demo, run_demo
from straightband.workflows.demo_shop import fill_shop
from straightband.workflows.shop_folder import open_shop
from straightband.workflows.store import write_whole

DEFAULT_FOLDER = "demo-out"
SHOP_FOLDER = "shop"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `demo`."""
    parser.add_argument("--out", default=DEFAULT_FOLDER, metavar="FOLDER", help=f"where its files go (default {DEFAULT_FOLDER})")


def run(options: argparse.Namespace) -> Answer:
    """Run the demonstration and write what it made."""
    folder = _made(Path(options.out))
    demo = run_demo()
    for file in demo.files:
        write_whole(folder / file.name, file.data)
    shop, is_new = _shop(folder / SHOP_FOLDER, demo)
    width = max(len(file.name) for file in demo.files)
    listing = (f"  {file.name:<{width}}  {file.shows}" for file in demo.files)
    return Answer(
        facts={
            "folder": str(folder),
            **demo.facts,
            "shop": str(shop),
            "files": [{"path": str(folder / file.name), "shows": file.shows} for file in demo.files],
        },
        lines=(*demo.lines, "", f"Written to {folder}:", *listing, "", *_bench_lines(shop, is_new=is_new)),
    )


def _shop(folder: Path, demo: Demo) -> tuple[Path, bool]:
    """The shop filled with the same; one from an earlier demonstration is left as it is, since somebody may have worked in it."""
    if (folder / "shop.db").is_file():
        return folder, False
    fill_shop(open_shop(folder, make=True), demo)
    return folder, True


def _bench_lines(folder: Path, *, is_new: bool) -> tuple[str, ...]:
    filled = "The same is in the record of a shop" if is_new else "The shop of an earlier demonstration was left as it was"
    return (f"{filled}: {folder}", f"Open it in the browser: {_own_name()} bench --shop {folder}")


def _own_name() -> str:
    """By which the program can be called again: as it was called, where the shell would not find it by its bare name."""
    return "straightband" if shutil.which("straightband") or Path(sys.argv[0]).stem != "straightband" else sys.argv[0]


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
