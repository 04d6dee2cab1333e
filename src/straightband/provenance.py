"""Where a result came from: program version, settings and the hashes of the photographs."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from straightband import __version__


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One photograph or file that a result rests on.

    Attributes
    ----------
    name
        File name without folder.
    sha256
        Hash of its bytes, in hexadecimal.
    """

    name: str
    sha256: str


def source_of(name: str, data: bytes) -> Source:
    """The record of one input file from its name and bytes."""
    return Source(name=name, sha256=hashlib.sha256(data).hexdigest())


def program() -> str:
    """Name and version of the program, as written into results."""
    return f"Straightband {__version__}"
