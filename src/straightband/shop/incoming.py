"""Where what is being sent lies until all of it has come: in the shop's own folder, but no part of the record."""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from straightband.errors import RecordUnreadable

FOLDER = "incoming"
OLD_S = 86400.0  # left by a bench that was ended in the middle: nothing takes as long to come


def new_incoming(folder: Path) -> IO[bytes]:
    """A new file, open for writing, that only this person may read; `forget_incoming` takes it away. Raises RecordUnreadable."""
    path = folder / FOLDER / secrets.token_hex(8)
    with incoming_in_words():
        path.parent.mkdir(exist_ok=True, mode=0o700)
        return open(path, "xb", opener=lambda name, flags: os.open(name, flags, 0o600))


def forget_incoming(path: Path) -> None:
    """Take such a file away."""
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def forget_old(folder: Path) -> None:
    """Take away what an earlier bench has left."""
    with contextlib.suppress(OSError):
        for path in (folder / FOLDER).iterdir():
            if time.time() - path.stat().st_mtime > OLD_S:
                forget_incoming(path)


@contextlib.contextmanager
def incoming_in_words() -> Iterator[None]:
    """Turn what the disk does to such a file into a sentence."""
    try:
        yield
    except OSError as fault:
        raise RecordUnreadable(
            found=f"what was sent can't be kept at the moment ({fault.strerror or fault})",
            needed="room on a disk that this person may write to is needed",
            remedy="see to that and send it again",
        ) from fault
