"""Files appear whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from straightband.errors import BadInput


def write_whole(path: Path, data: bytes, *, make_folder: bool = False) -> None:
    """Write `data` to `path` so that whoever looks finds the old file, or the whole new one, and after a power cut too.

    Raises BadInput when the folder is missing, unless it is to be made, or can't be written to; nothing is left behind then.
    """
    # In the same folder, since a rename across disks would be a copy; hidden, and named at random so that two writers never meet.
    unfinished = path.parent / f".unfinished.{secrets.token_hex(8)}"
    try:
        if make_folder:
            path.parent.mkdir(parents=True, exist_ok=True)
        check_place(path)
        try:
            _write_to_disk(unfinished, data)
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)
        _sync_folder(path.parent)
    except (OSError, ValueError) as fault:  # ValueError: a name that no disk takes
        raise BadInput(
            found=f"'{path.name[:80]}' could not be written to '{path.parent}' ({getattr(fault, 'strerror', None) or fault})",
            needed="a name of sensible length in a folder with room that you may write to is needed",
            remedy="name another, or make room",
        ) from fault


def check_place(path: Path) -> None:
    """Raise BadInput unless a file could be written at `path`."""
    if not path.parent.is_dir():
        raise BadInput(
            found=f"'{path.name}' was to be written to the folder '{path.parent}', which does not exist",
            needed="a folder that exists is needed",
            remedy="make the folder, or name another",
        )
    if path.is_dir():
        raise BadInput(found=f"'{path}' is a folder", needed="a name for a file is needed", remedy="add the file's name after the folder's")


def _write_to_disk(path: Path, data: bytes) -> None:
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    """Put the rename itself on the disk; systems that can't open folders (Windows) do that by themselves."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
