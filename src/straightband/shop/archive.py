"""Files kept under the hash of their bytes: the same file is kept once, and a file that changed no longer fits its name."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from straightband.errors import RecordUnreadable
from straightband.shop.files import write_whole

_NAME = re.compile(r"[0-9a-f]{64}")


def sha256_of(data: bytes) -> str:
    """The hash of some bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Archive:
    """One folder of such files.

    Attributes
    ----------
    folder
        Where they lie, in folders of the first two letters of their hash.
    """

    folder: Path

    def keep(self, data: bytes) -> str:
        """Keep some bytes and return their hash; what is there already is left as it is."""
        sha256 = sha256_of(data)
        path = self.place(sha256)
        if not path.is_file():
            write_whole(path, data, make_folder=True)
        return sha256

    def read(self, sha256: str) -> bytes:
        """The bytes under a hash; raises RecordUnreadable where they are gone or no longer fit it."""
        path = self.place(sha256)
        try:
            data = path.read_bytes()
        except OSError as fault:
            raise _lost(sha256, f"is not there ({fault.strerror})", folder=self.folder) from None
        if sha256_of(data) != sha256:
            raise _lost(sha256, "no longer has the bytes it was kept with", folder=self.folder)
        return data

    def place(self, sha256: str) -> Path:
        """Where a file of that hash lies; raises RecordUnreadable for what is no hash."""
        if not _NAME.fullmatch(sha256):
            raise _lost(sha256[:64], "is no name of a kept file", folder=self.folder)
        return self.folder / sha256[:2] / sha256

    def names(self) -> Iterator[str]:
        """The hashes of all files, as they are named; what was left unfinished when the power went is no file yet."""
        if self.folder.is_dir():
            yield from sorted(path.name for path in self.folder.glob("??/*") if _NAME.fullmatch(path.name) and path.is_file())


def _lost(sha256: str, how: str, *, folder: Path) -> RecordUnreadable:
    return RecordUnreadable(
        found=f"the file {sha256[:12]} in '{folder.name}' {how}",
        needed="every file that the record names is needed",
        remedy="bring it back from a copy of the shop's folder",
    )
