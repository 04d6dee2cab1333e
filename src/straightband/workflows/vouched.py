"""What can be said for a shop's folder."""

from __future__ import annotations

from dataclasses import dataclass

from straightband.shop.copying import Checked


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputed:
    """What came of it.

    Attributes
    ----------
    counts
        How many of each kind were computed anew, by the kind's name for several; those of which there is none left out.
    same
        How many of all came out the same.
    differing
        A sentence for each fact that came out differently, and for each entry that could not be computed.
    """

    counts: dict[str, int]
    same: int
    differing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vouched:
    """What can be said for a shop's folder.

    Attributes
    ----------
    checked
        Files and entries against their hashes.
    recomputed
        What was computed anew, or None where that was not asked for, or could not be trusted.
    """

    checked: Checked
    recomputed: Recomputed | None

    @property
    def whole(self) -> bool:
        """Whether nothing is amiss."""
        return not self.checked.faults and not (self.recomputed and self.recomputed.differing)
