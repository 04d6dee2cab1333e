"""Which of several benches on one folder does its long work: the one that holds a lock, which the system takes back when its process ends."""

from __future__ import annotations

from pathlib import Path
from typing import IO

from straightband.errors import BadInput

PLACE = ".held"


def check_writable(folder: Path) -> None:
    """Raise BadInput unless files can be written in a folder."""
    try:
        (folder / PLACE).open("ab").close()
    except OSError as fault:
        raise BadInput(
            found=f"nothing can be written in the folder '{str(folder)[:80]}' ({fault.strerror or fault})",
            needed="a folder that you may write to, on a disk with room, is needed",
            remedy="name another with --shop, or see to its disk",
        ) from None


def hold(folder: Path) -> IO[bytes] | None:
    """Hold a shop's folder until what is returned is closed, or this process ends however; None where another holds it, or nobody can."""
    try:
        held = (folder / PLACE).open("ab")
    except OSError:  # a folder that can't be written to
        return None
    try:
        import fcntl

        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except ImportError:  # Windows: two benches at once are not told apart there
        return held
    except OSError:
        held.close()
        return None
    return held
