"""A photograph or map that is given twice adds nothing new: as a repeat it would only make a result look surer than it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from straightband import provenance
from straightband.errors import BadInput


def without_copies(files: Iterable[tuple[str, bytes]], *, what: str = "photograph") -> Iterator[tuple[str, bytes]]:
    """The files (name, bytes) as they come; raises BadInput at one whose bytes have come before, under whatever name."""
    seen: dict[str, str] = {}
    for name, data in files:
        sha256 = provenance.source_of(name, data).sha256
        if sha256 in seen:
            raise BadInput(
                found=f"the {what} '{name}' is given twice"
                if seen[sha256] == name
                else f"'{seen[sha256]}' and '{name}' are the same {what}",
                needed="each must add something new",
                remedy="take the second out",
            )
        seen[sha256] = name
        yield name, data
